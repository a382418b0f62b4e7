package card

import (
	"strconv"
	"strings"
	"time"

	"linecamp/manifest/tomlline"
)

// keys is one table of a card, from which keys are taken one by one.
type keys struct{ *tomlline.Table }

// texts takes a key whose value is a list of texts, or one text.
func (k keys) texts(key string) []string {
	if one, ok := k.Left[key].(string); ok {
		k.Left[key] = []any{one}
	}
	return k.Words(key)
}

// The years that a card can mean: photography's, and plans not too far off.
const (
	firstYear = 1826
	lastYear  = 2999
)

func (k keys) year(key string) int { return int(k.Number(key, firstYear, lastYear, true, "year")) }

// day takes a key whose value is a day or a year, as a day: of a year the last
// or the first.
func (k keys) day(key string, last bool) string {
	v, ok := k.Take(key)
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
	k.Fault(key, "a day such as 2020-08-15 or a year such as 2020 is wanted here")
	return ""
}

// flag takes a key whose value is true or false; nil where there is none.
func (k keys) flag(key string) *bool {
	if _, ok := k.Left[key].(bool); !ok {
		k.Flag(key)
		return nil
	}
	return new(k.Flag(key))
}
