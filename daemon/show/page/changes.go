package page

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"net/http"
	"strings"

	"linecamp/daemon"
	"linecamp/daemon/mirror/report"
	"linecamp/verify"
)

// changesView is what waits for a person's word, beside what is on record.
type changesView struct {
	frame
	Looked  bool // a round was run from the page, and told what waits
	Reasons []changeReason
	Waiting int
	More    int // not listed
	Seen    string
	Line    string
}

type changeReason struct {
	Reason  string
	Changes []changeRow
}

// changeRow is one file: as it is now, and as it is on record.
type changeRow struct {
	Path     string
	Now, Was *picture // nil where there is none, or none that can be shown
	Gone     bool
}

// mostChanges is how many are listed.
const mostChanges = 200

// waits is what of a round's report waits for a person.
func waits(r daemon.MirrorReport) (all []report.Waiting) {
	for _, w := range r.Waiting {
		if w.Person {
			all = append(all, w)
		}
	}
	return all
}

// seenOf names what waits, so that nobody accepts what was not looked at.
func seenOf(all []report.Waiting) string {
	h := sha256.New()
	for _, w := range all {
		fmt.Fprintf(h, "%q %q\n", w.Path, w.Reason)
	}
	return hex.EncodeToString(h.Sum(nil))
}

func (s *Server) changes(w http.ResponseWriter, r *http.Request, b *book) error {
	read, err := b.read(r.Context(), false)
	if err != nil {
		return err
	}
	v := changesView{frame: s.frame(b, "work", "What waits for your word"), Line: b.Line.Run("mirror", "--accept-changes")}
	last, ok := b.jobs.LastMirror()
	if v.Looked = ok; ok {
		all := waits(last)
		v.Waiting, v.Seen, v.More = len(all), seenOf(all), max(0, len(all)-mostChanges)
		byPath := map[string]*file{}
		for _, f := range read.files {
			byPath[f.Path] = f
		}
		for _, x := range all[:len(all)-v.More] {
			v.add(x, byPath[x.Path], b)
		}
	}
	return show(w, "changes", http.StatusOK, v)
}

func (v *changesView) add(w report.Waiting, f *file, b *book) {
	reason := verify.Shown(b.Line.Text(w.Reason))
	if n := len(v.Reasons); n == 0 || v.Reasons[n-1].Reason != reason {
		v.Reasons = append(v.Reasons, changeReason{Reason: reason})
	}
	row := changeRow{Path: verify.Shown(w.Path), Gone: f == nil || f.File == nil}
	if f != nil && f.photo() && canShow(f) {
		p := pictureOf(f, false, false)
		if f.File != nil {
			row.Now = &p
			was := p
			was.Key, was.Alt = wasKey+f.key, p.Alt+", as it is on record"
			row.Was = &was
		} else {
			row.Was = &p
		}
	}
	last := &v.Reasons[len(v.Reasons)-1]
	last.Changes = append(last.Changes, row)
}

// wasKey begins the key of a picture as it is on record, where it is another one in
// the folder now.
const wasKey = "was-"

// errChanged: what waits is not what was looked at.
var errChanged = errors.New("what waits is not what you looked at any more, so nothing was accepted; look at it again")

// acceptDeed records what waits, if it still is what was looked at.
func acceptDeed(b *book, r *http.Request, _ *reading) (deed, error) {
	o := daemon.MirrorOptions{AcceptChanges: true, Why: strings.TrimSpace(r.PostFormValue("why")), Who: strings.TrimSpace(r.PostFormValue("who"))}
	seen := r.PostFormValue("seen")
	if o.Why == "" || r.PostFormValue("looked") == "" || seen == "" {
		return deed{}, fmt.Errorf("%w without a reason, and your word that you looked at each", errAsked)
	}
	line := []string{"mirror", "--accept-changes", "--why", o.Why}
	return deed{"Accept what waits", line, func(ctx context.Context, p daemon.Progress) (daemon.Report, error) {
		now, err := b.Mirror(ctx, daemon.MirrorOptions{}, p)
		if err != nil {
			return nil, err
		}
		if seenOf(waits(now)) != seen {
			return nil, errChanged
		}
		return reportOf(b.Mirror(ctx, o, p))
	}}, nil
}
