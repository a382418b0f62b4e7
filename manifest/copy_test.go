package manifest

import (
	"bytes"
	"context"
	"errors"
	"io"
	"strings"
	"testing"
	"testing/iotest"
)

func TestCopy(t *testing.T) {
	text := strings.Repeat("windmill ", 200_000)
	bad := errors.New("the drive is gone")
	for name, src := range map[string]io.Reader{
		"at once":                strings.NewReader(text),
		"byte by byte":           iotest.OneByteReader(strings.NewReader(text[:999])),
		"the end with the bytes": iotest.DataErrReader(strings.NewReader(text)),
		"nothing":                strings.NewReader(""),
	} {
		want := text
		switch name {
		case "byte by byte":
			want = text[:999]
		case "nothing":
			want = ""
		}
		var dst bytes.Buffer
		d, size, err := Copy(t.Context(), &dst, src)
		if err != nil || d != sum(want) || size != int64(len(want)) || dst.String() != want {
			t.Errorf("%s: %s, %d bytes, %v", name, d, size, err)
		}
	}
	if d, size, err := Copy(t.Context(), nil, strings.NewReader(text)); err != nil || d != sum(text) || size != int64(len(text)) {
		t.Errorf("to nowhere: %s, %d bytes, %v", d, size, err)
	}
	if d, size, err := Copy(t.Context(), io.Discard, io.MultiReader(strings.NewReader("abc"), iotest.ErrReader(bad))); err != bad || size != 3 || !d.IsZero() {
		t.Errorf("a source that fails: %s, %d bytes, %v", d, size, err)
	}
	if d, _, err := Copy(t.Context(), failing{bad}, strings.NewReader(text)); err != bad || !d.IsZero() {
		t.Errorf("a target that fails: %s, %v", d, err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if d, size, err := Copy(ctx, nil, strings.NewReader(text)); err != context.Canceled || size != 0 || !d.IsZero() {
		t.Errorf("ended: %s, %d bytes, %v", d, size, err)
	}
}

type failing struct{ err error }

func (f failing) Write([]byte) (int, error) { return 0, f.err }
