package tally

import (
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"testing"
)

func TestDoubles(t *testing.T) {
	root := tree(t, map[string]string{
		"W/S/2017/plot.jpg": "", "W/S/2017/landscape.jpg": "", "W/S/2018/plot.jpg": "", "W/S/2016 (1)/plot.jpg": "", "W/S/2016/plot.jpg": "",
	})
	twin := func(from, to string) {
		b, err := os.ReadFile(filepath.Join(root, from))
		if err != nil {
			t.Fatal(err)
		}
		put(t, root, to, b)
	}
	twin("W/S/2017/plot.jpg", "W/S/Copy of 2017/plot.jpg")
	twin("W/S/2017/landscape.jpg", "W/S/Copy of 2017/landscape.jpg")
	twin("W/S/2018/plot.jpg", "W/S/2018 - Copy/plot.jpg")
	put(t, root, "W/S/2018 - Copy/extra.jpg", []byte("only here"))
	r := read(t, Options{Folder: root})
	var got []string
	for _, d := range r.Doubles() {
		got = append(got, fmt.Sprintf("%s of %s: %d of %d", d.Folder, d.Of, d.Same, d.Files))
	}
	if want := []string{"W/S/2018 - Copy of W/S/2018: 1 of 2", "W/S/Copy of 2017 of W/S/2017: 2 of 2"}; !slices.Equal(got, want) {
		t.Errorf("%q, want %q", got, want)
	}
	at := where(r)
	for path, want := range map[string]string{"W/S/Copy of 2017/plot.jpg": "W/S@2017", "W/S/2018 - Copy/extra.jpg": "W/S@2018", "W/S/2016 (1)/plot.jpg": "W/S@2016"} {
		if !slices.Equal(at[path], []string{want}) {
			t.Errorf("%s is at %q, want %q", path, at[path], want)
		}
	}
}
