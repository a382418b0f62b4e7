package inventory

import "testing"

func TestTimes(t *testing.T) {
	for s, want := range map[string]bool{
		// RFC 3339 section 5.8
		"1985-04-12T23:20:50.52Z":      true,
		"1996-12-19T16:39:57-08:00":    true,
		"1990-12-31T23:59:60Z":         true,
		"1990-12-31T15:59:60-08:00":    true,
		"1937-01-01T12:00:27.87+00:20": true,
		"1985-04-12t23:20:50z":         true, // section 5.6: letters of either case
		"2024-02-29T00:00:00Z":         true,
		"2023-02-29T00:00:00Z":         false,
		"2023-13-01T00:00:00Z":         false,
		"2023-00-01T00:00:00Z":         false,
		"2023-01-01T24:00:00Z":         false,
		"2023-01-01T23:60:00Z":         false,
		"2023-01-01T23:00:61Z":         false,
		"2023-01-01T23:00Z":            false,
		"2023-01-01":                   false,
		"2023-01-01T23:00:00":          false,
		"2023-01-01T23:00:00.Z":        false,
		"2023-01-01T23:00:00,5Z":       false,
		"2023-01-01T23:00:00+1:00":     false,
		"2023-01-01T23:00:00+24:00":    false,
		"2023-01-01T23:00:00+01:60":    false,
		"2023-01-01T23:00:00+0100":     false,
		"2023-01-01T23:00:00 Z":        false,
		"2023-01-01T3:00:00Z":          false,
		"20230101T230000Z":             false,
		"":                             false,
		"2023-01-01T23:00:00Z\n":       false,
		"２０２３-01-01T23:00:00Z":         false,
	} {
		if isTime(s) != want {
			t.Errorf("%q: %v", s, !want)
		}
	}
}

func TestURIs(t *testing.T) {
	for s, want := range map[string]bool{
		// RFC 3986 section 1.1.2
		"ftp://ftp.is.co.za/rfc/rfc1808.txt":                  true,
		"http://www.ietf.org/rfc/rfc2396.txt":                 true,
		"ldap://[2001:db8::7]/c=GB?objectClass?one":           true,
		"mailto:John.Doe@example.com":                         true,
		"news:comp.infosystems.www.servers.unix":              true,
		"tel:+1-816-555-1212":                                 true,
		"telnet://192.0.2.16:80/":                             true,
		"urn:oasis:names:specification:docbook:dtd:xml:4.1.2": true,
		"linecamp:saltbush-draw:windmill--stake-3":            true,
		"http://example.org/a%20b":                            true,
		"http://example.org/a b":                              false,
		"http://example.org/%zz":                              false,
		"http://example.org/%2":                               false,
		"http://example.org/#a#b":                             false,
		"http://example.org/ü":                                false,
		"stake-3":                                             false, "3d:x": false, ":x": false, "x:": false, "": false, "a_b:c": false,
	} {
		if isURI(s) != want {
			t.Errorf("%q: %v", s, !want)
		}
	}
}

func TestVersionNames(t *testing.T) {
	for s, want := range map[string][2]int{
		"v1": {1, 0}, "v10": {10, 0}, "v001": {1, 3}, "v010": {10, 3}, "v0": {0, 1}, "v": {}, "1": {}, "V1": {}, "v1a": {}, "v-1": {}, "v1.0": {}, "": {},
		"v99999999999999999999999": {},
	} {
		if n, w := ParseVersionName(s); n != want[0] || n > 0 && w != want[1] {
			t.Errorf("%q: %d, %d", s, n, w)
		}
	}
}

func TestConflicts(t *testing.T) {
	for _, c := range []struct {
		paths []string
		want  bool
	}{
		{[]string{"a", "b", "a-b", "a.b", "a b/c", "ab"}, false},
		{[]string{"a", "a-b", "a/b"}, true},
		{[]string{"a/b/c", "a.x", "a!", "a/b"}, true},
		{[]string{"x", "a", "x"}, true},
		{[]string{"a/b", "a/c", "a"}, true},
		{[]string{"a\x00", "a/b"}, false},
	} {
		got := false
		conflicts(c.paths, func(string, string) { got = true })
		if got != c.want {
			t.Errorf("%q: %v", c.paths, got)
		}
	}
}
