package ledger

import (
	"bytes"
	"reflect"
	"testing"
	"time"

	"pgregory.net/rapid"

	"linecamp/manifest"
	"linecamp/manifest/facts"
	"linecamp/manifest/geo"
	"linecamp/manifest/packed"
	"linecamp/manifest/walk"
	"linecamp/verify"
)

// What is remembered is what remembering one by one gives, however it was
// batched, flushed, closed and opened again.
func TestRememberingAgreesWithItsModel(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		dir := t.TempDir()
		l := open(t, dir)
		defer func() { shut(t, l) }()
		type key struct{ copy, object, path string }
		model := map[key]verify.Held{}
		word := func(name string, from ...string) string { return rapid.SampledFrom(from).Draw(r, name) }
		when := func(name string) time.Time {
			if n := rapid.IntRange(0, 3).Draw(r, name); n > 0 {
				return day(n)
			}
			return time.Time{}
		}
		r.Repeat(map[string]func(*rapid.T){
			"remember": func(r *rapid.T) {
				copy, object := word("copy", "shelf", "bucket"), word("object", "one", "two")
				var all []verify.Held
				for range rapid.IntRange(1, 3).Draw(r, "files") {
					h := held(word("path", "v1/content/a", "v1/content/b", "v2/content/a", "odd"), word("bytes", "x", "y"))
					h.XXH64 = rapid.Uint64Range(0, 2).Draw(r, "xxh64")
					h.ETag = word("etag", "", "e", "f")
					h.Files = rapid.IntRange(0, 2).Draw(r, "people's files")
					h.ReadBack, h.Confirmed = when("read back"), when("confirmed")
					all = append(all, h)

					k := key{copy, object, h.Path}
					if h.Files == 0 {
						h.Files = model[k].Files
					}
					if was, known := model[k]; known && was.SHA256 == h.SHA256 {
						if h.XXH64 == 0 {
							h.XXH64 = was.XXH64
						}
						if h.ETag == "" {
							h.ETag = was.ETag
						}
						if h.ReadBack.Before(was.ReadBack) {
							h.ReadBack = was.ReadBack
						}
						if h.Confirmed.Before(was.Confirmed) {
							h.Confirmed = was.Confirmed
						}
					}
					model[k] = h
				}
				ok(t, l.Remember(copy, object, all))
			},
			"forget a copy": func(r *rapid.T) {
				copy := word("copy", "shelf", "bucket")
				ok(t, l.ForgetCopy(copy))
				for k := range model {
					if k.copy == copy {
						delete(model, k)
					}
				}
			},
			"flush": func(r *rapid.T) { ok(t, l.Flush()) },
			"again": func(r *rapid.T) {
				if rapid.IntRange(0, 3).Draw(r, "rarely") > 0 {
					r.Skip() // opening takes most of the time
				}
				shut(t, l)
				l = open(t, dir)
			},
			"": func(r *rapid.T) {
				for _, copy := range []string{"shelf", "bucket"} {
					for _, object := range []string{"one", "two"} {
						want := map[string]verify.Held{}
						for k, h := range model {
							if k.copy == copy && k.object == object {
								want[k.path] = h
							}
						}
						got, err := l.Held(copy, object)
						ok(t, err)
						if !reflect.DeepEqual(got, want) {
							r.Fatalf("%s %s: got %+v\nwant %+v", copy, object, got, want)
						}
					}
				}
			},
		})
	})
}

func drawTime(r *rapid.T) time.Time {
	if rapid.Bool().Draw(r, "none") {
		return time.Time{}
	}
	return time.Unix(rapid.Int64Range(-1<<40, 1<<40).Draw(r, "seconds"), rapid.Int64Range(0, 999_999_999).Draw(r, "nanos")).UTC()
}

func TestPackedRowsComeBack(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		known := rapid.SliceOf(rapid.Custom(func(r *rapid.T) walk.Known {
			return walk.Known{
				Name: rapid.String().Draw(r, "name"), Size: rapid.Int64().Draw(r, "size"),
				Modified: drawTime(r), Changed: drawTime(r), Inode: rapid.Uint64().Draw(r, "inode"),
				SHA256: manifest.Sum(rapid.SliceOf(rapid.Byte()).Draw(r, "bytes")), XXH64: rapid.Uint64().Draw(r, "xxh64"),
				Facts: facts.Facts{
					Taken: rapid.String().Draw(r, "taken"), At: drawFix(r), Exposed: rapid.Bool().Draw(r, "exposed"),
					Camera: rapid.String().Draw(r, "camera"), Turn: rapid.Uint8().Draw(r, "turn"), Width: rapid.Uint32().Draw(r, "width"), Height: rapid.Uint32().Draw(r, "height"),
					Topics: facts.Topics(rapid.Uint8().Draw(r, "topics")), Blank: rapid.Bool().Draw(r, "blank"),
					Fault: rapid.String().Draw(r, "fault"),
				},
			}
		})).Draw(r, "known")
		if known == nil {
			known = []walk.Known{}
		}
		row := packKnown(known)
		got, err := unpackKnown(row)
		if err != nil || !reflect.DeepEqual(got, known) {
			r.Fatalf("got %+v, %v; want %+v", got, err, known)
		}
		row[rapid.IntRange(0, len(row)-1).Draw(r, "byte")] ^= 1 << rapid.IntRange(0, 7).Draw(r, "bit")
		if got, err := unpackKnown(row); err == nil {
			r.Fatalf("a row with a bit flipped was taken: %+v", got)
		}
	})
}

func drawFix(r *rapid.T) *geo.Fix {
	if !rapid.Bool().Draw(r, "position") {
		return nil
	}
	return &geo.Fix{
		Position: geo.Position{Latitude: rapid.Float64Range(-90, 90).Draw(r, "north"), Longitude: rapid.Float64Range(-180, 180).Draw(r, "east")},
		Error:    rapid.Float64Min(0).Draw(r, "error"),
	}
}

// Whatever is unpacked packs to itself again, and nothing makes unpacking
// panic or take more memory than the row warrants.
func FuzzUnpack(f *testing.F) {
	body := func(row []byte) []byte { return row[1 : len(row)-8] }
	f.Add(body(packKnown([]walk.Known{some("plot.jpg"), {}})))
	h := held("v1/content/a", "a")
	h.ETag, h.XXH64, h.ReadBack = "e", 3, day(1)
	f.Add(body(packHeld(map[string]verify.Held{h.Path: h})))
	f.Add(bytes.Repeat([]byte{0xff}, 40))
	f.Fuzz(func(t *testing.T, b []byte) {
		r := packed.Of(string(b))
		if known, err := readKnown(&r); err == nil {
			again, err := unpackKnown(packKnown(known))
			if err != nil || !reflect.DeepEqual(again, known) {
				t.Fatalf("got %+v, %v; want %+v", again, err, known)
			}
		}
		r = packed.Of(string(b))
		if all, err := readHeld(&r); err == nil {
			want := map[string]verify.Held{}
			for _, h := range all {
				want[h.Path] = h
			}
			got := map[string]verify.Held{}
			unpackHeld(packHeld(want), got)
			if !reflect.DeepEqual(got, want) {
				t.Fatalf("got %+v, want %+v", got, want)
			}
		}
		unpackHeld(b, map[string]verify.Held{})
		if _, err := unpack(b); err == nil {
			t.Fatal("chance made a good inventory file")
		}
	})
}
