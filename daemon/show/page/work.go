package page

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"path/filepath"
	"strings"
	"time"

	"linecamp/daemon"
	"linecamp/daemon/show/page/jobs"
	"linecamp/daemon/show/screen"
	"linecamp/daemon/show/text"
	"linecamp/verify"
)

// workView is what can be begun, and what was.
type workView struct {
	frame
	Running *jobs.Row
	Jobs    []jobs.Row
	Copies  []string
	Sites   []siteChoice
	Alike   []alikeRow
	Here    bool // this machine has the working folder
	Asked   askedFor
	Lines   map[string]string
}

type siteChoice struct{ Key, Label string }

// alikeRow is two sites that look like one stake.
type alikeRow struct{ Now, Former, NowKey, FormerKey, Text string }

// askedFor fills forms from an address: what a link elsewhere led here for.
type askedFor struct{ Site, Years, Lacks string }

func (s *Server) work(w http.ResponseWriter, r *http.Request, b *book) error {
	read, err := b.read(r.Context(), false)
	if err != nil {
		return err
	}
	v := workView{frame: s.frame(b, "work", "Work"), Running: b.jobs.Running(), Jobs: b.jobs.Rows(), Here: b.HasFolder(),
		Asked: askedFor{r.FormValue("site"), r.FormValue("years"), r.FormValue("lacks")},
		Lines: map[string]string{"mirror": b.Line.Run("mirror"), "verify": b.Line.Run("verify"), "mend": b.Line.Run("mend"), "drill": b.Line.Run("drill")}}
	for _, c := range read.status.Copies {
		v.Copies = append(v.Copies, c.Copy)
	}
	for _, x := range read.sites {
		if x.Object != "" {
			v.Sites = append(v.Sites, siteChoice{x.key, x.label()})
		}
	}
	for _, a := range read.record.Alike {
		v.Alike = append(v.Alike, alikeRow{verify.Shown(a.Now.Site), verify.Shown(a.Former.Site), a.Now.Object, a.Former.Object, verify.Shown(a.Text)})
	}
	return show(w, "work", http.StatusOK, v)
}

// deed is a work as a form asks for it: what it is called, the command line that
// does the same, and the command's own doing.
type deed struct {
	what string
	line []string
	do   func(context.Context, daemon.Progress) (daemon.Report, error)
}

// reportOf is a method's report as any report; none where it failed.
func reportOf[R daemon.Report](r R, err error) (daemon.Report, error) {
	if err != nil {
		return nil, err
	}
	return r, nil
}

// deeds are what the page can do, by the word in the form.
var deeds = map[string]func(b *book, r *http.Request, read *reading) (deed, error){
	"mirror":  mirrorDeed,
	"verify":  verifyDeed,
	"mend":    mendDeed,
	"drill":   drillDeed,
	"explain": explainDeed,
	"same":    sameDeed,
	"restore": restoreDeed,
	"accept":  acceptDeed,
	"card":    cardDeed,
}

// begin begins what a form asks for, and leads to where it can be watched.
func (s *Server) begin(w http.ResponseWriter, r *http.Request, b *book) error {
	read, err := b.read(r.Context(), false)
	if err != nil {
		return err
	}
	make := deeds[r.PostFormValue("do")]
	if make == nil {
		return fmt.Errorf("%w: the page knows no such work", errAsked)
	}
	d, err := make(b, r, read)
	if err != nil {
		return err
	}
	x, err := b.jobs.Begin(s.life, b.now, jobs.Work{What: d.what, Line: b.Line.Run(d.line...), Do: d.do, Tell: b.tell,
		Then: func(ctx context.Context) { _, _ = b.read(ctx, true) }}) // so that what is shown next has it
	if err != nil {
		return fmt.Errorf("%w now: %w", errAsked, err)
	}
	http.Redirect(w, r, s.frame(b, "", "").Base+"/jobs/"+x.ID, http.StatusSeeOther)
	return nil
}

