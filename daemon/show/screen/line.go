package screen

import (
	"io"

	"linecamp/manifest/words"
)

// Line is what the command lines in reports need to come back to the same archive.
type Line = words.Line

// Writer carries a Line to the reports that are printed to it.
func Writer(w io.Writer, l Line) io.Writer { return carrier{w, l} }

type carrier struct {
	io.Writer
	line Line
}

// LineOf is the Line that w carries; the zero Line where it carries none.
func LineOf(w io.Writer) Line {
	if c, ok := w.(carrier); ok {
		return c.line
	}
	return Line{}
}
