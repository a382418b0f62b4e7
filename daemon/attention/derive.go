package attention

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"linecamp/manifest"
	"linecamp/manifest/words"
	"linecamp/verify"
)

// Of derives what wants a person, most urgent first.
func Of(f Facts) []Item {
	d := deriver{Facts: f, items: []Item{}}
	d.folder()
	d.neverHere()
	d.waits()
	d.copies()
	d.returned()
	d.found()
	d.rounds()
	d.notices()
	d.drills()
	if !d.SheetOld.IsZero() {
		d.add(Item{Kind: SheetOld, What: fmt.Sprintf("The recovery sheet printed on %s no longer fits: a copy, its place or a key is another now.", d.SheetOld.Local().Format("January 2, 2006")),
			Next: "draw a new one with `linecamp paper recovery FILE.pdf`, print it, and put it in the place of the old one"})
	}
	return d.items
}

type deriver struct {
	Facts
	items []Item
}

// add takes an item in. Since when it is so is the earliest of what the facts
// say and what was noted at earlier looks; what nobody knows began now.
func (d *deriver) add(i Item) {
	if noted, ok := d.Noted[i.Key()]; ok && (i.Since.IsZero() || noted.Before(i.Since)) {
		i.Since = noted
	}
	if i.Since.IsZero() || i.Since.After(d.Now) {
		i.Since = d.Now
	}
	i.Since = i.Since.UTC().Truncate(time.Second)
	d.items = append(d.items, i)
}

func (d *deriver) folder() {
	if d.Folder == "" {
		d.client()
		return
	}
	if d.HalfBack {
		d.add(Item{Kind: NotBrought, What: "Bringing this archive back to this computer did not come to its end.",
			Next: "run the same `linecamp new-machine` command again; it carries on"})
	}
	if d.FolderFault != "" {
		d.add(Item{Kind: FolderGone, What: words.Sentence(d.FolderFault),
			Next: "connect the drive it is on, or correct `folder` in the settings; until then nothing new is recorded"})
	}
	if d.Empty && d.Recorded > 0 {
		d.add(Item{Kind: FolderEmpty, What: fmt.Sprintf("Your folder %s shows no file at all, and held some when it was recorded.", manifest.Printable(d.Folder)),
			Next: fmt.Sprintf("see whether the right drive is connected; if it is, bring the files back with `linecamp restore --everything --into %s`", words.Quote(d.Folder))})
	}
	if d.SameName {
		d.add(Item{Kind: OtherRecorder, What: fmt.Sprintf("Another state folder records this archive. Its computer is also called %s. What is new in your folder is not kept from here.", manifest.Printable(d.Recorder)),
			Next: "if that state folder is lost, or this computer was put back to an earlier day, run `linecamp setup --take-over`; if it is still in use, file what is new here over there: " + d.intakeThere()})
	} else if d.Recorder != "" {
		d.add(Item{Kind: OtherRecorder, What: fmt.Sprintf("Another computer records this archive: %s. What is new in your folder here is not kept.", manifest.Printable(d.Recorder)),
			Next: "if it is to go on recording, file what is new here over there: " + d.intakeThere() + "; to record here from now on, run `linecamp setup --take-over`"})
	}
	lack := d.Late
	if !d.coming() {
		lack = lack.Plus(d.New)
	}
	i := Item{Files: lack.Files, Bytes: lack.Bytes, Path: d.Path, Since: d.Oldest, Next: d.recording()}
	switch {
	case d.FolderFault != "" || d.HalfBack && d.Recorded == 0:
		return
	case d.Recorded == 0 && (lack.Files > 0 || !d.mirrored()):
		i.Kind, i.What = NothingKept, "Nothing of this archive is known to be kept: no mirror round has recorded anything here."
		if lack.Files > 0 {
			i.What = fmt.Sprintf("Nothing of this archive is known to be kept: no mirror round has recorded anything here, and %s in your folder.", there(lack))
		}
	case lack.Files > 0:
		i.Kind, i.What = NotRecorded, fmt.Sprintf("%s in your folder %s not recorded yet, the first of them %s.", lack, are(lack.Files), manifest.Printable(d.Path))
	default:
		return
	}
	if i.Kind == NotRecorded && d.waiting() >= lack.Files {
		return // each is told with the reason why it waits
	}
	d.add(i)
}