// tell is what came of a work, in words.
func (b *book) tell(r daemon.Report, err error) string {
	switch {
	case errors.Is(err, context.Canceled):
		return "Stopped. What was kept stays kept, nothing is half-written under its name, and the next run carries on from here."
	case err != nil:
		return sentence(errors.New(b.Line.Text(err.Error())))
	}
	var out bytes.Buffer
	text.Print(screen.Writer(&out, b.Line), r)
	return strings.TrimSpace(out.String())
}

func copyOf(r *http.Request, line []string) (string, []string) {
	name := r.PostFormValue("copy")
	if name != "" {
		line = append(line, "--copy", name)
	}
	return name, line
}

func mirrorDeed(b *book, r *http.Request, _ *reading) (deed, error) {
	var o daemon.MirrorOptions
	line := []string{"mirror"}
	o.Copy, line = copyOf(r, line)
	return deed{"Mirror", line, func(ctx context.Context, p daemon.Progress) (daemon.Report, error) {
		return reportOf(b.Mirror(ctx, o, p))
	}}, nil
}

func verifyDeed(b *book, r *http.Request, _ *reading) (deed, error) {
	var o daemon.VerifyOptions
	line := []string{"verify"}
	o.Copy, line = copyOf(r, line)
	if o.Quick = r.PostFormValue("quick") != ""; o.Quick {
		line = append(line, "--quick")
	}
	return deed{"Verify", line, func(ctx context.Context, p daemon.Progress) (daemon.Report, error) {
		return reportOf(b.Verify(ctx, o, p))
	}}, nil
}

func mendDeed(b *book, r *http.Request, _ *reading) (deed, error) {
	var o daemon.MendOptions
	line := []string{"mend"}
	o.Copy, line = copyOf(r, line)
	return deed{"Mend", line, func(ctx context.Context, p daemon.Progress) (daemon.Report, error) {
		return reportOf(b.Mend(ctx, o, p))
	}}, nil
}

func drillDeed(b *book, r *http.Request, _ *reading) (deed, error) {
	var o daemon.DrillOptions
	line := []string{"drill"}
	o.Copy, line = copyOf(r, line)
	return deed{"Drill", line, func(ctx context.Context, p daemon.Progress) (daemon.Report, error) {
		return reportOf(b.Drill(ctx, o, p))
	}}, nil
}

// siteOf is the site that a form's field names.
func siteOf(r *http.Request, read *reading, field string) (*site, error) {
	x := read.bySite[r.PostFormValue(field)]
	if x == nil || x.Object == "" {
		return nil, fmt.Errorf("%w: choose a site that is recorded", errAsked)
	}
	return x, nil
}

func explainDeed(b *book, r *http.Request, read *reading) (deed, error) {
	x, err := siteOf(r, read, "site")
	if err != nil {
		return deed{}, err
	}
	o := daemon.ExplainOptions{Site: x.Object, Years: strings.TrimSpace(r.PostFormValue("years")), Why: strings.TrimSpace(r.PostFormValue("why")),
		Who: strings.TrimSpace(r.PostFormValue("who")), Lacks: strings.TrimSpace(r.PostFormValue("lacks"))}
	if o.Years == "" || o.Why == "" {
		return deed{}, fmt.Errorf("%w without the years and the reason", errAsked)
	}
	line := []string{"explain", x.asked(), o.Years, o.Why}
	if o.Lacks != "" {
		line = append(line, "--lacks", o.Lacks)
	}
	if o.Who != "" {
		line = append(line, "--who", o.Who)
	}
	return deed{"Explain", line, func(ctx context.Context, p daemon.Progress) (daemon.Report, error) {
		return reportOf(b.Explain(ctx, o, p))
	}}, nil
}

