package seal

import (
	"bytes"
	"errors"
	"fmt"
	"maps"
	"os"
	"os/exec"
	"path/filepath"
	"reflect"
	"runtime"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"linecamp/manifest"
)

const (
	testID     = "linecamp:saltbush-draw:windmill--stake-3"
	testAuthor = "6f0c1f3e-9d0b-4c59-8a3f-0b6e3b1c7a11"
	testCopy   = "b81e62a0-6a4f-4b8c-b6c9-5b3a3b0f7d22"
)

var testTime = time.Date(2026, 7, 2, 2, 30, 0, 0, time.UTC)

// sum is the digest of a test's content, which is its own text.
func sum(content string) manifest.Digest { return manifest.Sum([]byte(content)) }

// testSeal has n lines of every kind.
func testSeal(t testing.TB, n int) *Seal {
	t.Helper()
	s := &Seal{}
	for i := range n {
		l := Line{At: testTime.Add(time.Duration(i) * time.Second)}
		switch i % 7 {
		case 3:
			l.What, l.Author, l.Epoch, l.Why = Author, testAuthor, i+1, "office computer \"replaced\"\nat last"
		case 5:
			l.What, l.Copy, l.Why = GaveUp, testCopy, "drive stolen — gone"
		default:
			l.What, l.Object, l.Version, l.Inventory = Version, fmt.Sprintf("linecamp:saltbush-draw:stake-%d", i%5), i+1, sum(fmt.Sprint(i))
		}
		if err := s.Append(l); err != nil {
			t.Fatal(err)
		}
	}
	return s
}

func sealFiles(s *Seal) [][]byte {
	var out [][]byte
	for from := 0; from < s.Len(); from += MostLines {
		out = append(out, s.Text(from, from+MostLines))
	}
	return out
}

// divided has the lines in files of so many lines, and the rest in one more.
func divided(s *Seal, lines ...int) [][]byte {
	var out [][]byte
	from := 0
	for _, n := range lines {
		out = append(out, s.Text(from, from+n))
		from += n
	}
	return append(out, s.Text(from, s.Len()))
}

// A log is the same however it is divided into files.
func TestSealDividedAnywhere(t *testing.T) {
	long := testSeal(t, 300)
	rapid.Check(t, func(t *rapid.T) {
		s, err := Decode([][]byte{long.Text(0, rapid.IntRange(1, 300).Draw(t, "lines"))})
		if err != nil {
			t.Fatal(err)
		}
		var lines []int
		for left := s.Len() - 1; left > 0; {
			n := rapid.IntRange(0, min(left, 70)).Draw(t, "lines of a file")
			lines, left = append(lines, n), left-max(n, 1)
		}
		files := divided(s, lines...)
		got, err := Decode(files)
		if err != nil || got.Digest() != s.Digest() || got.Len() != s.Len() || !got.Extends(s) || !s.Extends(got) {
			t.Fatalf("%v: %v", lines, err)
		}
		from, size := 0, int64(0)
		for i, b := range files {
			if n, ok := s.LinesIn(size); !ok || n != from {
				t.Fatalf("file %d begins after line %d, they say %d, %v", i, from, n, ok)
			}
			if _, ok := s.LinesIn(size + 1); ok {
				t.Fatalf("one byte of file %d is a whole line", i)
			}
			from, size = from+bytes.Count(b, []byte("\n")), size+int64(len(b))
		}
		if n, ok := s.LinesIn(size); !ok || n != s.Len() {
			t.Fatalf("all is %d lines, %v", n, ok)
		}
	})
}

// The bytes of lines are the same across the edges of what a file may have.
func TestSealText(t *testing.T) {
	s := testSeal(t, 2*MostLines+9)
	all := s.Text(0, s.Len())
	lines := bytes.SplitAfter(all, []byte("\n"))
	for _, at := range []int{0, 1, MostLines - 1, MostLines, MostLines + 1, 2 * MostLines, s.Len() - 1, s.Len()} {
		for _, to := range []int{at, at + 1, MostLines, MostLines + 1, 2*MostLines + 1, s.Len(), s.Len() + 5} {
			want := bytes.Join(lines[at:max(at, min(to, s.Len()))], nil)
			if got := s.Text(at, to); !bytes.Equal(got, want) {
				t.Errorf("lines %d to %d are %d bytes, want %d", at, to, len(got), len(want))
			}
		}
		size := int64(len(bytes.Join(lines[:at], nil)))
		if n, ok := s.LinesIn(size); !ok || n != at {
			t.Errorf("%d bytes are %d lines (%v), want %d", size, n, ok, at)
		}
		if _, ok := s.LinesIn(size + 1); ok {
			t.Errorf("%d bytes end with a line", size+1)
		}
	}
}

