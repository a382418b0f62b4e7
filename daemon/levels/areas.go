package levels

import (
	"fmt"
	"strings"
	"time"
)

// is makes a point that linecamp can answer.
func is(level int, asks string, met bool, evidence, next string) Point {
	p := Point{Level: level, Asks: asks, Answer: NotMet, Evidence: evidence, Next: next}
	if met {
		p.Answer, p.Next = Met, ""
	}
	return p
}

// num is a number of things, as it is said.
func num(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	if base, ok := strings.CutSuffix(what, "y"); ok {
		return fmt.Sprintf("%d %sies", n, base)
	}
	return fmt.Sprintf("%d %ss", n, what)
}

// recorded is what is so as soon as something is recorded, which the evidence says.
func recorded(level int, asks string, f Facts, evidence string) Point {
	if f.Recorded == 0 {
		evidence = "nothing is recorded yet"
	}
	return is(level, asks, f.Recorded > 0, evidence, "record the folder: `linecamp mirror`")
}

// person makes a point that only a person can answer.
func person(level int, asks, who string) Point {
	return Point{Level: level, Asks: asks, Answer: Unknown, Evidence: "not known to linecamp", Next: who}
}

// storage is the grid's first area.
func storage(f Facts) []Point {
	whole, kinds := 1, map[bool]bool{} // the working folder is one
	away, told := 0, 0
	for _, c := range f.Copies {
		kinds[c.Bucket] = true
		if c.Where != "" {
			told++
		}
		if !c.Whole {
			continue
		}
		whole++
		if c.Bucket || c.Where != "" {
			away++
		}
	}
	copies := num(whole, "complete copy") + ", your folder included"
	places := fmt.Sprintf("of %s beside it, %d complete and with a place in the settings or in a bucket", num(len(f.Copies), "copy"), away)
	return []Point{
		is(1, "two complete copies in separate places", whole >= 2 && away >= 1, copies+"; "+places, "keep a complete copy in another place, and say where it is: where = \"…\" in the settings"),
		is(1, "each storage medium is written down", len(f.Copies) > 0, num(len(f.Copies), "copy")+" in the settings, each with its kind and address", "add a copy: `linecamp setup --add-copy --drive NAME=FOLDER`"),
		is(1, "content is taken off cards and phones, into storage that lasts", whole >= 2, "what is recorded is in your folder, and complete on "+num(whole-1, "copy"), "bring a copy up to date: `linecamp mirror`"),
		is(2, "three complete copies, one of them in another geographic place", whole >= 3 && away >= 1, copies+"; "+places, "keep a third complete copy, in a bucket or in another town"),
		is(2, "what each storage needs to work is written down", told == len(f.Copies) && !f.Sheet.IsZero(), fmt.Sprintf("the settings say of %d of %s where it is kept; %s", told, num(len(f.Copies), "copy"), sheet(f)), "say in the settings where each copy is kept, and print the recovery sheet: `linecamp paper recovery FILE.pdf`"),
		person(3, "one copy is exposed to another kind of disaster than the others", "judge whether one fire, flood or storm could reach every copy"),
		is(3, "copies on two kinds of storage", len(kinds) == 2, num(len(kinds), "kind")+" of storage beside your folder", "keep one copy on a drive and one in a bucket"),
		person(3, "the age of storage is watched", "write down when each drive was bought, and when it is to be replaced"),
		person(4, "three copies, each exposed to another kind of disaster", "judge this for each copy"),
		person(4, "no single fault of a maker, a service or a kind of storage could reach every copy", "judge this for each copy"),
		person(4, "a plan for replacing storage is carried out", "agree on who replaces a drive, and when"),
	}
}

func sheet(f Facts) string {
	if f.Sheet.IsZero() {
		return "no recovery sheet that fits is on file as printed"
	}
	return "the recovery sheet printed " + day(f.Sheet) + " fits"
}

