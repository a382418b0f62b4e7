package mend

import (
	"bytes"
	"context"
	"fmt"
	"path"
	"strconv"
	"strings"

	"linecamp/manifest"
	"linecamp/manifest/seal"
	"linecamp/manifest/store"
	"linecamp/manifest/store/fault"
	"linecamp/verify"
	"linecamp/verify/rot"
)

// FromRecord stands in Mended.From where the bytes were made again from what is on
// record, and came from no copy.
const FromRecord = "manifest"

// rootFile writes the file that makes a folder an OCFL storage root again (OCFL
// 1.1 section 4.1). The one that says who records is for that computer's next round.
func (m *mender) rootFile(ctx context.Context, c verify.Copy, d verify.Damage) {
	if d.Content == store.AuthorKey {
		if _, _, err := store.ReadAuthor(ctx, c.Root); err == nil {
			m.mended(d, FromRecord, true)
			return
		}
	}
	if d.Content != store.RootNamaste {
		m.unmended(d, false, "%s", d.Detail)
		return
	}
	m.put(ctx, c, d, store.RootNamaste, []byte("ocfl_1.1\n"), FromRecord)
}

// put mends one small file with bytes that are known.
func (m *mender) put(ctx context.Context, c verify.Copy, d verify.Damage, key string, b []byte, from string) {
	if err := c.Root.Mend(ctx, key, store.Bytes(b), m.Aside); err != nil {
		m.failed(ctx, c.Name, err)
		if ctx.Err() == nil {
			m.unmended(d, false, "%s: %v", key, err)
		}
		return
	}
	if info, err := c.Root.Stat(ctx, key); err == nil {
		m.remember(c, d, manifest.Sum(b), info)
	}
	m.mended(d, from, false)
}

// seal mends a file of the seal from the archive's. Where the copy's seal still
// reads, and tells something else, it is mended only if a few of its bytes are
// all that differs and two others say so, the author's state and another copy.
//
// What is there is kept among the logs of other histories before it is replaced, whether or
// not it reads: a history that looks as if it rotted is not lost, and what only this copy's
// lines name is still known by them.
func (m *mender) seal(ctx context.Context, c verify.Copy, d verify.Damage) {
	if want, ok := store.LateDigest(d.Content); ok {
		m.lateLog(ctx, c, d, want)
		return
	}
	const (
		otherHistory = "this copy's seal is not damaged, and tells another history of the archive. It is left as it is; run `linecamp mirror` on the recording computer, which takes in what this copy has and uses it on"
		rewritten    = "this copy's seal was rewritten, and nothing else in reach tells that it rotted. It is left as it is; give the archive a new copy with `linecamp setup --add-copy --drive NAME=FOLDER`"
	)
	switch {
	case strings.HasPrefix(d.Detail, verify.OtherHistory):
		m.unmended(d, false, otherHistory)
		return
	case strings.HasPrefix(d.Detail, verify.Rewritten):
		m.unmended(d, false, rewritten)
		return
	}
	best, from := m.longestSeal(ctx, c.Name)
	if best == nil || best.Len() == 0 {
		m.unmended(d, len(m.Copies) > 0, "no other copy in reach has a readable seal")
		return
	}
	own, err := store.ReadSeal(ctx, c.Root)
	if fault.Of(err).OfCopy() { // also where another machine is writing it: that is no damage
		m.failed(ctx, c.Name, err)
		m.unmended(d, false, "%v", err)
		return
	}
	if err == nil && own.Against(best) == seal.Parted {
		m.unmended(d, false, otherHistory)
		return
	}
	if err == nil && own.Against(best) != seal.Begins && !(own.Against(best) == seal.Rotten && m.Seal != nil && own.Against(m.Seal) == seal.Rotten && rot.Seconded(ctx, m.Copies, c.ID, m.Seal, own.Len())) {
		m.unmended(d, false, rewritten)
		return
	}
	i := 0
	if fmt.Sscanf(path.Base(d.Content), "%05d.txt", &i); seal.File(i) != d.Content {
		m.unmended(d, false, "%s", d.Detail)
		return
	}
	switch part, more, err := store.SealPart(ctx, c.Root, best, i); {
	case err != nil:
		m.failed(ctx, c.Name, err)
		m.unmended(d, false, "%v", err)
	case more:
		m.unmended(d, false, "this copy's seal is longer than every other one in reach, so it may hold lines that nothing else has; it is left as it is. Run `linecamp mirror` on the recording computer; if it calls this seal damaged, run `linecamp setup --take-over` there with another copy in reach, then `linecamp mirror` again, which takes in what this copy has")
	default:
		if err := store.KeepSeal(ctx, c.Root, best); err != nil {
			m.failed(ctx, c.Name, err)
			m.unmended(d, false, "what is there could not be kept: %v", err)
			return
		}
		m.put(ctx, c, d, d.Content, part, from)
	}
}

