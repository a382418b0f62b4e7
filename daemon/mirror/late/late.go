// Package late settles what the versions of another history come to in this one. After
// a loss two computers may each have gone on; when a copy with the other's versions is
// met, none of its bytes may be lost, and none be brought twice. [From] says where a
// copy's chain of versions of an object leaves the archive's, [Done] whether one of them
// was brought already, and [Compose] what the version is that brings it.
//
// [Chain] reads what it is asked about from copies, and writes nothing. [Others] keeps the
// logs of other histories: it puts them on copies that lack them, and notes in the ledger
// which copy has which. What was brought is told by the manifest into which it was
// brought, and by nothing else: every digest that a late version stored is in there, its
// record among them, since the version that brings it is committed whole or not at all.
// So no state folder that was lost or put back brings anything twice.
package late

import (
	"maps"
	"slices"
	"sort"
	"strings"

	"linecamp/daemon/mirror/plan"
	"linecamp/daemon/mirror/sites"
	"linecamp/manifest"
)

// From is the first version of a chain that is not the one of the index, the digests of
// the archive's versions of that object: another one, or one beyond. It is 0 where there is none.
func From(chain *manifest.Inventory, index []manifest.Digest) int {
	own := func(n int) bool { return n <= len(index) && manifest.Sum(chain.Until(n).Encode()) == index[n-1] }
	if chain.Head() == 0 || own(chain.Head()) {
		return 0
	}
	return 1 + sort.Search(chain.Head()-1, func(i int) bool { return !own(i + 1) })
}

// Done reports whether version n of a chain was brought into an object. The newest one
// of a chain wants its manifest kept, too. So where two copies have one other history at
// different heights, each site there gets one version more, with a manifest and no photo.
func Done(chain *manifest.Inventory, n int, into *manifest.Inventory) bool {
	if _, has := into.Content[manifest.Sum(chain.Encode())]; n == chain.Head() && !has {
		return false
	}
	for d := range chain.ContentOf(n) {
		if _, has := into.Content[d]; !has {
			return false
		}
	}
	return true
}

// Version is the one that brings a late version.
type Version struct {
	State  map[string]manifest.Digest
	Record manifest.Record
	Fresh  map[manifest.Digest][]string // the paths it adds
	Keep   []manifest.Digest            // what it keeps beside the files
}

// Compose says what the version is that brings version n of a chain, whose record is
// theirs, into an object, nil for one that this makes. past are bytes that its site is known
// to have had besides (Chain.Past); shown is what the folder has of the site.
//
// The newest state stays as it is: nothing is removed, nothing altered. A file of the late
// version is added only if no version of the object ever had its bytes as a file, so that
// what was moved or deleted here on purpose does not come back. Bytes that it only keeps
// beside the files, such as the beginning of that very version in a bucket, were never one. It gets its own name where that is
// free, and else one that tells its bytes apart, as an escaped name does. All else that
// the late version stored is kept beside the files, its record always. The last of the
// chain keeps the chain's inventory too, which proves every line about it in the other
// history's log.
func Compose(into *sites.Object, chain *manifest.Inventory, n int, theirs *manifest.Record, past map[manifest.Digest]int, shown map[string]manifest.Digest) Version {
	v := Version{State: map[string]manifest.Digest{}, Fresh: map[manifest.Digest][]string{}}
	v.Record = manifest.Record{Site: theirs.Site, Pasture: theirs.Pasture, Base: theirs.Base, Paths: map[string]manifest.Entry{}}
	known, stored := map[manifest.Digest]int{}, map[manifest.Digest][]string{}
	if into != nil {
		known, stored = into.Inv.Files(), into.Inv.Content
		v.State = maps.Clone(into.Inv.State(into.Head()))
		delete(v.State, manifest.RecordPath)
		v.Record.Site, v.Record.Pasture, v.Record.Base = into.Rec.Site, into.Rec.Pasture, into.Rec.Base
		v.Record.Decisions = slices.Clone(into.Rec.Decisions)
		maps.Copy(v.Record.Paths, into.Rec.Paths)
	}
	for _, d := range theirs.Decisions {
		itself := into != nil && d.What == manifest.Joined && d.Path == into.Slug
		if !itself && !plan.Recorded(v.Record.Decisions, d) {
			v.Record.Decisions = append(v.Record.Decisions, d)
		}
	}
	free := newNames(v.State, shown)
	state := chain.State(n)
	named := map[string]string{} // their path → ours
	for _, p := range slices.Sorted(maps.Keys(state)) {
		d := state[p]
		if known[d]+past[d] > 0 || manifest.Reserved(p) {
			continue
		}
		if v.State[p] == d { // what they have besides under that name, from an earlier meeting
			named[p] = p
			continue
		}
		name, e := p, theirs.Paths[p]
		if !free.take(name, d) {
			if name, e.Raw = plan.Beside(p, d), nil; !free.take(name, d) {
				continue
			}
		}
		named[p], v.State[name], v.Record.Paths[name] = name, d, e
		v.Fresh[d] = append(v.Fresh[d], name)
	}
	for p, name := range named {
		e := v.Record.Paths[name]
		if with, ok := named[e.With]; ok {
			e.With = with
		} else if v.State[e.With] != state[e.With] {
			e.With = "" // ours has another photo under that name
		}
		if e.With == "" && theirs.Paths[p].With != "" || e.With != "" {
			v.Record.Paths[name] = e
		}
	}
	keep := map[manifest.Digest]bool{}
	for d := range chain.ContentOf(n) {
		_, has := stored[d]
		keep[d] = !has && len(v.Fresh[d]) == 0
	}
	if n == chain.Head() {
		keep[manifest.Sum(chain.Encode())] = true
	}
	for d, is := range keep {
		if is {
			v.Keep = append(v.Keep, d)
		}
	}
	slices.SortFunc(v.Keep, func(a, b manifest.Digest) int { return strings.Compare(a.String(), b.String()) })
	return v
}

// takenNames are the paths of files, and the folders that they need.
type takenNames struct {
	files   map[string]manifest.Digest // a zero one is of a version, and taken whatever comes
	folders map[string]bool
}

func newNames(state, shown map[string]manifest.Digest) *takenNames {
	t := &takenNames{map[string]manifest.Digest{}, map[string]bool{}}
	for p, d := range shown {
		t.add(p, d)
	}
	for p := range state {
		t.add(p, manifest.Digest{})
	}
	return t
}

func (t *takenNames) add(p string, d manifest.Digest) {
	t.files[p] = d
	for i := range len(p) {
		if p[i] == '/' {
			t.folders[p[:i]] = true
		}
	}
}

// take enters a path, unless other bytes are there, or a folder, or a file in the
// place of one of its folders. The folder may show the very same bytes there.
func (t *takenNames) take(p string, d manifest.Digest) bool {
	if is, there := t.files[p]; there && is != d || t.folders[p] {
		return false
	}
	for i := range len(p) {
		if _, file := t.files[p[:i]]; p[i] == '/' && file {
			return false
		}
	}
	t.add(p, manifest.Digest{})
	return true
}
