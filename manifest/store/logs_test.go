package store_test

import (
	"bytes"
	"errors"
	"fmt"
	"net/http"
	"path"
	"slices"
	"sync/atomic"
	"testing"

	"linecamp/manifest"
	"linecamp/manifest/seal"
	"linecamp/manifest/store"
	"linecamp/manifest/store/s3"
	"linecamp/manifest/store/s3test"
)

func sealLine(n int) seal.Line {
	return seal.Line{N: n, At: testTime, What: "version", Object: manifest.ObjectID("saltbush-draw", object),
		Version: n, Inventory: manifest.Sum([]byte{byte(n), byte(n >> 8)})}
}

func sealOf(t *testing.T, lines int) *seal.Seal {
	t.Helper()
	s := new(seal.Seal)
	for n := 1; n <= lines; n++ {
		must(t, s.Append(sealLine(n)))
	}
	return s
}

func testSeal(t *testing.T, p *place) {
	ctx, r := t.Context(), p.made(t)
	var files []int
	for _, step := range []struct {
		n     int
		files []int // how many lines each has
	}{
		{0, nil}, {1, []int{1}}, {2, []int{2}}, {2, []int{2}}, {63, []int{63}}, {64, []int{64}}, {65, []int{64, 1}},
		{127, []int{64, 63}}, {300, []int{64, 236}}, {301, []int{64, 236, 1}}, {4395, []int{64, 236, 4095}},
		{4396, []int{64, 236, 4095, 1}}, {8500, []int{64, 236, 4095, 4096, 9}},
	} {
		want := sealOf(t, step.n)
		must(t, store.WriteSeal(ctx, r, want))
		got, tail, err := store.ReadTail(ctx, p.open())
		must(t, err)
		if got.Len() != step.n || got.Digest() != want.Digest() {
			t.Fatalf("read %d lines, want %d", got.Len(), step.n)
		}
		files = nil
		for i := 0; ; i++ {
			b, ok := p.read(seal.File(i))
			if !ok {
				break
			}
			files = append(files, bytes.Count(b, []byte("\n")))
		}
		if !slices.Equal(files, step.files) {
			t.Errorf("%d lines are in files of %v, want %v", step.n, files, step.files)
		}
		last := max(len(files)-1, 0)
		if step.n > 0 && (tail.Lines != step.n || tail.File != last || tail.Lines-tail.Before != files[last]) {
			t.Errorf("%d lines: the last file is said to be %+v", step.n, tail)
		}
	}
	wantErr(t, store.WriteSeal(ctx, r, sealOf(t, 4000)), store.ErrConflict)
	wantErr(t, store.WriteSeal(ctx, r, sealOf(t, 8499)), store.ErrConflict)
	other := sealOf(t, 8499)
	l := sealLine(8500)
	l.Version = 7
	must(t, other.Append(l))
	wantErr(t, store.WriteSeal(ctx, r, other), store.ErrConflict)
	if got, err := store.ReadSeal(ctx, r); err != nil || got.Digest() != sealOf(t, 8500).Digest() {
		t.Errorf("after refused writes: %v", err)
	}
}

// How a copy is divided says nothing: files of any number of lines, as an earlier
// program filled them to 4,096 or a person joined them, are read and gone on with.
func testSealDivided(t *testing.T, p *place) {
	ctx, r := t.Context(), p.made(t)
	all := sealOf(t, 5100)
	for _, files := range [][]int{{4096, 500}, {3}, {64}, {500}, {1, 1, 1}, {70, 0, 5}, {70, 5, 0}, {0}, {63, 200}, {4096}, {4095}} {
		for i := 0; ; i++ {
			if _, ok := p.read(seal.File(i)); !ok {
				break
			}
			p.remove(seal.File(i))
		}
		n := 0
		for i, lines := range files {
			_, err := r.Create(ctx, seal.File(i), store.Bytes(all.Text(n, n+lines)))
			must(t, err)
			n += lines
		}
		for step := range 5 {
			got, tail, err := store.ReadTail(ctx, r)
			must(t, err)
			if got.Digest() != all.DigestOf(n) {
				t.Fatalf("%v: read %d lines, want %d", files, got.Len(), n)
			}
			if tail.ETag != "" && step != 1 {
				if !tail.Stands(ctx, r) {
					t.Fatalf("%v: %+v is not the last file", files, tail)
				}
				_, err := r.Create(ctx, seal.File(tail.File+1), store.Bytes(all.Text(n, n+1)))
				must(t, err)
				if tail.Stands(ctx, r) {
					t.Fatalf("%v: %+v is the last file, with another behind it", files, tail)
				}
				p.remove(seal.File(tail.File + 1))
			} else {
				tail = store.Tail{}
			}
			n += 1 + 40*step
			longer, err := seal.Decode([][]byte{all.Text(0, min(n, 4096)), all.Text(4096, n)}[:1+n/4097])
			must(t, err)
			next, err := store.ExtendSeal(ctx, r, longer, tail)
			must(t, err)
			if tail.Stands(ctx, r) {
				t.Fatalf("%v: %+v is still the last file", files, tail)
			}
			if next.Lines != n {
				t.Fatalf("%v: %+v after %d lines", files, next, n)
			}
		}
	}
}

