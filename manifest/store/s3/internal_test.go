package s3

import (
	"strings"
	"testing"
)

func FuzzParseCredentials(f *testing.F) {
	f.Add("access = \"a\"\nsecret = \"b\"\n")
	f.Add("access = 'a'\r\n[x]\nsecret = \"\"\"b\"\"\"")
	f.Fuzz(func(t *testing.T, text string) {
		access, secret, session, err := parseCredentials(text)
		if err == nil && (access == "" || secret == "" || strings.ContainsAny(access+secret+session, " \n\r\x00")) {
			t.Fatalf("accepted %q, %q, %q", access, secret, session)
		}
		if err != nil && len(err.Error()) > 120 {
			t.Fatalf("a long message may quote the file: %v", err)
		}
	})
}

// What a service says it checked is taken only as a whole SHA-256.
func FuzzReported(f *testing.F) {
	f.Add("47DEQpj8HBSa+/TImW+5JCeuQeRkm5NMpJWZG3hSuFU=", "")
	f.Add("", "COMPOSITE")
	f.Fuzz(func(t *testing.T, sum, mode string) {
		if d := reported(sum, mode); !d.IsZero() && (strings.EqualFold(mode, "COMPOSITE") || len(sum) < 44) {
			t.Fatalf("%q, %q: %v", sum, mode, d)
		}
	})
}
