package screen

import (
	"bytes"
	"testing"
)

func TestSafe(t *testing.T) {
	for given, want := range map[string]string{
		"one\ntwo\tthree é 北\n": "one\ntwo\tthree é 北\n",
		"\x1b[31m\n":            "\\u{1b}[31m\n",
		"a\u202eb\xff":          "a\\u{202e}b\\xff",
	} {
		var b bytes.Buffer
		if n, err := Safe(&b).Write([]byte(given)); n != len(given) || err != nil || b.String() != want {
			t.Errorf("%q becomes %q (%d, %v), want %q", given, b.String(), n, err, want)
		}
	}
}

func TestJSON(t *testing.T) {
	var got bytes.Buffer
	err := JSON(&got, map[string]string{"a": "é\u202e\u009b\U000e0041 \u3164\n"})
	if want := "{\n  \"a\": \"é\\u202e\\u009b\\udb40\\udc41 \\u3164\\n\"\n}\n"; err != nil || got.String() != want {
		t.Errorf("%s (%v), want %s", got.String(), err, want)
	}
}
