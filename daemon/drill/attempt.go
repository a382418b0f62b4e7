package drill

import (
	"context"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"time"

	"linecamp/daemon/archive"
	"linecamp/daemon/config"
	"linecamp/daemon/link"
	"linecamp/daemon/reach"
	"linecamp/manifest"
	"linecamp/manifest/store"
	"linecamp/manifest/store/fault"
	"linecamp/verify"
	"linecamp/verify/history"
	"linecamp/verify/restore"
)

// attempt is the drill of one copy.
type attempt struct {
	*archive.Archive
	Copy
	asked    Options
	copy     config.Copy
	progress archive.Progress
	root     *meter
	left     int64 // of the allowance when it began; negative for no limit
	byLink   bool  // it is the link's allowance that says so

	site    verify.Site     // the chosen one
	read    inventories     // what was read of the inventories
	wanted  map[string]file // of the chosen site, by path; nil for everything
	again   int64           // bytes of its inventory, which a restore reads once more
	out     map[string]bool // of it, left out for the allowance
	came    map[string]restore.Came
	lost    map[string]bool // did not come, and is told
	unread  []string        // objects whose inventory cannot be read, or is not there yet
	first   string          // the first site of which versions are not there
	nosite  error           // no site here fits the name that was asked for
	opening time.Duration
	reading time.Duration
	fetched time.Duration
	// bringing is the part of fetched that grows with what is fetched.
	bringing time.Duration
}

// failed is a step that could not be done.
type failed struct {
	step Step
	err  error
}

func (f failed) Error() string { return f.err.Error() }
func (f failed) Unwrap() error { return f.err }

func fail(step Step, err error) error { return failed{step, err} }

// run goes through the steps. Only what is no fault of the copy is an error.
func (t *attempt) run(ctx context.Context) error {
	at, err := t.find(ctx)
	if err != nil || t.Untried != "" || t.Step != "" {
		return err
	}
	if t.copy.Can().Metered {
		if t.left, err = t.Allowance(t.copy); err != nil {
			return err
		}
		if t.byLink, err = t.isHeldByLink(); err != nil {
			return err
		}
		if t.left == 0 {
			t.Untried = t.used()
			return nil
		}
	}
	began := time.Now()
	err = t.steps(ctx, at)
	t.Seconds = round(time.Since(began))
	if t.root != nil {
		if read := t.root.read.Load(); read > 0 && t.copy.Can().Metered {
			if serr := t.Ledger.Spend(t.copy.ID, read, t.Now()); serr != nil {
				return fmt.Errorf("the ledger: %w", serr)
			}
		}
	}
	var f failed
	switch {
	case ctx.Err() != nil:
		return ctx.Err()
	case errors.Is(err, history.ErrNoSite):
		t.nosite, t.Step, t.Error = err, Reading, err.Error()
	case errors.As(err, &f) && t.Step == "":
		t.Step, t.Error = f.step, f.err.Error()
	case err != nil && !errors.As(err, &f):
		return err
	}
	t.Passed = t.Step == "" && t.Untried == "" && !t.Differs()
	return nil
}

// used says that nothing may be downloaded any more, and so the drill is put off.
func (t *attempt) used() string {
	if t.byLink {
		return fmt.Sprintf("its link's allowance of %s leaves too little for it until %s", t.copy.Link.Allowance.Text, t.copy.Link.Allowance.Until(t.Now().Local()).Format("January 2"))
	}
	return fmt.Sprintf("the settings let %s be downloaded to check it (reread), and that is used up for now", t.copy.Reread.Text)
}

// isHeldByLink reports whether more might be downloaded if the link had no allowance.
func (t *attempt) isHeldByLink() (bool, error) {
	free := t.copy
	free.Link.Allowance = config.Allowance{}
	left, err := t.Allowance(free)
	return t.left >= 0 && (left < 0 || t.left < left), err
}

// find finds where the copy is, which a person would know of whom this were the
// only machine: the drive by its id, wherever it is plugged in.
func (t *attempt) find(ctx context.Context) (at reach.RootAccess, err error) {
	at = reach.RootAccess{Root: t.copy.URL, Region: t.copy.Region, Credentials: t.copy.Credentials, CAFile: t.copy.CAFile, Addressing: t.copy.Addressing}
	if !t.copy.Can().Local {
		return at, nil
	}
	r, err := t.Reach(ctx, []config.Copy{t.copy}, reach.Patient)
	if err != nil {
		return at, err
	}
	defer r.Close()
	h := r.All[0]
	switch folder, ok := h.Root.(store.Placed); {
	case h.Away:
		t.Away, t.Untried = true, h.Err.Error()
	case h.Err != nil:
		t.Step, t.Error = Opening, h.Err.Error()
	case ok:
		at.Root = folder.Folder()
	default:
		at.Root = t.copy.Root
	}
	return at, nil
}

