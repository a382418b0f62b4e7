package store_test

import (
	"bytes"
	"fmt"
	"net/http"
	"slices"
	"testing"

	"linecamp/manifest"
	"linecamp/manifest/seal"
	"linecamp/manifest/store"
	"linecamp/manifest/store/crashtest"
	"linecamp/manifest/store/drive"
	"linecamp/manifest/store/s3"
	"linecamp/manifest/store/s3test"
)

// divided are the files of a log that holds so many lines in each.
func divided(s *seal.Seal, lines []int) [][]byte {
	var files [][]byte
	at := 0
	for _, n := range lines {
		files = append(files, s.Text(at, at+n))
		at += n
	}
	return files
}

func sum(lines []int) (n int) {
	for _, l := range lines {
		n += l
	}
	return n
}

func readsAs(t testing.TB, r store.Root, want *seal.Seal) {
	t.Helper()
	got, err := store.ReadSeal(t.Context(), r)
	must(t, err)
	if got.Digest() != want.Digest() {
		t.Fatalf("its seal has %d lines that are not the %d it should have", got.Len(), want.Len())
	}
}

// replacements are logs of a copy, in files of so many lines, and logs to take their
// place, with which they share so many.
var replacements = []struct {
	x         []int
	shared, y int
}{
	{[]int{1}, 0, 1},
	{[]int{3}, 1, 2},
	{[]int{3}, 2, 9},
	{[]int{64, 64, 10}, 0, 138},
	{[]int{64, 64, 10}, 63, 70},
	{[]int{64, 64, 10}, 64, 65},
	{[]int{64, 64, 10}, 64, 300},
	{[]int{64, 64, 10}, 65, 66},
	{[]int{64, 64, 10}, 127, 128},
	{[]int{64, 64, 64}, 128, 192},
	{[]int{64, 64, 64}, 191, 193},
	{[]int{1, 1, 1, 1, 1}, 2, 4},
	{[]int{4096, 4096, 1}, 4095, 4097},
	{[]int{4096, 4096, 1}, 4096, 9000},
	{[]int{4096, 10}, 4097, 4100},
}

func testReplaceSeal(t *testing.T, p *place) {
	ctx, r := t.Context(), p.made(t)
	for _, c := range replacements {
		x, y := forked(t, c.shared, sum(c.x)), sealOf(t, c.y)
		clearSeal(t, p, r)
		for i, b := range divided(x, c.x) {
			p.write(seal.File(i), b)
		}
		readsAs(t, r, x)
		before := late(t, r)
		for range 2 {
			must(t, store.ReplaceSeal(ctx, r, y))
			readsAs(t, p.open(), y)
			if got := late(t, r); !slices.Equal(got, union(before, digests(x))) {
				t.Fatalf("%v: it keeps %d logs, and not the one that was there", c, len(got))
			}
		}
		longer := sealOf(t, c.y+100)
		must(t, store.WriteSeal(ctx, r, longer))
		readsAs(t, p.open(), longer)
	}
}

func union(a, b []string) []string {
	all := slices.Sorted(slices.Values(append(slices.Clone(a), b...)))
	return slices.Compact(all)
}

func clearSeal(t testing.TB, p *place, r store.Root) {
	t.Helper()
	for _, k := range keys(t, r, store.SealFolder) {
		p.remove(k)
	}
}

// What is the beginning of the new one, in whatever files, is nothing to be kept, and
// what goes on from it is not replaced.
func testReplaceNothing(t *testing.T, p *place) {
	ctx, r := t.Context(), p.made(t)
	y := sealOf(t, 200)
	torn := append(bytes.Clone(y.Text(0, 70)), y.Text(70, 71)[:20]...)
	for name, files := range map[string][][]byte{
		"no file":              nil,
		"empty files":          {[]byte("\n")[:0], y.Text(0, 0), nil},
		"a beginning":          {y.Text(0, 70)},
		"in other files":       {y.Text(0, 3), y.Text(3, 100), y.Text(100, 101)},
		"all of it":            {y.Text(0, 200)},
		"with a torn line":     {torn},
		"with a torn line, 2":  {y.Text(0, 70), torn[len(y.Text(0, 70)):]},
		"and empty files":      {y.Text(0, 70), nil, nil},
		"a torn line, another": {y.Text(0, 70), forked(t, 0, 71).Text(70, 71)[:100]},
	} {
		clearSeal(t, p, r)
		for i, b := range files {
			put(t, r, seal.File(i), b)
		}
		must(t, store.ReplaceSeal(ctx, r, y))
		readsAs(t, p.open(), y)
		if got := keys(t, r, store.LateFolder); len(got) != 0 {
			t.Fatalf("%s: it keeps %q", name, got)
		}
		wantErr(t, store.ReplaceSeal(ctx, r, sealOf(t, 199)), store.ErrConflict)
		wantErr(t, store.ReplaceSeal(ctx, r, new(seal.Seal)), store.ErrConflict)
		readsAs(t, p.open(), y)
	}
}

