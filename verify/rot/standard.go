package rot

import (
	"context"
	"fmt"
	"path"
	"strings"

	"linecamp/manifest/store"
	"linecamp/verify"
	"linecamp/verify/ocfl"
)

// holdAgainstStandard checks the layout of a drive by the OCFL specification,
// without reading the content again. Only what this check has not reported
// already is new: rules broken by a site without damage, and by the root.
//
// In a bucket the same rules are held, but for the few that need a second
// listing and all inventories again, which a metered link is spared; `verify
// --root` does it on request.
func (r *check) holdAgainstStandard(ctx context.Context) error {
	at, ok := r.c.Root.(store.Placed)
	if !ok || !at.Can().OCFL || r.o.Quick {
		return nil
	}
	folder, err := ocfl.OpenFolder(at.Folder())
	if err != nil {
		return err
	}
	defer folder.Close()
	found, err := ocfl.Validate(ctx, folder, ocfl.Options{NoContent: true, Workers: r.o.Workers})
	if err != nil {
		return fmt.Errorf("holding it against the standard: %w", err)
	}
	r.report.Standard = r.unexplained(found)
	return nil
}

// unexplained leaves out what this check knows already: damage, a root pair
// that the next mirror writes, a version that is still being built, litter.
func (r *check) unexplained(found ocfl.Report) []string {
	known := map[string]bool{}
	for _, d := range r.report.Damage {
		known[d.Object] = true
	}
	for _, o := range r.report.Unfinished {
		known[o] = true
	}
	begun := map[string]bool{} // objects of which no version is committed yet
	for _, f := range found.Errors {
		top, rest, _ := strings.Cut(f.Path, "/")
		if r.report.Heads[top] == 0 && verify.VersionOf(rest+"/") == 1 {
			begun[top] = true
		}
	}
	var rules []string
	note := func(object string, findings []ocfl.Finding) {
		for _, f := range findings {
			at := path.Join(object, f.Path)
			top, _, _ := strings.Cut(f.Path, "/")
			switch {
			case known[object], passedPath(at):
			case object == "" && begun[top]:
			case object != "" && verify.VersionOf(f.Path+"/") > r.report.Heads[object]:
			default:
				rules = append(rules, fmt.Sprintf("%s %s: %s", f.Code, at, f.Detail))
			}
		}
	}
	note("", found.Errors)
	for _, o := range found.Objects {
		if r.report.Heads[o.Path] > 0 {
			note(o.Path, o.Errors)
		}
	}
	return rules
}