// lateLog mends a log of another history from a copy that has it whole.
func (m *mender) lateLog(ctx context.Context, c verify.Copy, d verify.Damage, want manifest.Digest) {
	for _, other := range m.Copies {
		if other.Name == c.Name {
			continue
		}
		if text, err := store.LateFile(ctx, other.Root, want); err == nil {
			m.put(ctx, c, d, d.Content, text, other.Name)
			return
		}
	}
	m.unmended(d, len(m.Copies) > 1, "no other copy in reach has this log of another history whole")
}

// longestSeal is the author's seal, or that of a copy which goes on from it; but
// for one copy, "" for none. It is nil where none can be read.
func (m *mender) longestSeal(ctx context.Context, but string) (*seal.Seal, string) {
	told := make([]seal.Told, len(m.Copies))
	for i, c := range m.Copies {
		if c.Name == but {
			continue
		}
		if s, err := store.ReadSeal(ctx, c.Root); err == nil {
			told[i].Seal = s
		}
	}
	best, i := seal.Right(m.Seal, told...)
	if i < 0 {
		return best, FromRecord
	}
	return best, m.Copies[i].Name
}

// inventory mends a version's inventory or its sidecar. Both can be made again,
// byte for byte, from any later inventory of the object; the copy's own seal
// has the last word on whether they are right.
func (m *mender) inventory(ctx context.Context, c verify.Copy, d verify.Damage) {
	if strings.HasPrefix(d.Detail, verify.Rewritten) {
		m.unmended(d, false, "this manifest was rewritten, not damaged. It is left as it is, because nothing here can tell which history is right; give the archive a new copy with `linecamp setup --add-copy --drive NAME=FOLDER`")
		return
	}
	n, sidecar, ok := versionFile(d.Content)
	if !ok {
		m.settleDamage(ctx, c, d)
		return
	}
	inv := m.judge(ctx, c, d.Object)
	if inv == nil || inv.Head() < n {
		m.unmended(d, false, "no copy in reach has a good manifest of version %d", n)
		return
	}
	b := inv.Until(n).Encode()
	if want, known := m.seals(ctx)[inv.ID][n]; known && manifest.Sum(b) != want {
		m.unmended(d, false, "what the other copies say of version %d is not what the seal says; nothing was changed", n)
		return
	}
	if sidecar && m.bad[[3]string{d.Copy, d.Object, fmt.Sprintf("v%d/inventory.json", n)}] {
		m.unmended(d, false, "the manifest of version %d has to be there first", n)
		return
	}
	if sidecar {
		b = manifest.Sidecar(b)
	}
	m.put(ctx, c, d, d.Object+"/"+d.Content, b, m.source(ctx, c, inv))
	delete(m.own, c.Name)
}

// versionFile takes "v3/inventory.json" apart, or its sidecar.
func versionFile(content string) (n int, sidecar, ok bool) {
	folder, name, _ := strings.Cut(content, "/")
	n, err := strconv.Atoi(strings.TrimPrefix(folder, "v"))
	if err != nil || n < 1 || fmt.Sprintf("v%d", n) != folder {
		return 0, false, false
	}
	switch name {
	case "inventory.json":
		return n, false, true
	case "inventory.json.sha256":
		return n, true, true
	}
	return 0, false, false
}

// source names where an inventory came from.
func (m *mender) source(ctx context.Context, c verify.Copy, inv *manifest.Inventory) string {
	for _, other := range m.Copies {
		if own := m.ownOf(ctx, other, inv.Slug()); other.Name != c.Name && own != nil && own.Head() == inv.Head() {
			return other.Name
		}
	}
	return FromRecord
}

// seals is what the archive's seal says of inventories.
func (m *mender) seals(ctx context.Context) verify.Sealed {
	if m.sealed != nil {
		return m.sealed
	}
	best, _ := m.longestSeal(ctx, "")
	if best == nil || ctx.Err() != nil {
		return nil
	}
	m.sealed = verify.SealedBy(best)
	return m.sealed
}

// settleDamage is for a root pair that cannot be read: it is written again.
func (m *mender) settleDamage(ctx context.Context, c verify.Copy, d verify.Damage) {
	inv := m.judge(ctx, c, d.Object)
	own := m.ownOf(ctx, c, d.Object)
	if inv == nil || own == nil || !m.agree(inv, own) {
		m.unmended(d, false, "this copy has no good version of the site to make it from")
		return
	}
	b := own.Encode()
	if strings.HasSuffix(d.Content, ".sha256") {
		b = manifest.Sidecar(b)
	}
	m.put(ctx, c, d, d.Object+"/"+d.Content, bytes.Clone(b), FromRecord)
}

// settle completes an object that a crash left unfinished.
func (m *mender) settle(ctx context.Context, c verify.Copy, object string) {
	if ctx.Err() != nil {
		return
	}
	d := verify.Damage{Copy: c.Name, Site: object, Path: verify.InventoryPath, Object: object, Content: "inventory.json"}
	changed, err := store.Settle(ctx, c.Root, object)
	switch {
	case err != nil && ctx.Err() == nil:
		m.unmended(d, false, "its root inventory could not be written again: %v", err)
	case changed:
		m.mended(d, FromRecord, false)
	}
}
