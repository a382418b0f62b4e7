package intake

import (
	"testing"
	"time"

	"linecamp/manifest/tally"
)

// A film goes with the pictures it was taken among, and with none where that is not
// sure.
func TestFilmOf(t *testing.T) {
	day := time.Date(2026, 6, 24, 9, 0, 0, 0, time.UTC)
	file := func(name string, minute int, taken bool) tally.File {
		f := tally.File{Path: name, Modified: day.Add(time.Duration(minute) * time.Minute)}
		if taken {
			f.Taken = f.Modified.Format("2006-01-02T15:04:05")
		}
		return f
	}
	shots := func(taken bool) *Plan {
		p := &Plan{}
		for i, v := range [][]tally.File{
			{file("D/IMG_0001.JPG", 0, taken), file("D/IMG_0003.JPG", 4, taken)},
			{file("D/IMG_0005.JPG", 40, taken), file("D/IMG_0006.JPG", 42, taken)},
		} {
			visit := Visit{Number: i + 1, Date: []string{"2026-06-24", "2026-06-25"}[i]}
			for _, f := range v {
				visit.Files = append(visit.Files, File{file: f, shot: true})
			}
			p.Visits = append(p.Visits, visit)
		}
		return p
	}
	dated := file("D/VID_20260625_0912.MP4", 300, false)
	dated.Visit = "2026-06-25"
	for _, c := range []struct {
		name  string
		film  tally.File
		taken bool
		want  int
	}{
		{"by its time", file("E/CLIP.MP4", 12, true), true, 1},
		{"by its time, against its number", file("D/MVI_0007.MP4", 5, true), true, 1},
		{"between two visits", file("E/CLIP.MP4", 22, true), true, 0},
		{"nearer to one", file("E/CLIP.MP4", 30, true), true, 2},
		{"by its number, within a visit", file("D/MVI_0002.MP4", 900, false), false, 1},
		{"by its number, between two", file("D/MVI_0004.MP4", 900, false), false, 0},
		{"by its number, the last", file("D/MVI_0007.MP4", 900, false), false, 2},
		{"by its number, far behind the last", file("D/MVI_0019.MP4", 900, false), false, 0},
		{"in another folder", file("E/MVI_0002.MP4", 900, false), false, 0},
		{"by the day in its name", dated, false, 2},
	} {
		got := 0
		if v := shots(c.taken).filmOf(c.film); v != nil {
			got = v.Number
		}
		if got != c.want {
			t.Errorf("%s: visit %d, want %d", c.name, got, c.want)
		}
	}
}
