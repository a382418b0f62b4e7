package manifest

import (
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"
	"unicode/utf8"

	"linecamp/manifest/names"
)

// Next is what the next version of a site should be.
type Next struct {
	Created time.Time // shared by all versions of a round; cut to whole seconds
	User    User
	Message string

	// State is the whole new state, without the record. Content taken in by
	// earlier versions (below FoundPrefix) stays, whether it is listed or not.
	State map[string]Digest

	// Record must have an entry for every path of State and no other.
	Record Record

	// Found holds the content paths that lie under the uncommitted version
	// already, whatever left them there, each with the true digest of its bytes.
	Found map[string]Digest

	// Keep are the digests of bytes that are to be kept at FoundPrefix, and that no
	// file of State has.
	Keep []Digest
}

// Draft is a version that is ready to be stored.
type Draft struct {
	Inventory *Inventory
	Encoded   []byte // Inventory.Encode()
	Record    []byte // the record's bytes, to be stored if New has their digest

	// New maps the content path of everything that this version has to store to
	// its digest: the record too, what was found not.
	New map[string]Digest

	// Strays are found content paths that no valid inventory can name, in order:
	// misshapen ones, and ones whose folder is another one's file. They stay
	// where they are, and verifying a copy reports them.
	Strays []string
}

// Add returns the version that follows inv's newest one. It does not change
// inv; the two inventories share the maps of their common versions. Equal
// arguments give byte-identical drafts.
//
// Every digest that no version has stored yet gets one content path, that of
// its first logical path in byte order (see ContentPath); the record chooses
// before the files. If a found path holds the digest, that one is used and
// nothing is stored. Every other found path is named beside it and its content
// placed at FoundPrefix and its digest, so that nothing under the version is
// left out of its inventory.
//
// Add fails with ErrCreated if n.Created is before the newest version, with
// ErrPath, ErrRecord or ErrInventory for what the format cannot hold, and with
// ErrTooLarge if the inventory or the record could not be read back.
func (inv *Inventory) Add(n Next) (*Draft, error) {
	n.Created = n.Created.UTC().Truncate(time.Second)
	if err := inv.checkNext(n); err != nil {
		return nil, err
	}
	draft := &Draft{Record: n.Record.Encode(), New: map[string]Digest{}}
	if len(draft.Record) > MaxRecord {
		return nil, fmt.Errorf("%w: its record has %d bytes, readers accept %d; divide the site's folder", ErrTooLarge, len(draft.Record), MaxRecord)
	}
	author := author{
		number:  inv.Head() + 1,
		content: maps.Clone(inv.Content),
		state:   maps.Clone(n.State),
		draft:   draft,
	}
	if author.state == nil {
		author.state = map[string]Digest{}
	}
	for p, d := range inv.State(inv.Head()) {
		if strings.HasPrefix(p, FoundPrefix) {
			author.state[p] = d
		}
	}
	found, err := author.sortFound(n.Found)
	if err != nil {
		return nil, err
	}
	author.place(RecordPath, Sum(draft.Record), found)
	for _, p := range slices.Sorted(maps.Keys(n.State)) {
		author.place(p, n.State[p], found)
	}
	for _, d := range n.Keep {
		author.place(FoundPrefix+d.String(), d, found)
	}
	author.takeIn(found)

	draft.Inventory = &Inventory{
		ID:      inv.ID,
		Content: author.content,
		Versions: append(slices.Clip(inv.Versions), Version{
			Created: n.Created,
			Message: n.Message,
			User:    n.User,
			State:   author.state,
		}),
	}
	listed := 0
	for i := range draft.Inventory.Versions {
		listed += len(draft.Inventory.Versions[i].State)
	}
	if listed > maxListed {
		return nil, fmt.Errorf("%w: its versions would list %d paths, readers accept %d; divide the site's folder", ErrTooLarge, listed, maxListed)
	}
	draft.Encoded = draft.Inventory.Encode()
	if len(draft.Encoded) > MaxInventory {
		return nil, fmt.Errorf("%w: it would have %d bytes, readers accept %d; divide the site's folder", ErrTooLarge, len(draft.Encoded), MaxInventory)
	}
	return draft, nil
}

