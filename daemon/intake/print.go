package intake

import (
	"fmt"
	"io"
	"slices"
	"strconv"

	"linecamp/manifest/tally"
	"linecamp/manifest/words"
	"linecamp/verify"
)

// counts of a plan's files.
func (p *Plan) count(state string) (n int, bytes int64) {
	for _, v := range p.Visits {
		for _, f := range v.Files {
			if f.State == state {
				n++
				bytes += f.Bytes
			}
		}
	}
	return n, bytes
}

// Waiting is how many files would be filed if it were told to.
func (p *Plan) Waiting() int { n, _ := p.count(Planned); return n }

// Wants reports whether something is left for a person: a plan that waits for
// a yes, a picture without a site, a file that could not be read or filed.
func (p *Plan) Wants() bool {
	if len(p.Unread) > 0 {
		return true
	}
	for _, v := range p.Visits {
		for _, f := range v.Files {
			if f.State != Filed {
				return true
			}
		}
	}
	return false
}

// Print writes the plan, or what came of it, for a person.
func (p *Plan) Print(w io.Writer) {
	if p.Known.Files > 0 {
		fmt.Fprintf(w, "%s on the card %s in the archive already, by content.\n", files(p.Known.Files), isAre(p.Known.Files))
	}
	if len(p.Visits) == 0 {
		fmt.Fprintf(w, "No new photo is on %s.\n", verify.Shown(p.Card))
	}
	for _, v := range p.Visits {
		v.print(w)
	}
	if n, bytes := p.count(Filed); n > 0 {
		fmt.Fprintf(w, "\nFiled %s, %s; each was read back. The card is as it was.\nA minute from now, to bring them to the copies: %s\n", files(n), verify.Size(bytes), words.Of(w).Run("mirror"))
	}
	if n, _ := p.count(Failed); n > 0 {
		fmt.Fprintf(w, "\n%s could NOT be filed, see above. Nothing half-copied is left. Run the same command again; it carries on with what is missing.\n", files(n))
	}
	list(w, "\nCould not be read, so nothing is known of them:", p.Unread)
	list(w, "\nStays on the card:", slices.Concat(p.Left, p.Passed))
	if n, bytes := p.count(Planned); n > 0 && !p.Filed {
		fmt.Fprintf(w, "\nNothing is filed yet: %s, %s, would be. To file them, run it again with --yes.\n", files(n), verify.Size(bytes))
	}
}

func (v *Visit) print(w io.Writer) {
	date := v.Date
	if date == "" {
		date = "no date"
	}
	fmt.Fprintf(w, "\n%d  %s  %s", v.Number, verify.Shown(date), verify.Shown(v.where()))
	switch {
	case v.By == ByPosition && v.Metres != nil:
		fmt.Fprintf(w, "  (%s from it, by position)", v.distance())
	case v.By == ByTrack && v.Metres != nil:
		fmt.Fprintf(w, "  (%s from it, by the track)", v.distance())
	case v.By == ByOrder:
		fmt.Fprint(w, "  (by the order of other years; please look)")
	case v.By == ByPerson && v.Metres != nil:
		fmt.Fprintf(w, "  (as told; taken %s from it)", v.distance())
	case v.By == ByPerson:
		fmt.Fprint(w, "  (as told)")
	}
	fmt.Fprintln(w)
	if v.Reason != "" {
		fmt.Fprintf(w, "   stays on the card: %s\n", verify.Shown(v.reason()))
	}
	for _, f := range v.Files {
		f.print(w)
	}
}

// viewWords say what proposed a view.
var viewWords = map[string]string{ByName: "by its name", ByContent: "by the look of it", ByOrder: "by its turn", ByPerson: "as told"}

func (f *File) print(w io.Writer) {
	fmt.Fprintf(w, "   %s", verify.Shown(f.From))
	if len(f.Taken) >= 16 {
		fmt.Fprintf(w, "  %s", verify.Shown(f.Taken[11:16]))
	}
	if f.View == tally.Untold {
		fmt.Fprint(w, "  view unsure")
	} else if f.View != "" {
		fmt.Fprintf(w, "  %s, %s", verify.Shown(f.View), viewWords[f.ViewBy])
	}
	fmt.Fprintln(w)
	switch f.State {
	case Planned:
		fmt.Fprintf(w, "      to %s\n", verify.Shown(f.To))
	case Filed:
		fmt.Fprintf(w, "      filed as %s\n", verify.Shown(f.To))
	case Failed:
		fmt.Fprintf(w, "      NOT FILED: %s\n", verify.Shown(f.Reason))
	default:
		if f.Reason != "" {
			fmt.Fprintf(w, "      %s\n", verify.Shown(f.Reason))
		}
	}
}

// mostListed is how many files are listed one by one.
const mostListed = 15

func list(w io.Writer, title string, all []Left) {
	if len(all) == 0 {
		return
	}
	fmt.Fprintln(w, title)
	for i, l := range all {
		if i == mostListed {
			fmt.Fprintf(w, "  … and %d more; --json lists all\n", len(all)-mostListed)
			break
		}
		fmt.Fprintf(w, "  %s  %s\n", verify.Shown(l.Path), verify.Shown(l.Reason))
	}
}

func files(n int) string {
	if n == 1 {
		return "1 file"
	}
	return strconv.Itoa(n) + " files"
}

func isAre(n int) string {
	if n == 1 {
		return "is"
	}
	return "are"
}

// distance is how far from the site the visit's pictures were taken.
func (v *Visit) distance() string { return v.units.Distance(*v.Metres) }

// reason is why nothing of the visit is filed.
func (v *Visit) reason() string { return v.units.Reword(v.Reason, v.far...) }
