package screen

import (
	"io/fs"
	"os"
	"strings"

	"linecamp/manifest"
)

// Error is the text of an error, with the names of files that the system
// puts into its errors made fit to print.
func Error(err error) string {
	text := err.Error()
	for _, name := range namesIn(err) {
		if name != "" && !manifest.IsPrintable(name) {
			text = strings.ReplaceAll(text, name, manifest.Printable(name))
		}
	}
	return text
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
