package cameracard

import (
	"encoding/json"
	"errors"
	"fmt"
	"path/filepath"
	"slices"
	"strings"

	"linecamp/daemon/archive"
	"linecamp/daemon/intake"
	"linecamp/manifest"
	"linecamp/manifest/layout"
	"linecamp/manifest/store/fault"
	"linecamp/manifest/tally"
	"linecamp/manifest/walk"
	"linecamp/manifest/within"
)

// planKey is where the ledger keeps the plan that was shown last for a card. The
// card is known by its place; whether another card lies there by now, its
// pictures tell.
func planKey(card string) string {
	return "plan shown for " + within.Resolve(card)
}

// rememberPlan keeps the plan as it is shown, in each of the archives.
func rememberPlan(card string, archives []*archive.Archive, plan []intake.Shown) error {
	b, err := json.Marshal(plan)
	if err != nil {
		return err
	}
	for _, a := range archives {
		if err := a.Ledger.SetValue(planKey(card), string(b)); err != nil {
			return fmt.Errorf("the ledger: %w", err)
		}
	}
	return nil
}

// planShown is the plan shown last; nil where none is remembered.
func planShown(card string, archives []*archive.Archive) (plan []intake.Shown, err error) {
	text, ok, err := archives[0].Ledger.Value(planKey(card))
	if err != nil || !ok {
		return nil, errors.Join(err)
	}
	if json.Unmarshal([]byte(text), &plan) != nil {
		return nil, nil // damaged: as if none had been shown
	}
	return plan, nil
}

// sorting is a folder in the working folder, as its paths begin; "" for none.
type sorting string

// toSort reports whether a card is a folder in the working folder where files wait
// for somebody to sort them. One where paths tell of a site's visits is none.
func toSort(a *archive.Archive, card string, t *tally.Result, layout *layout.Layout) (sorting, error) {
	rel, err := filepath.Rel(within.Resolve(a.Config.Folder), within.Resolve(card))
	if err != nil || rel == "." || !filepath.IsLocal(rel) {
		return "", nil
	}
	from := sorting(filepath.ToSlash(rel))
	for i := range t.Sites {
		for file := range t.Sites[i].Files() {
			if !from.holds(file.Path) {
				continue
			}
			if u := layout.Understand(file.Path); u.Date != "" || u.Year != 0 || !from.has(t.Sites[i].Base) {
				return "", fault.Say(intake.ErrAsked, "%s and your folder %s lie one inside the other, and the files of a site are in it, such as %s; name the card's own folder, or one in which nothing is sorted yet",
					manifest.Printable(card), manifest.Printable(a.Config.Folder), manifest.Printable(file.Path))
			}
		}
	}
	return from, nil
}

// beside is the working folder without what is to be sorted, which is not filed by
// lying there, and is no site because its pictures have dates.
func (s sorting) beside(t *tally.Result) *tally.Result {
	if s == "" {
		return t
	}
	rest := *t
	rest.Waiting = slices.DeleteFunc(slices.Clone(t.Waiting), func(w walk.Waiting) bool { return s.holds(w.Path) })
	rest.Unfiled = tally.PackFiles(slices.DeleteFunc(t.Unfiled.List(), func(f tally.File) bool { return s.holds(f.Path) })...)
	rest.Sites = slices.DeleteFunc(slices.Clone(t.Sites), func(site tally.Site) bool { return s.has(site.Base) })
	return &rest
}

// objects are those in which only what is to be sorted is recorded.
func (s sorting) objects(k *archive.Known) map[string]bool {
	all := map[string]bool{}
	if s == "" {
		return all
	}
	for inv, rec := range k.Pairs() {
		all[inv.Slug()] = manifest.Unfiled(inv.Slug()) || s.has(rec.Base)
	}
	return all
}

// has reports whether a folder is the one to be sorted, or lies in it.
func (s sorting) has(folder string) bool { return s != "" && (folder == string(s) || s.holds(folder)) }

// holds reports whether a path of the working folder lies in it.
func (s sorting) holds(path string) bool { return s != "" && strings.HasPrefix(path, string(s)+"/") }
