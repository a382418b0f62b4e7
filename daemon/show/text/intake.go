package text

import (
	"fmt"
	"io"
	"slices"
	"strconv"

	"linecamp/daemon/intake"
	"linecamp/daemon/show/screen"
	"linecamp/manifest/tally"
	"linecamp/manifest/words"
)

// Print writes the plan, or what came of it, for a person.
func plan(w io.Writer, p *intake.Plan) {
	if p.Known.Files > 0 {
		fmt.Fprintf(w, "The archive already has %s of the card, byte for byte.\n", words.Count(p.Known.Files, "file"))
	}
	if len(p.Visits) == 0 {
		fmt.Fprintf(w, "No new photo is on %s.\n", shown(p.Card))
	}
	for _, v := range p.Visits {
		planVisit(w, &v)
	}
	for _, v := range p.Visits {
		if v.Site == "" && v.By != intake.ByFolders && v.Reason != intake.NotAsked {
			n := strconv.Itoa(v.Number)
			fmt.Fprintf(w, "\nTo file visit %s, name its site: %s\n", n, screen.LineOf(w).Run("intake", shown(p.Card), "--visit", n, "--site", "NAME"))
			break
		}
	}
	if n, bytes := p.Count(intake.Filed); n > 0 {
		fmt.Fprintf(w, "\nFiled %s, %s; each was read back. The card is as it was.\nTo bring them to the copies, wait a minute, then: %s\n", words.Count(n, "file"), words.Size(bytes), screen.LineOf(w).Run("mirror"))
	}
	if n, _ := p.Count(intake.Failed); n > 0 {
		fmt.Fprintf(w, "\n%s could NOT be filed, see above. Nothing half-copied is left. Run the same command again; it carries on with what is missing.\n", words.Count(n, "file"))
	}
	cardList(w, "\nCould not be read, so nothing is known of them:", p.Unread)
	cardList(w, "\nStays on the card:", slices.Concat(p.Left, p.Passed))
	if n, bytes := p.Count(intake.Planned); n > 0 && !p.Filed {
		fmt.Fprintf(w, "\nNothing is filed yet. To file %s (%s), run the command again with --yes.\n", words.Count(n, "file"), words.Size(bytes))
	}
	caution(w)
}

func planVisit(w io.Writer, v *intake.Visit) {
	date := v.Date
	if date == "" {
		date = "no date"
	}
	fmt.Fprintf(w, "\n%d  %s  %s", v.Number, shown(date), shown(v.Where()))
	switch {
	case v.By == intake.ByPosition && v.Meters != nil:
		fmt.Fprintf(w, "  (%s from it, by position)", v.Distance())
	case v.By == intake.ByTrack && v.Meters != nil:
		fmt.Fprintf(w, "  (%s from it, by the track)", v.Distance())
	case v.By == intake.ByOrder:
		fmt.Fprint(w, "  (by the order of other years; please look)")
	case v.By == intake.ByFolders:
		fmt.Fprint(w, "  (by the folders it lies in)")
	case v.By == intake.ByPerson && v.Meters != nil:
		fmt.Fprintf(w, "  (as told; taken %s from it)", v.Distance())
	case v.By == intake.ByPerson:
		fmt.Fprint(w, "  (as told)")
	}
	fmt.Fprintln(w)
	if v.Reason != "" {
		fmt.Fprintf(w, "   stays on the card: %s\n", shown(v.ReasonText()))
	}
	for _, f := range v.Files {
		planFile(w, &f)
	}
}

func planFile(w io.Writer, f *intake.File) {
	fmt.Fprintf(w, "   %s", shown(f.From))
	if len(f.Taken) >= 16 {
		fmt.Fprintf(w, "  %s", shown(f.Taken[11:16]))
	}
	if f.View == tally.Untold {
		fmt.Fprint(w, "  view not known")
	} else if f.View != "" {
		fmt.Fprintf(w, "  %s, %s", shown(f.View), intake.ViewWords[f.ViewBy])
	}
	fmt.Fprintln(w)
	switch f.State {
	case intake.Planned:
		fmt.Fprintf(w, "      to %s\n", shown(f.To))
	case intake.Filed:
		fmt.Fprintf(w, "      filed as %s\n", shown(f.To))
	case intake.Failed:
		fmt.Fprintf(w, "      NOT FILED: %s\n", shown(f.Reason))
	default:
		if f.Reason != "" {
			fmt.Fprintf(w, "      %s\n", shown(f.Reason))
		}
	}
}

// mostOnCard is how many files are listed one by one.
const mostOnCard = 15

func cardList(w io.Writer, title string, all []intake.Left) {
	if len(all) == 0 {
		return
	}
	fmt.Fprintln(w, title)
	for i, l := range all {
		if i == mostOnCard {
			fmt.Fprintf(w, "  … and %d more; --json lists all\n", len(all)-mostOnCard)
			break
		}
		fmt.Fprintf(w, "  %s  %s\n", shown(l.Path), shown(l.Reason))
	}
}
