package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"log"
	"unicode/utf8"

	"linecamp/manifest"
)

// screen is the last thing that a text passes on its way to a person. Names are
// made fit to be shown where they are printed; whatever else may come along, from
// a library or a server, can give a terminal no command here, nor turn what is
// written around.
type screen struct{ w io.Writer }

func (s screen) Write(b []byte) (int, error) {
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

// writeJSON writes v with every character that a screen must not get as it is by its
// code, which means the same in JSON. What is large writes itself piece by piece.
func writeJSON(w io.Writer, v any) error {
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

// quietLibraries keeps what libraries write to the standard log from the screen.
// The HTTP library does so when a server answers unasked; what goes wrong with a
// request comes back as its error.
func quietLibraries() { log.SetOutput(io.Discard) }
