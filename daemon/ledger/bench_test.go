package ledger

import (
	"fmt"
	"testing"

	"linecamp/manifest"
	"linecamp/manifest/seal"
	"linecamp/manifest/walk"
	"linecamp/verify"
)

// BenchmarkFoldersUnchanged asks for what is known of 100,000 files, as a walk
// does, from a ledger opened anew each time; three files to a folder.
func BenchmarkFoldersUnchanged(b *testing.B) {
	dir := b.TempDir()
	l := open(b, dir)
	var dirs []string
	for pasture := range 10 {
		for site := range 100 {
			for visit := range 34 {
				at := fmt.Sprintf("pasture %d/stake %03d/%d-06-21", pasture, site, 1990+visit)
				dirs = append(dirs, at)
				ok(b, l.SetFolder(at, []walk.Known{some("landscape.jpg"), some("plot.jpg"), some("notes.txt")}))
			}
		}
	}
	shut(b, l)
	for b.Loop() {
		l := open(b, dir)
		files := 0
		for _, at := range dirs {
			known, err := l.Folder(at)
			ok(b, err)
			files += len(known)
		}
		if files != 3*len(dirs) {
			b.Fatalf("%d files of %d", files, 3*len(dirs))
		}
		shut(b, l)
	}
	b.ReportMetric(float64(3*len(dirs)), "files/op")
}

// BenchmarkFirstTally sets 200,000 files, three to a folder, and flushes.
func BenchmarkFirstTally(b *testing.B) {
	for b.Loop() {
		l := open(b, b.TempDir())
		for i := range 66_667 {
			at := fmt.Sprintf("pasture/stake %04d/%02d", i/34, i%34)
			known, err := l.Folder(at)
			if ok(b, err); known != nil {
				b.Fatal("known already")
			}
			ok(b, l.SetFolder(at, []walk.Known{some("landscape.jpg"), some("plot.jpg"), some("notes.txt")}))
		}
		shut(b, l)
	}
}

// BenchmarkFirstMirror remembers 200,000 files one by one, 2,000 to an object.
func BenchmarkFirstMirror(b *testing.B) {
	for b.Loop() {
		l := open(b, b.TempDir())
		for i := range 200_000 {
			h := verify.Held{Path: fmt.Sprintf("v1/content/%d/plot.jpg", i), SHA256: manifest.Digest{byte(i)}, Size: 1, XXH64: 1, ReadBack: day(1)}
			ok(b, l.Remember("shelf", fmt.Sprintf("site-%d", i/2000), []verify.Held{h}))
		}
		shut(b, l)
	}
}

// BenchmarkPutSeal keeps a seal of 50,000 lines that grew by one, as a round does
// with each version it makes.
func BenchmarkPutSeal(b *testing.B) {
	s := &seal.Seal{}
	line := func() {
		n := s.Len()
		ok(b, s.Append(seal.Line{At: day(1), What: seal.Version, Version: n/500 + 1, Inventory: manifest.Digest{1, byte(n)},
			Object: manifest.ObjectID("saltbush-draw", fmt.Sprintf("windmill--stake-%d", n%500))}))
	}
	for range 50_000 {
		line()
	}
	c := OpenInventories(b.TempDir())
	ok(b, c.PutSeal(s))
	for b.Loop() {
		line()
		ok(b, c.PutSeal(s))
	}
}
