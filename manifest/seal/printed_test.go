package seal

import (
	"errors"
	"fmt"
	"os/exec"
	"strings"
	"testing"
	"time"

	"linecamp/manifest"
)

func logOf(t *testing.T, n int) *Seal {
	t.Helper()
	s := &Seal{}
	for i := range n {
		l := Line{At: time.Date(2026, 7, 1+i%28, 2, 30, 0, 0, time.UTC), What: Version,
			Object: "linecamp:saltbush-draw:north--windmill", Version: i + 1, Inventory: manifest.Sum([]byte{byte(i), byte(i >> 8)})}
		if err := s.Append(l); err != nil {
			t.Fatal(err)
		}
	}
	return s
}

// The printed half is what coreutils' head and sha256sum print of the log.
func TestPrintedSealAgainstSha256sum(t *testing.T) {
	s := logOf(t, 40)
	p := s.printed(17)
	var text strings.Builder
	text.Write(s.Text(0, s.Len()))
	cmd := exec.Command("sh", "-c", "head -n 17 | sha256sum")
	cmd.Stdin = strings.NewReader(text.String())
	out, err := cmd.Output()
	if err != nil {
		t.Fatal(err)
	}
	if half := fmt.Sprintf("%x", p.Half); !strings.HasPrefix(string(out), half) {
		t.Errorf("printed %s, sha256sum says %s", half, out)
	}
	if want := "17 2026-07-17 "; !strings.HasPrefix(p.String(), want) {
		t.Errorf("printed %q, want it to begin with %q", p, want)
	}
}

func TestPrintedSealIsReadAsPeopleCopyIt(t *testing.T) {
	p := logOf(t, 9).Printed()
	line := p.String()
	full := fmt.Sprintf("9 %s %s", p.Day, logOf(t, 9).Digest())
	for _, text := range []string{line, strings.ToUpper(line), strings.ReplaceAll(line, "-", " ")[:2] + p.Day + strings.ReplaceAll(line[12:], "-", " "), "  " + line + "\n", full} {
		got, err := ParsePrinted(text)
		if err != nil || got != p {
			t.Errorf("%q was read as %v, %v", text, got, err)
		}
	}
	for _, text := range []string{"", "9", "nine 2026-07-09 " + line[13:], "9 2026-13-09 " + line[13:], line[:len(line)-1], line + "0", strings.Replace(line, line[13:14], "g", 1), "0 2026-07-09 " + line[13:], "09" + line[1:], "-" + line} {
		if got, err := ParsePrinted(text); !errors.Is(err, ErrPrinted) {
			t.Errorf("%q was read as %v, %v", text, got, err)
		}
	}
}

func TestBears(t *testing.T) {
	s := logOf(t, 30)
	p := s.printed(12)
	if err := s.Bears(p); err != nil {
		t.Errorf("a longer log does not bear its own seal: %v", err)
	}
	if err := (&Seal{}).Bears((&Seal{}).Printed()); err != nil {
		t.Errorf("an empty log: %v", err)
	}
	if err := logOf(t, 11).Bears(p); !errors.Is(err, ErrShort) {
		t.Errorf("a shorter log: %v", err)
	}
	rewritten := &Seal{}
	for l := range s.All() {
		if l.N == 5 {
			l.Inventory = manifest.Sum([]byte("another"))
		}
		if err := rewritten.Append(l); err != nil {
			t.Fatal(err)
		}
	}
	if err := rewritten.Bears(p); !errors.Is(err, ErrDiffers) || errors.Is(err, ErrSlip) {
		t.Errorf("a rewritten log: %v", err)
	}
	if err := rewritten.Bears(s.printed(4)); err != nil {
		t.Errorf("a seal from before the rewritten line: %v", err)
	}
	for what, slip := range map[string]struct {
		p    Printed
		says string
	}{
		"a digit":         {Printed{p.Lines, p.Day, half(p.Half, 3)}, "group 2"},
		"the day":         {Printed{p.Lines, "2031-07-13", p.Half}, "line 12"},
		"the count":       {Printed{21, p.Day, p.Half}, "line 12"},
		"a greater count": {Printed{120, p.Day, p.Half}, "line 12"},
	} {
		if err := s.Bears(slip.p); !errors.Is(err, ErrSlip) || !strings.Contains(err.Error(), slip.says) {
			t.Errorf("a slip of the pen in %s: %v", what, err)
		}
	}
}

// half has one bit of byte i changed.
func half(h [16]byte, i int) [16]byte {
	h[i] ^= 0x10
	return h
}

func FuzzParsePrinted(f *testing.F) {
	f.Add("47 2026-07-02 9f3a-11c2-0000-0000-0000-0000-0000-ffff")
	f.Add("0 - e3b0-c442-98fc-1c14-9afb-f4c8-996f-b924")
	f.Fuzz(func(t *testing.T, text string) {
		p, err := ParsePrinted(text)
		if err != nil {
			return
		}
		if again, err := ParsePrinted(p.String()); err != nil || again != p {
			t.Errorf("%q is %v, and %q is %v (%v)", text, p, p.String(), again, err)
		}
	})
}