// The lines are those of the storage format, byte for byte.
func TestSealForm(t *testing.T) {
	s := &Seal{}
	for _, l := range []Line{
		{At: testTime, What: Version, Object: testID, Version: 4, Inventory: sum("abc")},
		{N: 2, At: testTime.Add(999 * time.Millisecond), What: Author, Author: testAuthor, Epoch: 2, Why: "office computer replaced"},
		{At: testTime.Add(70 * time.Second).In(time.FixedZone("", 3600)), What: GaveUp, Copy: testCopy, Why: "drive\n\"stolen\" \\ é"},
	} {
		if err := s.Append(l); err != nil {
			t.Fatal(err)
		}
	}
	want := `0000000001 2026-07-02T02:30:00Z version linecamp:saltbush-draw:windmill--stake-3 v4 ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad
0000000002 2026-07-02T02:30:00Z author 6f0c1f3e-9d0b-4c59-8a3f-0b6e3b1c7a11 2 "office computer replaced"
0000000003 2026-07-02T02:31:10Z gave-up b81e62a0-6a4f-4b8c-b6c9-5b3a3b0f7d22 "drive\n\"stolen\" \\ é"
`
	if got := string(s.Text(0, s.Len())); got != want {
		t.Errorf("got\n%s", got)
	}
	if got := s.Lines()[2].Why; got != "drive\n\"stolen\" \\ é" {
		t.Errorf("the reason came back as %q", got)
	}
	if File(0) != "extensions/linecamp-seal/log/00000.txt" || File(12345) != "extensions/linecamp-seal/log/12345.txt" {
		t.Error(File(0), File(12345))
	}
}

func TestSealRoundTrip(t *testing.T) {
	for _, n := range []int{0, 1, 2, MostLines - 1, MostLines, MostLines + 1, 2*MostLines + 9} {
		s := testSeal(t, n)
		got, err := Decode(sealFiles(s))
		if err != nil {
			t.Fatal(err)
		}
		if got.Len() != n || got.Digest() != s.Digest() || !reflect.DeepEqual(got.Lines(), s.Lines()) || !maps.Equal(got.Heads(), s.Heads()) {
			t.Errorf("%d lines came back otherwise", n)
		}
		if n > 0 {
			line := Line{At: testTime, What: GaveUp, Copy: testCopy}
			if err := errors.Join(got.Append(line), s.Append(line)); err != nil || got.Digest() != s.Digest() {
				t.Errorf("%d lines cannot be gone on with: %v", n, err)
			}
		}
	}
}

// Source: the programs cat, head and sha256sum on the seal's files.
func TestSealAgreesWithSha256sum(t *testing.T) {
	shell, err := exec.LookPath("sh")
	if _, missing := exec.LookPath("sha256sum"); err != nil || missing != nil {
		if runtime.GOOS == "linux" {
			t.Fatal("this check needs sh and sha256sum")
		}
		t.Skip("this check needs sh and sha256sum, which are not everywhere outside Linux")
	}
	s := testSeal(t, 2*MostLines+9)
	folder := t.TempDir()
	for i, b := range divided(s, 1, 70, MostLines, 2) {
		path := filepath.Join(folder, filepath.FromSlash(File(i)))
		if err := errors.Join(os.MkdirAll(filepath.Dir(path), 0o777), os.WriteFile(path, b, 0o666)); err != nil {
			t.Fatal(err)
		}
	}
	for _, n := range []int{0, 1, 2, 17, MostLines - 1, MostLines, MostLines + 1, 2 * MostLines, s.Len()} {
		cmd := exec.Command(shell, "-c", fmt.Sprintf("cat log/* | head -n %d | sha256sum", n))
		cmd.Dir = filepath.Join(folder, "extensions", "linecamp-seal")
		out, err := cmd.Output()
		if err != nil {
			t.Fatal(err)
		}
		if got, want := s.DigestOf(n).String(), string(out[:64]); got != want {
			t.Errorf("the first %d lines: we say %s, sha256sum %s", n, got, want)
		}
	}
	if s.DigestOf(s.Len()) != s.Digest() || (&Seal{}).Digest() != sum("") || (&Seal{}).DigestOf(0) != sum("") {
		t.Error("the ends of DigestOf")
	}
}

