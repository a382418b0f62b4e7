package entries

import (
	"fmt"
	"strings"
)

// Problem is one fault in a config file.
type Problem struct {
	Line int    // 1 is the first; 0 where no line is to blame
	Key  string // dotted, "copy.url"; "" where no key is to blame
	Text string // what is wrong and what to do
}

// Error is everything wrong with one config file. The file's archive cannot be
// used; others can.
type Error struct {
	File     string
	Archive  string // the archive's name as far as it could be read; else ""
	Problems []Problem
	Err      error // what the system said where the file could not be read; else nil
}

// Error gives one line for each problem: file:line: key: sentence.
func (e *Error) Error() string {
	lines := make([]string, len(e.Problems))
	for i, p := range e.Problems {
		where := e.File
		if p.Line > 0 {
			where = fmt.Sprintf("%s:%d", where, p.Line)
		}
		if p.Key != "" {
			where += ": " + p.Key
		}
		lines[i] = where + ": " + p.Text
	}
	return strings.Join(lines, "\n")
}

// Unwrap gives what the system said, so that an absent config is
// fs.ErrNotExist.
func (e *Error) Unwrap() error { return e.Err }
