package verifytest

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"linecamp/manifest"
	"linecamp/manifest/card"
	"linecamp/manifest/facts"
	"linecamp/manifest/geo"
	"linecamp/manifest/tally"
	"linecamp/verify"
	"linecamp/verify/gather"
)

// SiteWith makes items from lines "DATE view view note": what each visit has. "-" in
// front of a word means it is on a copy only, "!" that it is nowhere.
func SiteWith(lines ...string) gather.SiteItems {
	s := gather.SiteItems{Site: "Stake 3", Pasture: "Windmill", Object: "windmill--stake-3"}
	for _, l := range lines {
		words := strings.Fields(l)
		for i, w := range words[1:] {
			it := gather.Item{Visit: words[0], Kind: manifest.KindPhoto}
			switch w[0] {
			case '-':
				it.Where, w = gather.OnCopy, w[1:]
			case '!':
				it.Where, w = gather.Nowhere, w[1:]
			}
			it.View = w
			if w == "note" {
				it.Kind, it.View = manifest.KindNote, ""
			}
			if w == "card" {
				it.Kind, it.View = manifest.KindCard, ""
			}
			it.Path = fmt.Sprintf("%s/%d %s", words[0], i, w)
			s.Extra = append(s.Extra, it)
		}
	}
	return s
}

// Every makes one line a year from first to last.
func Every(first, last, step int, what string) []string {
	var out []string
	for y := first; y <= last; y += step {
		out = append(out, fmt.Sprintf("%d-06-21 %s", y, what))
	}
	return out
}

// Faults writes all years that are not whole: "2011 short landscape".
func Faults(years []verify.Year) []string {
	var out []string
	for _, y := range years {
		if y.State != verify.Whole {
			out = append(out, strings.TrimSpace(fmt.Sprintf("%d %s %s", y.Year, y.State, strings.Join(y.Lacks, ","))))
		}
	}
	return out
}

// Replaced gives one year's line other words.
func Replaced(lines []string, year, what string) []string {
	for i, l := range lines {
		if strings.HasPrefix(l, year) {
			lines[i] = strings.Fields(l)[0] + " " + what
		}
	}
	return lines
}

// Without leaves out the lines of some years.
func Without(lines []string, years ...string) []string {
	return slices.DeleteFunc(lines, func(l string) bool {
		return slices.ContainsFunc(years, func(y string) bool { return strings.HasPrefix(l, y) })
	})
}

// Carded is SiteWith with a card.
func Carded(t *testing.T, text string, lines ...string) gather.SiteItems {
	t.Helper()
	s := SiteWith(lines...)
	var bad []card.Fault
	if s.Card, bad = card.Decode("site.toml", []byte(text)); len(bad) > 0 {
		t.Fatal(bad)
	}
	return s
}

// Shot is a photo in the working folder: bytes of its own, taken on a day.
func Shot(path, visit, taken string, change ...func(*tally.File)) gather.Item {
	f := &tally.File{Path: path, Size: 1000, SHA256: manifest.Sum([]byte(path)), Kind: manifest.KindPhoto, Facts: facts.Facts{Exposed: true}}
	if taken != "" {
		f.Taken = taken + "T10:11:12"
	}
	for _, c := range change {
		c(f)
	}
	return gather.Item{Path: path, View: "plot", Kind: manifest.KindPhoto, Visit: visit, File: f}
}

// MetersNorth puts a photo that far from the stake, with a stated error.
func MetersNorth(m, within float64) func(*tally.File) {
	return func(f *tally.File) {
		f.At = &geo.Fix{Position: geo.Position{Latitude: StakePlace.Latitude + m/111_050, Longitude: StakePlace.Longitude}, Error: within}
	}
}

// StakePlace is where the stake stands.
var StakePlace = geo.Position{Latitude: 41.4, Longitude: -103.2}

// Told writes findings as "kind visit: text", with a star where a person is wanted.
func Told(all []verify.Finding) (out []string) {
	for _, f := range all {
		s := fmt.Sprintf("%s %s: %s", f.Kind, f.Visit, f.Text)
		if f.Wants() {
			s = "*" + s
		}
		out = append(out, s)
	}
	return out
}

// At gives every photo of a site a position near a point.
func At(s gather.SiteItems, lat, long float64) gather.SiteItems {
	for i := range s.Extra {
		s.Extra[i].File = &tally.File{Path: s.Extra[i].Path, Size: 9, SHA256: manifest.Sum([]byte(s.Extra[i].Path)), Facts: facts.Facts{Exposed: true,
			At: &geo.Fix{Position: geo.Position{Latitude: lat + float64(i%5)*1e-5, Longitude: long}}}}
	}
	return s
}