// client tells of an archive that is only kept here, and of which nothing new came
// for longer than its keepers allow.
func (d *deriver) client() {
	still := d.Now.Sub(d.Wrote)
	if d.Quiet == 0 || d.Wrote.IsZero() || still <= d.Quiet {
		return
	}
	d.add(Item{Kind: ClientQuiet, Since: d.Wrote.Add(d.Quiet),
		What: fmt.Sprintf("The computer that records this archive has written nothing for %s.", words.Days(still)),
		Next: "ask there whether linecamp still runs and reaches the copies; if there was nothing to record, allow a longer time as `quiet` in the settings"})
}

// notices tells whether anybody hears of all this.
func (d *deriver) notices() {
	if d.NoticeFault != "" {
		d.add(Item{Kind: NoticeFault, What: "The settings of notices hold a mistake: " + words.Sentence(d.NoticeFault),
			Next: "correct it, then try it: `linecamp notice --try`"})
	}
	if d.Unsent != "" {
		d.add(Item{Kind: NoticeUnsent, Since: d.UnsentSince, What: "A notice cannot be sent: " + words.Sentence(d.Unsent),
			Next: "see to that, then try it: `linecamp notice --try`"})
	}
}

// neverHere tells of what a copy brought, or another computer recorded, and this
// folder never had.
func (d *deriver) neverHere() {
	if len(d.NotHere) == 0 || d.FolderFault != "" || d.Empty {
		return
	}
	i := Item{Kind: NeverHere, Path: d.NotHere[0].Path}
	var all Amount
	var of []string
	for _, n := range d.NotHere {
		all = all.Plus(n.Amount)
		if len(n.Years) > 0 {
			of = append(of, fmt.Sprintf("%s in %s", manifest.Printable(n.Site), words.Runs(n.Years)))
		} else {
			of = append(of, manifest.Printable(n.Site))
		}
	}
	if more := len(of) - 3; more > 1 {
		of = append(of[:3], fmt.Sprintf("%d more", more))
	}
	which := "--everything"
	if len(d.NotHere) == 1 && d.NotHere[0].Asked != "" {
		which = words.Quote(d.NotHere[0].Asked)
	}
	i.Files, i.Bytes = all.Files, all.Bytes
	i.What = fmt.Sprintf("%s %s recoverable: on record, and never in your folder. Of %s.", all, are(all.Files), strings.Join(of, "; "))
	i.Next = fmt.Sprintf("to bring them here, run `linecamp restore %s --on %s --into %s`", which, d.Now.Local().Format(time.DateOnly), words.Quote(d.Folder))
	d.add(i)
}

// waiting is how many files of the working folder the last round left waiting
// for a person, each told with its reason.
func (d *deriver) waiting() (n int) {
	for _, w := range d.Waits {
		n += w.Shown
	}
	return n
}

// coming reports whether a mirror round is sure to come in time.
func (d *deriver) coming() bool {
	return d.Served && slices.ContainsFunc(d.Rounds, func(r Round) bool { return r.Kind == "mirror" && r.Scheduled && r.Overdue.IsZero() })
}

// mirrored reports whether a mirror round has come to an end here.
func (d *deriver) mirrored() bool {
	return slices.ContainsFunc(d.Rounds, func(r Round) bool { return r.Kind == "mirror" && !r.Done.IsZero() })
}

// recording is the step to have what is new recorded.
func (d *deriver) recording() string {
	if len(d.Waits) > 0 || d.Recorder != "" {
		return "see to what holds it up, then run `linecamp mirror`"
	}
	return "run `linecamp mirror`"
}

// intakeThere is what a person runs on the computer that records, for a folder like this.
func (d *deriver) intakeThere() string {
	return "`linecamp intake FOLDER` with this folder, on a drive that both can read"
}

