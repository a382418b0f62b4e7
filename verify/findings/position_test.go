package findings

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"linecamp/manifest/geo"
	"linecamp/manifest/tally"
	"linecamp/verify"
	"linecamp/verify/gather"
	"linecamp/verify/verifytest"
)

// yearly are six visits with one photo each, at the positions given in turn.
func yearly(at ...geo.Position) (items []gather.Item) {
	for y := 2015; y <= 2020; y++ {
		day := fmt.Sprintf("%d-06-21", y)
		p := at[(y-2015)%len(at)]
		items = append(items, verifytest.Shot(day+"/plot.jpg", day, day, func(f *tally.File) { f.At = &geo.Fix{Position: p, Error: 5} }))
	}
	return items
}

// Where longitudes wrap and meridians meet, nothing is taken elsewhere that was
// not. In the far west of the Aleutians the 180th meridian is a real one.
func TestPlacesAtTheEdgesOfTheMap(t *testing.T) {
	for _, tt := range []struct {
		name     string
		declared *geo.Position
		items    []gather.Item
		want     []string
	}{
		{"either side of the 180th meridian", nil, yearly(geo.Position{Latitude: 52, Longitude: 179.9999}, geo.Position{Latitude: 52, Longitude: -179.9999}), nil},
		{"declared on it, as 180", &geo.Position{Latitude: 52, Longitude: 180}, yearly(geo.Position{Latitude: 52, Longitude: -179.9999}), nil},
		{"declared on it, as -180", &geo.Position{Latitude: 52, Longitude: -180}, yearly(geo.Position{Latitude: 52, Longitude: 179.9999}), nil},
		{"at the pole every longitude is one place", &geo.Position{Latitude: 90, Longitude: 0}, yearly(geo.Position{Latitude: 90, Longitude: 120}, geo.Position{Latitude: 89.99999, Longitude: -170}), nil},
		{"across the pole by the photos alone", nil, yearly(geo.Position{Latitude: -90, Longitude: 10}, geo.Position{Latitude: -90, Longitude: -170}), nil},
		{"one photo really elsewhere, over the meridian", &geo.Position{Latitude: 52, Longitude: 179.9999},
			append(yearly(geo.Position{Latitude: 52, Longitude: 179.9999}), verifytest.Shot("x", "2021-06-21", "2021-06-21", func(f *tally.File) {
				f.At = &geo.Fix{Position: geo.Position{Latitude: 52, Longitude: -179.99}}
			})), []string{"*elsewhere 2021-06-21: 1 photo taken 694 m from the site"}},
	} {
		in := gather.Input{Now: time.Date(2026, 12, 1, 0, 0, 0, 0, time.UTC), Sites: []gather.SiteItems{{Site: "Stake 3", Extra: tt.items, Position: tt.declared}}}
		if got := verifytest.Told(Of(in, nil)); !slices.Equal(got, tt.want) {
			t.Errorf("%s:\ngot  %q\nwant %q", tt.name, got, tt.want)
		}
	}
}

// A declaration with a sign forgotten, or latitude and longitude of another
// stake, is one fault of the declaration and none of every visit.
func TestASiteDeclaredInTheWrongPlace(t *testing.T) {
	east := geo.Position{Latitude: verifytest.StakePlace.Latitude, Longitude: -verifytest.StakePlace.Longitude}
	moved := verifytest.Shot("x", "2021-06-21", "2021-06-21", verifytest.MetersNorth(300, 5))
	in := gather.Input{Now: time.Date(2026, 12, 1, 0, 0, 0, 0, time.UTC), Sites: []gather.SiteItems{{Site: "Stake 3", Pasture: "Windmill", Extra: append(yearly(verifytest.StakePlace), moved), Position: &east}}}
	got := verifytest.Told(Of(in, nil))
	want := []string{
		"*elsewhere 2021-06-21: 1 photo taken 300 m from where the other visits' photos were taken (the camera's position was good to 5 m)",
		"*declared : the site is declared to be at 41.40000, 103.20000; that is 10458 km from where the photos of 6 of its 7 visits with a position were taken (41.40000, -103.20000)",
	}
	if !slices.Equal(got, want) {
		t.Errorf("got  %q\nwant %q", got, want)
	}
	// Where the photos do not agree on another place, the declaration stands.
	in.Sites[0].Extra = yearly(verifytest.StakePlace, geo.Position{Latitude: 42, Longitude: -103}, geo.Position{Latitude: 43, Longitude: -102})
	for _, f := range Of(in, nil) {
		if f.Kind != verify.FoundElsewhere || strings.Contains(f.Text, "other visits") {
			t.Errorf("%+v", f)
		}
	}
}
