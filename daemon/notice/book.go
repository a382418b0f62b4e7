package notice

import (
	"slices"
	"time"

	"linecamp/daemon/attention"
	"linecamp/daemon/event"
	"linecamp/manifest"
	"linecamp/verify"
)

// Bounds of what a book keeps, whatever happens.
const (
	mostTroubles = 200
	mostEnded    = 100 // of each way; older ones are only counted
	mostDamage   = 50  // copies
)

// Book remembers what wants a person, and what of it was told in each way.
type Book struct {
	Troubles []attention.Item `json:"troubles"`
	Ways     map[string]*Way  `json:"ways"`
	Looked   time.Time        `json:"looked"` // when the list was last taken
}

// Way is one way of telling: what was told in it, and what was not yet.
type Way struct {
	Told    map[string]bool `json:"told"` // by key, of Book.Troubles
	Ended   []Ended         `json:"ended"`
	LeftOut int             `json:"left_out,omitempty"`
	Damage  []Damage        `json:"damage"`

	Last   time.Time `json:"last"`   // of what was sent
	Month  string    `json:"month"`  // in which something was last sent
	Number int       `json:"number"` // of notices sent

	Failing *Failing `json:"failing,omitempty"`
}

// Failing is why nothing can be sent.
type Failing struct {
	Since time.Time `json:"since"`
	Why   string    `json:"why"`
	Tries int       `json:"tries"`
	Next  time.Time `json:"next"`
}

// Use makes these the ways there are. A new one has its first word of the month in
// the next.
func (b *Book) Use(now time.Time, ways ...string) {
	if b.Ways == nil {
		b.Ways = map[string]*Way{}
	}
	for name := range b.Ways {
		if !slices.Contains(ways, name) {
			delete(b.Ways, name)
		}
	}
	for _, name := range ways {
		if b.Ways[name] == nil {
			b.Ways[name] = &Way{Month: month(now)}
		}
		if b.Ways[name].Told == nil {
			b.Ways[name].Told = map[string]bool{}
		}
	}
}

// Note takes the whole list of what wants a person now. That no notice can be sent is
// no matter for a notice.
func (b *Book) Note(all []attention.Item, now time.Time) {
	b.Looked = now
	is := make([]attention.Item, 0, len(all))
	for _, i := range all {
		if i.Kind != attention.NoticeUnsent && len(is) < mostTroubles && !has(is, key(i)) {
			is = append(is, i)
		}
	}
	for _, was := range b.Troubles {
		if k := key(was); !has(is, k) {
			replaced := slices.ContainsFunc(is, func(i attention.Item) bool { return slot(i) == slot(was) })
			for _, w := range b.Ways {
				w.end(was, k, now, replaced)
			}
		}
	}
	for _, i := range is {
		for _, w := range b.Ways {
			w.again(key(i))
		}
	}
	b.Troubles = is
}

func has(all []attention.Item, k string) bool {
	return slices.ContainsFunc(all, func(i attention.Item) bool { return key(i) == k })
}

// end takes note that something is so no longer. What another of its sort took the
// place of did not end.
func (w *Way) end(was attention.Item, k string, now time.Time, replaced bool) {
	told := w.Told[k]
	delete(w.Told, k)
	if replaced {
		return
	}
	w.Ended = append(w.Ended, Ended{was, now, told})
	if len(w.Ended) > mostEnded {
		w.Ended = slices.Delete(w.Ended, 0, 1)
		w.LeftOut++
	}
}

// again takes back an end that nobody was told of.
func (w *Way) again(k string) {
	if i := slices.IndexFunc(w.Ended, func(e Ended) bool { return key(e.Item) == k }); i >= 0 {
		if w.Ended[i].Told {
			w.Told[k] = true
		}
		w.Ended = slices.Delete(w.Ended, i, i+1)
	}
}

// Found takes new damage.
func (b *Book) Found(d event.DamageFound, now time.Time) {
	for _, w := range b.Ways {
		i := slices.IndexFunc(w.Damage, func(x Damage) bool { return x.Copy == d.Copy })
		if i < 0 {
			if len(w.Damage) == mostDamage {
				continue
			}
			i, w.Damage = len(w.Damage), append(w.Damage, Damage{Copy: d.Copy})
		}
		x := &w.Damage[i]
		x.Files, x.At = x.Files+d.Files, now
		for _, f := range d.First {
			if len(x.Paths) < event.MostListed {
				x.Paths = append(x.Paths, path(f))
			}
		}
	}
}

// path is where a damaged file lies, as people know it.
func path(d verify.Damage) string {
	if d.Path != "" {
		return manifest.Printable(d.Path)
	}
	return manifest.Printable(d.Content)
}

// Due returns what is to be told in a way now. It is at most one notice on each local
// day, unless there is new damage.
func (b *Book) Due(way string, now time.Time) (n Notice, due bool) {
	w := b.Ways[way]
	if w == nil || w.Failing != nil && now.Before(w.Failing.Next) && w.Failing.Next.Sub(now) <= mostWait {
		return n, false
	}
	if len(w.Damage) == 0 && w.toldToday(now) {
		return n, false
	}
	news := len(w.Damage) > 0 || month(now) != w.Month
	for _, i := range b.Troubles {
		if w.Told[key(i)] {
			n.Standing = append(n.Standing, i)
			continue
		}
		n.New, news = append(n.New, i), true
	}
	for _, e := range w.Ended {
		// The end of what was told waits until all is well.
		news = news || !e.Told || len(b.Troubles) == 0
	}
	if !news {
		return n, false
	}
	switch {
	case len(b.Troubles) > 0:
		n.Kind = Wants
	case len(w.Ended) > 0 || w.LeftOut > 0 || len(w.Damage) > 0:
		n.Kind = WellAgain
	default:
		n.Kind = AllWell
	}
	n.At, n.Ended, n.LeftOut, n.Damage = now, slices.Clone(w.Ended), w.LeftOut, slices.Clone(w.Damage)
	if w.Failing != nil {
		n.Unsent = &w.Failing.Since
	}
	return n, true
}

// toldToday reports whether something was sent on this local day. A clock that was set
// back for a while is not waited for.
func (w *Way) toldToday(now time.Time) bool {
	ahead := w.Last.Sub(now)
	return day(w.Last) == day(now) || 0 < ahead && ahead < 24*time.Hour
}

// Sent takes note that what Due returned was told.
func (b *Book) Sent(way string, n Notice, now time.Time) {
	w := b.Ways[way]
	for _, i := range n.New {
		w.Told[key(i)] = true
	}
	w.Ended, w.LeftOut, w.Damage, w.Failing = nil, 0, nil, nil
	w.Last, w.Month = now, month(now)
	w.Number++
}

// Waits between tries: ten minutes, then twice as long each time.
const (
	leastWait = 10 * time.Minute
	mostWait  = 3 * time.Hour
)

// Failed takes note why what Due returned could not be told.
func (b *Book) Failed(way, why string, now time.Time) {
	w := b.Ways[way]
	if w.Failing == nil {
		w.Failing = &Failing{Since: now}
	}
	f := w.Failing
	f.Why, f.Next = why, now.Add(min(mostWait, leastWait<<min(f.Tries, 8)))
	f.Tries++
}
