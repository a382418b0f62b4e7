package intake

import (
	"cmp"
	"slices"
	"strconv"
	"strings"

	"linecamp/manifest"
	"linecamp/manifest/layout"
	"linecamp/manifest/store/fault"
	"linecamp/manifest/tally"
	"linecamp/verify"
)

// A folder that once was a working folder, as on a computer that was lost and turned up,
// says itself where its files belong: at the same place. A file is taken for one of such
// a folder where its path names a site of the archive, by the very same folders, and a
// date; and where half of all that lies there stands in the archive's folder under the
// same paths, every file is.

// placed are files that go to the same place in an archive's folder: of one visit of a
// site, or of none.
type placed struct {
	number  int
	archive *Archive
	site    *site // nil where the archive has no such site yet
	u       layout.Place
	files   []tally.File
}

func (d *placed) date() string {
	if d.u.Date == "" && d.u.Year > 0 {
		return strconv.Itoa(d.u.Year)
	}
	return d.u.Date
}

// place is what the files of one [placed] share.
type place struct {
	archive                   *Archive
	pasture, site, base, date string
}

// ownPlaces takes the files out of a card that go where they lay.
func ownPlaces(card *Card, archives []*Archive, sites []*site) (all []*placed, rest []tally.File) {
	was := wasFolderOf(card, archives)
	have := map[manifest.Digest]bool{}
	at := map[place]*placed{}
	for _, f := range card.Files {
		new := !have[f.SHA256] && !slices.ContainsFunc(archives, func(a *Archive) bool { return a.Has(f.SHA256) })
		d := placeOf(f.Path, was, archives, sites)
		if !new || d == nil {
			rest = append(rest, f)
			continue
		}
		have[f.SHA256] = true
		key := place{d.archive, d.u.Pasture, d.u.Site, d.u.Base, d.date()}
		if at[key] == nil {
			at[key], all = d, append(all, d)
		}
		at[key].files = append(at[key].files, f)
	}
	return all, rest
}

// wasFolderOf is the archive whose working folder the card was once; nil for none.
func wasFolderOf(card *Card, archives []*Archive) *Archive {
	at := map[string]manifest.Digest{}
	for _, f := range card.Files {
		at[f.Path] = f.SHA256
	}
	var best *Archive
	most := 0
	for _, a := range archives {
		same := 0
		for _, f := range everyFile(a.Tally) {
			if d, ok := at[f.Path]; ok && d == f.SHA256 && strings.Contains(f.Path, "/") {
				same++
			}
		}
		if same > most && 2*same >= len(card.Files) {
			best, most = a, same
		}
	}
	return best
}

func placeOf(p string, was *Archive, archives []*Archive, sites []*site) *placed {
	for _, a := range archives {
		if was != nil && a != was {
			continue
		}
		u := a.Layout.Understand(p)
		if u.Unfiled {
			continue
		}
		i := slices.IndexFunc(sites, func(s *site) bool {
			return s.archive == a && s.Site.Site == u.Site && s.Pasture == u.Pasture && (s.Base == "" || s.Base == u.Base)
		})
		if i >= 0 && (u.Date != "" || u.Year > 0 || a == was) {
			return &placed{archive: a, site: sites[i], u: u}
		}
		if a == was {
			return &placed{archive: a, u: u}
		}
	}
	if was != nil {
		return &placed{archive: was}
	}
	return nil
}

// agrees refuses a wish that is not what the files' own place says.
func (d *placed) agrees(o *Options, sites []*site) error {
	where := "in your folder where it lay"
	if d.site != nil {
		where = "to " + verify.Shown(d.site.label())
	}
	if o.Site != "" {
		if s, err := find(sites, o.Site); err != nil {
			return err
		} else if s != d.site {
			return fault.Say(ErrAsked, "visit %d goes %s by the folders it lies in; name the visits that are meant with --visit", d.number, where)
		}
	}
	if o.Date != "" && o.Date != d.date() || o.View != "" {
		return fault.Say(ErrAsked, "visit %d goes %s under its own names; leave --date and --view out, or name the visits that are meant with --visit", d.number, where)
	}
	return nil
}

// addPlaced puts files that go where they lay on the plan.
func (p *Plan) addPlaced(d *placed, picked bool, taken *taken) {
	v := Visit{several: p.several, Number: d.number, Archive: d.archive.Name, Site: text(d.u.Site), Pasture: text(d.u.Pasture), Date: d.date(),
		By: ByFolders, Files: []File{}, site: d.site, archive: d.archive, units: d.archive.Units}
	if !picked {
		v.Reason = NotAsked
	}
	for _, f := range d.files {
		file := File{From: shown(f.Path), Bytes: f.Size, Taken: f.Taken, file: f, shot: f.Kind == manifest.KindPhoto && f.With == ""}
		switch {
		case !picked:
		case taken.free(d.archive, f.Path):
			file.dest, file.To, file.State = f.Path, shown(f.Path), Planned
		default:
			file.Reason = "your folder has another file of this name; compare the two, and file it under another name if it is to be kept"
		}
		v.Files = append(v.Files, file)
	}
	p.Visits = append(p.Visits, v)
}

// numberPlaced numbers them behind the others, or as in the plan that was shown.
func (p *Plan) numberPlaced(all []*placed, after int, shown map[manifest.Digest]Shown) error {
	slices.SortStableFunc(all, func(a, b *placed) int {
		return cmp.Or(strings.Compare(a.date(), b.date()), strings.Compare(a.u.Pasture, b.u.Pasture), strings.Compare(a.u.Site, b.u.Site))
	})
	for i, d := range all {
		if d.number = after + i + 1; shown == nil {
			continue
		}
		was := shown[d.files[0].SHA256]
		if was.Number == 0 || was.By != ByFolders {
			return p.changed("it holds other visits now")
		}
		d.number = was.Number
	}
	return nil
}
