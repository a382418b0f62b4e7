package deep

import (
	"bytes"
	"context"
	"errors"
	"image"
	"image/jpeg"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"

	"linecamp/manifest"
	"linecamp/manifest/tally"
	"linecamp/verify"
	"linecamp/verify/decode"
	"linecamp/verify/findings"
	"linecamp/verify/gather"
)

// remembered is a Decodes in memory.
type remembered struct {
	mu  sync.Mutex
	all map[manifest.Digest]decode.Verdict
	set int
}

func (r *remembered) Decoded() (map[manifest.Digest]decode.Verdict, error) {
	r.mu.Lock()
	defer r.mu.Unlock()
	all := map[manifest.Digest]decode.Verdict{}
	for k, v := range r.all {
		all[k] = v
	}
	return all, nil
}

func (r *remembered) SetDecoded(d manifest.Digest, v decode.Verdict) error {
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.all == nil {
		r.all = map[manifest.Digest]decode.Verdict{}
	}
	r.all[d] = v
	r.set++
	return nil
}

// photosIn writes photos into a folder and makes the input of them.
func photosIn(t *testing.T, contents map[string][]byte) (string, gather.Input) {
	t.Helper()
	dir := t.TempDir()
	var in gather.Input
	site := gather.SiteItems{Site: "Stake 3"}
	for path, b := range contents {
		full := filepath.Join(dir, filepath.FromSlash(path))
		if err := errors.Join(os.MkdirAll(filepath.Dir(full), 0o755), os.WriteFile(full, b, 0o644)); err != nil {
			t.Fatal(err)
		}
		it := gather.Item{Path: path, Kind: manifest.KindPhoto, Visit: "2019-06-21", File: &tally.File{Path: path, Size: int64(len(b)), SHA256: manifest.Sum(b), Kind: manifest.KindPhoto}}
		if strings.HasPrefix(path, "loose/") {
			in.Unfiled.Extra = append(in.Unfiled.Extra, it)
		} else {
			site.Extra = append(site.Extra, it)
		}
	}
	in.Sites = []gather.SiteItems{site}
	return dir, in
}

func goodPhoto(t *testing.T, shade uint8) []byte {
	t.Helper()
	m := image.NewGray(image.Rect(0, 0, 64, 64))
	for i := range m.Pix {
		m.Pix[i] = uint8(i*7) ^ shade
	}
	var b bytes.Buffer
	if err := jpeg.Encode(&b, m, nil); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func TestDeep(t *testing.T) {
	good := goodPhoto(t, 0)
	hollow := append(bytes.Clone(good[:len(good)-600]), good[len(good)-2:]...)
	dir, in := photosIn(t, map[string][]byte{
		"s/2019-06-21/plot.jpg": good, "s/2019-06-21/twice.jpg": good, "s/2019-06-21/landscape.jpg": hollow,
		"loose/a.jpg": append(bytes.Clone(hollow), 'x'), "s/2019-06-21/raw.nef": []byte("II*\x00raw"),
		"s/2019-06-21/changed.jpg": goodPhoto(t, 1), "s/2019-06-21/gone.jpg": goodPhoto(t, 2),
	})
	if err := errors.Join(os.WriteFile(filepath.Join(dir, "s/2019-06-21/changed.jpg"), goodPhoto(t, 3), 0o644), os.Remove(filepath.Join(dir, "s/2019-06-21/gone.jpg"))); err != nil {
		t.Fatal(err)
	}
	m := &remembered{}
	var done, total int64
	r, err := Check(t.Context(), &in, dir, m, func(d, all int64) { done, total = d, all })
	if err != nil {
		t.Fatal(err)
	}
	if r.Photos != 6 || r.Decoded != 3 || r.Structure != 1 || r.Faults != 2 || r.Known != 0 || len(r.Skipped) != 2 || done != total || total == 0 {
		t.Errorf("%+v, progress %d of %d", r, done, total)
	}
	var broken []string
	for _, f := range findings.Of(in, nil) {
		if f.Kind == verify.FoundBroken {
			broken = append(broken, f.Paths...)
		}
	}
	if got := strings.Join(broken, " "); got != "loose/a.jpg s/2019-06-21/landscape.jpg" {
		t.Errorf("found %s", got)
	}
	// What could not be read is not remembered; the rest is not decoded again.
	was := m.set
	if r, err = Check(t.Context(), &in, dir, m, nil); err != nil || r.Decoded != 0 || r.Known != 3 || r.Structure != 1 || len(r.Skipped) != 2 || r.Faults != 2 || m.set != was {
		t.Errorf("%+v, %v, %d remembered", r, err, m.set-was)
	}
}

func TestDeepStops(t *testing.T) {
	dir, in := photosIn(t, map[string][]byte{"s/a.jpg": goodPhoto(t, 0), "s/b.jpg": goodPhoto(t, 1)})
	ctx, cancel := context.WithCancel(t.Context())
	m := &remembered{}
	// What was decoded before it was stopped is remembered, and the rest is decoded then.
	if r, err := Check(ctx, &in, dir, m, func(int64, int64) { cancel() }); !errors.Is(err, context.Canceled) {
		t.Errorf("%+v, %v", r, err)
	}
	if r, err := Check(t.Context(), &in, dir, m, nil); err != nil || r.Known == 0 || r.Known+r.Decoded != 2 {
		t.Errorf("%+v, %v", r, err)
	}
	if r, err := Check(ctx, &in, dir, &remembered{}, nil); !errors.Is(err, context.Canceled) {
		t.Errorf("%+v, %v", r, err)
	}
	if _, err := Check(t.Context(), &in, filepath.Join(dir, "nowhere"), m, nil); err == nil {
		t.Error("a folder that is not there was decoded")
	}
}
