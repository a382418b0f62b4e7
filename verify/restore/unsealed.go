package restore

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	"linecamp/manifest"
	"linecamp/manifest/store"
)

// parted reports whether an inventory tells another history than the seal, and
// up to which of its versions the seal knows it.
func (p *planner) parted(inv *manifest.Inventory) (parted bool, known int) {
	for n := inv.Head(); n > 0; n-- {
		if want, ok := p.sealed[sealedVersion{inv.ID, n}]; ok {
			return manifest.Sum(inv.Until(n).Encode()) != want, n
		}
	}
	return false, 0
}

// unread is for an object that no source has a version of.
func (p *planner) unread(ctx context.Context, slug string, why error) error {
	if p.everything && p.seal != nil && errors.Is(why, store.ErrNoObject) {
		if begun, err := p.begun(ctx, slug); err != nil || !begun {
			return err // a folder of somebody else's, or what the seal names, which is told as missing
		}
		why = errors.New("its first version was begun here and not finished, or its manifest is damaged, and the seal names none. What there is lies in the copy's folder of that name")
	}
	if why == nil {
		why = errors.New("no copy is left to ask")
	}
	p.fail(slug, "nothing of this site can be read: "+oneLine(why))
	return nil
}

// begun reports whether a source has a folder of a version of an object that the
// seal does not name.
func (p *planner) begun(ctx context.Context, slug string) (bool, error) {
	for v := range p.sealed {
		if strings.HasSuffix(v.id, ":"+slug) {
			return false, nil
		}
	}
	for _, s := range p.sources.all {
		names, err := s.Root.Folders(ctx, slug)
		if ctx.Err() != nil {
			return false, context.Cause(ctx)
		}
		if err != nil || !slices.Contains(names, "v1") {
			continue
		}
		b, _, err := store.ReadSmall(ctx, s.Root, slug+"/v1/inventory.json", mostInventory)
		if ctx.Err() != nil {
			return false, context.Cause(ctx)
		}
		if err == nil {
			if inv, err := manifest.DecodeInventory(b); err == nil && inv.Slug() != slug {
				continue // a site's folder that somebody copied beside it
			}
		}
		return true, nil
	}
	return false, nil
}

// mostInventory bounds what is read of a first version's inventory: one version
// lists at most a few hundred thousand files.
const mostInventory = 256 << 20

// unsealed says so where the seal does not vouch for the version brought back.
func (p *planner) unsealed(inv *manifest.Inventory, version int, site string) {
	switch parted, known := p.parted(inv); {
	case p.seal == nil:
	case parted:
		p.note(site + ": its manifest is not the one the seal names; its files match their digests, but it may have been changed since it was sealed. To see what else is wrong with this copy, run linecamp verify")
	case known < version:
		p.note(fmt.Sprintf("%s: version %d is not in the seal yet, so its files are checked against its manifest alone. The next linecamp mirror adds it to the seal", site, version))
	}
}
