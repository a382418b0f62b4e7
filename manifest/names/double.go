package names

import (
	"regexp"
	"strings"
)

// File managers name the doubles they make: "Copy of 2017", "2017 - Copy (2)",
// "2017 copy", "2017 (1)", "2017 (another copy)" (common practice, no source).
var doubled = []*regexp.Regexp{
	regexp.MustCompile(`(?i)^copy (?:\(\d+\) )?of (.+)$`),
	regexp.MustCompile(`(?i)^(.+?)(?: - |[ _-])copy(?:[ _]?\(?\d+\)?)?$`),
	regexp.MustCompile(`(?i)^(.+?) \((?:another |\d+(?:st|nd|rd|th) )?copy(?: \d+)?\)$`),
	regexp.MustCompile(`^(.+?) ?\(\d{1,2}\)$`),
}

// Undoubled is the name that a folder's name doubles, or that name itself.
func Undoubled(name string) string {
	for again := true; again; {
		again = false
		if !strings.HasSuffix(name, ")") && !strings.Contains(strings.ToLower(name), "copy") {
			return name
		}
		for _, re := range doubled {
			if m := re.FindStringSubmatch(name); m != nil {
				name, again = m[1], true
				break
			}
		}
	}
	return name
}
