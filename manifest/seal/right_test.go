package seal

import (
	"bytes"
	"fmt"
	"testing"
	"time"

	"pgregory.net/rapid"

	"linecamp/manifest"
)

// line n of a history that is told apart by its name.
func historyOf(t *testing.T, names ...string) *Seal {
	t.Helper()
	s := &Seal{}
	at := time.Date(2026, 7, 2, 2, 30, 0, 0, time.UTC)
	for _, name := range names {
		err := s.Append(Line{At: at, What: Version, Object: manifest.ObjectID("saltbush-draw", "stake--"+name), Version: 1, Inventory: manifest.Sum([]byte(name))})
		if err != nil {
			t.Fatal(err)
		}
	}
	return s
}

func TestRight(t *testing.T) {
	none := historyOf(t)
	one, two, three := historyOf(t, "a"), historyOf(t, "a", "b"), historyOf(t, "a", "b", "c")
	fork, long := historyOf(t, "a", "x"), historyOf(t, "a", "x", "y", "z")
	rotten := flipped(t, two, two.Len(), 100, 1)
	for name, tt := range map[string]struct {
		known *Seal
		told  []Told
		want  *Seal
		from  int
	}{
		"nothing told":                                {one, nil, one, -1},
		"nothing known, nothing told":                 {nil, nil, nil, -1},
		"what was not read":                           {one, []Told{{}, {Epoch: 7}}, one, -1},
		"the longest that goes on":                    {one, []Told{{Seal: two}, {Seal: three}, {Seal: one}}, three, 1},
		"nothing known":                               {nil, []Told{{Seal: two}}, two, 0},
		"no longer one":                               {three, []Told{{Seal: two}, {Seal: three}}, three, -1},
		"known tells, however long the other":         {two, []Told{{Seal: long, Epoch: 9}}, two, -1},
		"another that governs, once vouched for":      {two, []Told{{Seal: taken(t, 1, "x"), Author: author(1), Epoch: 2}}, nil, 0},
		"another that governs, and nobody vouches":    {two, []Told{{Seal: taken(t, 1, "x"), Author: author(1)}}, two, -1},
		"a take-over that the author file missed":     {two, []Told{{Seal: taken(t, 1, "x"), Author: author(2), Epoch: 1}}, nil, 0},
		"a later one that it missed":                  {taken(t, 2, "a"), []Told{{Seal: again(t, taken(t, 2, "b"), 3), Author: author(2), Epoch: 3}}, nil, 0},
		"one that it cannot have missed":              {two, []Told{{Seal: taken(t, 2, "x"), Author: author(2), Epoch: 1}}, two, -1},
		"another that does not govern":                {taken(t, 2, "a"), []Told{{Seal: taken(t, 1, "a", "x"), Author: author(1), Epoch: 2}}, nil, -1},
		"another that a copy goes on with":            {two, []Told{{Seal: taken(t, 1, "x"), Author: author(1), Epoch: 2}, {Seal: taken(t, 1, "x"), Author: author(1), Epoch: 2}}, nil, 0},
		"the one that governs":                        {none, []Told{{Seal: taken(t, 1, "a"), Author: author(1), Epoch: 2}, {Seal: taken(t, 2, "a"), Author: author(2), Epoch: 3}}, nil, 1},
		"what goes on from it":                        {none, []Told{{Seal: three}, {Seal: fork}, {Seal: two, Epoch: 1}}, three, 0},
		"of one that rotted, what others tell":        {none, []Told{{Seal: rotten, Epoch: 1}, {Seal: two, Epoch: 1}, {Seal: three, Epoch: 1}}, three, 2},
		"another epoch than its copy's author file":   {none, []Told{{Seal: taken(t, 7, "a"), Author: author(1), Epoch: 2}, {Seal: taken(t, 1, "a"), Author: author(1), Epoch: 2}}, nil, 1},
		"another author than its copy's author file":  {none, []Told{{Seal: taken(t, 1, "b"), Author: author(2), Epoch: 2}, {Seal: one, Epoch: 1}}, one, 1},
		"where no author file vouches for one at all": {none, []Told{{Seal: one}, {Seal: taken(t, 1, "a")}}, nil, 1},
	} {
		t.Run(name, func(t *testing.T) {
			got, from := Right(tt.known, tt.told...)
			if tt.want == nil && tt.from >= 0 {
				tt.want = tt.told[tt.from].Seal
			} else if tt.want == nil {
				tt.want = tt.known
			}
			if got != tt.want || from != tt.from {
				t.Errorf("the one told %d is taken, want %d", from, tt.from)
			}
		})
	}
}