func (d *deriver) waits() {
	for _, w := range d.Waits {
		switch {
		case w.Kind == OtherRecorder && d.Recorder != "":
			continue // it is told already
		case w.Kind == FolderEmpty && (d.Empty || d.FolderFault == ""), w.Kind == FolderGone:
			continue // the folder itself says better
		}
		why, next, _ := strings.Cut(w.Reason, "; ")
		what := words.Sentence(why)
		switch {
		case w.Files > 1:
			what = fmt.Sprintf("%d files wait to be recorded: %s.", w.Files, why)
		case w.Files == 1:
			what = fmt.Sprintf("%s waits to be recorded: %s.", manifest.Printable(w.Path), why)
		}
		d.add(Item{Kind: w.Kind, What: what, Next: cmp.Or(next, "once that is put right, run `linecamp mirror`"), Files: w.Files, Path: w.Path, Since: w.Since})
	}
}

func (d *deriver) copies() {
	whole := slices.ContainsFunc(d.Copies, func(c Copy) bool { return c.State == current && c.Short == "" })
	for _, c := range d.Copies {
		i := Item{Copy: c.Name, ID: c.ID, Files: c.ToGo.Files, Bytes: c.ToGo.Bytes, Since: c.Since}
		name := manifest.Printable(c.Name)
		lacks := ""
		if c.ToGo.Files > 0 {
			lacks = fmt.Sprintf(" It lacks %s.", c.ToGo)
		}
		if c.Short != "" {
			d.add(Item{Kind: CopyShort, Copy: c.Name, ID: c.ID, What: fmt.Sprintf("%s is %s.", name, c.Short),
				Next: "to keep them on two copies, add one that can hold them: `linecamp setup --add-copy --drive NAME=FOLDER`"})
		}
		switch c.State {
		case current:
			continue
		case behind:
			if c.Error == "" && (c.Moving || c.Slow && c.Stuck.IsZero() || d.Recorded == 0) || c.Short != "" && c.Error == c.Short && c.ToGo.Files == 0 {
				continue
			}
			i.Kind, i.Next = CopyBehind, "run `linecamp mirror`"
			i.What = fmt.Sprintf("%s does not have everything.%s%s", name, lacks, because(c.Error))
			if c.Unmet && c.Error == "" {
				i.What = fmt.Sprintf("No mirror round here has looked at %s yet, so nobody knows what it lacks.", name)
			}
			if !c.Stuck.IsZero() {
				i.What += fmt.Sprintf(" Nothing came to it since %s.", c.Stuck.Local().Format("January 2, 2006"))
				i.Next = "see in the settings whether the `hours`, `rate` and `allowance` of its link leave enough for one file, and whether this computer runs in those hours"
			}
			if c.Slower {
				i.What += " With what its link is allowed, that takes more than a year."
				i.Next = "allow more in the settings, as `hours`, `rate` or `allowance`, or fill a copy elsewhere first"
			}
		case away:
			if whole || c.ToGo.Files == 0 && !c.Unmet {
				continue
			}
			i.Kind, i.Next = CopyAway, "plug it in, then run `linecamp mirror`"
			i.What = fmt.Sprintf("%s is unplugged, and no other copy has everything.%s", name, lacks)
		case unreachable:
			i.Kind, i.Next = CopyUnreachable, "bring it within reach, then run `linecamp mirror`"
			i.What = fmt.Sprintf("%s is out of reach.%s%s", name, lacks, because(c.Error))
		default:
			i.Kind, i.Next = CopyFailed, "see to that, then run `linecamp mirror`"
			i.What = fmt.Sprintf("linecamp cannot work with %s.%s%s", name, lacks, because(c.Error))
		}
		d.add(i)
	}
}

// returned asks about copies that were given up. They are never used unasked.
func (d *deriver) returned() {
	for _, r := range d.Returned {
		d.add(Item{Kind: CopyReturned, Copy: r.Name, ID: r.ID, Next: r.Next,
			What: fmt.Sprintf("%s, which was given up on %s, is here again at %s, and is not used.", manifest.Printable(r.Name), r.Day, manifest.Printable(r.At))})
	}
}

