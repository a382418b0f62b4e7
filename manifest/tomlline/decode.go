package tomlline

import (
	"bytes"
	"errors"
	"regexp"
	"strings"
	"time"
	"unicode/utf8"

	"github.com/BurntSushi/toml"
)

// Fault is something that is wrong in a file.
type Fault struct {
	Line int    // 0 where no line is to blame
	Key  string // "" where no key is to blame
	Text string // what is wrong and what to do
	// Other is the file of another archive that has to do with it; "" for none. Only
	// whoever runs the machine is told it.
	Other string
}

// Decode reads a file: its values, and the lines of its keys. A byte-order mark
// and CRLF are accepted. The fault is nil where all could be read.
func Decode(b []byte) (map[string]any, Lines, *Fault) {
	if bytes.HasPrefix(b, []byte("\xff\xfe")) || bytes.HasPrefix(b, []byte("\xfe\xff")) {
		return nil, nil, &Fault{Line: 1, Text: "this file is saved as UTF-16; save it as UTF-8"}
	}
	text := string(bytes.TrimPrefix(b, []byte("\xef\xbb\xbf")))
	if !utf8.ValidString(text) {
		before, _, _ := strings.Cut(strings.ToValidUTF8(text, "\xff"), "\xff")
		return nil, nil, &Fault{Line: 1 + strings.Count(before, "\n"), Text: "this line holds a letter that is not in UTF-8; save the file as UTF-8 (a folder's name must be in UTF-8 too)"}
	}
	tree := map[string]any{}
	if _, err := toml.Decode(text, &tree); err != nil {
		var at toml.ParseError
		if !errors.As(err, &at) {
			return nil, nil, &Fault{Text: "this file cannot be read: " + err.Error()}
		}
		f := &Fault{Line: at.Position.Line, Key: at.LastKey, Text: "this line cannot be read: " + at.Message +
			"; text stands in quotes, and each setting on a line of its own"}
		if lines := strings.Split(text, "\n"); f.Line >= 1 && f.Line <= len(lines) {
			if day := bareDay.FindStringSubmatch(lines[f.Line-1]); day != nil && !isDay(day[1]) {
				f.Text = day[1] + " cannot be read as a day; check that the month has this day, and write year-month-day, such as 2023-06-09"
			}
		}
		return nil, nil, f
	}
	return tree, find(text), nil
}

// bareDay is a value that somebody meant as a day, without quotes.
var bareDay = regexp.MustCompile(`=\s*([0-9]{4}-[0-9]+-[0-9]+)`)

func isDay(s string) bool {
	_, err := time.Parse(time.DateOnly, s)
	return err == nil
}

// Number is a value that was written as a number, whole or not.
func Number(v any) (n float64, ok bool) {
	switch v := v.(type) {
	case int64:
		return float64(v), true
	case float64:
		return v, true
	}
	return 0, false
}

// Shown is a key without the numbers of its tables; the line tells which.
func Shown(path string) string {
	var b strings.Builder
	for path != "" {
		before, rest, found := strings.Cut(path, "[")
		b.WriteString(before)
		if !found {
			break
		}
		_, path, _ = strings.Cut(rest, "]")
	}
	return b.String()
}
