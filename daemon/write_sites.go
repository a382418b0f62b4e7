package daemon

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path"
	"strings"

	"linecamp/manifest"
	"linecamp/manifest/card"
	"linecamp/manifest/layout"
	"linecamp/manifest/tally"
	"linecamp/manifest/wholefile"
	"linecamp/manifest/words"
	"linecamp/verify"
	"linecamp/verify/draft"
)

// WrittenSite is a site.toml that was drafted for a site.
type WrittenSite struct {
	Site string `json:"site"`
	Path string `json:"path"` // in the working folder
}

// KeptSite is a site for which none was drafted. Failed: it could not be.
type KeptSite struct {
	Site   string `json:"site"`
	Path   string `json:"path,omitempty"`
	Reason string `json:"reason"`
	Failed bool   `json:"failed,omitempty"`
}

// WriteSites is Tally, and writes a draft of a card for every site that has none: a
// site.toml into its folder, or where the year stands above the site, a file of the
// site's name into the folder for cards. Nothing is written over, whatever it is: each file is made
// beside its place and then named. What hinders one site hinders no other: the
// error is that of Tally, of the copies' state or of ctx.
func (a *Archive) WriteSites(ctx context.Context, p Progress) (TallyReport, error) {
	t, err := a.Folder(ctx, p)
	if err != nil {
		return TallyReport{}, err
	}
	report, err := a.tallyReport(t)
	if err != nil {
		return report, err
	}
	k, err := a.Look(ctx)
	if err != nil {
		return report, err
	}
	defer k.Copies.Close()
	in, err := a.JudgedBy(t, k.Copies, k, nil)
	if err != nil {
		return report, err
	}
	in.Join()
	earlier := map[card.Key]bool{} // sites that were joined to another
	for _, j := range in.JoinedSites() {
		for _, f := range j.From {
			earlier[card.Key{Pasture: f.Pasture, Site: f.Site}] = true
		}
	}
	drafts := map[card.Key]string{}
	for _, d := range draft.Cards(in.Input) {
		drafts[card.Key{Pasture: d.Pasture, Site: d.Site}] = d.Text
	}
	folder, err := os.OpenRoot(a.Config.Folder)
	if err != nil {
		return report, fmt.Errorf("your folder cannot be opened: %w", err)
	}
	defer folder.Close()
	report.Written, report.Kept = []WrittenSite{}, []KeptSite{}
	cards := card.Read(t)
	called := map[string]int{}
	for _, s := range t.Sites {
		for _, n := range card.NamesOf(card.Key{Pasture: s.Pasture, Site: s.Site}) {
			called[n]++
		}
	}
	for i := range t.Sites {
		if err := ctx.Err(); err != nil {
			return report, err
		}
		s := &t.Sites[i]
		label := verify.Site{Site: s.Site, Pasture: s.Pasture}.Label()
		key := card.Key{Pasture: s.Pasture, Site: s.Site}
		at, alone := path.Join(s.Base, card.SiteFile), true
		if s.Base == "" { // with the year above it, no folder is the site's
			slug := manifest.Slug(s.Pasture, s.Site, nil)
			names := card.NamesOf(card.Key{Site: slug})
			at, alone = path.Join(layout.CardFolder, slug+".toml"), called[names[0]] == 1
		}
		keep := func(reason string, failed bool) {
			report.Kept = append(report.Kept, KeptSite{label, at, reason, failed})
		}
		text, ok := drafts[key]
		switch has := cmp.Or(cards.File(key), cardOf(folder, s, at)); {
		case has != "":
			at = has
			keep("it has a card already", false)
		case !alone:
			at = ""
			keep("another site's name cannot be told from its own in the name of a file", false)
		case earlier[key]:
			keep("it is an earlier name of another site, whose card counts", false)
		case !ok:
			keep("it has no visit to draft from", false)
		default:
			err := error(nil)
			if s.Base == "" {
				err = folder.MkdirAll(layout.CardFolder, 0o777)
			}
			if err == nil {
				err = writeNew(folder, at, text)
			}
			switch {
			case errors.Is(err, fs.ErrExist):
				keep("something of that name is there already, and was left as it is", true)
			case err != nil:
				keep("it could not be written: "+words.Reason(err), true)
			default:
				report.Written = append(report.Written, WrittenSite{label, at})
			}
		}
	}
	return report, nil
}

// cardOf is the path of a site's card, "" where it has none. One written within
// the last minute still waits, and is no file of the site yet.
func cardOf(folder *os.Root, s *tally.Site, at string) string {
	if s.Base == "" {
		if st, err := folder.Lstat(at); err == nil && st.Mode().IsRegular() {
			return at
		}
		return ""
	}
	if dir, err := folder.Open(s.Base); err == nil {
		defer dir.Close()
		entries, _ := dir.ReadDir(-1) // what cannot be listed is seen below
		for _, e := range entries {
			if e.Type().IsRegular() && strings.EqualFold(e.Name(), card.SiteFile) {
				return path.Join(s.Base, e.Name())
			}
		}
	}
	for f := range s.Files() {
		if f.Kind == manifest.KindCard && strings.EqualFold(path.Base(f.Path), card.SiteFile) {
			return f.Path
		}
	}
	return ""
}

// writeNew makes a file, whole or not at all, where none is. The error wraps
// fs.ErrExist where something is there.
func writeNew(root *os.Root, name, text string) error {
	draft := path.Join(path.Dir(name), ".site.toml.draft")
	if isDraft(root, draft) { // of a run that was ended
		_ = root.Remove(draft)
	}
	f, err := wholefile.BeginIn(root, draft, name, 0)
	if err != nil {
		return fmt.Errorf("%s: %s", path.Base(draft), words.Reason(err))
	}
	defer f.Drop()
	if _, err := f.WriteString(text); err != nil {
		return err
	}
	return f.Create()
}

// isDraft reports whether a file is one of ours: empty, or begun as drafts begin.
func isDraft(root *os.Root, name string) bool {
	if st, err := root.Lstat(name); err != nil || !st.Mode().IsRegular() {
		return false
	}
	b, err := root.ReadFile(name)
	return err == nil && (strings.HasPrefix(string(b), draft.Begins) || strings.HasPrefix(draft.Begins, string(b)))
}