func TestSealExtends(t *testing.T) {
	long, short := testSeal(t, MostLines+20), testSeal(t, MostLines+10)
	other := testSeal(t, MostLines+9)
	if err := other.Append(Line{At: testTime, What: GaveUp, Copy: testCopy, Why: "other"}); err != nil {
		t.Fatal(err)
	}
	empty := &Seal{}
	for _, c := range []struct {
		a, b *Seal
		want bool
	}{
		{long, short, true}, {short, long, false}, {long, long, true}, {long, testSeal(t, MostLines), true},
		{long, other, false}, {other, short, false}, {short, other, false}, {short, empty, true}, {empty, empty, true}, {empty, short, false},
	} {
		if got := c.a.Extends(c.b); got != c.want {
			t.Errorf("%d lines extend %d lines: %v", c.a.Len(), c.b.Len(), got)
		}
	}
}

func TestSealClone(t *testing.T) {
	for _, n := range []int{0, 3, MostLines} {
		s := testSeal(t, n)
		before := s.Digest()
		c := s.Clone()
		for i, seal := range []*Seal{c, s, c} { // in turns, so that shared room would show
			l := Line{At: testTime, What: Version, Object: testID, Version: 100 + i, Inventory: sum("x")}
			if err := seal.Append(l); err != nil {
				t.Fatal(err)
			}
		}
		if c.Len() != n+2 || s.Len() != n+1 || c.Heads()[testID] != 102 || s.Heads()[testID] != 101 {
			t.Errorf("%d lines: %d and %d, %v and %v", n, c.Len(), s.Len(), c.Heads(), s.Heads())
		}
		if c.DigestOf(n) != before || s.DigestOf(n) != before || c.DigestOf(n+1) == s.Digest() {
			t.Errorf("%d lines: the two are not apart", n)
		}
		for _, seal := range []*Seal{c, s} {
			again, err := Decode(sealFiles(seal))
			if err != nil || again.Digest() != seal.Digest() {
				t.Errorf("%d lines: %v", n, err)
			}
		}
	}
}

func TestSealHeads(t *testing.T) {
	s := &Seal{}
	for _, v := range []int{1, 2, 5, 3} {
		if err := s.Append(Line{At: testTime, What: Version, Object: testID, Version: v, Inventory: sum("x")}); err != nil {
			t.Fatal(err)
		}
	}
	if got := s.Heads(); len(got) != 1 || got[testID] != 5 {
		t.Error(got)
	}
	s.Heads()[testID] = 9
	if s.Heads()[testID] != 5 {
		t.Error("Heads gave away the seal's own map")
	}
}

func TestSealTorn(t *testing.T) {
	check := func(t *testing.T, s *Seal, before [][]byte, cut []byte) {
		t.Helper()
		whole := len(before)*MostLines + bytes.Count(cut, []byte("\n"))
		torn := len(cut) > 0 && cut[len(cut)-1] != '\n'
		got, err := Decode(append(before, cut))
		if torn != errors.Is(err, ErrTorn) || torn != (err != nil) || errors.Is(err, ErrInvalid) {
			t.Fatalf("cut after %d bytes: %v", len(cut), err)
		}
		if got.Len() != whole || got.Digest() != s.DigestOf(whole) {
			t.Fatalf("cut after %d bytes: %d lines", len(cut), got.Len())
		}
	}
	short := testSeal(t, 8)
	for n := range len(short.Text(0, short.Len())) {
		check(t, short, nil, short.Text(0, short.Len())[:n])
	}
	long := testSeal(t, MostLines+2)
	for _, n := range []int{0, 1, 100, len(long.Text(MostLines, long.Len())) - 1} {
		check(t, long, [][]byte{long.Text(0, MostLines)}, long.Text(MostLines, long.Len())[:n])
	}
}