func sameDeed(b *book, r *http.Request, read *reading) (deed, error) {
	now, err := siteOf(r, read, "now")
	if err != nil {
		return deed{}, err
	}
	// A site that was taken over is none of its own in the book; the command finds it.
	former := r.PostFormValue("former")
	if !isKey.MatchString(former) {
		return deed{}, fmt.Errorf("%w: choose the earlier site", errAsked)
	}
	o := daemon.SameOptions{Now: now.Object, Former: former, Why: strings.TrimSpace(r.PostFormValue("why")), Who: strings.TrimSpace(r.PostFormValue("who"))}
	line := []string{"same", o.Now, o.Former}
	switch r.PostFormValue("decide") {
	case "joined":
		if o.Overlap = r.PostFormValue("overlap") != ""; o.Overlap {
			line = append(line, "--overlap")
		}
	case "apart":
		o.No, line = true, append(line, "--no")
	case "undo":
		o.Undo, line = true, append(line, "--undo")
	default:
		return deed{}, fmt.Errorf("%w: say whether they are one stake or two", errAsked)
	}
	for _, f := range []struct{ flag, text string }{{"--why", o.Why}, {"--who", o.Who}} {
		if f.text != "" {
			line = append(line, f.flag, f.text)
		}
	}
	return deed{"Same", line, func(ctx context.Context, p daemon.Progress) (daemon.Report, error) {
		return reportOf(b.Same(ctx, o, p))
	}}, nil
}

func restoreDeed(b *book, r *http.Request, read *reading) (deed, error) {
	x, err := siteOf(r, read, "site")
	if err != nil {
		return deed{}, err
	}
	into := strings.TrimSpace(r.PostFormValue("into"))
	if !filepath.IsAbs(into) {
		return deed{}, fmt.Errorf("%w: write the whole path of the folder to restore into", errAsked)
	}
	o := daemon.RestoreOptions{Site: x.Object, Into: into, Year: strings.TrimSpace(r.PostFormValue("year"))}
	line := []string{"restore", x.asked(), "--into", o.Into}
	if o.Year != "" {
		if _, err := time.Parse("2006", o.Year); err != nil {
			return deed{}, fmt.Errorf("%w: a year has four digits", errAsked)
		}
		line = append(line, "--year", o.Year)
	}
	return deed{"Restore", line, func(ctx context.Context, p daemon.Progress) (daemon.Report, error) {
		return reportOf(b.Restore(ctx, o, p))
	}}, nil
}

// jobView is one work.
type jobView struct {
	frame
	jobs.Row
}

func (s *Server) job(w http.ResponseWriter, r *http.Request, b *book) error {
	x := b.jobs.Find(r.PathValue("job"))
	if x == nil {
		return errNothing
	}
	row, _ := x.Row()
	return show(w, "job", http.StatusOK, jobView{s.frame(b, "work", row.What), row})
}

func (s *Server) stop(w http.ResponseWriter, r *http.Request, b *book) error {
	x := b.jobs.Find(r.PathValue("job"))
	if x == nil {
		return errNothing
	}
	x.Stop()
	http.Redirect(w, r, s.frame(b, "", "").Base+"/jobs/"+x.ID, http.StatusSeeOther)
	return nil
}

// between is how often those who look on are told at most.
const between = 200 * time.Millisecond

// events tells how far the work under way has come, as server-sent events.
func (s *Server) events(w http.ResponseWriter, r *http.Request, b *book) error {
	if round := r.FormValue("round"); round != "" {
		return s.elsewhere(w, r, b, round)
	}
	x := b.jobs.Find(r.FormValue("job"))
	if x == nil {
		return errNothing
	}
	w.Header().Set("Content-Type", "text/event-stream")
	out := http.NewResponseController(w)
	for {
		row, moved := x.Row()
		text, err := json.Marshal(row)
		if err != nil {
			return err
		}
		if _, err := fmt.Fprintf(w, "data: %s\n\n", text); err != nil {
			return nil
		}
		if out.Flush() != nil || !row.Under {
			return nil
		}
		select {
		case <-moved:
		case <-r.Context().Done():
			return nil
		case <-s.life.Done():
			return nil
		}
		select {
		case <-time.After(between):
		case <-r.Context().Done():
			return nil
		}
	}
}
