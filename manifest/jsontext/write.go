package jsontext

import (
	"encoding/base64"
	"strings"
	"unicode/utf8"
)

// AppendString writes a JSON string with no more escapes than RFC 8259
// section 7 asks for. Bytes that are not UTF-8 become U+FFFD; callers that must
// not lose them check beforehand.
func AppendString(b []byte, s string) []byte {
	const hexDigits = "0123456789abcdef"
	b = append(b, '"')
	s = Readable(s)
	from := 0
	for i := range len(s) {
		c := s[i]
		if c >= ' ' && c != '"' && c != '\\' {
			continue
		}
		b = append(b, s[from:i]...)
		from = i + 1
		switch c {
		case '"', '\\':
			b = append(b, '\\', c)
		case '\b':
			b = append(b, '\\', 'b')
		case '\f':
			b = append(b, '\\', 'f')
		case '\n':
			b = append(b, '\\', 'n')
		case '\r':
			b = append(b, '\\', 'r')
		case '\t':
			b = append(b, '\\', 't')
		default:
			b = append(b, '\\', 'u', '0', '0', hexDigits[c>>4], hexDigits[c&15])
		}
	}
	b = append(b, s[from:]...)
	return append(b, '"')
}

// Readable returns s with U+FFFD in the place of bytes that are not UTF-8.
func Readable(s string) string {
	if utf8.ValidString(s) {
		return s
	}
	return strings.ToValidUTF8(s, "\uFFFD")
}

// Object writes one JSON object on one line, behind what B has already.
type Object struct {
	B    []byte
	keys int
}

// IsEmpty reports whether the object has no key yet, and so was not begun.
func (o *Object) IsEmpty() bool { return o.keys == 0 }

// Key begins a key; its value is appended to B.
func (o *Object) Key(k string) {
	if o.keys == 0 {
		o.B = append(o.B, '{')
	} else {
		o.B = append(o.B, ", "...)
	}
	o.keys++
	o.B = append(AppendString(o.B, k), ": "...)
}

// Text writes a key with a string, unless the string is empty.
func (o *Object) Text(k, v string) {
	if v != "" {
		o.Key(k)
		o.B = AppendString(o.B, v)
	}
}

// Base64 writes a key with bytes, unless there are none.
func (o *Object) Base64(k string, v []byte) {
	if len(v) > 0 {
		o.Key(k)
		o.B = append(base64.StdEncoding.AppendEncode(append(o.B, '"'), v), '"')
	}
}

// End closes the object, and returns B.
func (o *Object) End() []byte { return append(o.B, '}') }
