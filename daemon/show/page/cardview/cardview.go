// Package cardview is what the page shows of a camera card: the plan that intake
// makes of it, with small pictures, to be looked through before anything is filed.
// A form asks for it ([Read]); [Desk.Do] does what the command does, with the same
// checks; [Desk.View] is the plan as it was last looked through. A view reads nothing
// of a card: that is only done when a form asks for it.
package cardview

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"net/http"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"

	"linecamp/daemon"
	"linecamp/daemon/intake"
)

// What is the work's name.
const What = "Camera card"

// Asked is what a form asks for: to look through a card, or to file visits of the plan
// that was shown.
type Asked struct {
	Folder string
	Visits []int  // to file; none where the card is only looked through
	seen   string // which plan was looked at
}

// Read reads a form. The error says what is lacking.
func Read(r *http.Request) (Asked, error) {
	a := Asked{Folder: strings.TrimSpace(r.PostFormValue("folder")), seen: r.PostFormValue("seen")}
	if !filepath.IsAbs(a.Folder) {
		return a, errors.New("write the whole path of the card's folder")
	}
	a.Folder = filepath.Clean(a.Folder)
	for _, v := range r.PostForm["visit"] {
		n, err := strconv.Atoi(v)
		if err != nil || n < 1 {
			return a, errors.New("a visit goes by its number in the plan")
		}
		a.Visits = append(a.Visits, n)
	}
	if a.seen != "" && len(a.Visits) == 0 {
		return a, errors.New("choose at least one visit to file")
	}
	return a, nil
}

// Line is the command that does the same.
func (a Asked) Line() []string {
	line := []string{"intake", a.Folder}
	for _, n := range a.Visits {
		line = append(line, "--visit", strconv.Itoa(n))
	}
	if len(a.Visits) > 0 {
		line = append(line, "--yes")
	}
	return line
}

// ErrChanged: what would be filed is not what was looked at.
var ErrChanged = errors.New("the plan is not the one you looked at any more, so nothing was filed; look through the card again")

// Desk holds the plan that was last looked through. The zero Desk has none.
type Desk struct {
	mu   sync.Mutex
	plan *intake.Plan
	at   time.Time
	seen string
}

// Do looks through a card, or files what was looked through.
func (d *Desk) Do(ctx context.Context, a *daemon.Archive, asked Asked, p daemon.Progress) (daemon.Report, error) {
	archives, err := daemon.WithFolder([]*daemon.Archive{a})
	if err != nil {
		return nil, err
	}
	was, seen := d.shown()
	if len(asked.Visits) > 0 && (was == nil || seen != asked.seen || was.Card != asked.Folder) {
		return nil, ErrChanged
	}
	o := intake.Options{Thumbs: len(asked.Visits) == 0, Visits: asked.Visits}
	plan, err := daemon.Intake(ctx, asked.Folder, archives, o, p)
	if err != nil {
		return nil, err
	}
	if len(asked.Visits) == 0 {
		d.lay(plan.Plan, a.Now())
		return plan.Plan, nil
	}
	if !isSame(was.Visits, plan.Visits) {
		return nil, ErrChanged
	}
	d.lay(nil, time.Time{}) // some of it is filed now: what is left is looked through anew
	if err := plan.File(ctx); err != nil {
		return nil, err
	}
	return plan.Plan, nil
}

func (d *Desk) shown() (*intake.Plan, string) {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.plan, d.seen
}

// lay puts a plan on the desk, in place of the one before.
func (d *Desk) lay(plan *intake.Plan, at time.Time) {
	h := sha256.New()
	if plan != nil {
		fmt.Fprintf(h, "%q %v\n", plan.Card, at.UnixNano())
		for _, v := range plan.Visits {
			for _, f := range v.Files {
				fmt.Fprintf(h, "%d %q %q\n", v.Number, f.From, f.To)
			}
		}
	}
	d.mu.Lock()
	defer d.mu.Unlock()
	d.plan, d.at, d.seen = plan, at, hex.EncodeToString(h.Sum(nil)[:12])
}

// isSame reports whether each visit of a plan is as it was shown.
func isSame(shown, now []intake.Visit) bool {
	return !slices.ContainsFunc(now, func(v intake.Visit) bool {
		i := slices.IndexFunc(shown, func(s intake.Visit) bool { return s.Number == v.Number })
		return i < 0 || shown[i].Site != v.Site || shown[i].Pasture != v.Pasture || shown[i].Date != v.Date ||
			!slices.EqualFunc(shown[i].Files, v.Files, func(a, b intake.File) bool {
				return a.From == b.From && a.Bytes == b.Bytes && a.View == b.View && a.Taken == b.Taken
			})
	})
}

// Serve answers with a small picture of the plan, by its key; false where there is none.
func (d *Desk) Serve(w http.ResponseWriter, r *http.Request, key string) bool {
	plan, seen := d.shown()
	number, ok := strings.CutPrefix(key, seen+"-")
	if plan == nil || !ok {
		return false
	}
	n, err := strconv.Atoi(number)
	if err != nil || n < 0 {
		return false
	}
	for _, v := range plan.Visits {
		if n < len(v.Files) {
			small := v.Files[n].Small()
			if len(small) == 0 {
				return false
			}
			w.Header().Set("Content-Type", "image/jpeg")
			w.Header().Set("Cache-Control", "private, max-age=3600, immutable")
			http.ServeContent(w, r, "", time.Time{}, bytes.NewReader(small))
			return true
		}
		n -= len(v.Files)
	}
	return false
}
