package gather

import (
	"reflect"
	"testing"
	"time"

	"linecamp/manifest"
	"linecamp/manifest/tally"
)

// A list that is kept spelled out is the same as one that is spelled out anew, and a
// caller who changes his own changes nobody else's. Of many items nothing is kept.
func TestListsThatAreKeptAreTheSame(t *testing.T) {
	file := func(path, visit string) tally.File {
		return tally.File{Path: path, Size: 1, Visit: visit, Kind: manifest.KindPhoto, View: "plot", Modified: time.Unix(1e9, 0)}
	}
	in := Input{Sites: []SiteItems{
		{Site: "Stake 3", packed: []packed{{files: tally.PackFiles(file("a/1.jpg", "2019-06-21"), file("a/2.jpg", "2020-06-21"))},
			{files: tally.PackFiles(file("n.txt", "2020")), shared: true, visit: "2020-06-21", of: "b"}}, Extra: []Item{{Path: "gone.jpg"}}},
		{Site: "Stake 4"},
	}}
	before := [][]Item{in.Sites[0].List(), in.Sites[1].List()}
	in.Spell()
	for i := range in.Sites {
		if got := in.Sites[i].List(); len(got) != len(before[i]) || len(got) > 0 && !reflect.DeepEqual(got, before[i]) {
			t.Errorf("%+v, want %+v", got, before[i])
		}
	}
	in.Sites[0].List()[0].Path = "changed"
	if got := in.Sites[0].List()[0].Path; got != "a/1.jpg" {
		t.Errorf("somebody else's list says %s", got)
	}
	many := Input{Sites: []SiteItems{{Extra: make([]Item, mostSpelled+1)}}}
	if many.Spell(); many.Sites[0].spelled != nil {
		t.Error("more is kept than may be")
	}
}