// where says on which copies the damage is.
func (d *deriver) where() string {
	var places []string
	for _, name := range d.DamagedOn {
		if name == verify.WorkingName {
			name = "your folder"
		}
		places = append(places, manifest.Printable(name))
	}
	if len(places) == 0 {
		return ""
	}
	return ", on " + strings.Join(places, " and ")
}

func (d *deriver) found() {
	if d.Damaged > 0 {
		d.add(Item{Kind: Damage, Files: d.Damaged, What: fmt.Sprintf("%s%s.", words.Count(d.Damaged, "file is damaged, or was not put there by linecamp", "files are damaged, or were not put there by linecamp"), d.where()),
			Next: "to see what is wrong, run `linecamp verify`; to put right what can be, run `linecamp mend`"})
	}
	var parts []string
	for _, state := range []string{verify.Lost, verify.Recoverable, verify.Skipped, verify.Short} {
		if n := d.Years[state]; n > 0 {
			parts = append(parts, fmt.Sprintf("%d %s", n, state))
		}
	}
	if len(parts) > 0 {
		d.add(Item{Kind: Years, What: fmt.Sprintf("Not every year is whole: %s.", strings.Join(parts, ", ")),
			Next: "to see which, run `linecamp verify --only years`"})
	}
	for _, c := range d.Checks {
		d.check(c)
	}
}

func (d *deriver) check(c Check) {
	i := Item{Kind: c.Kind, Copy: c.Copy, ID: c.ID, Since: c.Since}
	name := manifest.Printable(c.Copy)
	switch c.Kind {
	case SealBroken:
		i.What, i.Next = fmt.Sprintf("%s is not as sealed: %s", name, words.Sentence(c.What)), "compare it with the seal on paper: `linecamp verify --seal 'THE LINE ON PAPER'`"
	case Standard:
		i.What, i.Next = fmt.Sprintf("On %s: %s", name, words.Sentence(c.What)), "to see where, run `linecamp verify`"
	case WentMissing:
		i.What, i.Next = fmt.Sprintf("%s %s", name, c.What), "find out what removes files there, then look at all of it: `linecamp verify`"
	case CheckFailed:
		if c.ID == verify.WorkingName {
			name = "your folder"
			if d.FolderFault != "" {
				return // it is told already
			}
		}
		if slices.ContainsFunc(d.Copies, func(x Copy) bool { return x.ID == c.ID && x.State != current && x.State != behind }) {
			return // it is told already
		}
		i.What, i.Next = fmt.Sprintf("The last check of %s did not come to its end: %s", name, words.Sentence(c.What)), "see to that, then run `linecamp verify`"
	case Findings:
		i.What, i.Next = fmt.Sprintf("The last look at the years found %s.", c.What), "to see what, run `linecamp verify --only years`"
	}
	d.add(i)
}

func (d *deriver) rounds() {
	for _, r := range d.Rounds {
		if r.Failed != "" {
			d.add(Item{Kind: RoundFailed, Round: r.Kind, Since: r.At, What: fmt.Sprintf("The last %s round failed: %s", r.Kind, words.Sentence(r.Failed)),
				Next: fmt.Sprintf("see to that, then run `linecamp %s`", r.Kind)})
		}
		if r.Overdue.IsZero() {
			continue
		}
		last := fmt.Sprintf("No %s round has run here", r.Kind)
		if !r.At.IsZero() {
			last += " since " + words.When(r.At)
		}
		d.add(Item{Kind: RoundOverdue, Round: r.Kind, Since: r.Overdue,
			What: strings.TrimSpace(fmt.Sprintf("%s, longer than the schedule says. %s", last, r.Service)),
			Next: fmt.Sprintf("run `linecamp %s`, and keep the service running", r.Kind)})
	}
}

// String is "1 file (2 MB)".
func (a Amount) String() string {
	return fmt.Sprintf("%s (%s)", words.Count(a.Files, "file", "files"), words.Size(a.Bytes))
}

// because adds a reason behind a sentence.
func because(why string) string {
	if why == "" {
		return ""
	}
	return " " + words.Sentence(why)
}

func there(a Amount) string {
	return fmt.Sprintf("%s %s", a, are(a.Files))
}

func are(n int) string {
	if n == 1 {
		return "is"
	}
	return "are"
}
