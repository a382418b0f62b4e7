// Package text says in plain American English what linecamp's reports hold. Call
// [Print] with any report of a command.
//
// A report is plain data; every word that a person reads of it on a screen stands
// here, one file for each report. What the sentences have in common (counts, sizes,
// command lines) comes from manifest/words. A page or a sheet of paper shows the
// same reports in its own room beside this one.
package text

import (
	"fmt"
	"io"
	"strings"

	"linecamp/daemon"
	"linecamp/daemon/autostart"
	"linecamp/daemon/handover"
	"linecamp/daemon/intake"
	"linecamp/daemon/intake/maywipe"
	"linecamp/daemon/levels"
	"linecamp/daemon/many"
	"linecamp/daemon/mirror/report"
	"linecamp/daemon/newmachine"
	"linecamp/daemon/notice/desk"
	"linecamp/daemon/setup"
	"linecamp/daemon/show/screen"
	"linecamp/daemon/show/text/drilled"
	"linecamp/daemon/show/text/letter"
	"linecamp/daemon/show/text/leveled"
	"linecamp/daemon/show/text/recovered"
	"linecamp/daemon/show/text/standard"
	"linecamp/manifest"
	"linecamp/manifest/tally"
	"linecamp/manifest/words"
	"linecamp/verify"
	"linecamp/verify/bag"
	"linecamp/verify/ocfl"
	"linecamp/verify/restore"
)

// Print writes a report for a person. What its command lines need is taken from w,
// where screen.Writer put it.
func Print(w io.Writer, rep any) {
	switch r := rep.(type) {
	case verify.Report:
		verified(w, r)
		cautioned(w, r)
	case verify.DueReport:
		due(w, r)
	case verify.History:
		history(w, r)
	case restore.Report:
		restored(w, r)
	case bag.Report:
		standard.Bag(w, r)
	case ocfl.Report:
		standard.Root(w, r)
	case Titled:
		fmt.Fprintf(w, "Archive %s\n\n", r.Name)
		Print(w, r.Report)
		fmt.Fprintln(w)
	case []Titled:
		roll(w, r)
	case many.Machine:
		machine(w, r)
	case daemon.MirrorReport:
		mirrored(w, r.Report)
		attentions(w, r.List.Without(r.Tells))
	case report.Report:
		mirrored(w, r)
	case daemon.VerifyReport:
		verified(w, r.Report)
		attentions(w, r.List.Without(r.Tells))
		cautioned(w, r.Report)
	case daemon.MendReport:
		mended(w, r)
	case daemon.DrillReport:
		drilled.Print(w, r)
	case daemon.Status:
		status(w, r)
	case daemon.TallyReport:
		tallied(w, r)
	case daemon.SealReport:
		sealed(w, r)
	case daemon.ExplainReport:
		explained(w, r)
	case daemon.SameReport:
		same(w, r)
	case daemon.PaperReport:
		onPaper(w, r)
	case levels.Report:
		leveled.Print(w, r)
	case handover.Report:
		handedOver(w, r)
	case newmachine.Report:
		recovered.Back(w, r)
	case setup.Report:
		setUp(w, r)
	case setup.Removal:
		removal(w, r)
	case *intake.Plan:
		plan(w, r)
	case autostart.Report:
		starts(w, r)
	case desk.TryReport:
		letter.Tried(w, r)
	case *maywipe.Answer:
		wipe(w, r)
	case interface{ Print(io.Writer) }: // the program's own, such as its version
		r.Print(w)
	default:
		panic(fmt.Sprintf("no words for a %T", rep))
	}
}

// Titled is the report of one of several archives, with its name above it.
type Titled struct {
	Name string
	daemon.Report
}

// copyName is a copy by its name, and the working folder by what people call it.
func copyName(name string) string {
	if name == verify.WorkingName {
		return "your folder"
	}
	return shown(name)
}

// viewName is a view as people call it.
func viewName(view string) string {
	if view == tally.Untold {
		return "view not known"
	}
	return shown(view)
}

// caution ends a report that may send somebody out to a stake.
func caution(w io.Writer) {
	if !screen.LineOf(w).IsCautioned {
		fmt.Fprintf(w, "\n%s\n", strings.ReplaceAll(words.FieldCaution, ". ", ".\n"))
	}
}

// shown is a text from outside, fit for a screen.
func shown(s string) string { return manifest.Printable(s) }
