package inventory

import (
	"regexp"
	"strings"
	"time"
)

// moment is a date-time of RFC 3339 section 5.6: letters of either case, and a leap
// second. Which days a month has, time knows.
var moment = regexp.MustCompile(`^(\d{4}-\d\d-\d\d)[Tt]([01]\d|2[0-3]):[0-5]\d:([0-5]\d|60)(\.\d+)?([Zz]|[+-]([01]\d|2[0-3]):[0-5]\d)$`)

// isTime reports whether s is a date-time of RFC 3339.
func isTime(s string) bool {
	m := moment.FindStringSubmatch(s)
	if m == nil {
		return false
	}
	_, err := time.Parse(time.DateOnly, m[1])
	return err == nil
}

// uri is a scheme, and only what a URI may hold (RFC 3986 sections 2 and 3.1).
var uri = regexp.MustCompile(`^[A-Za-z][A-Za-z0-9+.-]*:(?:[-A-Za-z0-9._~:/?#\[\]@!$&'()*+,;=]|%[0-9A-Fa-f]{2})+$`)

func isURI(s string) bool { return uri.MatchString(s) && strings.Count(s, "#") < 2 }

func digit(c byte) bool { return c >= '0' && c <= '9' }

// IsHex reports whether s is made of hexadecimal digits.
func IsHex(s string) bool {
	for i := range len(s) {
		if c := s[i]; !digit(c) && (c|0x20 < 'a' || c|0x20 > 'f') {
			return false
		}
	}
	return s != ""
}