func TestAgainst(t *testing.T) {
	two := historyOf(t, "a", "b")
	for name, tt := range map[string]struct {
		s    *Seal
		want Stand
	}{
		"the same":            {historyOf(t, "a", "b"), Begins},
		"shorter":             {historyOf(t, "a"), Begins},
		"empty":               {historyOf(t), Begins},
		"longer":              {historyOf(t, "a", "b", "c"), Ahead},
		"a digit":             {flipped(t, two, 2, 100, 1), Rotten},
		"a digit, and longer": {flipped(t, historyOf(t, "a", "b", "c"), 2, 100, 1), Rotten},
		"a fork":              {historyOf(t, "a", "x"), Parted},
		"all other":           {historyOf(t, "y"), Parted},
	} {
		if got := tt.s.Against(two); got != tt.want {
			t.Errorf("%s: %v, want %v", name, got, tt.want)
		}
	}
}

// author is the uuid of a machine.
func author(n int) string { return fmt.Sprintf("%08d-0b1f-4c55-8d5e-6f1f3f0a7b21", n) }

// taken is historyOf, and then machine n took over, in epoch n+1.
func taken(t *testing.T, n int, names ...string) *Seal {
	t.Helper()
	return again(t, historyOf(t, names...), n)
}

// again is s with the line of a take-over by the nth author.
func again(t *testing.T, s *Seal, n int) *Seal {
	t.Helper()
	if err := s.Append(Line{At: time.Date(2026, 7, 3, 0, 0, 0, 0, time.UTC), What: Author, Author: author(n), Epoch: n + 1}); err != nil {
		t.Fatal(err)
	}
	return s
}

// flipped is s with bits of one byte of a line, counted from 1, flipped.
func flipped(t *testing.T, s *Seal, line, at int, bits byte) *Seal {
	t.Helper()
	lines := bytes.SplitAfter(s.Text(0, s.Len()), []byte("\n"))
	lines[line-1] = bytes.Clone(lines[line-1])
	lines[line-1][at] ^= bits
	r, err := Decode([][]byte{bytes.Join(lines, nil)})
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func TestGoverns(t *testing.T) {
	at := time.Date(2026, 7, 2, 2, 30, 0, 0, time.UTC)
	add := func(s *Seal, lines ...Line) *Seal {
		s = s.Clone()
		for _, l := range lines {
			if err := s.Append(l); err != nil {
				t.Fatal(err)
			}
		}
		return s
	}
	by := func(n, epoch int, after time.Duration) Line {
		return Line{At: at.Add(after), What: Author, Author: author(n), Epoch: epoch}
	}
	gave := func(why string, after time.Duration) Line {
		return Line{At: at.Add(after), What: GaveUp, Copy: author(9), Why: why}
	}
	one, two := historyOf(t, "a"), historyOf(t, "a", "b")
	for name, tt := range map[string]struct{ a, b *Seal }{
		"the longer":                         {two, one},
		"any rather than none":               {one, historyOf(t)},
		"the later epoch, however short":     {add(one, by(1, 3, 0)), add(two, by(2, 2, time.Hour), gave("long", time.Hour))},
		"a take-over rather than none":       {add(one, by(1, 2, 0)), add(two, gave("long", time.Hour))},
		"in one epoch, the later take-over":  {add(one, by(2, 2, time.Second)), add(two, by(1, 2, 0))},
		"at one time, the smaller id":        {add(two, by(1, 2, 0)), add(one, by(2, 2, 0))},
		"one take-over, the earlier line":    {add(one, by(1, 2, 0), gave("b", 0)), add(one, by(1, 2, 0), gave("a", time.Second), gave("long", time.Hour))},
		"at one time, the smaller":           {add(one, gave("a", 0)), add(one, gave("b", 0), gave("long", time.Hour))},
		"a later one, whatever came before":  {add(one, by(1, 2, 0), by(2, 3, 0)), add(two, by(3, 2, time.Hour))},
		"before the year 1000, by time also": {add(&Seal{}, Line{At: at.AddDate(-1500, 0, 0), What: GaveUp, Copy: author(9), Why: "b"}), add(&Seal{}, Line{At: at, What: GaveUp, Copy: author(9), Why: "a"})},
	} {
		if !Governs(tt.a, tt.b) || Governs(tt.b, tt.a) {
			t.Errorf("%s: %v and %v", name, Governs(tt.a, tt.b), Governs(tt.b, tt.a))
		}
		if Governs(tt.a, tt.a.Clone()) {
			t.Errorf("%s: one governs over itself", name)
		}
	}
}

// drawLine draws a line of a history, from so few that two often draw the same.
func drawLine(t *rapid.T, s *Seal) Line {
	l := Line{At: testTime.Add(time.Duration(rapid.IntRange(0, 2).Draw(t, "second")) * time.Second)}
	if lines := s.Lines(); len(lines) > 0 && l.At.Before(lines[len(lines)-1].At) {
		l.At = lines[len(lines)-1].At
	}
	switch rapid.IntRange(0, 4).Draw(t, "what") {
	case 0:
		l.What, l.Author, l.Epoch = Author, author(rapid.IntRange(1, 2).Draw(t, "author")), rapid.IntRange(1, 3).Draw(t, "epoch")
	case 1:
		l.What, l.Copy, l.Why = GaveUp, testCopy, rapid.SampledFrom([]string{"on a", "on b"}).Draw(t, "why")
	default:
		l.What, l.Object, l.Version = Version, "linecamp:saltbush-draw:"+rapid.SampledFrom([]string{"a", "b"}).Draw(t, "site"), 1
		l.Inventory = sum(fmt.Sprint(rapid.IntRange(0, 2).Draw(t, "which")))
	}
	return l
}

// drawHistories draws histories that part from one another anywhere.
func drawHistories(t *rapid.T, n int) []*Seal {
	all := []*Seal{{}}
	for range n {
		from := rapid.SampledFrom(all).Draw(t, "from")
		s := &Seal{}
		for _, l := range from.Lines()[:rapid.IntRange(0, from.Len()).Draw(t, "parts at")] {
			if err := s.Append(l); err != nil {
				t.Fatal(err)
			}
		}
		for range rapid.IntRange(0, 3).Draw(t, "lines") {
			if err := s.Append(drawLine(t, s)); err != nil {
				t.Fatal(err)
			}
		}
		all = append(all, s)
	}
	return all
}

// Of any histories one governs, whatever the order in which they are compared, and
// of two it is the one that goes on from the other.
func TestOneGoverns(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		all := drawHistories(t, 4)
		for _, a := range all {
			for _, b := range all {
				same := a.Extends(b) && b.Extends(a)
				if n := btoi(Governs(a, b)) + btoi(Governs(b, a)) + btoi(same); n != 1 {
					t.Fatalf("of two, %d govern or are the same:\n%s\n%s", n, text(a), text(b))
				}
				if a.Extends(b) && Governs(b, a) {
					t.Fatalf("the shorter governs:\n%s\n%s", text(a), text(b))
				}
				for _, c := range all {
					if Governs(a, b) && Governs(b, c) && !Governs(a, c) {
						t.Fatalf("each governs over the next, and not the first over the last:\n%s\n%s\n%s", text(a), text(b), text(c))
					}
				}
			}
		}
	})
}

