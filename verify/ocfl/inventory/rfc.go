package inventory

import (
	"strings"
	"time"
)

// isTime reports whether s is a date-time of RFC 3339 section 5.6, with the
// leap second it allows and letters of either case.
func isTime(s string) bool {
	shape := "dddd-dd-ddTdd:dd:dd"
	if len(s) <= len(shape) {
		return false
	}
	for i := range len(shape) {
		switch c := s[i]; shape[i] {
		case 'd':
			if !digit(c) {
				return false
			}
		case 'T':
			if c != 'T' && c != 't' {
				return false
			}
		default:
			if c != shape[i] {
				return false
			}
		}
	}
	two := func(i int) int { return int(s[i]-'0')*10 + int(s[i+1]-'0') }
	if _, err := time.Parse(time.DateOnly, s[:10]); err != nil {
		return false
	}
	if two(11) > 23 || two(14) > 59 || two(17) > 60 {
		return false
	}
	rest := s[len(shape):]
	if fraction, ok := strings.CutPrefix(rest, "."); ok {
		rest = strings.TrimLeft(fraction, "0123456789")
		if len(rest) == len(fraction) {
			return false
		}
	}
	if rest == "Z" || rest == "z" {
		return true
	}
	return len(rest) == 6 && (rest[0] == '+' || rest[0] == '-') && rest[3] == ':' &&
		digit(rest[1]) && digit(rest[2]) && digit(rest[4]) && digit(rest[5]) &&
		rest[1:3] <= "23" && rest[4:6] <= "59"
}

// isURI reports whether s begins with a scheme and holds only what a URI may
// hold (RFC 3986 sections 2 and 3.1).
func isURI(s string) bool {
	scheme, rest, ok := strings.Cut(s, ":")
	if !ok || scheme == "" || rest == "" || !letter(scheme[0]) {
		return false
	}
	for i := range len(scheme) {
		if c := scheme[i]; !letter(c) && !digit(c) && c != '+' && c != '-' && c != '.' {
			return false
		}
	}
	if strings.Count(rest, "#") > 1 {
		return false
	}
	for i := 0; i < len(rest); i++ {
		switch c := rest[i]; {
		case letter(c), digit(c), strings.IndexByte("-._~:/?#[]@!$&'()*+,;=", c) >= 0:
		case c == '%' && i+2 < len(rest) && IsHex(rest[i+1:i+3]):
			i += 2
		default:
			return false
		}
	}
	return true
}

func digit(c byte) bool  { return c >= '0' && c <= '9' }
func letter(c byte) bool { return c|0x20 >= 'a' && c|0x20 <= 'z' }

func IsHex(s string) bool {
	for i := range len(s) {
		if c := s[i]; !digit(c) && (c|0x20 < 'a' || c|0x20 > 'f') {
			return false
		}
	}
	return s != ""
}
