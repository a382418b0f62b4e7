package seal

import (
	"testing"
	"time"

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
		"the later epoch":                             {none, []Told{{Seal: long, Epoch: 1, Ours: true}, {Seal: two, Epoch: 2}}, two, 1},
		"of one epoch, this machine's own":            {none, []Told{{Seal: long, Epoch: 2}, {Seal: two, Epoch: 2, Ours: true}}, two, 1},
		"of one epoch, the longest":                   {none, []Told{{Seal: fork, Epoch: 2}, {Seal: three, Epoch: 2}}, three, 1},
		"the later epoch's, and what goes on from it": {none, []Told{{Seal: three, Epoch: 1}, {Seal: long, Epoch: 1}, {Seal: two, Epoch: 2}}, three, 0},
	} {
		t.Run(name, func(t *testing.T) {
			got, from := Right(tt.known, tt.told...)
			if got != tt.want || from != tt.from {
				t.Errorf("the one told %d is taken, want %d", from, tt.from)
			}
		})
	}
}

func TestAgainst(t *testing.T) {
	two := historyOf(t, "a", "b")
	rotten, err := Decode([][]byte{flipDigest(two.File(0))})
	if err != nil {
		t.Fatal(err)
	}
	for name, tt := range map[string]struct {
		s    *Seal
		want Stand
	}{
		"the same":  {historyOf(t, "a", "b"), Begins},
		"shorter":   {historyOf(t, "a"), Begins},
		"empty":     {historyOf(t), Begins},
		"longer":    {historyOf(t, "a", "b", "c"), Ahead},
		"a digit":   {rotten, Rotten},
		"a fork":    {historyOf(t, "a", "x"), Astray},
		"all other": {historyOf(t, "y"), Astray},
	} {
		if got := tt.s.Against(two); got != tt.want {
			t.Errorf("%s: %v, want %v", name, got, tt.want)
		}
	}
}

// flipDigest changes the last digit of the last line's digest.
func flipDigest(file []byte) []byte {
	b := append([]byte(nil), file...)
	i := len(b) - 2
	if b[i] == 'a' {
		b[i] = 'b'
	} else {
		b[i] = 'a'
	}
	return b
}
