package jsontext

import (
	"bytes"
	"encoding/json"
	"errors"
	"reflect"
	"strings"
	"testing"
	"unicode/utf8"
)

// tree reads any value as a caller would that knows no shape, and makes of it
// what the standard library makes. It goes no deeper than most.
func tree(s *Scanner, most int) (v any) {
	if most == 0 {
		s.Err = errDeep
		return nil
	}
	switch s.Next() {
	case '{':
		m := map[string]any{}
		s.Object("an object", func(key []byte) {
			k := string(key)
			m[k] = tree(s, most-1)
		})
		return m
	case '[':
		a := []any{}
		s.Array("an array", func() { a = append(a, tree(s, most-1)) })
		return a
	case '"':
		return string(s.Text("as a value"))
	}
	b := s.Rest()
	n := bytes.IndexAny(b, " \t\r\n,:[]{}\"")
	if n < 0 {
		n = len(b)
	}
	d := json.NewDecoder(bytes.NewReader(b[:n]))
	d.UseNumber()
	if !json.Valid(b[:n]) || d.Decode(&v) != nil {
		s.Fail("expected a value")
		return nil
	}
	s.Take(n)
	return v
}

var errDeep = errors.New("too deep for this test")

// What is read is what the standard library reads. What it takes and we do not
// is not valid UTF-8, or half a surrogate pair.
func FuzzScan(f *testing.F) {
	for _, s := range []string{
		`{"a":[1,-2.5e3,true,false,null,"x"],"b":{"c":{}},"d":[]}`, " \t\r\n{ \"a\" : \"\\u0041\\n\\/\\\"\" , \"b\" : [ ] }\n",
		`"\ud83d\ude00"`, `"\ud83d"`, `"\ude00\ud83d"`, "\"\xff\"", "\"a\\n\xff\"", "\"\u2028\"", `["a",]`, `[,]`, `{"a"}`, `{"a":}`, `{,}`, `{"a":1,}`,
		`[1 2]`, `"a`, `"\x"`, `"\u12"`, `"\u12g4"`, "\"\n\"", "\"\\n\x01\"", `{}{}`, `[]]`, `01`, "", " ", `{"a":1,"a":2}`, `{a:1}`, strings.Repeat("[", 300),
	} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, b []byte) {
		s := New(b)
		got := tree(&s, 200)
		s.End()
		switch {
		case s.Err == errDeep:
		case s.Err == nil:
			d := json.NewDecoder(bytes.NewReader(b))
			d.UseNumber()
			var want any
			if err := d.Decode(&want); err != nil || !json.Valid(b) {
				t.Fatalf("taken, and no JSON: %v", err)
			}
			if !reflect.DeepEqual(got, want) {
				t.Fatalf("read %#v, want %#v", got, want)
			}
		case json.Valid(b) && utf8.Valid(b) && !bytes.Contains(bytes.ToLower(b), []byte(`\ud`)):
			t.Fatalf("JSON, and not taken: %v", s.Err)
		}
	})
}

func TestRefuses(t *testing.T) {
	texts := func(s *Scanner) { s.Array("the list", func() { s.Text("in it") }) }
	for _, c := range []struct{ text, want string }{
		{``, `byte 0: expected '[' for the list`},
		{`{"a"`, `byte 0: expected '[' for the list`},
		{` ["a" "b"]`, `byte 6: expected a comma or the end of the list`},
		{`["a"`, `byte 4: expected a comma or the end of the list`},
		{`["a",]`, `byte 5: expected a string in it`},
		{`["a"}`, `byte 4: expected a comma or the end of the list`},
		{`["a"] x`, `byte 6: something follows the end`},
		{"[\"a\"]\x00", `byte 5: something follows the end`},
		{`["a`, `byte 3: a string has no end`},
		{`["a\`, `byte 3: an escape in a string is not valid`},
		{`["\ud800x"]`, `byte 2: an escape in a string is not valid`},
		{"[\"a\tb\"]", `byte 3: a control character stands in a string`},
		{"[\"\xc0\x80\"]", `byte 1: a string is not valid UTF-8 (RFC 8259 section 8.1)`},
		// However deep it goes on: nobody asked for more than a string.
		{strings.Repeat("[", 1<<20), `byte 1: expected a string in it`},
		{`[` + strings.Repeat(`{"a":`, 1<<20), `byte 1: expected a string in it`},
	} {
		s := New([]byte(c.text))
		texts(&s)
		s.End()
		if s.Err == nil || s.Err.Error() != c.want {
			t.Errorf("%.20q: %v, want %s", c.text, s.Err, c.want)
		}
	}
}

// After the first fault nothing is read, no function is called, and the fault
// stays.
func TestTheFirstFaultSticks(t *testing.T) {
	s := New([]byte(`{"a": ["b"]}`))
	s.Fail("no %s", "more")
	called := false
	s.Object("an object", func([]byte) { called = true })
	s.Array("an array", func() { called = true })
	if called || s.Next() != 0 || s.Rest() != nil || s.Text("at all") != nil {
		t.Error("it went on")
	}
	s.End()
	if s.Err == nil || s.Err.Error() != "byte 0: no more" {
		t.Error(s.Err)
	}

	s = New([]byte(`["a", "b", "c"]`))
	n := 0
	s.Array("the list", func() {
		s.Text("in it")
		if n++; n == 2 {
			s.Fail("enough")
		}
	})
	if n != 2 {
		t.Errorf("called %d times", n)
	}
}

// A long text is not copied, and texts with escapes share one buffer.
func TestTextsTakeNoRoom(t *testing.T) {
	for name, text := range map[string]string{"plain": strings.Repeat("a", 1<<20), "escaped": strings.Repeat(`\n`, 1<<20)} {
		b := []byte("[" + strings.Repeat(`"`+text+`",`, 15) + `"` + text + `"]`)
		buffer := make([]byte, 0, 2<<20)
		if n := testing.AllocsPerRun(3, func() {
			s := New(b)
			s.undo = buffer
			s.Array("the list", func() { s.Text("in it") })
			if s.End(); s.Err != nil {
				t.Fatal(s.Err)
			}
		}); n > 2 { // what the closures take
			t.Errorf("%s: %v allocations", name, n)
		}
	}
}