// checkNext holds what Add is given to the rules that decoding would apply.
func (inv *Inventory) checkNext(n Next) error {
	if _, _, err := ParseObjectID(inv.ID); err != nil {
		return err
	}
	if y := n.Created.Year(); n.Created.IsZero() || y < 1 || y > 9999 {
		return broken(ErrInventory, "a version needs the time of its making (E048)")
	}
	if head := inv.Head(); head > 0 && n.Created.Before(inv.Versions[head-1].Created) {
		return fmt.Errorf("%w: it shows %s, v%d was made at %s; set the clock right",
			ErrCreated, n.Created.Format(CreatedForm), head, inv.Versions[head-1].Created.Format(CreatedForm))
	}
	if n.User.Name == "" {
		return broken(ErrInventory, "a version needs the name of the computer that makes it (E054)")
	}
	for _, s := range []string{n.Message, n.User.Name, n.User.Address} {
		if !utf8.ValidString(s) {
			return broken(ErrInventory, "%q is not valid UTF-8", names.Clip(s))
		}
	}
	before := inv.State(inv.Head())
	for p := range n.State {
		if _, kept := before[p]; reserved(p) && (!kept || p == RecordPath) {
			return broken(ErrPath, "%q is reserved for linecamp; Logical escapes such names", names.Clip(p))
		}
		if _, ok := n.Record.Paths[p]; !ok && !reserved(p) {
			return broken(ErrRecord, "it has no entry for %q", names.Clip(p))
		}
	}
	if err := checkState(n.State); err != nil {
		return fmt.Errorf("%w: %w", ErrPath, err)
	}
	for p := range n.Record.Paths {
		if _, ok := n.State[p]; !ok {
			return broken(ErrRecord, "it has an entry for %q, which the version does not have", names.Clip(p))
		}
	}
	if err := n.Record.check(); err != nil {
		return fmt.Errorf("%w: %w", ErrRecord, err)
	}
	return nil
}

// author builds one version.
type author struct {
	number  int
	taken   Taken
	content map[Digest][]string
	state   map[string]Digest
	draft   *Draft
}

// sortFound enters the found paths in taken, which keeps every one of them
// where it lies, and groups them by digest, each group in byte order. What
// cannot be entered is a stray.
func (a *author) sortFound(found map[string]Digest) (map[Digest][]string, error) {
	byDigest := map[Digest][]string{}
	prefix := VersionName(a.number) + contentFolder
	keys := slices.Sorted(maps.Keys(found))
	for _, key := range keys {
		path, ok := strings.CutPrefix(key, prefix)
		if !ok {
			return nil, broken(ErrPath, "%q was found, but not below %s", names.Clip(key), prefix)
		}
		if _, err := checkContentPath(key); err != nil || !a.taken.keep(path) {
			a.draft.Strays = append(a.draft.Strays, key)
			continue
		}
		byDigest[found[key]] = append(byDigest[found[key]], key)
	}
	return byDigest, nil
}

// place enters a logical path and sees to it that its digest has content.
func (a *author) place(logical string, d Digest, found map[Digest][]string) {
	a.state[logical] = d
	if len(a.content[d]) > 0 {
		return
	}
	if keys := found[d]; len(keys) > 0 {
		a.content[d] = keys[:1:1]
		found[d] = keys[1:]
		return
	}
	path := ContentPath(a.number, logical, d, &a.taken)
	a.content[d] = []string{path}
	a.draft.New[path] = d
}

// takeIn names the found paths that no file needed.
func (a *author) takeIn(found map[Digest][]string) {
	for d, keys := range found {
		if len(keys) == 0 {
			continue
		}
		a.state[FoundPrefix+d.String()] = d
		a.content[d] = slices.Concat(a.content[d], keys)
	}
}