// Once two parted, lines that are added change nothing of which governs, until
// somebody takes over.
func TestWhatGovernsGoesOn(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		all := drawHistories(t, 2)
		a, b := all[1].Clone(), all[2].Clone()
		if a.Extends(b) || b.Extends(a) {
			return
		}
		was := Governs(a, b)
		for range rapid.IntRange(1, 5).Draw(t, "more") {
			s := rapid.SampledFrom([]*Seal{a, b}).Draw(t, "grows")
			l := drawLine(t, s)
			if l.What == Author {
				continue
			}
			if err := s.Append(l); err != nil {
				t.Fatal(err)
			}
			if Governs(a, b) != was {
				t.Fatalf("another one governs now:\n%s\n%s", text(a), text(b))
			}
		}
	})
}

// Which seal is the archive's does not depend on the order in which copies tell.
func TestRightInAnyOrder(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var told []Told
		for _, s := range drawHistories(t, 4) {
			who, epoch := s.Author()
			told = append(told, Told{s, who, epoch + rapid.IntRange(0, 1).Draw(t, "other epoch")})
		}
		known := told[1].Seal
		one, _ := Right(known, told...)
		other, _ := Right(known, rapid.Permutation(told).Draw(t, "order")...)
		if one.Digest() != other.Digest() {
			t.Fatalf("known\n%s\nin one order\n%s\nin the other\n%s", text(known), text(one), text(other))
		}
	})
}

// A bit that flipped on one copy never has that copy's seal taken instead of the one
// known, wherever it flipped, and however many lines the copy has.
func TestAFlippedBitDoesNotGovern(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		known := drawHistories(t, 1)[1]
		for range rapid.IntRange(1, 3).Draw(t, "known") {
			if err := known.Append(drawLine(t, known)); err != nil {
				t.Fatal(err)
			}
		}
		at := rapid.IntRange(0, len(text(known))-1).Draw(t, "byte")
		there := known.Clone()
		for range rapid.IntRange(0, 2).Draw(t, "more") {
			if err := there.Append(drawLine(t, there)); err != nil {
				t.Fatal(err)
			}
		}
		who, epoch := there.Author()
		b := []byte(text(there))
		b[at] ^= 1 << rapid.IntRange(0, 7).Draw(t, "bit")
		s, err := Decode([][]byte{b})
		if err != nil {
			return
		}
		if _, from := Right(known, Told{s, who, epoch}); from >= 0 {
			t.Fatalf("known\n%s\nand taken instead\n%s", text(known), b)
		}
	})
}

func btoi(b bool) int {
	if b {
		return 1
	}
	return 0
}

func text(s *Seal) string { return string(bytes.Join(sealFiles(s), nil)) }