func put(t testing.TB, r store.Root, key string, b []byte) {
	t.Helper()
	_, err := r.Create(t.Context(), key, store.Bytes(b))
	must(t, err)
}

// A log that does not read is kept as it is.
func testReplaceHurt(t *testing.T, p *place) {
	ctx, r := t.Context(), p.made(t)
	x, y := forked(t, 1, 80), sealOf(t, 90)
	hurt := bytes.Replace(x.Text(0, 80), []byte("version"), []byte("versi\x00n"), 1)
	p.write(seal.File(0), hurt)
	p.write(seal.File(3), x.Text(2, 9)) // and those between are gone
	p.write(store.SealFolder+"/notes.txt", []byte("not ours"))
	must(t, store.ReplaceSeal(ctx, r, y))
	p.remove(store.SealFolder + "/notes.txt")
	readsAs(t, p.open(), y)
	all := append(hurt, x.Text(2, 9)...)
	b, _ := p.read(store.LateFolder + "/" + manifest.Sum(all).String() + ".txt")
	if !bytes.Equal(b, all) {
		t.Error("what was there is not kept")
	}
	if got := late(t, r); len(got) != 0 {
		t.Errorf("it is taken for the logs %q", got)
	}

	// Nor does it stay behind a log that is right.
	clearSeal(t, p, r)
	p.write(seal.File(0), y.Text(0, 90))
	p.write(seal.File(1), []byte("no line\n"))
	must(t, store.ReplaceSeal(ctx, p.open(), y))
	readsAs(t, p.open(), y)
}

// told checks what has to hold at any moment of a replacement: the log reads as a
// beginning of the old one or of the new one, and all lines of the old one are there.
func told(t testing.TB, r store.Root, x, y *seal.Seal) {
	t.Helper()
	log, err := store.ReadSeal(t.Context(), r)
	must(t, err)
	if !x.Extends(log) && !y.Extends(log) {
		t.Fatalf("its seal has %d lines of neither history", log.Len())
	}
	if log.Extends(x) {
		return
	}
	if got := late(t, r); !slices.Contains(got, x.Digest().String()) {
		t.Fatalf("its seal has %d lines, and of the old one's %d nothing is kept", log.Len(), x.Len())
	}
}

// Killed, or without power, at every operation, and again at every operation of the
// repair.
func TestReplaceSealKilledOnADrive(t *testing.T) {
	cases, seeds := replacements[:12], uint64(3)
	if testing.Short() {
		cases, seeds = cases[4:5], 2
	}
	total := 0
	for _, c := range cases {
		x, y := forked(t, c.shared, sum(c.x)), sealOf(t, c.y)
		for seed := range seeds { // 0: killed
			for first := 1; ; first++ {
				done := false
				for second := 1 + first%6; ; second += 6 { // each in one run or another
					again := false
					done, again = replaceKilled(t, divided(x, c.x), x, y, seed, first, second)
					total++
					if done || !again {
						break
					}
				}
				if done {
					break
				}
			}
		}
	}
	t.Logf("%d runs", total)
	if total < 300 {
		t.Errorf("only %d runs: the disk is not what is written through", total)
	}
}

// replaceKilled stops a replacement at one operation and its repair at another; done
// and again tell that it came to its end before, the first and the second time.
func replaceKilled(t *testing.T, files [][]byte, x, y *seal.Seal, seed uint64, stops ...int) (done, again bool) {
	t.Helper()
	dir := crashtest.Folder(t)
	r, err := drive.New(dir)
	must(t, err)
	must(t, r.Init(t.Context(), testID))
	for i, b := range files {
		put(t, r, seal.File(i), b)
	}
	r.Close()
	d, err := crashtest.New(dir)
	must(t, err)
	for i, at := range append(stops, 0) {
		r, err := drive.Open(dir, testID.CopyID)
		must(t, err)
		r.WrapDisk(d.Wrap)
		d.StopAt(at)
		err = func() error {
			unlock, err := r.Lock(t.Context())
			if err != nil {
				return err
			}
			defer unlock()
			return store.ReplaceSeal(t.Context(), r, y)
		}()
		r.Close()
		_, stopped := d.Done()
		if !stopped && err != nil {
			t.Fatalf("%v, at %d: %v", stops, i, err)
		}
		if stopped && seed > 0 {
			must(t, d.Cut(seed))
		} else {
			d.Kill()
		}
		r, err = drive.Open(dir, testID.CopyID)
		must(t, err)
		if stopped {
			told(t, r, x, y)
		} else {
			readsAs(t, r, y)
			if got := late(t, r); !slices.Equal(got, digests(x)) {
				t.Fatalf("%v, seed %d: it keeps %q", stops, seed, got)
			}
			r.Close()
			return i == 0, i == 2
		}
		r.Close()
	}
	return false, true
}