func (t *attempt) steps(ctx context.Context, at reach.RootAccess) error {
	began := time.Now()
	way := link.Of(t.copy, t.Ledger, t.Now)
	if way.IsHeld() {
		at.Conn = way.Conn // what it downloads goes over the link like everything else
	}
	open, cancel := context.WithTimeout(ctx, reach.Patient)
	h, id, err := at.Open(open)
	cancel()
	if err != nil {
		return fail(Opening, err)
	}
	if err := way.Born(id.Created); err != nil {
		return fmt.Errorf("the ledger: %w", err)
	}
	defer func() { _ = way.Flush() }() // at worst less is known to be used than was
	t.root = &meter{Root: h.Root}
	defer h.Root.Close()
	if id.CopyID != "" && !strings.EqualFold(id.CopyID, t.copy.ID) {
		return fail(Opening, fault.Say(store.ErrOtherRoot, "another copy is there"))
	}
	t.opening = time.Since(began)

	began = time.Now()
	if err := t.inventories(ctx); err != nil {
		return err
	}
	t.reading = time.Since(began)
	if t.Untried != "" {
		return nil
	}
	if err := t.fetch(ctx, id.Archive); err != nil {
		return err
	}
	t.estimate()
	return t.compare(ctx)
}

// fetch brings the files back, as a restore does, into a folder that is removed.
func (t *attempt) fetch(ctx context.Context, name string) error {
	into, err := os.MkdirTemp(t.Dir, scratch)
	if err != nil {
		return fail(Fetching, fmt.Errorf("there is no place to bring files back into: %w", err))
	}
	defer os.RemoveAll(into)
	at, err := os.OpenRoot(into)
	if err != nil {
		return fail(Fetching, err)
	}
	defer at.Close()
	var mu sync.Mutex
	var last time.Time // when bytes came last
	t.came, t.lost = map[string]restore.Came{}, map[string]bool{}
	o := restore.Options{
		Archive: name, Into: into, Everything: t.asked.Everything,
		Progress: func(done, total int64) {
			mu.Lock()
			last = time.Now()
			mu.Unlock()
			t.progress.Tell(t.copy.Name, done, total)
		},
		// A file that has come goes again, so that a drill of everything needs little
		// room. Its bytes were those of the manifest.
		Came: func(c restore.Came) {
			_ = at.Remove(filepath.FromSlash(c.Raw))
			mu.Lock()
			defer mu.Unlock()
			t.came[c.Path] = c
		},
	}
	if !t.asked.Everything {
		o.Sites = []verify.Site{t.site}
		o.Leave = func(path string, _ manifest.Kind) bool { _, ok := t.wanted[path]; return !ok }
	}
	began := time.Now()
	rep, err := restore.Run(ctx, []restore.Source{{Name: t.copy.Name, Root: t.root}}, o)
	t.fetched = time.Since(began)
	// What comes after is the disk's, once for many files; before, the inventory is
	// read once more.
	if !last.IsZero() {
		t.bringing = max(0, last.Sub(began)-t.reading/time.Duration(max(1, t.read.done)))
	}
	t.Files, t.Bytes, t.Behind = rep.Files, rep.Bytes, len(rep.Missing)
	if t.Behind > 0 {
		t.first = rep.Missing[0].Site
	}
	if err != nil {
		return fail(Fetching, err)
	}
	for _, f := range rep.Failed {
		_, here := t.came[f.Path]
		switch {
		case here: // only its time is not known
			t.note(Reading, f)
			continue
		case f.Altered:
			t.lost[f.Path] = true
			t.Different = append(t.Different, f.Path)
		default:
			t.lost[f.Path] = true
			t.Missing = append(t.Missing, f.Path)
		}
		t.note(Fetching, f)
	}
	return nil
}

// note keeps the first reason why the drill does not pass.
func (t *attempt) note(step Step, f restore.Failed) {
	if t.Step == "" {
		t.Step, t.Error = step, manifest.Printable(f.Path)+": "+f.Reason
	}
}

// estimate tells from what was measured how long a whole recovery would take.
func (t *attempt) estimate() {
	t.Whole.Amount = t.read.whole()
	seconds := t.opening.Seconds() + t.reading.Seconds()*float64(t.read.objects)/float64(max(1, t.read.done))
	switch {
	case t.asked.Everything:
		seconds = t.opening.Seconds() + t.fetched.Seconds()
	case t.Bytes > 0:
		seconds += (t.fetched - t.bringing).Seconds() + t.bringing.Seconds()*float64(t.Whole.Bytes)/float64(t.Bytes)
	}
	t.Whole.Seconds = math.Round(seconds*1000) / 1000
}

// round is a time in seconds, to the thousandth.
func round(d time.Duration) float64 { return math.Round(d.Seconds()*1000) / 1000 }