func TestDecodeSealRefuses(t *testing.T) {
	good := string(testSeal(t, 8).Text(0, 8))
	line := func(n int) string { return strings.SplitAfter(good, "\n")[n] }
	for _, c := range []struct{ why, old, new string }{
		{"an empty line", line(2), "\n" + line(2)},
		{"a line left out", line(2), ""},
		{"a line twice", line(2), line(2) + line(2)},
		{"lines in another order", line(0) + line(1), line(1) + line(0)},
		{"a number of nine digits", "0000000003", "000000003"},
		{"a number with a sign", "0000000003", "+000000003"},
		{"a number that is none", "0000000003", "000000000x"},
		{"counting from zero", "0000000001", "0000000000"},
		{"carriage returns", "\n", "\r\n"},
		{"two spaces", " version", "  version"},
		{"a space at the end", "\n", " \n"},
		{"a time elsewhere", "02:30:00Z", "02:30:00+00:00"},
		{"a time with a fraction", "02:30:00Z", "02:30:00.0Z"},
		{"a word that is none", " version ", " Edition "},
		{"an id that is none", "linecamp:saltbush-draw:stake-0", "linecamp:saltbush-draw:.."},
		{"a version padded", " v1 ", " v01 "},
		{"a version that is none", " v1 ", " 1 "},
		{"a digest in capitals", sum("0").String(), strings.ToUpper(sum("0").String())},
		{"a digest of nothing but zeros", sum("0").String(), strings.Repeat("0", 64)},
		{"an author that is no uuid", testAuthor, "office"},
		{"an author in capitals", testAuthor, strings.ToUpper(testAuthor)},
		{"an epoch of zero", testAuthor + " 4", testAuthor + " 0"},
		{"an epoch padded", testAuthor + " 4", testAuthor + " 04"},
		{"a copy that is no uuid", testCopy, testCopy[:35]},
		{"a reason without quotes", `"drive stolen — gone"`, `drive`},
		{"no reason", ` "drive stolen — gone"`, ``},
		{"a reason escaped otherwise", `\"replaced\"`, `\u0022replaced\u0022`},
		{"something after the reason", `gone"`, `gone" x`},
		{"a reason that is not UTF-8", `gone"`, "gone\xff\""},
		{"not a seal", good, "hello\n"},
	} {
		text := strings.Replace(good, c.old, c.new, 1)
		if text == good {
			t.Errorf("%s: nothing changed", c.why)
			continue
		}
		if s, err := Decode([][]byte{[]byte(text)}); !errors.Is(err, ErrInvalid) || s != nil {
			t.Errorf("%s: %v", c.why, err)
		}
	}
	long := testSeal(t, MostLines+2)
	first, second := long.Text(0, MostLines), long.Text(MostLines, long.Len())
	for why, files := range map[string][][]byte{
		"a file without its last line":     {first[:bytes.LastIndexByte(first[:len(first)-1], '\n')+1], second},
		"a torn file that is not the last": {first[:len(first)-1], second},
		"a line that stands in two files":  {long.Text(0, 5), long.Text(4, long.Len())},
		"files in another order":           {second, first},
		"the first file missing":           {second},
	} {
		if s, err := Decode(files); !errors.Is(err, ErrInvalid) || s != nil {
			t.Errorf("%s: %v", why, err)
		}
	}
}

