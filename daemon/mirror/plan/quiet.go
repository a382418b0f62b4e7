package plan

import (
	"context"
	"crypto/sha256"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"iter"

	"linecamp/manifest"
	"linecamp/manifest/packed"
	"linecamp/manifest/tally"
)

// On most nights there is nothing to do, and reading every manifest to see that costs
// more than walking the folder. So where nothing was to be made, asked or waited for,
// the ledger keeps one digest of all that a plan is made from, and the next plan from
// the same is empty without a look at any manifest. What is kept is true for ever, and
// so in a state put back to an old day too. Whoever lets a plan depend on anything else
// adds it to sum; TestTheRememberedPlanIsTheComputedOne holds the two together.
const quietKey = "nothing to do"

// Make compares the tally with what is recorded and says which versions to
// make: newest visits of all sites first, files without a site last.
func Make(ctx context.Context, r In) ([]Step, error) {
	sum, err := r.sum()
	if err != nil {
		return nil, err
	}
	if kept, _, err := r.Ledger.Value(quietKey); err != nil || kept != "" && kept == sum {
		return nil, err
	}
	quiet, wait, question := true, r.Wait, r.Question
	r.Wait = func(path, reason string, person bool) { quiet = false; wait(path, reason, person) }
	r.Question = func(what string) { quiet = false; question(what) }
	steps, err := compute(ctx, r)
	if err != nil || !quiet || len(steps) > 0 {
		return steps, err
	}
	if sum, err = r.sum(); err != nil { // with what the plan noted, and the manifests it brought from copies
		return nil, err
	}
	return nil, r.Ledger.SetValue(quietKey, sum)
}

// sum is the digest of all that a plan is made from: who plans, what the folder shows, what
// the ledger notes, the seal, which names each newest manifest by its digest, the manifests'
// files at hand, since a plan brings those that are not from the copies, and the program.
// It is "" where the plan has to be made: people decide while rounds run, so what they
// said may be newer than the plan.
func (r In) sum() (string, error) {
	t := r.Tally
	said, err := r.Ledger.Said()
	lines, of, all, err2 := r.Ledger.Accounted()
	unseen, err3 := r.Ledger.Unseen()
	atHand, err4 := r.Sites.Cache.AtHand()
	if err := errors.Join(err, err2, err3, err4); err != nil {
		return "", fmt.Errorf("the state folder: %w", err)
	}
	if r.Accepted || len(said) > 0 || len(t.Waiting) > 0 || atHand == "" {
		return "", nil
	}
	seal := r.Sites.Log().Seal
	noted := []any{r.User, seal.Len(), seal.Digest(), t.Device, t.Files, lines, of, all, unseen, atHand}
	for _, key := range []string{deviceKey, provenKey, massKey, unfiledKey} {
		value, _, err := r.Ledger.Value(key)
		if err != nil {
			return "", fmt.Errorf("the ledger: %w", err)
		}
		noted = append(noted, value)
	}
	h := sha256.New()
	if err := json.NewEncoder(h).Encode(noted); err != nil {
		return "", err
	}
	sumTally(h, t)
	return manifest.Digest(h.Sum(nil)).String(), nil
}

// sumTally adds what the folder shows, as far as an empty plan looks at it: of files
// that have the bytes on record, sizes and times are not asked for.
func sumTally(h io.Writer, t *tally.Result) {
	w := packed.Writer{}
	list := func(files iter.Seq[tally.File], of ...string) {
		for _, text := range of {
			w.Text(text)
		}
		for f := range files {
			w.Text(f.Path)
			w.Text(string(f.Kind))
			w.Digest(f.SHA256)
		}
		h.Write(w.B)
		w.B = w.B[:0]
	}
	for i := range t.Sites {
		s := &t.Sites[i]
		list(s.Files(), "site", s.Pasture, s.Site, s.Base)
	}
	list(t.Unfiled.All(), "unfiled")
	for _, p := range t.Passed {
		list(func(func(tally.File) bool) {}, "passed", p.Path)
	}
}