func testSealTornTail(t *testing.T, p *place) {
	ctx, r := t.Context(), p.made(t)
	three := sealOf(t, 3)
	must(t, store.WriteSeal(ctx, r, three))
	key := seal.File(0)
	whole, _ := p.read(key)
	four := sealOf(t, 4).Text(0, 4)
	for cut := len(whole) + 1; cut < len(four); cut += 7 {
		p.write(key, four[:cut])
		got, err := store.ReadSeal(ctx, r)
		must(t, err)
		if got.Digest() != three.Digest() {
			t.Fatalf("cut at %d: read %d lines", cut, got.Len())
		}
		must(t, store.WriteSeal(ctx, r, sealOf(t, 4)))
		if b, _ := p.read(key); !bytes.Equal(b, four) {
			t.Fatalf("cut at %d: not repaired", cut)
		}
	}
}

func testAuthorFile(t *testing.T, p *place) {
	ctx, r := t.Context(), p.made(t)
	_, _, err := store.ReadAuthor(ctx, r)
	wantErr(t, err, errAbsent)
	a := store.Author{Archive: testID.ArchiveID, Author: testAuthor, Machine: "office computer", Epoch: 1}
	_, err = store.WriteAuthor(ctx, r, a, nil)
	must(t, err)
	b := a
	b.Author, b.Machine, b.Epoch = otherCopy, "laptop", 2
	_, err = store.WriteAuthor(ctx, r, b, nil)
	wantErr(t, err, store.ErrConflict)
	got, was, err := store.ReadAuthor(ctx, r)
	must(t, err)
	if got != a {
		t.Errorf("read %+v", got)
	}
	_, err = store.WriteAuthor(ctx, r, b, &was)
	must(t, err)
	_, err = store.WriteAuthor(ctx, r, a, &was)
	wantErr(t, err, store.ErrConflict)
	if got, _, err := store.ReadAuthor(ctx, r); err != nil || got != b {
		t.Errorf("read %+v, %v", got, err)
	}
	round := `, "round": "` + otherCopy + `"`
	for extra, want := range map[string]error{
		`, "since": {"by": [1]}`:            nil,
		round:                               nil,
		round + `, "recording": true`:       nil,
		round + `, "recordinh": true`:       nil,
		`, "recording": true`:               store.ErrNoAuthor,
		`, "rounc": "x", "recording": true`: store.ErrNoAuthor,
		`, "round": "x"`:                    store.ErrNoAuthor,
		`, "round": 1`:                      store.ErrNoAuthor,
		`, "epoch": 0`:                      store.ErrNoAuthor,
		`, "author": ""`:                    store.ErrNoAuthor,
		`, "archive": "", "since": "x"`:     store.ErrNoAuthor,
		`, "since": }`:                      store.ErrNoAuthor,
		`} {`:                               store.ErrNoAuthor,
		`, "since": 1} {"archive": "x"`:     store.ErrNoAuthor,
	} {
		p.write(store.AuthorKey, fmt.Appendf(nil, `{"archive": %q, "author": %q, "machine": "laptop", "epoch": 2%s}`, b.Archive, b.Author, extra))
		got, _, err := store.ReadAuthor(ctx, r)
		if got.Round, got.Recording = "", false; !errors.Is(err, want) || want == nil && got != b || want != nil && got != (store.Author{}) {
			t.Errorf("with %s it is %+v, %v", extra, got, err)
		}
	}
}

// Whoever reads a log while another machine puts that of another history in its place
// gets the one or the other, or is told to come again.
func TestSealReplacedWhileItIsRead(t *testing.T) {
	ctx, srv := t.Context(), s3test.Fake(t)
	var meanwhile atomic.Pointer[func()] // before one file is handed out
	p := s3Place(t, srv, func(o *s3.Options) {
		o.Transport = roundTripper(func(r *http.Request) (*http.Response, error) {
			if path.Base(r.URL.Path) == "00002.txt" && r.Method == http.MethodGet {
				if do := meanwhile.Swap(nil); do != nil {
					(*do)()
				}
			}
			return http.DefaultTransport.RoundTrip(r)
		})
	})
	r := p.made(t)
	for _, n := range []int{64, 128, 200} {
		must(t, store.WriteSeal(ctx, r, sealOf(t, n)))
	}
	other, turns := p.open(), 0
	replace := func() {
		turns++
		must(t, store.ReplaceSeal(ctx, other, forked(t, turns, 200+turns)))
	}
	meanwhile.Store(&replace)
	got, err := store.ReadSeal(ctx, r)
	must(t, err)
	if want := forked(t, 1, 201); got.Digest() != want.Digest() {
		t.Errorf("read %d lines of no history there was", got.Len())
	}
	var always func()
	always = func() {
		replace()
		meanwhile.Store(&always)
	}
	meanwhile.Store(&always)
	_, err = store.ReadSeal(ctx, r)
	wantErr(t, err, store.ErrBusy)
	if errors.Is(err, seal.ErrInvalid) {
		t.Errorf("it is called damaged: %v", err)
	}
}