func TestSealAppendRefuses(t *testing.T) {
	s := testSeal(t, 2)
	before := s.Digest()
	good := Line{At: testTime, What: Version, Object: testID, Version: 1, Inventory: sum("x")}
	for why, bend := range map[string]func(*Line){
		"the wrong number":     func(l *Line) { l.N = 2 },
		"a number too far":     func(l *Line) { l.N = 4 },
		"no time":              func(l *Line) { l.At = time.Time{} },
		"nothing to tell":      func(l *Line) { l.What = "" },
		"a bad id":             func(l *Line) { l.Object = "linecamp:a:b c" },
		"no version":           func(l *Line) { l.Version = 0 },
		"no digest":            func(l *Line) { l.Inventory = manifest.Digest{} },
		"an author without id": func(l *Line) { l.What = Author; l.Epoch = 1 },
		"an author of epoch 0": func(l *Line) { l.What = Author; l.Author = testAuthor },
		"a copy without id":    func(l *Line) { l.What = GaveUp },
		"a reason not UTF-8":   func(l *Line) { l.What, l.Copy, l.Why = GaveUp, testCopy, "\xff" },
	} {
		l := good
		bend(&l)
		if err := s.Append(l); !errors.Is(err, ErrInvalid) {
			t.Errorf("%s: %v", why, err)
		}
	}
	if s.Len() != 2 || s.Digest() != before {
		t.Error("a refused line left something behind")
	}
}

// A flipped bit that leaves a line a line is rot; another digest is another
// history.
func TestSealRotted(t *testing.T) {
	whole := testSeal(t, MostLines+3)
	first := func(n int, change func(i int, b []byte)) *Seal {
		var files [][]byte
		for i, f := range sealFiles(testSeal(t, n)) {
			f = bytes.Clone(f)
			change(i, f)
			files = append(files, f)
		}
		s, err := Decode(files)
		if err != nil {
			t.Fatal(err)
		}
		return s
	}
	at := strings.Index(string(whole.Text(0, whole.Len())), sum("1").String())
	flip := func(i int, b []byte) { // a digit of the second line's digest
		if i == 0 {
			b[at] = '0' + (b[at] - '0') ^ 1
		}
	}
	if c := whole.Text(0, whole.Len())[at]; c > '9' {
		t.Fatalf("%q is no digit to change", c)
	}
	for why, tt := range map[string]struct {
		s    *Seal
		want bool
	}{
		"the same":                   {first(5, func(int, []byte) {}), false},
		"a bit of a digest":          {first(5, flip), true},
		"another digest":             {first(5, func(_ int, b []byte) { copy(b[at:], sum("other").String()) }), false},
		"a bit of a full file":       {first(MostLines, flip), true},
		"a bit, and a longer log":    {first(MostLines+4, flip), true},
		"a bit in each of two files": {first(MostLines+2, func(_ int, b []byte) { b[bytes.IndexByte(b, '\n')-1] ^= 1 }), true},
		"another version's number":   {first(5, func(_ int, b []byte) { b[bytes.Index(b, []byte(" v1 "))+2] = '3' }), true},
		"another second":             {first(5, func(_ int, b []byte) { b[29] ^= 1 }), true},
		"another epoch":              {first(5, func(_ int, b []byte) { b[bytes.Index(b, []byte(" 4 \""))+1] = '5' }), true},
		"a copy given up otherwise":  {first(6, func(_ int, b []byte) { b[bytes.Index(b, []byte("stolen"))] = 'S' }), true},
		"a bit in each of many lines": {first(9, func(_ int, b []byte) {
			for line := range bytes.Lines(b) {
				line[29] ^= 1
			}
		}), false},
	} {
		if got := tt.s.Rotted(whole); got != tt.want {
			t.Errorf("%s: %v", why, got)
		}
	}
}

// However two histories part, neither is taken for rot of the other once each has a
// version of its own.
func TestSealRottedIsNoFork(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		all := drawHistories(t, 2)
		a, b := all[1].Clone(), all[2].Clone()
		at := testTime.Add(time.Hour)
		for i, s := range []*Seal{a, b} {
			for range max(a.Len(), b.Len()) + 1 - s.Len() {
				if err := s.Append(Line{At: at, What: Version, Object: "linecamp:saltbush-draw:c", Version: 1, Inventory: sum(fmt.Sprint("own", i))}); err != nil {
					t.Fatal(err)
				}
			}
		}
		if a.Rotted(b) || b.Rotted(a) {
			t.Fatalf("one history is taken for rot of the other:\n%s\n%s", text(a), text(b))
		}
	})
}

