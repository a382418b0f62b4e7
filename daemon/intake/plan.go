package intake

import (
	"cmp"
	"context"
	"os"
	"path"
	"path/filepath"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"

	"golang.org/x/sync/errgroup"

	"linecamp/manifest"
	"linecamp/manifest/geo"
	"linecamp/manifest/store/fault"
	"linecamp/manifest/tally"
	"linecamp/verify"
	"linecamp/verify/history"
)

// Plan is what intake proposes, and after filing what came of it.
type Plan struct {
	Card   string  `json:"card"`
	Filed  bool    `json:"filed"` // whether it was told to file
	Visits []Visit `json:"visits"`
	Known  Share   `json:"known"`  // what the archive had already, by content
	Left   []Left  `json:"left"`   // what stays on the card
	Unread []Left  `json:"unread"` // what could not be read
	Passed []Left  `json:"passed"` // links and special files, never opened
	Litter int     `json:"litter"` // what systems and cameras leave about, left out

	o       Options
	units   geo.Units // of the first archive, for what belongs to none
	several bool      // archives
}

// Share is a number of files and their bytes.
type Share struct {
	Files int   `json:"files"`
	Bytes int64 `json:"bytes"`
}

// Visit is one visit found on the card.
type Visit struct {
	Number  int      `json:"number"` // for --visit
	Archive string   `json:"archive,omitempty"`
	Site    string   `json:"site,omitempty"` // "" if none is proposed
	Pasture string   `json:"pasture,omitempty"`
	Date    string   `json:"date,omitempty"` // "" if nothing tells it
	By      string   `json:"by,omitempty"`   // what proposed the site
	Meters  *float64 `json:"metres,omitempty"`
	Reason  string   `json:"reason,omitempty"` // why nothing of it is filed
	Files   []File   `json:"files"`

	site    *site
	archive *Archive // nil where nothing tells it
	several bool     // archives
	units   geo.Units
	far     []float64 // the distances in Reason
}

// File is one file of a visit.
type File struct {
	From   string `json:"from"`         // on the card
	To     string `json:"to,omitempty"` // in the working folder; "" if it is not to be filed
	View   string `json:"view,omitempty"`
	ViewBy string `json:"view_by,omitempty"`
	Taken  string `json:"taken,omitempty"`
	Bytes  int64  `json:"bytes"`
	State  string `json:"state,omitempty"` // Planned, Filed, Failed; "" if it is not to be filed
	Reason string `json:"reason,omitempty"`

	file  tally.File
	shot  bool   // a picture
	dest  string // To as the file system has it
	thumb []byte
	look  string
}

// Left is a file that stays where it is, and why.
type Left struct {
	Path   string `json:"path"`
	Bytes  int64  `json:"bytes"`
	Reason string `json:"reason"`
}

// Propose makes the plan for a card. Errors wrap ErrAsked or are ctx's.
func Propose(ctx context.Context, card *Card, archives []*Archive, o Options) (*Plan, error) {
	near := o.Near
	if near <= 0 {
		near = defaultNear
	}
	var sites []*site
	for _, a := range archives {
		for i := range a.Tally.Sites {
			s := newSite(a, &a.Tally.Sites[i])
			if o.Near > 0 { // a person's word goes before all that is on file
				s.near = 0
			}
			sites = append(sites, s)
		}
	}
	p := &Plan{Card: card.Folder, Visits: []Visit{}, Left: []Left{}, Unread: []Left{}, Passed: []Left{}, Litter: card.Litter, o: o}
	if len(archives) > 0 {
		p.units = archives[0].Units
	}
	for _, w := range card.Unread {
		p.Unread = append(p.Unread, Left{shown(w.Path), 0, w.Reason})
	}
	for _, w := range card.Passed {
		p.Passed = append(p.Passed, Left{shown(w.Path), 0, w.Reason})
	}
	p.several = len(archives) > 1
	inPlace, rest := ownPlaces(card, archives, sites)
	seen := map[manifest.Digest]string{}
	for _, d := range inPlace {
		for _, f := range d.files {
			seen[f.SHA256] = f.Path
		}
	}
	shots, notes, films := p.sort(rest, seen, archives, &o)
	if err := look(ctx, card, shots, &o); err != nil {
		return nil, err
	}
	all := groups(shots, sites, near)
	for _, a := range archives {
		var own []*site
		for _, s := range sites {
			if s.archive == a {
				own = append(own, s)
			}
		}
		if day, err := time.Parse(time.DateOnly, firstDay(all)); err == nil {
			inOrder(all, walked(own, day))
		}
	}
	all = joined(all)
	if err := p.number(all, inPlace, sites); err != nil {
		return nil, err
	}
	picked, err := p.picked(all, inPlace)
	if err != nil {
		return nil, err
	}
	if err := override(all, picked, sites, &o); err != nil {
		return nil, err
	}
	for _, d := range inPlace {
		if picked[d.number] {
			if err := d.agrees(&o, sites); err != nil {
				return nil, err
			}
		}
	}
	taken := newTaken(archives)
	// What goes where it lay has no other name, so it has the first choice.
	for _, d := range inPlace {
		p.addPlaced(d, picked[d.number], taken)
	}
	placed := p.Visits
	p.Visits = []Visit{}
	for _, g := range all {
		p.add(g.number, g, picked[g.number], taken)
	}
	p.Visits = append(p.Visits, placed...)
	p.films(films, taken)
	p.notes(notes, taken)
	return p, nil
}