// integrity is the second.
func integrity(f Facts) []Point {
	var unread []string
	files, read := 0, 0
	oldest := f.Now
	for _, c := range f.Copies {
		files, read = files+c.Files, read+c.ReadBack
		if c.ReadBack < c.Files || c.Files == 0 {
			unread = append(unread, c.Name)
		} else if c.Oldest.Before(oldest) {
			oldest = c.Oldest
		}
	}
	all := len(f.Copies) > 0 && len(unread) == 0
	back := fmt.Sprintf("%d of %d files on the copies were read back", read, files)
	if len(unread) > 0 {
		back += "; not all of " + strings.Join(unread, ", ")
	}
	const year = 366 * 24 * time.Hour
	return []Point{
		recorded(1, "a digest of every file is made", f, "the SHA-256 of every file of "+num(f.Recorded, "site")+" is recorded"),
		person(1, "content is checked for viruses", "have the office's own program check camera cards"),
		person(1, "digests that come with content are checked when it comes", "where somebody sends digests with photos, check them; cameras write none"),
		recorded(2, "digests are checked whenever files are copied", f, "each file is checked while it is copied, and again on the copy"),
		is(2, "the digests are kept apart from the content as well", len(f.Copies) > 0 && f.Sealed > 0, on(f)+", sealed by "+num(f.Sealed, "line"), mirrored(f)),
		person(2, "original media are protected from being written to", "use the card's own lock while it is read"),
		is(3, "everything is checked at fixed times", all && f.Scheduled && f.Now.Sub(oldest) < year, back+"; "+service(f), "let the service run, and read everything back: `linecamp verify`"),
		is(3, "checks and their outcome are on file", !f.LastVerify.IsZero(), "the last check of everything: "+day(f.LastVerify)+"; "+drills(f), "check everything once: `linecamp verify`"),
		is(3, "the digests can be audited at any time", !f.LastVerify.IsZero(), "`linecamp verify` does so; the last time: "+day(f.LastVerify), "check everything once: `linecamp verify`"),
		is(4, "damaged content is replaced", f.Damaged == 0 && !f.LastVerify.IsZero(), num(f.Damaged, "damaged file")+" on record; the last check of everything: "+day(f.LastVerify), "put good bytes in their place: `linecamp mend`"),
		recorded(4, "files are checked when something happens to them", f, "what is restored, mended or filed from a card is read back"),
	}
}

// drills says how many copies a recovery was practiced from.
func drills(f Facts) string {
	passed, last := 0, time.Time{}
	for _, c := range f.Copies {
		if !c.Drilled.IsZero() {
			passed++
		}
		if c.Drilled.After(last) {
			last = c.Drilled
		}
	}
	if passed == 0 {
		return "no practice recovery has passed yet"
	}
	return fmt.Sprintf("a practice recovery passed from %d of %s, the last %s", passed, num(len(f.Copies), "copy"), day(last))
}

func service(f Facts) string {
	if f.Scheduled {
		return "a service runs the checks"
	}
	return "no service runs the checks"
}

// on says where the inventories are, beside the content.
func on(f Facts) string {
	switch {
	case f.Recorded == 0:
		return "nothing is recorded yet"
	case len(f.Copies) == 1:
		return "they are on the one copy"
	}
	return "they are on each of " + num(len(f.Copies), "copy")
}

// mirrored is what brings the inventories onto a copy.
func mirrored(f Facts) string {
	if len(f.Copies) == 0 {
		return "add a copy: `linecamp setup --add-copy --drive NAME=FOLDER`"
	}
	return "record the folder: `linecamp mirror`"
}

// control is the third: who may do what. It is all in the office's hands.
func control(Facts) []Point {
	return []Point{
		person(1, "it is settled who may read, write, move and delete", "agree on it, for the folder, the drives and the bucket's key"),
		person(2, "that is written down and put in force", "write it down, and give the bucket a key that may not delete"),
		person(3, "who did what to the content is logged", "linecamp logs its own work; keep that of the server as well"),
		person(4, "the logs are reviewed from time to time", "agree on who looks at them"),
	}
}

// metadata is the fourth.
func metadata(f Facts) []Point {
	return []Point{
		recorded(1, "an inventory of the content and of where it is stored", f, "the inventory of "+num(f.Recorded, "site")+", with every file and where it lies"),
		is(1, "the inventory is kept apart from the content as well", f.Recorded > 0 && len(f.Copies) > 0, on(f), mirrored(f)),
		recorded(2, "enough is recorded to know what the content is", f, "site, pasture, date, view and kind of each file are recorded"),
		person(3, "standards for metadata are chosen, and gaps are filled", "choose them, and fill what `linecamp tally` shows as missing"),
		person(4, "the standards chosen are used", "do so for what is missing"),
		is(4, "what is done to the content, and when, is recorded", f.Sealed > 0, num(f.Sealed, "line")+" of the seal, and a dated version for each change", "record the folder: `linecamp mirror`"),
	}
}

// content is the fifth.
func content(f Facts) []Point {
	decoded := "the photos were never decoded in full"
	if !f.Deep.IsZero() {
		decoded = "the photos were last decoded in full " + day(f.Deep)
	}
	return []Point{
		recorded(1, "the formats of files are on record", f, "the kind of each file is recorded with it"),
		is(2, "the formats are checked", !f.Deep.IsZero(), decoded, "decode every photo once: `linecamp verify --only years --deep`"),
		person(2, "whoever makes the content is asked to use lasting formats", "ask photographers for JPEG or PNG beside raw and HEIC files"),
		person(3, "formats that go out of use are watched for", "agree on who looks at this, and how often"),
		person(4, "content is carried over to formats that can be read", "do so when a format goes out of use, and keep the original"),
	}
}

// day says when something was.
func day(t time.Time) string {
	if t.IsZero() {
		return "never"
	}
	return "on " + t.Local().Format("January 2, 2006")
}
