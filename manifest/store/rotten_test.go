package store_test

import (
	"bytes"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"testing"

	"linecamp/manifest/seal"
	"linecamp/manifest/store"
	"linecamp/manifest/store/drive"
)

// A version that was committed, and whose manifest rotted since at both of its
// places, is damaged. It is not taken for one that was never finished, which
// would be cleared away to make room for another of its number.
func TestARottenVersionIsNotClearedAway(t *testing.T) {
	p := drivePlace(t)
	ctx, r, s := t.Context(), p.made(t), newSite()
	files := map[string]string{"2019-06-21/plot.jpg": "plot 19"}
	s.store(t, r, s.next(t, nil, files))
	files["2020-06-19/plot.jpg"] = "plot 20"
	s.store(t, r, s.next(t, nil, files))
	before := keys(t, r, object)
	for _, name := range []string{"inventory.json", "v2/inventory.json"} {
		b, ok := p.read(object + "/" + name)
		if !ok {
			t.Fatalf("no %s", name)
		}
		b[len(b)/2] ^= 1
		p.remove(object + "/" + name)
		p.write(object+"/"+name, b)
	}
	_, err := r.Begin(ctx, object, 2)
	wantErr(t, err, store.ErrDamaged)
	if after := keys(t, r, object); len(after) != len(before) {
		t.Errorf("before %q, and afterwards %q", before, after)
	}
}

// noWrites is a drive on which files can be opened and nothing can be written into
// them any more.
type noWrites struct{ drive.Disk }

func (n noWrites) Update(name string) (drive.File, error) {
	f, err := n.Disk.Update(name)
	return noWritesTo{f}, err
}

type noWritesTo struct{ drive.File }

func (noWritesTo) Write([]byte) (int, error) { return 0, io.ErrShortWrite }

// The end of the seal's last line rotted. The line is written again in its place,
// and is there as it was until it stands there whole.
func TestTheSealIsNeverShorter(t *testing.T) {
	r, dir := driveIn(t)
	log := &seal.Seal{}
	for range 3 {
		must(t, log.Append(seal.Line{At: testTime, What: seal.GaveUp, Copy: otherCopy, Why: "stolen"}))
	}
	must(t, store.WriteSeal(t.Context(), r, log))
	file := filepath.Join(dir, filepath.FromSlash(seal.File(0)))
	bent := append(bytes.TrimSuffix(log.Text(0, log.Len()), []byte("\n")), 'J', 'J')
	must(t, os.WriteFile(file, bent, 0o666))
	r.WrapDisk(func(d drive.Disk) drive.Disk { return noWrites{d} })
	if err := store.WriteSeal(t.Context(), r, log); err == nil {
		t.Error("no error")
	}
	now, err := os.ReadFile(file)
	must(t, err)
	if !bytes.Equal(now, bent) {
		t.Errorf("of %d bytes, %d are left", len(bent), len(now))
	}
	again, err := drive.New(dir)
	must(t, err)
	defer again.Close()
	must(t, store.WriteSeal(t.Context(), again, log))
	if now, err = os.ReadFile(file); err != nil || !bytes.Equal(now, log.Text(0, log.Len())) {
		t.Errorf("the seal is %q, %v", now, err)
	}
}

// A version that is there and whose manifest rotted stays where it is, though the
// one above it went: it is damaged, and was kept.
func TestGoBackLeavesARottenVersion(t *testing.T) {
	for _, above := range []bool{true, false} {
		r, dir := driveIn(t)
		s := newSite()
		s.store(t, r, s.next(t, nil, map[string]string{"2018/plot.jpg": "plot 18"}))
		s.store(t, r, s.next(t, nil, map[string]string{"2018/plot.jpg": "plot 18", "2019/plot.jpg": "plot 19"}))
		s.store(t, r, s.next(t, nil, map[string]string{"2018/plot.jpg": "plot 18", "2019/plot.jpg": "plot 19", "2020/plot.jpg": "plot 20"}))
		rotten := 1
		if above { // a good one lies below it
			rotten = 2
		}
		for n := rotten + 1; n <= 3; n++ {
			must(t, os.RemoveAll(filepath.Join(dir, object, fmt.Sprint("v", n))))
		}
		file := filepath.Join(dir, object, fmt.Sprint("v", rotten), "inventory.json")
		b, err := os.ReadFile(file)
		must(t, err)
		b[3] ^= 2
		must(t, os.WriteFile(file, b, 0o666))
		pair, err := os.ReadFile(filepath.Join(dir, object, "inventory.json"))
		must(t, err)
		unlock, err := r.Lock(t.Context())
		must(t, err)
		wantErr(t, r.GoBack(t.Context(), object), store.ErrDamaged)
		unlock()
		if got, err := os.ReadFile(file); err != nil || string(got) != string(b) {
			t.Errorf("version %d was moved: %v", rotten, err)
		}
		if got, err := os.ReadFile(filepath.Join(dir, object, "inventory.json")); err != nil || string(got) != string(pair) {
			t.Errorf("the pair at the top, which may be the last good one, was changed: %v", err)
		}
	}
}