// sort tells what the archive has from what is new, pictures from the rest, and
// lists the rest as left. seen are the bytes that go elsewhere, with their paths. Notes
// are returned: they may still find their visit.
func (p *Plan) sort(files []tally.File, seen map[manifest.Digest]string, archives []*Archive, o *Options) (shots []*shot, notes, films []tally.File) {
	byPath := map[string]*shot{}
	var companions []tally.File
	for _, f := range files {
		if slices.ContainsFunc(archives, func(a *Archive) bool { return a.Has(f.SHA256) }) {
			p.Known.Files++
			p.Known.Bytes += f.Size
			continue
		}
		if first, ok := seen[f.SHA256]; ok && f.Size > 0 {
			p.left(f, "the same bytes as "+first)
			continue
		}
		seen[f.SHA256] = f.Path
		switch {
		case f.With != "":
			companions = append(companions, f)
		case f.Kind == manifest.KindPhoto:
			s := &shot{File: f}
			s.clock(o)
			shots = append(shots, s)
			byPath[f.Path] = s
		case f.Kind == manifest.KindNote:
			notes = append(notes, f)
		case film(f.Path):
			films = append(films, f)
		default:
			p.left(f, "not a photo, a video or a note")
		}
	}
	for _, f := range companions {
		if s := byPath[f.With]; s != nil {
			s.with = append(s.with, f)
		} else {
			p.left(f, "it belongs to "+f.With+", which is not new")
		}
	}
	return shots, notes, films
}

func (p *Plan) left(f tally.File, reason string) {
	p.Left = append(p.Left, Left{shown(f.Path), f.Size, reason})
}

// look opens the new pictures.
func look(ctx context.Context, card *Card, shots []*shot, o *Options) error {
	if len(shots) == 0 {
		return nil
	}
	g, ctx := errgroup.WithContext(ctx)
	g.SetLimit(runtime.GOMAXPROCS(0))
	var total, done int64
	var mu sync.Mutex
	for _, s := range shots {
		total += s.Size
	}
	for _, s := range shots {
		g.Go(func() error {
			if ctx.Err() != nil {
				return ctx.Err()
			}
			file := filepath.Join(card.Folder, filepath.FromSlash(s.Path))
			s.at, s.by = spotOf(s.At), ByPosition
			if !s.at.known {
				s.at, s.by = o.Track.at(s.instant), ByTrack
			}
			s.look, s.thumb = picture(file, int(s.Turn), o.Thumbs)
			mu.Lock()
			defer mu.Unlock()
			done += s.Size
			if o.Progress != nil {
				o.Progress(done, total)
			}
			return nil
		})
	}
	return g.Wait()
}

func firstDay(all []*group) string {
	for _, g := range all {
		if g.date != "" {
			return g.date
		}
	}
	return ""
}

// override puts what a person named in the place of what was proposed. It is
// careful with wishes that would hit more visits than a person can have meant.
func override(all []*group, picked map[int]bool, sites []*site, o *Options) error {
	if o.Site != "" {
		s, err := find(sites, o.Site)
		if err != nil {
			return err
		}
		for _, g := range all {
			if !picked[g.number] {
				continue
			}
			if o.Visits == nil && g.site != nil && g.site != s && g.siteBy != ByOrder {
				return fault.Say(ErrAsked, "visit %d was taken at %s by its %s; name the visits that are meant with --visit, for example --visit %d", g.number, verify.Shown(g.site.label()), g.siteBy, g.number)
			}
			g.site, g.siteBy, g.why, g.meters = s, ByPerson, "", -1
			if s.at.known && g.at.known {
				g.meters = meters(s.at, g.at)
			}
		}
	}
	if o.Date != "" {
		var first string
		for _, g := range all {
			if !picked[g.number] {
				continue
			}
			if o.Visits == nil && first != "" && g.date != "" && g.date != first {
				return fault.Say(ErrAsked, "the pictures are of several days, %s and %s; name the visits that are meant with --visit", first, g.date)
			}
			first = cmp.Or(first, g.date)
		}
		for _, g := range all {
			if picked[g.number] {
				g.date = o.Date
			}
		}
	}
	if o.View != "" {
		for _, g := range all {
			if picked[g.number] && len(g.shots) > 1 {
				return fault.Say(ErrAsked, "visit %d has %d pictures, which cannot all be the %s; name one picture's visit with --visit, or put the word in the files' names", g.number, len(g.shots), o.View)
			}
		}
	}
	return nil
}

