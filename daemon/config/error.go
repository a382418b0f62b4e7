package config

import (
	"fmt"
	"strings"

	"linecamp/manifest/tomlline"
)

// Problem is one fault in a settings file.
type Problem = tomlline.Fault

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

// mostBytes bounds a settings file; a hundred copies with comments are a tenth
// of it.
const mostBytes = 256 << 10

// Decode reads the settings file at a path, whose bytes these are, to be taken apart key
// by key: what nobody took from a table is unknown, and its Rest says so. The error is an
// *Error.
func Decode(path string, b []byte) (*tomlline.File, *tomlline.Table, error) {
	fail := func(line int, key, text string) (*tomlline.File, *tomlline.Table, error) {
		return nil, nil, &Error{File: path, Problems: []Problem{{Line: line, Key: key, Text: text}}}
	}
	if len(b) > mostBytes {
		return fail(0, "", "this file is far too large for settings; name the settings file, or the folder of settings files")
	}
	tree, lines, fault := tomlline.Decode(b)
	if fault != nil {
		return fail(fault.Line, fault.Key, fault.Text)
	}
	f := &tomlline.File{Path: path, Lines: lines}
	return f, &tomlline.Table{File: f, Left: tree}, nil
}
