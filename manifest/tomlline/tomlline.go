// Package tomlline reads TOML files that people write, and tells on which line each
// key stands. Begin with [Decode]; a [Table] takes what it gave apart key by key, and
// tells what is wrong with each. The decoder tells positions only with its own
// errors, and most faults of such a file are found after it: "site.toml:7: latitude:
// …".
package tomlline

import (
	"strconv"
	"strings"

	"github.com/BurntSushi/toml"
)

// Lines are the lines of keys, the first line being 1. A key is named as
// "copy[1].url". What stands inside a value (an inline table) has its line from
// the key around it.
type Lines map[string]int

// At returns the line of a key, or of the nearest table around it, or 1.
func (l Lines) At(path string) int {
	for path != "" {
		if n, ok := l[path]; ok {
			return n
		}
		path = path[:max(0, strings.LastIndexAny(path, ".["))]
	}
	return 1
}

// find reads text, which the decoder has already accepted: it need not check
// anything, only find its way.
func find(text string) Lines {
	s := &scanner{text: text, line: 1, found: Lines{}, tables: map[string]int{}}
	for s.skipBlank(); s.i < len(s.text); s.skipBlank() {
		start := s.i
		if s.text[s.i] == '[' {
			s.header()
		} else {
			s.pair()
		}
		if s.i == start { // not TOML after all; never loop
			s.i++
		}
	}
	return s.found
}

type scanner struct {
	text   string
	i      int // next byte
	line   int
	found  Lines
	tables map[string]int // how many of each [[table]] so far
	inside string         // path of the table we are in
}

// step passes n bytes and counts their lines.
func (s *scanner) step(n int) {
	end := min(s.i+n, len(s.text))
	s.line += strings.Count(s.text[s.i:end], "\n")
	s.i = end
}

func (s *scanner) has(prefix string) bool { return strings.HasPrefix(s.text[s.i:], prefix) }

func (s *scanner) skipSpace() {
	for s.i < len(s.text) && (s.text[s.i] == ' ' || s.text[s.i] == '\t') {
		s.i++
	}
}

// skipBlank passes white space, line ends and comments.
func (s *scanner) skipBlank() {
	for s.i < len(s.text) {
		switch s.text[s.i] {
		case ' ', '\t', '\r', '\n':
			s.step(1)
		case '#':
			s.skipComment()
		default:
			return
		}
	}
}

func (s *scanner) skipComment() {
	for s.i < len(s.text) && s.text[s.i] != '\n' {
		s.i++
	}
}

// header reads [a.b] or [[a.b]].
func (s *scanner) header() {
	line := s.line
	array := s.has("[[")
	s.step(1)
	if array {
		s.step(1)
	}
	key := s.key()
	path := ""
	for n, part := range key {
		path = Join(path, part)
		count, isArray := s.tables[path]
		if last := n == len(key)-1; last && array {
			s.tables[path] = count + 1
			if count == 0 {
				s.found[path] = line
			}
			path += "[" + strconv.Itoa(count) + "]"
		} else if isArray {
			path += "[" + strconv.Itoa(count-1) + "]"
		}
	}
	s.found[path] = line
	s.inside = path
	s.skipSpace()
	for s.has("]") {
		s.step(1)
	}
}

// pair reads key = value.
func (s *scanner) pair() {
	line := s.line
	path := s.inside
	for _, part := range s.key() {
		path = Join(path, part)
		if _, ok := s.found[path]; !ok {
			s.found[path] = line
		}
	}
	s.skipSpace()
	if s.has("=") {
		s.step(1)
	}
	s.skipValue()
}

// key reads a dotted key, each part bare or quoted.
func (s *scanner) key() []string {
	var parts []string
	for {
		s.skipSpace()
		start := s.i
		if s.has(`"`) || s.has(`'`) {
			s.skipString()
			parts = append(parts, unquote(s.text[start:s.i]))
		} else {
			for s.i < len(s.text) && !strings.ContainsRune(" \t\r\n.=]#\"'", rune(s.text[s.i])) {
				s.i++
			}
			parts = append(parts, s.text[start:s.i])
		}
		s.skipSpace()
		if !s.has(".") {
			return parts
		}
		s.step(1)
	}
}

// skipValue passes a value, over several lines where brackets or strings go
// over several lines.
func (s *scanner) skipValue() {
	depth := 0
	for s.i < len(s.text) {
		switch s.text[s.i] {
		case '"', '\'':
			s.skipString()
			continue
		case '[', '{':
			depth++
		case ']', '}':
			depth--
		case '#':
			s.skipComment()
			continue
		case '\n':
			if depth <= 0 {
				return
			}
		}
		s.step(1)
	}
}

// skipString passes any of TOML's four kinds of string.
func (s *scanner) skipString() {
	quote := s.text[s.i : s.i+1]
	escapes := quote == `"`
	if long := strings.Repeat(quote, 3); s.has(long) {
		quote = long
	}
	s.step(len(quote))
	for s.i < len(s.text) && !s.has(quote) {
		if escapes && s.text[s.i] == '\\' {
			s.step(1)
		}
		s.step(1)
	}
	s.step(len(quote))
	// A long string may end in up to two quotes of its own.
	for n := 0; n < 2 && len(quote) == 3 && s.has(quote[:1]); n++ {
		s.step(1)
	}
}

// unquote leaves it to the decoder to say what a quoted key spells.
func unquote(quoted string) string {
	var v struct{ K string }
	if _, err := toml.Decode("K = "+quoted, &v); err != nil {
		return quoted
	}
	return v.K
}

// Join adds a key to a path. Dots and brackets inside a key would read as
// levels, so they are replaced: such keys are unknown ones in any case.
func Join(path, key string) string {
	key = strings.NewReplacer(".", "_", "[", "_").Replace(key)
	if path == "" {
		return key
	}
	return path + "." + key
}
