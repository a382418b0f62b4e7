package tally

import (
	"fmt"
	"reflect"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"

	"linecamp/manifest"
	"linecamp/manifest/facts"
	"linecamp/manifest/geo"
)

// anyFile draws a file with everything that can be told of one.
func anyFile(t *rapid.T) File {
	f := File{
		Path: rapid.StringMatching(`(Windmill/|Nord/|\x{e9}/)?(2019/|2019-06-21/)?[a-c]{1,3}(\.jpg)?`).Draw(t, "path"),
		Size: rapid.Int64Min(0).Draw(t, "size"), XXH64: rapid.Uint64().Draw(t, "xxh64"),
		Kind:   rapid.SampledFrom(kinds).Draw(t, "kind"),
		View:   rapid.SampledFrom([]string{"", "plot", Untold}).Draw(t, "view"),
		Visit:  rapid.SampledFrom([]string{"", "2019", "2019-06-21"}).Draw(t, "visit"),
		With:   rapid.SampledFrom([]string{"", "Windmill/2019/a.jpg", "b"}).Draw(t, "with"),
		SHA256: manifest.Sum([]byte(rapid.String().Draw(t, "bytes"))),
		Facts: facts.Facts{
			Taken:   rapid.SampledFrom([]string{"", "2019-06-21T10:11:12-06:00"}).Draw(t, "taken"),
			Exposed: rapid.Bool().Draw(t, "exposed"),
			Camera:  rapid.SampledFrom([]string{"", "Maker One", "Maker Two"}).Draw(t, "camera"),
			Turn:    rapid.Uint8().Draw(t, "turn"), Width: rapid.Uint32().Draw(t, "width"), Height: rapid.Uint32().Draw(t, "height"),
			Topics: facts.Topics(rapid.Uint8().Draw(t, "topics")), Blank: rapid.Bool().Draw(t, "blank"),
			Fault: rapid.SampledFrom([]string{"", "it is empty"}).Draw(t, "fault"),
		},
	}
	if rapid.Bool().Draw(t, "timed") {
		f.Modified = time.Unix(rapid.Int64Range(-1<<36, 1<<37).Draw(t, "seconds"), rapid.Int64Range(0, 999_999_999).Draw(t, "nanos"))
	}
	if rapid.Bool().Draw(t, "positioned") {
		f.At = &geo.Fix{Error: rapid.Float64Range(0, 1e6).Draw(t, "error")}
		f.At.Latitude, f.At.Longitude = rapid.Float64Range(-90, 90).Draw(t, "latitude"), rapid.Float64Range(-180, 180).Draw(t, "longitude")
	}
	return f
}

// TestFilesKeepEverything: what comes out of packed lists is what went in, also
// where several share a pack.
func TestFilesKeepEverything(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := packer{prefix: rapid.SampledFrom([]string{"", "Windmill", "elsewhere"}).Draw(t, "prefix")}
		lists := rapid.SliceOfN(rapid.SliceOfN(rapid.Custom(anyFile), 0, 4), 1, 4).Draw(t, "lists")
		var packed []Files
		for _, l := range lists {
			packed = append(packed, p.list(l))
		}
		p.done()
		for i, l := range lists {
			if got := packed[i].List(); packed[i].Len() != len(l) || packed[i].IsZero() != (len(l) == 0) || !(len(l) == 0 || reflect.DeepEqual(got, l)) {
				t.Fatalf("list %d is\n%+v\nwant\n%+v", i, got, l)
			}
		}
		for f := range packed[0].All() { // a loop may end early
			if !reflect.DeepEqual(f, lists[0][0]) {
				t.Fatalf("%+v", f)
			}
			break
		}
	})
}

// TestFilesKeepEachField: a field that is added to File, and not to the packing,
// is lost here.
func TestFilesKeepEachField(t *testing.T) {
	var whole File
	var fill func(v reflect.Value)
	fill = func(v reflect.Value) {
		switch v.Kind() {
		case reflect.String:
			v.SetString("some")
		case reflect.Bool:
			v.SetBool(true)
		case reflect.Int, reflect.Int64:
			v.SetInt(3)
		case reflect.Uint8, reflect.Uint32, reflect.Uint64:
			v.SetUint(5)
		case reflect.Float64:
			v.SetFloat(1.5)
		case reflect.Pointer:
			v.Set(reflect.New(v.Type().Elem()))
			fill(v.Elem())
		case reflect.Array:
			for i := range v.Len() {
				fill(v.Index(i))
			}
		case reflect.Struct:
			if v.Type() == reflect.TypeFor[time.Time]() {
				v.Set(reflect.ValueOf(time.Unix(7, 8)))
				return
			}
			for i := range v.NumField() {
				fill(v.Field(i))
			}
		default:
			t.Fatalf("%v is a new kind of field", v.Type())
		}
	}
	fill(reflect.ValueOf(&whole).Elem())
	whole.Kind = manifest.KindNote
	for _, got := range PackFiles(whole, whole).List() {
		if !reflect.DeepEqual(got, whole) {
			t.Errorf("%+v, want %+v", got, whole)
		}
	}
}

// TestFilesAreSmall: a million photos are a matter of some 80 MB.
func TestFilesAreSmall(t *testing.T) {
	var files []File
	for i := range 40 {
		name := fmt.Sprintf("Pasture 3/Stake 12/2019-06-21/IMG_%04d.JPG", i)
		files = append(files, File{Path: name, Size: 4_000_000, Modified: time.Unix(1561111111, 123456789), SHA256: manifest.Sum([]byte(name)),
			XXH64: 1 << 63, Kind: manifest.KindPhoto, View: Untold, Visit: "2019-06-21"})
	}
	l := PackFiles(files...)
	if each := len(l.in.b) / len(files); each > 80 {
		t.Errorf("%d bytes a file", each)
	}
	if !slices.Equal(l.List(), files) {
		t.Error("they do not come back")
	}
}
