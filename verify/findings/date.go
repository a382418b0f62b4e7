package findings

import (
	"fmt"
	"slices"
	"time"

	"linecamp/manifest/words"
	"linecamp/verify"
	"linecamp/verify/figures"
	"linecamp/verify/gather"
)

// The name of a folder is what a person wrote, and a camera's clock is what
// nobody looked at. So the folder's date counts, and a camera that disagrees
// with it through a whole visit has a wrong clock. Only where some photos of a
// visit agree with it and others do not, or where they fit another visit, does
// it look as if photos lie in the wrong folder.

// strange is a visit all of whose photos are of one other day.
type strange struct {
	site  *gather.SiteItems
	visit string
	day   time.Time // the first photo's
	items []gather.Item
}

// otherDay looks at the photos of a visit that were taken at another time than
// the folder says.
func (x *finder) otherDay(s *gather.SiteItems, visit string, photos []gather.Item) {
	from, to, around := visitSpan(visit)
	var dated, off, scans []gather.Item
	for _, it := range photos {
		d, ok := takenDay(it)
		if !ok {
			continue // no date is never a fault
		}
		dated = append(dated, it)
		switch {
		case !d.Before(from.AddDate(0, 0, -around)) && !d.After(to.AddDate(0, 0, around)):
		case d.After(to) && !it.File.Exposed && it.File.At == nil:
			scans = append(scans, it)
		default:
			off = append(off, it)
		}
	}
	if len(scans) > 0 {
		x.add(s, verify.Finding{Visit: visit, Kind: verify.FoundScan, Note: true, Paths: pathsOf(scans), Text: "scanned or exported in " + yearsTaken(scans)})
	}
	if len(off) == 0 {
		return
	}
	slices.SortStableFunc(off, func(a, b gather.Item) int {
		da, _ := takenDay(a)
		db, _ := takenDay(b)
		return da.Compare(db)
	})
	first, _ := takenDay(off[0])
	last, _ := takenDay(off[len(off)-1])
	if len(off)+len(scans) == len(dated) && last.Sub(first) <= figures.DaysAround*24*time.Hour {
		x.dates = append(x.dates, strange{s, visit, first, off})
		return
	}
	were := "were"
	if len(off) == 1 {
		were = "was"
	}
	x.misdated(s, visit, off, fmt.Sprintf("%d of its %d dated photos %s taken on %s", len(off), len(dated), were, span(first, last)))
}

func (x *finder) misdated(s *gather.SiteItems, visit string, off []gather.Item, text string) {
	x.add(s, verify.Finding{Visit: visit, Kind: verify.FoundMisdated, Paths: pathsOf(off), Text: text,
		Todo: "See whether the photos belong to another visit. If they are right here, put the reason on file."})
}

// swapped settles the visits whose photos are all of one other day: photos of
// another visit to the site, two visits that have each other's, or a wrong clock.
func (x *finder) swapped() {
	fits := func(a strange, visit string) bool {
		from, to, around := visitSpan(visit)
		return len(visit) == len(time.DateOnly) && !a.day.Before(from.AddDate(0, 0, -around)) && !a.day.After(to.AddDate(0, 0, around))
	}
	done := map[int]bool{}
	for i, a := range x.dates {
		if done[i] {
			continue
		}
		other := slices.IndexFunc(x.dates, func(b strange) bool {
			return b.site == a.site && b.visit != a.visit && fits(a, b.visit) && fits(b, a.visit)
		})
		if other >= 0 {
			done[other] = true
			b := x.dates[other]
			x.add(a.site, verify.Finding{Visit: a.visit, Kind: verify.FoundSwapped, Paths: slices.Concat(pathsOf(a.items), pathsOf(b.items)),
				Text: fmt.Sprintf("the photos of %s were taken on %s, and those of %s on %s", a.visit, dayText(a.day), b.visit, dayText(b.day)),
				Todo: "Look at the photo boards. If they say so too, swap the photos of the two folders. If the photos are right as they are, put the reason on file."})
			continue
		}
		misfiled := ""
		for _, it := range a.site.List() {
			if it.Visit != a.visit && fits(a, it.Visit) {
				misfiled = max(misfiled, it.Visit)
			}
		}
		if misfiled != "" {
			x.misdated(a.site, a.visit, a.items, fmt.Sprintf("its photos were taken on %s, as those of the visit of %s", dayText(a.day), misfiled))
			continue
		}
		x.clock(a)
	}
}

// clock says how far a camera's clock was off through a visit.
func (x *finder) clock(a strange) {
	from, to, _ := visitSpan(a.visit)
	text := fmt.Sprintf("the camera's clock said %s throughout; the folder's date counts", dayText(a.day))
	if from == to {
		days := int(a.day.Sub(from).Hours() / 24)
		how := "ahead"
		if days < 0 {
			days, how = -days, "behind"
		}
		text = fmt.Sprintf("the camera's clock was %s %s (it said %s); the folder's date counts", words.Count(int64(days), "day"), how, dayText(a.day))
	}
	x.add(a.site, verify.Finding{Visit: a.visit, Kind: verify.FoundClock, Note: true, Paths: pathsOf(a.items), Text: text,
		Todo: "Set the camera's clock before the next visit."})
}

// visitSpan is the first and the last day that a visit's name allows, and how
// many days around them a photo may be taken.
func visitSpan(visit string) (from, to time.Time, around int) {
	if d, err := time.Parse(time.DateOnly, visit); err == nil {
		return d, d, figures.DaysAround
	}
	n, _ := verify.YearOf(visit)
	return time.Date(n, 1, 1, 0, 0, 0, 0, time.UTC), time.Date(n, 12, 31, 0, 0, 0, 0, time.UTC), figures.YearAround
}

// takenDay is the day on which a photo was taken, by its camera's clock.
func takenDay(it gather.Item) (time.Time, bool) {
	if it.File == nil || len(it.File.Taken) < len(time.DateOnly) {
		return time.Time{}, false
	}
	d, err := time.Parse(time.DateOnly, it.File.Taken[:len(time.DateOnly)])
	return d, err == nil
}

func dayText(d time.Time) string { return d.Format(time.DateOnly) }

func span(first, last time.Time) string {
	if first.Equal(last) {
		return dayText(first)
	}
	return dayText(first) + " to " + dayText(last)
}

// yearsTaken names the years in which photos were taken.
func yearsTaken(items []gather.Item) string {
	var n []int
	for _, it := range items {
		if d, ok := takenDay(it); ok {
			n = append(n, d.Year())
		}
	}
	slices.Sort(n)
	return words.Runs(slices.Compact(n))
}
