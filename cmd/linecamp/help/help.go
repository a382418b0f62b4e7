// Package help writes the program's help pages, from what each command says of itself.
// Call [Write].
package help

import (
	"fmt"
	"io"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"
)

// Write writes one help page: what it is for, how it is written, examples
// first, then what can be said.
func Write(w io.Writer, cmd *cobra.Command) {
	text := cmd.Long
	if text == "" {
		text = sentence(cmd.Short)
	}
	fmt.Fprintf(w, "%s\n\n", strings.TrimSpace(text))
	for _, line := range useLines(cmd) {
		fmt.Fprintf(w, "    %s\n", line)
	}
	if cmd.Example != "" {
		fmt.Fprintf(w, "\nFor example\n%s", indent(cmd.Example))
	}
	subPages(w, cmd)
	if own := cmd.LocalFlags(); cmd.HasParent() && own.HasAvailableFlags() {
		fmt.Fprintf(w, "\nWhat can be added\n%s", options(own))
	}
	if !cmd.HasParent() {
		fmt.Fprintf(w, "\nWith every command\n%s", options(cmd.PersistentFlags()))
		fmt.Fprint(w, "\nA command's own page: linecamp COMMAND --help\n")
		fmt.Fprint(w, "Exit status: 0 all well, 1 failed, 2 wrong usage, 3 finished, and something needs a person.\n")
	} else if rest := cmd.InheritedFlags(); rest.HasAvailableFlags() {
		fmt.Fprintf(w, "\nWith every command\n%s", options(rest))
	}
}

// useLines are the ways to write a command, each in full: in its Use they stand
// with " | " between them.
func useLines(cmd *cobra.Command) []string {
	if cmd.HasAvailableSubCommands() {
		what := " COMMAND"
		if cmd.Name() == "completion" {
			what = " SHELL"
		}
		return []string{cmd.CommandPath() + what}
	}
	_, rest, _ := strings.Cut(cmd.Use, " ")
	var lines []string
	for way := range strings.SplitSeq(rest, "|") {
		lines = append(lines, strings.TrimSpace(cmd.CommandPath()+" "+strings.TrimSpace(way)))
	}
	return lines
}

// subPages lists the commands below cmd, by group where they have groups.
func subPages(w io.Writer, cmd *cobra.Command) {
	list := func(title, group string) {
		var b strings.Builder
		for _, c := range cmd.Commands() {
			if c.GroupID == group && c.IsAvailableCommand() {
				fmt.Fprintf(&b, "    %-12s %s\n", c.Name(), c.Short)
			}
		}
		if b.Len() > 0 {
			fmt.Fprintf(w, "\n%s\n%s", title, b.String())
		}
	}
	for _, g := range cmd.Groups() {
		list(g.Title, g.ID)
	}
	title := "Commands"
	if cmd.Name() == "completion" {
		title = "Shells"
	}
	list(title, "")
}

// options lists flags, two lines for one whose name is long.
func options(set *pflag.FlagSet) string {
	var b strings.Builder
	set.VisitAll(func(f *pflag.Flag) {
		if f.Hidden {
			return
		}
		value, text := pflag.UnquoteUsage(f)
		if f.Name == "help" {
			text = "shows this page"
		}
		name := "--" + f.Name
		if f.Shorthand != "" {
			name = "-" + f.Shorthand + ", " + name
		}
		if value != "" {
			name += " " + value
		}
		if len(name) > 22 {
			fmt.Fprintf(&b, "    %s\n    %22s", name, "")
		} else {
			fmt.Fprintf(&b, "    %-22s", name)
		}
		fmt.Fprintf(&b, " %s\n", text)
	})
	return b.String()
}

func indent(s string) string {
	var b strings.Builder
	for line := range strings.Lines(strings.TrimSpace(s)) {
		b.WriteString("    " + strings.TrimRight(line, "\n") + "\n")
	}
	return b.String()
}

func sentence(s string) string {
	if s == "" {
		return ""
	}
	return strings.ToUpper(s[:1]) + strings.TrimRight(s[1:], ".") + "."
}
