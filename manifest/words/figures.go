package words

import (
	"fmt"
	"strings"
	"time"
)

// Count puts a number before its noun. The plural takes an s, unless it is given
// too: Count(2, "is", "are").
func Count[N ~int | ~int64](n N, one string, many ...string) string {
	return fmt.Sprintf("%d %s", n, Noun(n, one, many...))
}

// Noun is the form of a noun, or of a verb, that goes with a number.
func Noun[N ~int | ~int64](n N, one string, many ...string) string {
	switch {
	case n == 1:
		return one
	case len(many) > 0:
		return many[0]
	}
	return one + "s"
}

// Size writes a number of bytes with three digits at most, in powers of 1000, as
// drives are sold.
func Size(n int64) string {
	if n < 1000 {
		return Count(n, "byte")
	}
	v := float64(n)
	for _, u := range []string{"kB", "MB", "GB", "TB"} {
		v /= 1000
		if v < 999.5 || u == "TB" {
			if v < 9.95 {
				return fmt.Sprintf("%.1f %s", v, u)
			}
			return fmt.Sprintf("%.0f %s", v, u)
		}
	}
	return ""
}

// Days says how long a stretch of days is.
func Days(d time.Duration) string {
	if n := int(d / (24 * time.Hour)); n >= 1 {
		return Count(n, "day")
	}
	return Count(int(d/time.Hour), "hour")
}

// Ago says how long ago something was, as people say it.
func Ago(d time.Duration) string {
	switch {
	case d < time.Minute:
		return "just now"
	case d < time.Hour:
		return Count(int(d/time.Minute), "minute") + " ago"
	case d < 48*time.Hour:
		return Count(int(d/time.Hour), "hour") + " ago"
	}
	return Days(d) + " ago"
}

// When shows a moment in local time.
func When(t time.Time) string { return t.Local().Format("Mon Jan 2, 2006, 15:04") }

// Runs writes numbers, such as years, with those in a row run together:
// "2009, 2012-2015".
func Runs(numbers []int) string {
	var parts []string
	for i := 0; i < len(numbers); {
		j := i
		for j+1 < len(numbers) && numbers[j+1] == numbers[j]+1 {
			j++
		}
		if j > i {
			parts = append(parts, fmt.Sprintf("%d-%d", numbers[i], numbers[j]))
		} else {
			parts = append(parts, fmt.Sprint(numbers[i]))
		}
		i = j + 1
	}
	return strings.Join(parts, ", ")
}

// Sentence gives a text a capital and an end.
func Sentence(s string) string {
	s = strings.TrimSpace(s)
	if s == "" {
		return ""
	}
	if !strings.ContainsRune(".?!", rune(s[len(s)-1])) {
		s += "."
	}
	if first, _, _ := strings.Cut(s, " "); strings.ContainsAny(first, "/.:\\`_-") {
		return s // a name or a path stays as it is
	}
	return strings.ToUpper(s[:1]) + s[1:]
}