// find finds the site a person means, in whichever archive.
func find(sites []*site, name string) (*site, error) {
	var list []verify.Site
	for i, s := range sites {
		folder := s.Base
		if folder == "" {
			folder = path.Join(s.Pasture, s.Site.Site)
		}
		list = append(list, verify.Site{Object: "\x00" + strconv.Itoa(i), Site: s.Site.Site, Pasture: s.Pasture, Folder: folder})
	}
	found, err := history.Find(list, name)
	if err != nil {
		if many, ok := err.(*history.ManySites); ok {
			var names []string
			for _, s := range many.Sites {
				i, _ := strconv.Atoi(s.Object[1:])
				names = append(names, verify.Shown(sites[i].label())+" ("+sites[i].archive.Name+")")
			}
			return nil, fault.Say(ErrAsked, "%q fits several sites; say which one: %s", name, strings.Join(names, ", "))
		}
		return nil, err
	}
	i, _ := strconv.Atoi(found.Object[1:])
	return sites[i], nil
}

// add puts a group on the plan.
func (p *Plan) add(number int, g *group, picked bool, taken *taken) {
	v := Visit{several: p.several, Number: number, Date: g.date, Reason: g.why, Files: []File{}, site: g.site, By: g.siteBy, units: p.units, far: g.far}
	if g.site != nil {
		v.archive, v.units = g.site.archive, g.site.archive.Units
	}
	if g.meters >= 0 {
		v.Meters = &g.meters
	}
	var habit []string
	if g.site != nil {
		v.Archive, v.Site, v.Pasture = g.site.archive.Name, text(g.site.Site.Site), text(g.site.Pasture)
		habit = g.site.views
	}
	day, err := time.Parse(time.DateOnly, g.date)
	switch {
	case !picked:
		v.Reason = NotAsked
	case err != nil:
		v.Reason = cmp.Or(v.Reason, "nothing in it tells its date")
		if g.site != nil {
			v.Reason = "nothing in it tells its date; name it with --date"
		}
	case p.o.ahead(g.date):
		v.Reason = "its date has not come yet, so the camera's clock is wrong; set it right with --clock, or name the day with --date"
	}
	goes := picked && g.site != nil && err == nil && !p.o.ahead(g.date)
	if goes {
		v.Reason = ""
	}
	views := viewsOf(g.shots, habit)
	for i, s := range g.shots {
		w := views[i]
		if p.o.View != "" && picked {
			w = viewed{p.o.View, ByPerson}
		}
		f := File{From: shown(s.Path), View: w.view, ViewBy: w.by, Bytes: s.Size, Taken: s.Taken, file: s.File, shot: true, thumb: s.thumb, look: s.look}
		var with []File
		for _, c := range s.with {
			with = append(with, File{From: shown(c.Path), Bytes: c.Size, file: c})
		}
		if goes {
			names := wanted{g.site, day, w.view, path.Base(s.Path)}.names()
			f.goTo(names, taken, g.site.archive)
			for k := range with {
				c := &with[k]
				c.goTo([]string{strings.TrimSuffix(f.dest, path.Ext(f.dest)) + path.Ext(c.file.Path)}, taken, g.site.archive)
			}
		}
		v.Files = append(append(v.Files, f), with...)
	}
	p.Visits = append(p.Visits, v)
}

// ahead reports whether a day has not come yet. A day's grace is for cameras
// that keep another zone's time.
func (o *Options) ahead(day string) bool {
	return !o.Now.IsZero() && day > o.Now.Add(24*time.Hour).Format(time.DateOnly)
}

// text is a name as text.
func text(s string) string { return strings.ToValidUTF8(s, "\uFFFD") }

func shown(p string) string { return text(p) }

// taken are the paths in use in each archive, capitals aside.
type taken struct {
	archives map[*Archive]map[string]bool
}

func newTaken(archives []*Archive) *taken {
	t := &taken{map[*Archive]map[string]bool{}}
	for _, a := range archives {
		set := map[string]bool{}
		for _, f := range everyFile(a.Tally) {
			set[strings.ToLower(f.Path)] = true
		}
		t.archives[a] = set
	}
	return t
}

// free reports whether nothing has the path, and keeps it.
func (t *taken) free(a *Archive, p string) bool {
	low := strings.ToLower(p)
	if t.archives[a][low] {
		return false
	}
	if _, err := os.Lstat(filepath.Join(a.Folder, filepath.FromSlash(p))); err == nil {
		return false
	}
	t.archives[a][low] = true
	return true
}
