// Package words holds what every sentence of linecamp is made with, so that each
// thing is said in one way everywhere: [Count], [Size], [Ago], [When] and [Runs]
// write figures, [Line] writes command lines that can be pasted into a shell as they
// stand, and [Reason] is what the system said of a file. What a whole report says is
// in daemon/show/text.
package words

import (
	"regexp"
	"runtime"
	"strings"
)

// Line is what a command line needs so that it comes back to the same archive:
// the settings that were named, the archive where there are several, or the
// root that was worked on without settings.
type Line struct {
	Config, Archive, From string
	// IsCautioned: another report of this run has given the field cautions already.
	IsCautioned bool
}

// Run writes the command line "linecamp WORDS…", each word quoted where a shell
// would take it apart.
func (l Line) Run(words ...string) string {
	all := "linecamp"
	for _, w := range words {
		all += " " + Quote(w)
	}
	return all + l.options()
}

func (l Line) options() string {
	var o string
	if l.From != "" {
		return " --from " + Quote(l.From)
	}
	if l.Archive != "" {
		o += " --archive " + Quote(l.Archive)
	}
	if l.Config != "" {
		o += " --config " + Quote(l.Config)
	}
	return o
}

// commandIn finds a command line that stands between backticks in a text.
var commandIn = regexp.MustCompile("`(linecamp [^`]*)`")

// Text completes the command lines that stand between backticks in a text, and
// puts its further lines below the first.
func (l Line) Text(text string) string {
	text = indented(text)
	o := l.options()
	if o == "" {
		return text
	}
	return commandIn.ReplaceAllStringFunc(text, func(c string) string { return strings.TrimSuffix(c, "`") + o + "`" })
}

// indented puts the further lines of a text below its first one, so that nothing in
// it can be taken for another line of a report.
func indented(text string) string {
	lines := strings.Split(text, "\n")
	for i, l := range lines[1:] {
		if l != "" && !strings.HasPrefix(l, "  ") {
			lines[i+1] = "    " + l
		}
	}
	return strings.Join(lines, "\n")
}

// Quote writes one word of a command line as this system's shells take it. A name
// may hold anything: what a terminal could take for a command of its own is never
// written as it is.
func Quote(word string) string {
	if runtime.GOOS == "windows" {
		return quoteWindows(word)
	}
	return quoteUnix(word)
}