// Every request broken off before the service saw it, or with the answer lost; at
// every request the machine that recorded there adds a line, in each way it can.
func TestReplaceSealBrokenInABucket(t *testing.T) {
	srv := s3test.Fake(t)
	cases := replacements[:12]
	if testing.Short() {
		cases = cases[4:6]
	}
	total := 0
	for _, c := range cases {
		for _, way := range []string{"lost before", "lost after", "in flight", "behind", "catches up"} {
			if way == "behind" && c.x[len(c.x)-1] < 64 {
				continue // the machine's next line goes into the last file
			}
			for at := 0; replaceBroken(t, srv, c.x, c.shared, c.y, way, at); at++ {
				total++
			}
		}
	}
	t.Logf("%d runs", total)
	if total < 50 {
		t.Errorf("only %d requests to be broken", total)
	}
}

// replaceBroken reports false where there is no such request.
func replaceBroken(t *testing.T, srv *s3test.Server, files []int, shared, lines int, way string, at int) (broke bool) {
	t.Helper()
	ctx := t.Context()
	left := -1
	var author func()
	p := s3Place(t, srv, func(o *s3.Options) {
		o.Transport = roundTripper(func(r *http.Request) (*http.Response, error) {
			if left < 0 {
				return http.DefaultTransport.RoundTrip(r)
			}
			if left--; left >= 0 {
				return http.DefaultTransport.RoundTrip(r)
			}
			broke = true
			switch way {
			case "lost before", "lost after":
				left = 0 // dead from here on, in a way that is not tried again
				if way == "lost after" {
					way = "lost before"
					if resp, err := http.DefaultTransport.RoundTrip(r); err == nil {
						resp.Body.Close()
					}
				}
				return answer(r, http.StatusTeapot, "application/xml", "<Error><Code>Killed</Code></Error>"), nil
			}
			author()
			return http.DefaultTransport.RoundTrip(r)
		})
	})
	r := p.made(t)
	x, y := forked(t, shared, sum(files)), sealOf(t, lines)
	for i, b := range divided(x, files) {
		p.write(seal.File(i), b)
	}
	longer := forked(t, shared, x.Len()+1)
	last := len(files) - 1
	open, was, err := store.ReadSmall(ctx, r, seal.File(last), 1<<20)
	must(t, err)
	sealed := false // what the author believes of its line
	author = func() {
		other := p.open()
		var err error
		switch way {
		case "in flight": // was sent before, and arrives now
			_, err = other.Replace(ctx, seal.File(last), store.Bytes(append(bytes.Clone(open), longer.Text(x.Len(), longer.Len())...)), &was)
		case "behind": // in a new file
			_, err = other.Create(ctx, seal.File(last+1), store.Bytes(longer.Text(x.Len(), longer.Len())))
		default:
			err = store.WriteSeal(ctx, other, longer)
		}
		sealed = err == nil
	}
	left = at
	err = store.ReplaceSeal(ctx, r, y)
	left = -1
	if way == "lost before" && broke {
		told(t, p.open(), x, y)
	}
	for range 3 {
		if err == nil {
			break
		}
		err = store.ReplaceSeal(ctx, p.open(), y)
	}
	if err == nil && sealed { // its line may have come after the last request
		err = store.ReplaceSeal(ctx, p.open(), y)
	}
	say := fmt.Sprintf("%v, %d shared, %d lines, %s at %d", files, shared, lines, way, at)
	if err != nil {
		t.Fatalf("%s: %v", say, err)
	}
	got, err := store.ReadSeal(ctx, p.open())
	if err != nil || got.Digest() != y.Digest() {
		t.Fatalf("%s: the seal is not the new one: %v", say, err)
	}
	kept := slices.Collect(func(yield func(*seal.Seal) bool) {
		for s, err := range store.LateLogs(ctx, r) {
			if must(t, err); !yield(s) {
				return
			}
		}
	})
	if !slices.ContainsFunc(kept, func(s *seal.Seal) bool { return s.Extends(x) }) {
		t.Fatalf("%s: the old log is not kept", say)
	}
	if way == "catches up" { // it read a log, and put its line behind another: as it stood there, it is kept
		line := longer.Text(x.Len(), longer.Len())
		if sealed && !slices.ContainsFunc(kept, func(s *seal.Seal) bool { return bytes.Contains(s.Text(0, s.Len()), line) }) {
			t.Fatalf("%s: the line that came meanwhile is not kept", say)
		}
		return broke
	}
	if sealed && !slices.ContainsFunc(kept, func(s *seal.Seal) bool { return s.Extends(longer) }) {
		t.Fatalf("%s: the log that grew meanwhile is not kept", say)
	}
	for _, s := range kept {
		if !longer.Extends(s) {
			t.Fatalf("%s: it keeps a log of %d lines that never was", say, s.Len())
		}
	}
	return broke
}
