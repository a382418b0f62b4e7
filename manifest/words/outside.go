package words

import (
	"io/fs"
	"os"
	"strings"

	"linecamp/manifest"
)

// Error is the plain text of an error, with the names of files that the system
// puts into its errors made fit to print.
func Error(err error) string {
	text := err.Error()
	for _, name := range namesIn(err) {
		if name != "" && !manifest.IsPrintable(name) {
			text = strings.ReplaceAll(text, name, manifest.Printable(name))
		}
	}
	return Plain(text)
}

func namesIn(err error) (names []string) {
	switch e := err.(type) {
	case *fs.PathError:
		names = append(names, e.Path)
	case *os.LinkError:
		names = append(names, e.Old, e.New)
	}
	switch e := err.(type) {
	case interface{ Unwrap() error }:
		if inner := e.Unwrap(); inner != nil {
			names = append(names, namesIn(inner)...)
		}
	case interface{ Unwrap() []error }:
		for _, inner := range e.Unwrap() {
			names = append(names, namesIn(inner)...)
		}
	}
	return names
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
