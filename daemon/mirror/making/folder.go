package making

import (
	"cmp"
	"strings"
	"time"

	"linecamp/daemon/mirror/plan"
	"linecamp/daemon/mirror/sites"
	"linecamp/daemon/mirror/source"
	"linecamp/manifest"
)

// Folder is a planned step as [What]: a version that takes in what the working folder
// shows of a site. The step's group is loaded meanwhile.
type Folder struct {
	Step     plan.Step
	Old      *sites.Object       // nil for a site not recorded before
	Inv      *manifest.Inventory // of the version before
	Root     string              // the working folder
	User     manifest.User
	Created  time.Time
	Accepted *manifest.Decision // a person said that large changes are meant
}

// Next is the version, without the files that changed meanwhile.
func (w *Folder) Next(out map[string]bool) (manifest.Next, map[manifest.Digest][]string, bool) {
	state := State(w.Inv)
	rec := manifest.Record{Site: w.Step.Group.Site, Pasture: w.Step.Group.Pasture, Base: w.Step.Group.Base, Paths: map[string]manifest.Entry{}}
	if w.Old != nil {
		rec.Decisions = w.Old.Rec.Decisions
		if w.Step.Stays {
			rec.Site, rec.Pasture, rec.Base = w.Old.Rec.Site, w.Old.Rec.Pasture, w.Old.Rec.Base
		}
	}
	did := plan.Counts{}
	if w.Old.Remade() {
		did.Remade, did.Unknown = true, w.Old.Unknown
	}
	files := w.Step.Group.Files
	fresh := map[manifest.Digest][]string{}
	beside := map[string]manifest.Entry{}
	if w.Step.First {
		for logical, name := range w.Step.Beside {
			e := w.Old.Rec.Paths[logical]
			e.Raw, e.With = nil, cmp.Or(w.Step.Beside[e.With], e.With)
			beside[name], state[name] = e, state[logical]
			did.Known++
		}
		for _, logical := range w.Step.Gone {
			delete(state, logical)
			did.Gone++
		}
		for _, logical := range w.Step.Known {
			state[logical] = files[logical].SHA256
			did.Known++
		}
		rec.Decisions = append(rec.Decisions[:len(rec.Decisions):len(rec.Decisions)], w.Step.Said...)
		did.Said = len(w.Step.Said)
		if w.Accepted != nil && len(w.Step.Gone)+len(w.Step.Altered) > 0 {
			rec.Decisions = append(rec.Decisions[:len(rec.Decisions):len(rec.Decisions)], *w.Accepted)
		}
	}
	for logical := range w.Step.Paths.All() {
		if out[logical] {
			continue
		}
		f := files[logical]
		state[logical] = f.SHA256
		fresh[f.SHA256] = append(fresh[f.SHA256], logical)
		did.Add(f)
	}
	for logical, d := range state {
		if strings.HasPrefix(logical, manifest.FoundPrefix) {
			continue
		}
		if f, ok := files[logical]; ok && f.SHA256 == d {
			rec.Paths[logical] = w.Step.Group.Entry(logical)
		} else if e, ok := beside[logical]; ok {
			rec.Paths[logical] = e
		} else if w.Old != nil {
			rec.Paths[logical] = w.Old.Rec.Paths[logical]
		}
	}
	sites.DropLoneCompanions(&rec) // a photo may not be recorded yet
	says := w.Step.First && (w.Step.Renamed || len(w.Step.Said) > 0 || w.Old.Remade())
	next := manifest.Next{Created: w.Created, Message: did.String(), User: w.User, State: state, Record: rec}
	return next, fresh, says || !manifest.SameState(State(w.Inv), state)
}

// From is the file itself, under each of its names.
func (w *Folder) From(_ manifest.Digest, logical []string) []source.Source {
	var from []source.Source
	for _, l := range logical {
		f := w.Step.Group.Files[l]
		from = append(from, source.Working(w.Root, f.Path, f.Size))
	}
	return from
}

// Name is the path below the working folder.
func (w *Folder) Name(logical string) string { return w.Step.Group.Files[logical].Path }
