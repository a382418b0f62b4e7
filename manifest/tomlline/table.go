package tomlline

import (
	"cmp"
	"fmt"
	"maps"
	"math"
	"path/filepath"
	"slices"
	"strings"
)

// File collects the faults of one file while it is taken apart.
type File struct {
	Path   string
	Lines  Lines
	Faults []Fault
	// IsProse: texts may have tabs and line ends.
	IsProse bool
	// Instead is what to do with a key that is unknown; "" is to take it out.
	Instead string
}

// Table is one table of a file, from which keys are taken one by one. What is left at
// the end is unknown.
type Table struct {
	*File
	Key   string // "copy[1]", "" for the file itself
	Left  map[string]any
	Known []string // keys asked for so far
}

// Fault records a fault of a key of the table, or with the table itself
// where key is "".
func (t *Table) Fault(key, format string, a ...any) {
	path := t.Key
	if key != "" {
		path = Join(t.Key, key)
	}
	t.Faults = append(t.Faults, Fault{Line: t.Lines.At(path), Key: Shown(path), Text: fmt.Sprintf(format, a...)})
}

// Take takes a key of any kind.
func (t *Table) Take(key string) (any, bool) {
	t.Known = append(t.Known, key)
	v, ok := t.Left[key]
	delete(t.Left, key)
	return v, ok
}

// Text takes a key whose value is text, without the white space around it.
func (t *Table) Text(key string) string {
	v, ok := t.Take(key)
	if !ok {
		return ""
	}
	s, ok := v.(string)
	if !ok {
		t.Fault(key, "this is %s where text is wanted; put it in quotes, as in %s = \"…\"", kindOf(v), key)
		return ""
	}
	// Tabs and line ends have no place in a name, a path or a time.
	if !t.IsProse && strings.ContainsFunc(s, func(r rune) bool { return r < ' ' || r == 0x7f }) {
		t.Fault(key, "the text holds a line end, a tab or another control character; leave it out (in a Windows path, write / for \\)")
		return ""
	}
	return strings.TrimSpace(s)
}

// Flag takes a key whose value is true or false.
func (t *Table) Flag(key string) bool {
	v, ok := t.Take(key)
	if !ok {
		return false
	}
	b, ok := v.(bool)
	if !ok {
		t.Fault(key, "this is %s where true or false is wanted, without quotes", kindOf(v))
	}
	return b
}

// Number takes a key whose value is a number from least to most; 0 where it is
// absent.
func (t *Table) Number(key string, least, most float64, whole bool, what string) float64 {
	if n := t.NumberOr(key, least, most, whole, what); n != nil {
		return *n
	}
	return 0
}

// NumberOr is Number where 0 is a value like any other; nil where it is absent.
func (t *Table) NumberOr(key string, least, most float64, whole bool, what string) *float64 {
	v, ok := t.Take(key)
	if !ok {
		return nil
	}
	kind := "a number"
	if whole {
		kind = "a whole number"
	}
	n, ok := Number(v)
	if !ok {
		t.Fault(key, "this is %s where %s is wanted, without quotes: the %s", kindOf(v), kind, what)
		return nil
	}
	if !(least <= n && n <= most) || whole && n != math.Trunc(n) {
		t.Fault(key, "%v cannot be the %s; write %s from %g to %g", v, what, kind, least, most)
		return nil
	}
	return &n
}

// Sub takes a key that is a table, [key]. Absent is an empty one.
func (t *Table) Sub(key string) *Table {
	v, ok := t.Take(key)
	m, isTable := v.(map[string]any)
	if ok && !isTable {
		t.Fault(key, "this is %s where a part of its own is wanted, which begins with the line [%s]", kindOf(v), key)
	}
	return &Table{File: t.File, Key: Join(t.Key, key), Left: m}
}

// Subs takes a key that is any number of tables, [[key]].
func (t *Table) Subs(key string) []*Table {
	v, ok := t.Take(key)
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
		t.Fault(key, "this is %s; write each %[2]s below a line [[%[2]s]] of its own, with two brackets", kindOf(v), key)
		return nil
	}
	all := make([]*Table, len(ms))
	for i, m := range ms {
		all[i] = &Table{File: t.File, Key: fmt.Sprintf("%s[%d]", Join(t.Key, key), i), Left: m}
	}
	return all
}

// Words takes a key whose value is a list of texts.
func (t *Table) Words(key string) []string {
	v, ok := t.Take(key)
	if !ok {
		return nil
	}
	list, ok := v.([]any)
	if !ok {
		t.Fault(key, "this is %s where a list of words is wanted, as in %s = [\"one\", \"two\"]", kindOf(v), key)
		return nil
	}
	words := make([]string, 0, len(list))
	for _, e := range list {
		s, ok := e.(string)
		if s = strings.TrimSpace(s); !ok || s == "" {
			t.Fault(key, "every word of the list must be text in quotes, and not empty")
			continue
		}
		words = append(words, s)
	}
	return words
}

// Rest reports every key that nobody asked for. Values of unknown keys are not
// repeated: they may be secrets put in the wrong place.
func (t *Table) Rest(elsewhere map[string]string) {
	for _, key := range slices.Sorted(maps.Keys(t.Left)) {
		if where, ok := elsewhere[key]; ok {
			t.Fault(key, "this setting %s; take it out", where)
			continue
		}
		slices.Sort(t.Known)
		t.Fault(key, "there is no such setting here; correct its spelling or %s (settings here: %s)",
			cmp.Or(t.Instead, "take it out"), strings.Join(slices.Compact(t.Known), ", "))
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