// Bits that flipped anywhere, and left lines, are always rot.
func TestSealRottedIsRot(t *testing.T) {
	whole := testSeal(t, 9)
	rapid.Check(t, func(t *rapid.T) {
		b := bytes.Clone(whole.Text(0, whole.Len()))
		for range rapid.IntRange(1, 3).Draw(t, "bits") {
			b[rapid.IntRange(0, len(b)-1).Draw(t, "byte")] ^= 1 << rapid.IntRange(0, 7).Draw(t, "bit")
		}
		s, err := Decode([][]byte{b})
		if err != nil || s.Digest() == whole.Digest() {
			return // it is no seal any more, or flipped back
		}
		if !s.Rotted(whole) || !whole.Rotted(s) {
			t.Fatalf("not told:\n%s", b)
		}
	})
}

func FuzzDecode(f *testing.F) {
	f.Add(testSeal(f, 8).Text(0, 8), []byte(nil))
	f.Add([]byte("0000000001 "), []byte(nil))
	long := testSeal(f, MostLines+2)
	f.Add(long.Text(0, MostLines), long.Text(MostLines, long.Len()))
	f.Add(long.Text(0, 3), long.Text(3, 9))
	f.Fuzz(func(t *testing.T, first, second []byte) {
		files := [][]byte{first}
		if len(second) > 0 {
			files = append(files, second)
		}
		s, err := Decode(files)
		if err != nil && !errors.Is(err, ErrTorn) {
			if !errors.Is(err, ErrInvalid) || s != nil {
				t.Fatal(err)
			}
			return
		}
		whole := bytes.Join(sealFiles(s), nil)
		if given := bytes.Join(files, nil); !bytes.HasPrefix(given, whole) || err == nil && len(given) != len(whole) {
			t.Fatalf("given\n%s\nkept\n%s", given, whole)
		}
		fresh := &Seal{}
		for l := range s.All() {
			if err := fresh.Append(l); err != nil {
				t.Fatal(err)
			}
		}
		if !fresh.Extends(s) || !s.Extends(fresh) || fresh.Digest() != s.Digest() {
			t.Fatal("written again it is another seal")
		}
	})
}

func BenchmarkSeal(b *testing.B) {
	s := testSeal(b, 100_000)
	files := sealFiles(s)
	b.Run("decode-100k-lines", func(b *testing.B) {
		for b.Loop() {
			if _, err := Decode(files); err != nil {
				b.Fatal(err)
			}
		}
	})
	b.Run("digest-of-a-part", func(b *testing.B) {
		for b.Loop() {
			s.DigestOf(99_999)
		}
	})
	b.Run("append", func(b *testing.B) {
		for b.Loop() {
			if err := s.Append(Line{At: testTime, What: Version, Object: testID, Version: 1, Inventory: sum("x")}); err != nil {
				b.Fatal(err)
			}
		}
	})
}

// Every byte of what copies hold is fixed: archives exist for decades, and a
// test that fails here means that their format changed.
func TestGolden(t *testing.T) {
	want, err := os.ReadFile("testdata/seal.txt")
	if got := testSeal(t, 8).Text(0, 8); err != nil || !bytes.Equal(got, want) {
		t.Errorf("the seal is written otherwise now (%v):\n%s", err, got)
	}
}

// What is not a seal is refused in bounded memory, with a short message.
func TestHostile(t *testing.T) {
	for name, b := range map[string][]byte{
		"nested lists": []byte(strings.Repeat("[", 10<<20)), "only white space": bytes.Repeat([]byte(" "), 20<<20),
		"a long number": []byte(strings.Repeat("9", 20<<20)), "a long line": []byte("0000000001 2026-07-02T02:30:00Z author " + strings.Repeat("a", 20<<20) + "\n"),
		"a million lines": bytes.Repeat([]byte("0000000001 \n"), 1<<20),
	} {
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		_, err := Decode([][]byte{b})
		runtime.ReadMemStats(&after)
		if !errors.Is(err, ErrInvalid) && !errors.Is(err, ErrTorn) || len(err.Error()) > 1000 {
			t.Errorf("%s: %v", name, err)
		}
		if n := after.TotalAlloc - before.TotalAlloc; n > uint64(len(b))*8+(8<<20) {
			t.Errorf("%s: %d MiB for %d MiB of text", name, n>>20, len(b)>>20)
		}
	}
}
