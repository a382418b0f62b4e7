package dates

import (
	"strings"

	"linecamp/manifest/names"
)

var seasons = map[string]string{
	"spring": "spring", "summer": "summer", "fall": "fall", "autumn": "fall", "winter": "winter",
}

var monthNames = [...]string{"", "january", "february", "march", "april", "may", "june", "july",
	"august", "september", "october", "november", "december"}

var months = func() map[string]int {
	m := map[string]int{"sept": 9}
	for i, n := range monthNames {
		if i > 0 {
			m[n], m[n[:3]] = i, i
		}
	}
	return m
}()

// Season is the season or month that a word names, as a [Date] has it; "" where it
// names none.
func Season(word string) string {
	word = strings.ToLower(word)
	if m := months[word]; m != 0 {
		return monthNames[m]
	}
	return seasons[word]
}

// Month is the number of the month that a season names; 0 where it is no month.
func Month(season string) int { return months[season] }

// SeasonOrder puts seasons and months in the order of the year.
func SeasonOrder(season string) int {
	if m := months[season]; m != 0 {
		return m * 10
	}
	return map[string]int{"spring": 35, "summer": 65, "fall": 95, "winter": 125}[season]
}

// Words that may stand beside a date or a view without making a folder's name say
// more (common practice, no source).
var emptyWords = map[string]bool{
	"photo": true, "photos": true, "picture": true, "pictures": true, "pics": true, "image": true, "images": true,
	"visit": true, "visits": true, "monitoring": true, "survey": true, "season": true, "year": true,
	"field": true, "notes": true, "early": true, "mid": true, "late": true, "and": true, "of": true,
}

// WithoutEmpty takes the empty words, such as "photos", from the end of a name's
// words; the first word stays.
func WithoutEmpty(w []names.Word) []names.Word {
	for len(w) > 1 && emptyWords[w[len(w)-1].Text] {
		w = w[:len(w)-1]
	}
	return w
}

// seasonBeside finds a season word directly before or after a date.
func seasonBeside(w []names.Word, used []bool) string {
	for i := range w {
		s := seasons[w[i].Text]
		if s == "" {
			continue
		}
		if i > 0 && used[i-1] || i+1 < len(w) && used[i+1] {
			return s
		}
	}
	return ""
}
