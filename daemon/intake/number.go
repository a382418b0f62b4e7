package intake

import (
	"cmp"
	"fmt"
	"path"
	"slices"

	"linecamp/manifest"
	"linecamp/manifest/store/fault"
	"linecamp/verify"
)

// Shown is a visit of a plan as a person saw it. Its pictures say which it is
// later, when part of the plan is filed and the rest would count otherwise.
type Shown struct {
	Number  int
	Archive string
	Site    string // with its pasture; "" if none was proposed
	Date    string
	By      string
	Files   []manifest.Digest
}

// Shown is the plan as it is to be remembered.
func (p *Plan) Shown() []Shown {
	list := []Shown{}
	for _, v := range p.Visits {
		s := Shown{Number: v.Number, Date: v.Date, By: v.By}
		if v.site != nil {
			s.Archive, s.Site = v.archive.Name, v.site.label()
		}
		for _, f := range v.Files {
			if f.shot || v.By == ByFolders {
				s.Files = append(s.Files, f.file.SHA256)
			}
		}
		list = append(list, s)
	}
	return list
}

// number numbers the visits: in their order, or where a person names numbers of a
// plan that was shown, as in that. A visit whose pictures are of no one visit of
// that plan, or which would go elsewhere by now, makes it another plan, and no
// number of it can be trusted.
func (p *Plan) number(all []*group, inPlace []*placed, sites []*site) error {
	for i, g := range all {
		g.number = i + 1
	}
	if p.o.Visits == nil || p.o.Shown == nil {
		return p.numberPlaced(inPlace, len(all), nil)
	}
	shown := map[manifest.Digest]Shown{}
	for _, s := range p.o.Shown {
		for _, d := range s.Files {
			shown[d] = s
		}
	}
	if err := p.numberPlaced(inPlace, len(all), shown); err != nil {
		return err
	}
	used := map[int]bool{}
	for _, g := range all {
		was := shown[g.shots[0].SHA256]
		same := was.Number > 0 && !used[was.Number] && !slices.ContainsFunc(g.shots, func(s *shot) bool { return shown[s.SHA256].Number != was.Number })
		if !same {
			return p.changed("it holds other visits now")
		}
		used[was.Number], g.number = true, was.Number
		if !slices.Contains(p.o.Visits, g.number) {
			continue
		}
		if g.date != was.Date && p.o.Date == "" {
			return p.changed(fmt.Sprintf("visit %d was of %s and would be of %s now", g.number, cmp.Or(was.Date, "no date"), cmp.Or(g.date, "no date")))
		}
		if p.o.Site != "" {
			continue
		}
		if g.site == nil && was.Site != "" { // by the order in which all were walked, and some are filed
			i := slices.IndexFunc(sites, func(s *site) bool { return s.archive.Name == was.Archive && s.label() == was.Site })
			if i >= 0 && was.By == ByOrder {
				g.site, g.siteBy, g.why = sites[i], was.By, ""
			}
		}
		if now := g.goesTo(); now != was.Archive+"\x00"+was.Site {
			return p.changed(fmt.Sprintf("visit %d would go to another site than was shown", g.number))
		}
	}
	return nil
}

func (g *group) goesTo() string {
	if g.site == nil {
		return "\x00"
	}
	return g.site.archive.Name + "\x00" + g.site.label()
}

func (p *Plan) changed(how string) error {
	return fault.Say(ErrAsked, "the plan for %s is another than the one shown before: %s. Nothing was filed. Look at it again without --visit, then name the visit with the same options",
		verify.Shown(p.Card), how)
}

// picked is the set of visits that are to be filed, by number.
func (p *Plan) picked(all []*group, inPlace []*placed) (map[int]bool, error) {
	set := map[int]bool{}
	for _, g := range all {
		set[g.number] = true
	}
	for _, d := range inPlace {
		set[d.number] = true
	}
	if p.o.Visits == nil {
		return set, nil
	}
	picked := map[int]bool{}
	for _, v := range p.o.Visits {
		if !set[v] && slices.ContainsFunc(p.o.Shown, func(s Shown) bool { return s.Number == v }) {
			return nil, fault.Say(ErrAsked, "visit %d of the plan that was shown is filed already", v)
		}
		if !set[v] {
			return nil, fault.Say(ErrAsked, "there is no visit %d on this card; it has %d", v, len(set))
		}
		picked[v] = true
	}
	return picked, nil
}

// inFolder is where the further files of a visit go: beside its pictures.
func (v *Visit) inFolder(name string) []string {
	for _, f := range v.Files {
		if f.dest != "" {
			return []string{path.Join(path.Dir(f.dest), path.Base(name))}
		}
	}
	return nil
}
