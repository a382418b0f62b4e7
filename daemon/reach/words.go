package reach

import (
	"fmt"
	"time"
)

// count puts a number before the right form of a word.
func count(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, many)
}

// days says how long a stretch of days is.
func days(d time.Duration) string {
	if n := int(d / (24 * time.Hour)); n >= 1 {
		return count(n, "day", "days")
	}
	return count(int(d/time.Hour), "hour", "hours")
}

// age says how long ago something was, as people say it.
func age(d time.Duration) string {
	switch {
	case d < time.Minute:
		return "just now"
	case d < time.Hour:
		return count(int(d/time.Minute), "minute", "minutes") + " ago"
	case d < 48*time.Hour:
		return count(int(d/time.Hour), "hour", "hours") + " ago"
	}
	return days(d) + " ago"
}
