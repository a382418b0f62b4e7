// Package entries takes a settings file apart, key by key, and tells every fault in it
// with its file, line and key. Begin with [Decode], which gives the file's outermost
// [Table]; what nobody took from a table is unknown, and [Table.Rest] says so.
package entries

import (
	"path/filepath"
	"strings"

	"linecamp/manifest/tomlline"
)

// MostBytes bounds a settings file; a hundred copies with comments are a tenth
// of it.
const MostBytes = 256 << 10

// File collects the problems of one settings file while it is taken apart.
type File struct {
	Path     string
	Lines    tomlline.Lines
	Problems []Problem
}

// Decode reads the file at a path, whose bytes these are. The error is an *Error.
func Decode(path string, b []byte) (*File, *Table, error) {
	fail := func(line int, key, text string) (*File, *Table, error) {
		return nil, nil, &Error{File: path, Problems: []Problem{{Line: line, Key: key, Text: text}}}
	}
	if len(b) > MostBytes {
		return fail(0, "", "this file is far too large for settings; name the settings file, or the folder of settings files")
	}
	tree, lines, fault := tomlline.Decode(b)
	if fault != nil {
		return fail(fault.Line, fault.Key, fault.Text)
	}
	f := &File{Path: path, Lines: lines}
	return f, &Table{File: f, Left: tree}, nil
}

// Folder takes a key that names a folder or file, and makes it absolute, from the
// folder that the settings are in.
func (t *Table) Folder(key string) string {
	s := t.Text(key)
	if s == "" {
		return ""
	}
	if s == "~" || strings.HasPrefix(s, "~/") || strings.HasPrefix(s, `~\`) {
		t.Fault(key, "~ is not understood here; write the whole path")
		return ""
	}
	s = filepath.FromSlash(s)
	if !filepath.IsAbs(s) {
		s = filepath.Join(filepath.Dir(t.Path), s)
	}
	return filepath.Clean(s)
}
