package dates

import (
	"slices"
	"time"

	"linecamp/manifest/names"
)

// A Doubt is a name that may date photos, and does not tell which day they are of.
type Doubt struct {
	// Folder has the name; of a file's own name it is the folder the file lies in.
	Folder string
	// Days are those it may mean; none where it tells no whole day.
	Days []string
	// Years are those it may be of; none where it may be any.
	Years []int
}

// In reports whether the photos may be of a year.
func (d Doubt) In(year int) bool { return len(d.Years) == 0 || slices.Contains(d.Years, year) }

// InDoubt finds the name on a photo's path that may date it: below the folder of its
// site, and by the path alone. found is false where nothing there looks like a date.
func InDoubt(path, site string, now time.Time) (d Doubt, found bool) {
	c := Until(now)
	dir := names.Parent(path)
	if own := c.narrow(c.read(names.Stem(names.Base(path)), true), path); own.IsUnsure() {
		return doubtOf(dir, own), true
	}
	for ; dir != "" && names.Base(dir) != site; dir = names.Parent(dir) {
		name := names.Base(dir)
		own := c.narrow(c.read(name, false), dir)
		if own.IsUnsure() {
			return doubtOf(dir, own), true
		}
		if own.To != 0 { // 2001-2015
			d.Folder = dir
			for y := own.Year; y <= own.To; y++ {
				d.Years = append(d.Years, y)
			}
			return d, true
		}
		if years, ok := c.partly(name); ok {
			return Doubt{Folder: dir, Years: years}, true
		}
	}
	return Doubt{}, false
}

// narrow leaves the readings of a name at path that fit the dates above it.
func (c Calendar) narrow(d Date, path string) Date {
	for path = names.Parent(path); path != "" && d.IsUnsure(); path = names.Parent(path) {
		if above := c.read(names.Base(path), false); above.IsTold() && !above.IsUnsure() && (above.Pure || above.First) {
			d = d.Among(above)
		}
	}
	return d
}

func doubtOf(dir string, d Date) Doubt {
	x := Doubt{Folder: dir, Days: d.Days()}
	slices.Sort(x.Days)
	for _, day := range x.Days {
		x.Years = append(x.Years, Number(day[:4]))
	}
	slices.Sort(x.Years)
	x.Years = slices.Compact(x.Years)
	return x
}

// partly reports whether a folder's name is a part of a date: a month, a season or a
// day without a year, two digits that may be one. years are those it may be of; none
// for any.
func (c Calendar) partly(name string) (years []int, ok bool) {
	w := WithoutEmpty(names.Split(name))
	if len(w) == 0 || len(w) > 2 {
		return nil, false
	}
	day := func(m, d string) bool {
		return len(m) <= 2 && len(d) <= 2 && (IsDay(2000, Number(m), Number(d)) || IsDay(2000, Number(d), Number(m)))
	}
	t := w[0].Text
	switch {
	case len(w) == 1 && (seasons[t] != "" || months[t] != 0): // June
		return nil, true
	case len(w) == 2 && (months[t] != 0 && w[1].Digits || months[w[1].Text] != 0 && w[0].Digits): // June 21, 21 June
		return nil, true
	case len(w) == 2 && w[0].Digits && w[1].Digits && joined(w[1]): // 6-21
		return nil, day(t, w[1].Text)
	case len(w) == 2 || !w[0].Digits:
		return nil, false
	case len(t) == 2: // 19
		return []int{c.century(Number(t))}, true
	case len(t) == 3 || len(t) == 4: // 621, 0621
		return nil, day(t[:len(t)-2], t[len(t)-2:])
	case len(t) == 5: // 62119
		d := c.numbers(t[:1], t[1:3], t[3:])
		return doubtOf("", d).Years, d.IsTold()
	}
	return nil, false
}
