// Package screen is the last thing that passes between the program and a terminal.
// Begin with [Safe]: what is written through it can give the terminal no command.
// [JSON] writes a report for programs as safely, and [Bars] shows a person how far
// long work has come.
package screen

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"unicode/utf8"

	"linecamp/manifest"
)

// Safe writes to w what a person is to read, with every character that a terminal
// would obey, or that turns a line around, by its code. Names are made fit to be
// shown where they are printed; this catches whatever else comes along, from a
// library or a server. Each Write must be given whole characters.
func Safe(w io.Writer) io.Writer { return safe{w} }

type safe struct{ w io.Writer }

func (s safe) Write(b []byte) (int, error) {
	n := len(b)
	if !fit(b) {
		var out []byte
		for len(b) > 0 {
			_, size := utf8.DecodeRune(b)
			if b[0] == '\n' || b[0] == '\t' {
				out = append(out, b[0])
			} else {
				out = append(out, manifest.Printable(string(b[:size]))...)
			}
			b = b[size:]
		}
		b = out
	}
	if _, err := s.w.Write(b); err != nil {
		return 0, err
	}
	return n, nil
}

func fit(b []byte) bool {
	for line := range bytes.SplitSeq(b, []byte("\n")) {
		for word := range bytes.SplitSeq(line, []byte("\t")) {
			if !manifest.IsPrintable(string(word)) {
				return false
			}
		}
	}
	return true
}

// JSON writes v to w, indented, with every character that a screen must not get as it
// is by its code, which means the same in JSON (RFC 8259 section 7). What is large
// has a WriteJSON method and writes itself piece by piece. The error is w's, or
// json's for a v that it cannot write.
func JSON(w io.Writer, v any) error {
	if large, ok := v.(interface{ WriteJSON(io.Writer) error }); ok {
		return large.WriteJSON(plainJSON{w})
	}
	e := json.NewEncoder(plainJSON{w})
	e.SetEscapeHTML(false)
	e.SetIndent("", "  ")
	return e.Encode(v)
}

// plainJSON is given whole characters.
type plainJSON struct{ w io.Writer }

func (p plainJSON) Write(b []byte) (int, error) {
	if fit(b) {
		return p.w.Write(b)
	}
	var out []byte
	for rest := b; len(rest) > 0; {
		c, size := utf8.DecodeRune(rest)
		switch {
		case c == '\n' || manifest.IsPrintable(string(c)):
			out = append(out, rest[:size]...)
		case c > 0xffff: // RFC 8259 section 7: as two halves
			c -= 0x10000
			out = fmt.Appendf(out, `\u%04x\u%04x`, 0xd800+c>>10, 0xdc00+c&0x3ff)
		default:
			out = fmt.Appendf(out, `\u%04x`, c)
		}
		rest = rest[size:]
	}
	if _, err := p.w.Write(out); err != nil {
		return 0, err
	}
	return len(b), nil
}
