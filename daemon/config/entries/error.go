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
	// Other is the settings file of another archive that has to do with it; "" for none.
	// Only whoever runs the machine is told it.
	Other string
}

// Error is everything wrong with one config file. The file's archive cannot be
// used; others can.
type Error struct {
	File     string
	Archive  string // the archive's name as far as it could be read; else ""
	Problems []Problem
	Err      error // what the system said where the file could not be read; else nil
}

// Error gives one line for each problem: file:line: key: sentence. It is for whoever
// runs the machine, since it names the files of other archives too; see Told.
func (e *Error) Error() string { return e.say(true) }

// Told is Error for the archive's own reports: nothing of another archive is in it.
func (e *Error) Told() string { return e.say(false) }

func (e *Error) say(others bool) string {
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
		if p.Other != "" && others {
			lines[i] += " (the other one is that of " + p.Other + ")"
		}
	}
	return strings.Join(lines, "\n")
}

// Unwrap gives what the system said, so that an absent config is
// fs.ErrNotExist.
func (e *Error) Unwrap() error { return e.Err }
