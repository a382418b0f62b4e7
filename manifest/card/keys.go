package card

import (
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"
	"time"

	"linecamp/manifest/tomlline"
)

// sheet is a card file while it is taken apart.
type sheet struct {
	file   string
	lines  tomlline.Lines
	faults []Fault
}

// keys is one table of it, from which keys are taken one by one. What is left
// at the end is unknown.
type keys struct {
	*sheet
	path  string // "expect[1]", "" for the card itself
	left  map[string]any
	known []string
}

func (k *keys) fault(key, format string, a ...any) {
	path := k.path
	if key != "" {
		path = tomlline.Join(k.path, key)
	}
	k.faults = append(k.faults, Fault{k.file, k.lines.At(path), tomlline.Shown(path), fmt.Sprintf(format, a...)})
}

func (k *keys) take(key string) (any, bool) {
	k.known = append(k.known, key)
	v, ok := k.left[key]
	delete(k.left, key)
	return v, ok
}

// text takes a key whose value is text.
func (k *keys) text(key string) string {
	v, ok := k.take(key)
	if !ok {
		return ""
	}
	s, ok := v.(string)
	if !ok {
		k.fault(key, "text is wanted here; put it in quotes, as in %s = \"…\"", key)
	}
	return strings.TrimSpace(s)
}

// texts takes a key whose value is a list of texts, or one text.
func (k *keys) texts(key string) []string {
	v, ok := k.take(key)
	if !ok {
		return nil
	}
	list, ok := v.([]any)
	if !ok {
		list = []any{v}
	}
	out := []string{}
	for _, e := range list {
		s, ok := e.(string)
		if s = strings.TrimSpace(s); !ok || s == "" {
			k.fault(key, "a list of texts is wanted here, as in %s = [\"one\", \"two\"]", key)
			continue
		}
		out = append(out, s)
	}
	return out
}

// number takes a key whose value is a number from least to most.
func (k *keys) number(key string, least, most float64, what string) *float64 {
	v, ok := k.take(key)
	if !ok {
		return nil
	}
	n, ok := tomlline.Number(v)
	if !ok || !(least <= n && n <= most) {
		k.fault(key, "%s is wanted here: a number from %g to %g, without quotes", what, least, most)
		return nil
	}
	return &n
}

// whole takes a key whose value is a whole number; 0 where there is none.
func (k *keys) whole(key string, least, most int64, what string) int {
	v, ok := k.take(key)
	if !ok {
		return 0
	}
	n, ok := v.(int64)
	if !ok || n < least || n > most {
		k.fault(key, "%s is wanted here: a whole number from %d to %d, without quotes", what, least, most)
		return 0
	}
	return int(n)
}

// The years that a card can mean: photography's, and plans not too far off.
const (
	firstYear = 1826
	lastYear  = 2999
)

func (k *keys) year(key string) int { return k.whole(key, firstYear, lastYear, "a year") }

// day takes a key whose value is a day or a year, as a day: of a year the last
// or the first.
func (k *keys) day(key string, last bool) string {
	v, ok := k.take(key)
	if !ok {
		return ""
	}
	s := ""
	switch v := v.(type) {
	case string:
		s = strings.TrimSpace(v)
	case int64:
		s = strconv.FormatInt(v, 10)
	case time.Time:
		s = v.Format(time.DateOnly)
	}
	if d, err := time.Parse(time.DateOnly, s); err == nil && d.Year() >= firstYear && d.Year() <= lastYear {
		return s
	}
	if n, err := strconv.Atoi(s); err == nil && len(s) == 4 && n >= firstYear && n <= lastYear {
		if last {
			return s + "-12-31"
		}
		return s + "-01-01"
	}
	k.fault(key, "a day such as 2020-08-15 or a year such as 2020 is wanted here")
	return ""
}

// flag takes a key whose value is true or false; nil where there is none.
func (k *keys) flag(key string) *bool {
	v, ok := k.take(key)
	if !ok {
		return nil
	}
	b, ok := v.(bool)
	if !ok {
		k.fault(key, "true or false is wanted here, without quotes")
		return nil
	}
	return &b
}

// tables takes a key that is any number of tables, [[key]].
func (k *keys) tables(key string) []*keys {
	v, ok := k.take(key)
	if !ok {
		return nil
	}
	var list []map[string]any
	switch v := v.(type) {
	case []map[string]any:
		list = v
	case map[string]any:
		k.fault(key, "this part begins with the line [[%s]], with two brackets", key)
		return nil
	default:
		k.fault(key, "a part of its own is wanted here, which begins with the line [[%s]]", key)
		return nil
	}
	out := make([]*keys, len(list))
	for i, m := range list {
		out[i] = &keys{sheet: k.sheet, path: fmt.Sprintf("%s[%d]", tomlline.Join(k.path, key), i), left: m}
	}
	return out
}

// rest reports every key that nobody asked for.
func (k *keys) rest() {
	for _, key := range slices.Sorted(maps.Keys(k.left)) {
		k.fault(key, "there is no such key here; correct its spelling, or move it below the line [about] (keys here: %s)",
			strings.Join(slices.Sorted(slices.Values(k.known)), ", "))
	}
}
