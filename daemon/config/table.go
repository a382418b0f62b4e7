package config

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"

	"linecamp/manifest/tomlline"
)

// file collects the problems of one config file while it is taken apart.
type file struct {
	path     string
	lines    tomlline.Lines
	problems []Problem
	at       []int // which of the file's copies each copy in use is
}

// used is the table of a copy in use, by its place among those.
func (f *file) used(i int) *table {
	return &table{file: f, path: fmt.Sprintf("copy[%d]", f.at[i])}
}

// table is one table of it, from which keys are taken one by one. What is left
// at the end is unknown.
type table struct {
	*file
	path  string // "copy[1]", "" for the file itself
	left  map[string]any
	known []string // keys asked for so far
}

// fault records a problem with a key of the table, or with the table itself
// where key is "".
func (t *table) fault(key, format string, a ...any) {
	path := t.path
	if key != "" {
		path = tomlline.Join(t.path, key)
	}
	t.problems = append(t.problems, Problem{
		Line: t.lines.At(path),
		Key:  tomlline.Shown(path),
		Text: fmt.Sprintf(format, a...),
	})
}

func (t *table) take(key string) (any, bool) {
	t.known = append(t.known, key)
	v, ok := t.left[key]
	delete(t.left, key)
	return v, ok
}

// text takes a key whose value is text, without the white space around it.
func (t *table) text(key string) string {
	v, ok := t.take(key)
	if !ok {
		return ""
	}
	s, ok := v.(string)
	if !ok {
		t.fault(key, "this is %s where text is wanted; put it in quotes, as in %s = \"…\"", kindOf(v), key)
		return ""
	}
	// Tabs and line ends have no place in a name, a path or a time.
	if strings.ContainsFunc(s, func(r rune) bool { return r < ' ' || r == 0x7f }) {
		t.fault(key, "the text holds a line end, a tab or another control character; leave it out (in a Windows path, write / for \\)")
		return ""
	}
	return strings.TrimSpace(s)
}

// flag takes a key whose value is true or false.
func (t *table) flag(key string) bool {
	v, ok := t.take(key)
	if !ok {
		return false
	}
	b, ok := v.(bool)
	if !ok {
		t.fault(key, "this is %s where true or false is wanted, without quotes", kindOf(v))
	}
	return b
}

// number takes a key whose value is a number from least to most; 0 where it is
// absent.
func (t *table) number(key string, least, most float64, whole bool, what string) float64 {
	v, ok := t.take(key)
	if !ok {
		return 0
	}
	kind := "a number"
	if whole {
		kind = "a whole number"
	}
	n, ok := tomlline.Number(v)
	if !ok {
		t.fault(key, "this is %s where %s is wanted, without quotes: the %s", kindOf(v), kind, what)
		return 0
	}
	if !(least <= n && n <= most) || whole && n != math.Trunc(n) {
		t.fault(key, "%v cannot be the %s; write %s from %g to %g", v, what, kind, least, most)
		return 0
	}
	return n
}

// table takes a key that is a table, [key]. Absent is an empty one.
func (t *table) table(key string) *table {
	v, ok := t.take(key)
	m, isTable := v.(map[string]any)
	if ok && !isTable {
		t.fault(key, "this is %s where a part of its own is wanted, which begins with the line [%s]", kindOf(v), key)
	}
	return &table{file: t.file, path: tomlline.Join(t.path, key), left: m}
}

// tables takes a key that is any number of tables, [[key]].
func (t *table) tables(key string) []*table {
	v, ok := t.take(key)
	if !ok {
		return nil
	}
	var ms []map[string]any
	switch v := v.(type) {
	case []map[string]any:
		ms = v
	case []any:
		for _, e := range v {
			m, ok := e.(map[string]any)
			if !ok {
				ms = nil
				break
			}
			ms = append(ms, m)
		}
	}
	if ms == nil {
		t.fault(key, "this is %s; each copy is a part of its own, which begins with the line [[%s]], with two brackets", kindOf(v), key)
		return nil
	}
	all := make([]*table, len(ms))
	for i, m := range ms {
		all[i] = &table{file: t.file, path: fmt.Sprintf("%s[%d]", tomlline.Join(t.path, key), i), left: m}
	}
	return all
}

// words takes a key whose value is a list of texts.
func (t *table) words(key string) []string {
	v, ok := t.take(key)
	if !ok {
		return nil
	}
	list, ok := v.([]any)
	if !ok {
		t.fault(key, "this is %s where a list of words is wanted, as in %s = [\"one\", \"two\"]", kindOf(v), key)
		return nil
	}
	words := make([]string, 0, len(list))
	for _, e := range list {
		s, ok := e.(string)
		if s = strings.TrimSpace(s); !ok || s == "" {
			t.fault(key, "every word of the list must be text in quotes, and not empty")
			return nil
		}
		words = append(words, s)
	}
	return words
}

// rest reports every key that nobody asked for. Values of unknown keys are not
// repeated: they may be secrets put in the wrong place.
func (t *table) rest(elsewhere map[string]string) {
	for _, key := range slices.Sorted(maps.Keys(t.left)) {
		if where, ok := elsewhere[key]; ok {
			t.fault(key, "this setting %s; take it out", where)
			continue
		}
		slices.Sort(t.known)
		t.fault(key, "there is no such setting here; correct its spelling or take it out (settings here: %s)",
			strings.Join(slices.Compact(t.known), ", "))
	}
}

func kindOf(v any) string {
	switch v.(type) {
	case string:
		return "text"
	case int64, float64:
		return "a number"
	case bool:
		return "true or false"
	case []any:
		return "a list"
	case map[string]any:
		return "a part with settings of its own"
	case []map[string]any:
		return "a list of parts"
	}
	return "a date or time"
}
