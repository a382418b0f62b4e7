package manifest

import (
	"errors"
	"strings"
	"testing"
	"testing/iotest"
)

func TestReadUpTo(t *testing.T) {
	for text, most := range map[string]int64{"": 0, "abc": 3, "ab": 3} {
		if b, err := ReadUpTo(iotest.OneByteReader(strings.NewReader(text)), most); string(b) != text || err != nil {
			t.Errorf("%q within %d: %q, %v", text, most, b, err)
		}
	}
	if b, err := ReadUpTo(strings.NewReader("abcd"), 3); b != nil || !errors.Is(err, ErrLong) {
		t.Errorf("%q, %v", b, err)
	}
	broken := errors.New("broken")
	if b, err := ReadUpTo(iotest.ErrReader(broken), 3); b != nil || !errors.Is(err, broken) {
		t.Errorf("%q, %v", b, err)
	}
}
