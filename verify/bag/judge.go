package bag

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"maps"
	"os"
	"path"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"golang.org/x/text/unicode/norm"

	"linecamp/manifest/store/fault"
	"linecamp/manifest/within"
)

// Report says of a bag whether it is complete and whether it is valid
// (RFC 8493 section 3), and names every fault.
type Report struct {
	Bag      string  `json:"bag"`
	Complete bool    `json:"complete"`
	Valid    bool    `json:"valid"`
	Files    int     `json:"files"` // payload files that are there
	Bytes    int64   `json:"bytes"`
	Errors   []Fault `json:"errors"`
	// Unchecked are lists whose algorithm this program cannot compute. A bag
	// that has another list that it can is judged by that one.
	Unchecked []string `json:"unchecked,omitempty"`
	// Advice are things the standard only recommends.
	Advice []Fault `json:"advice,omitempty"`
}

// Fault is one rule that a bag breaks.
type Fault struct {
	Rule   string `json:"rule"`           // section of RFC 8493, such as "2.1.3"
	Path   string `json:"path,omitempty"` // in the bag, slash-separated
	Detail string `json:"detail"`
}

// ErrNoFolder marks a place that is no folder, so that nothing can be judged.
var ErrNoFolder = errors.New("is not a folder")

// Wants reports whether a person should look: the bag is not valid.
func (r Report) Wants() bool { return !r.Valid }

// maxTagFile bounds what is read of bagit.txt and bag-info.txt.
const maxTagFile = 16 << 20

// Judge reads a bag, every byte of it, and holds it against RFC 8493. A fault of
// the bag is in the report. The error is for a folder that cannot be looked at,
// and for a judgment that was stopped.
func Judge(ctx context.Context, folder string, progress func(done, total int64)) (Report, error) {
	rep := Report{Bag: folder, Errors: []Fault{}}
	if st, err := os.Stat(folder); errors.Is(err, fs.ErrNotExist) {
		return rep, fault.Say(err, "there is no folder %s", folder)
	} else if err != nil {
		return rep, fmt.Errorf("the bag %s: %w", folder, err)
	} else if !st.IsDir() {
		return rep, fmt.Errorf("the bag %s %w", folder, ErrNoFolder)
	}
	root, err := os.OpenRoot(folder)
	if err != nil {
		return rep, fmt.Errorf("the bag %s: %w", folder, err)
	}
	defer root.Close()
	j := &judge{root: root, rep: &rep, progress: progress, there: map[string]int64{}}
	if err := j.run(ctx); err != nil {
		return rep, err
	}
	rep.Complete = !j.incomplete
	rep.Valid = rep.Complete && !j.altered
	return rep, nil
}

type judge struct {
	root     *os.Root
	rep      *Report
	progress func(done, total int64)

	there               map[string]int64 // each regular file and its size
	payload, tags       []list
	incomplete, altered bool
	total, done         int64
}

// list is one manifest, read.
type list struct {
	name, algorithm string
	entries         map[string]string // path to digest
}

// fault notes what makes the bag incomplete.
func (j *judge) fault(rule, path, detail string, a ...any) {
	j.incomplete = true
	j.rep.Errors = append(j.rep.Errors, Fault{rule, path, fmt.Sprintf(detail, a...)})
}

func (j *judge) advise(rule, path, detail string, a ...any) {
	j.rep.Advice = append(j.rep.Advice, Fault{rule, path, fmt.Sprintf(detail, a...)})
}

func (j *judge) run(ctx context.Context) error {
	if err := j.look(ctx); err != nil {
		return err
	}
	j.declaration()
	if st, err := j.root.Lstat(payloadFolder); err != nil || !st.IsDir() {
		j.fault("2.1.2", payloadFolder, "is not there, or is no folder")
	}
	j.lists()
	j.fetch()
	j.compareLists()
	j.info()
	return j.digest(ctx)
}

// look finds every file. A link or a device is no file of a bag: what it leads
// to may be anywhere.
func (j *judge) look(ctx context.Context) error {
	return fs.WalkDir(j.root.FS(), ".", func(p string, d fs.DirEntry, err error) error {
		if ctx.Err() != nil {
			return context.Cause(ctx)
		}
		switch {
		case err != nil:
			j.fault("3", p, "cannot be read: %v", err)
			return nil
		case d.IsDir():
			return nil
		case !d.Type().IsRegular():
			j.fault("3", p, "is a link or a device, not a file")
			return nil
		}
		st, err := d.Info()
		if err != nil {
			j.fault("3", p, "cannot be read: %v", err)
			return nil
		}
		j.there[p] = st.Size()
		j.total += st.Size()
		if within.Below(p, payloadFolder) {
			j.rep.Files++
			j.rep.Bytes += st.Size()
		}
		return nil
	})
}

// mark is a byte-order mark in UTF-8, which no text tag file may begin with (section 2.3).
const mark = "\uFEFF"

// marked notes a text tag file that begins with a byte-order mark.
func (j *judge) marked(name, text string) string {
	rest, is := strings.CutPrefix(text, mark)
	if is {
		j.fault("2.3", name, "begins with a byte-order mark")
	}
	return rest
}

var version = regexp.MustCompile(`^BagIt-Version: [0-9]+\.[0-9]+$`)

// declaration judges bagit.txt (section 2.1.1): two lines, in this order.
func (j *judge) declaration() {
	text, ok := j.text(declarationName, "2.1.1")
	if !ok {
		return
	}
	if strings.HasPrefix(text, mark) {
		j.fault("2.1.1", declarationName, "begins with a byte-order mark")
		text = strings.TrimPrefix(text, mark)
	}
	text = strings.NewReplacer("\r\n", "\n", "\r", "\n").Replace(text)
	got := strings.Split(strings.TrimSuffix(text, "\n"), "\n") // an empty line is one, too
	if len(got) != 2 {
		j.fault("2.1.1", declarationName, "has %d lines instead of two", len(got))
		return
	}
	if !version.MatchString(got[0]) {
		j.fault("2.1.1", declarationName, "its first line is not \"BagIt-Version: \" and a version")
	} else if got[0] != "BagIt-Version: 1.0" {
		j.fault("2.1.1", declarationName, "says %q; this program judges version 1.0", got[0])
	}
	switch encoding, ok := strings.CutPrefix(got[1], "Tag-File-Character-Encoding: "); {
	case !ok:
		j.fault("2.1.1", declarationName, "its second line does not name the encoding of the tag files")
	case !strings.EqualFold(encoding, "UTF-8") && !strings.EqualFold(encoding, "US-ASCII"):
		j.fault("2.1.1", declarationName, "names the encoding %q; this program reads UTF-8", encoding)
	}
}

// text reads a small tag file that has to be there.
func (j *judge) text(name, rule string) (string, bool) {
	size, ok := j.there[name]
	if !ok {
		j.fault(rule, name, "is not there")
		return "", false
	}
	if size > maxTagFile {
		j.fault(rule, name, "is larger than %d bytes", maxTagFile)
		return "", false
	}
	b, err := j.root.ReadFile(name)
	if err != nil {
		j.fault(rule, name, "cannot be read: %v", err)
		return "", false
	}
	return string(b), true
}

var listName = regexp.MustCompile(`^(tag)?manifest-([a-z0-9]+)\.txt$`)

// lists reads the payload and tag manifests (sections 2.1.3 and 2.2.1).
func (j *judge) lists() {
	for _, name := range slices.Sorted(maps.Keys(j.there)) {
		m := listName.FindStringSubmatch(name)
		if m == nil {
			continue
		}
		isTag, algorithm := m[1] != "", m[2]
		if algorithms[algorithm] == nil {
			j.rep.Unchecked = append(j.rep.Unchecked, name)
			continue
		}
		l := list{name, algorithm, map[string]string{}}
		j.readList(l, isTag)
		if isTag {
			j.tags = append(j.tags, l)
		} else {
			j.payload = append(j.payload, l)
		}
	}
	if len(j.payload) == 0 {
		j.fault("2.1.3", "", "the bag has no payload manifest that this program can check, such as manifest-sha256.txt")
	}
	if !slices.ContainsFunc(j.payload, func(l list) bool { return !weak[l.algorithm] }) && len(j.payload) > 0 {
		j.advise("2.4", j.payload[0].name, "is the bag's only payload manifest; its digests show damage, and not what somebody changed on purpose")
	}
	for _, l := range j.tags {
		if !slices.ContainsFunc(j.payload, func(p list) bool { return p.algorithm == l.algorithm }) {
			j.advise("2.2.1", l.name, "has an algorithm that no payload manifest has")
		}
	}
}

func (j *judge) readList(l list, isTag bool) {
	rule := "2.1.3"
	if isTag {
		rule = "2.2.1"
	}
	f, err := j.root.Open(l.name)
	if err != nil {
		j.fault(rule, l.name, "cannot be read: %v", err)
		return
	}
	defer f.Close()
	starred := false
	err = lines(f, func(n int, line string) {
		if n == 1 {
			line = j.marked(l.name, line)
		}
		e, err := parseEntry(line, algorithms[l.algorithm]().Size())
		if err != nil {
			j.fault(rule, l.name, "line %d %v", n, err)
			return
		}
		if why := pathFault(e.path); why != "" {
			j.fault("5.1", l.name, "line %d: the path %q %s", n, e.path, why)
			return
		}
		starred = starred || e.starred
		switch inData := within.Below(e.path, payloadFolder); {
		case !isTag && !inData:
			j.fault(rule, l.name, "line %d names %q, which is not in data/", n, e.path)
			return
		case isTag && inData:
			j.fault(rule, l.name, "line %d names the payload file %q", n, e.path)
			return
		case isTag && strings.HasPrefix(e.path, "tagmanifest-"):
			j.fault(rule, l.name, "line %d names the tag manifest %q", n, e.path)
			return
		}
		if _, twice := l.entries[e.path]; twice {
			j.fault(rule, l.name, "line %d names %q a second time", n, e.path)
			return
		}
		l.entries[e.path] = e.digest
	})
	if err != nil {
		j.fault(rule, l.name, "%v", err)
	}
	if starred {
		j.advise("6.1.3", l.name, "has asterisks before paths, as some checksum programs write them; a strict judge refuses that")
	}
}

// fetch judges fetch.txt (section 2.2.3). What it names has to be fetched before
// the bag is complete; this program fetches nothing.
func (j *judge) fetch() {
	if _, ok := j.there[fetchName]; !ok {
		return
	}
	text, ok := j.text(fetchName, "2.2.3")
	if !ok {
		return
	}
	text = j.marked(fetchName, text)
	err := lines(strings.NewReader(text), func(n int, line string) {
		url, rest, ok := cutSpace(line)
		if !ok || !strings.Contains(url, ":") {
			j.fault("2.2.3", fetchName, "line %d is not an address, a length and a path", n)
			return
		}
		length, p, ok := cutSpace(rest)
		if _, err := strconv.ParseUint(length, 10, 63); !ok || err != nil && length != "-" {
			j.fault("2.2.3", fetchName, "line %d is not an address, a length and a path", n)
			return
		}
		p = decodePath(p)
		if why := pathFault(p); why != "" {
			j.fault("5.1", fetchName, "line %d: the path %q %s", n, p, why)
			return
		}
		if !within.Below(p, payloadFolder) {
			j.fault("2.2.3", fetchName, "line %d names %q, which is not in data/", n, p)
			return
		}
		for _, l := range j.payload {
			if _, ok := l.entries[p]; !ok {
				j.fault("2.2.3", p, "is in fetch.txt and not in %s", l.name)
			}
		}
		if _, ok := j.there[p]; !ok {
			j.fault("3", p, "was not fetched: fetch.txt gives its address")
		}
	})
	if err != nil {
		j.fault("2.2.3", fetchName, "%v", err)
	}
}

// compareLists holds what the lists name against what is there (section 3).
func (j *judge) compareLists() {
	for _, l := range slices.Concat(j.payload, j.tags) {
		for _, p := range slices.Sorted(maps.Keys(l.entries)) {
			if _, ok := j.there[p]; !ok {
				j.fault("3", p, "is named by %s and is not there", l.name)
			}
		}
	}
	for _, p := range slices.Sorted(maps.Keys(j.there)) {
		if within.Below(p, payloadFolder) {
			for _, l := range j.payload {
				if _, ok := l.entries[p]; !ok {
					j.fault("2.1.3", p, "is in data/ and not in %s", l.name)
				}
			}
			continue
		}
		for _, l := range j.tags {
			if _, ok := l.entries[p]; ok || strings.HasPrefix(p, "tagmanifest-") {
				continue
			}
			if listName.MatchString(p) {
				j.fault("2.2.1", p, "is a payload manifest and not in %s", l.name)
			} else {
				j.advise("2.2.1", p, "is not in %s, so nobody notices if it changes", l.name)
			}
		}
	}
	// Two names that some systems take for one (section 6.1.1 warns of it).
	folded := map[string]string{}
	for _, p := range slices.Sorted(maps.Keys(j.there)) {
		low := norm.NFC.String(strings.ToLower(p))
		if other, ok := folded[low]; ok {
			j.advise("6.1.1", p, "differs from %q by capital letters or by how accents are written only; some systems take them for one", other)
		}
		folded[low] = p
	}
	if len(j.tags) == 0 {
		j.advise("2.2.1", "", "the bag has no tag manifest that this program can check, so nobody notices if its lists change")
	}
}

var (
	oxum = regexp.MustCompile(`^([0-9]{1,18})\.([0-9]{1,18})$`)
	day  = regexp.MustCompile(`^[0-9]{4}-[0-9]{2}-[0-9]{2}$`)
)

// info judges bag-info.txt (section 2.2.2), where there is one. Labels are
// compared without regard to case.
func (j *judge) info() {
	if _, ok := j.there[infoName]; !ok {
		return
	}
	text, ok := j.text(infoName, "2.2.2")
	if !ok {
		return
	}
	text = j.marked(infoName, text)
	tags, faults, err := parseInfo(strings.NewReader(text))
	if err != nil {
		faults = append(faults, err.Error())
	}
	for _, f := range faults {
		j.fault("2.2.2", infoName, "%s", f)
	}
	times := map[string]int{}
	for _, t := range tags {
		label := strings.ToLower(t.label)
		times[label]++
		switch label {
		case "payload-oxum":
			m := oxum.FindStringSubmatch(t.value)
			if m == nil {
				j.fault("2.2.2", infoName, "Payload-Oxum is %q, not bytes, a dot and files", t.value)
			} else if want := Oxum(j.rep.Bytes, j.rep.Files); m[0] != want {
				j.fault("2.2.2", infoName, "Payload-Oxum says %s, and data/ holds %s (bytes and files)", t.value, want)
			}
		case "bagging-date":
			if !day.MatchString(t.value) {
				j.advise("2.2.2", infoName, "Bagging-Date is %q, not a day such as 2019-06-21", t.value)
			}
		}
	}
	if n := times["payload-oxum"]; n > 1 {
		j.fault("2.2.2", infoName, "Payload-Oxum stands there %d times", n)
	}
	for _, label := range []string{"Bagging-Date", "Bag-Size", "Bag-Group-Identifier", "Bag-Count"} {
		if n := times[strings.ToLower(label)]; n > 1 {
			j.advise("2.2.2", infoName, "%s stands there %d times, and should once", label, n)
		}
	}
}

// digest reads every file that a list names, once, and compares.
func (j *judge) digest(ctx context.Context) error {
	want := map[string]map[string]string{} // path, algorithm, digest
	for _, l := range slices.Concat(j.payload, j.tags) {
		for p, d := range l.entries {
			if want[p] == nil {
				want[p] = map[string]string{}
			}
			want[p][l.algorithm] = d
		}
	}
	for _, p := range slices.Sorted(maps.Keys(want)) {
		if _, ok := j.there[p]; !ok {
			continue
		}
		got, err := j.sums(ctx, p, slices.Sorted(maps.Keys(want[p])))
		if ctx.Err() != nil {
			return context.Cause(ctx)
		}
		if err != nil {
			j.fault("3", p, "cannot be read: %v", err)
			continue
		}
		for _, a := range slices.Sorted(maps.Keys(got)) {
			if got[a] != want[p][a] {
				j.altered = true
				j.rep.Errors = append(j.rep.Errors, Fault{"3", p, fmt.Sprintf("its %s is %s, and its list says %s", a, got[a], want[p][a])})
			}
		}
	}
	return nil
}

func (j *judge) sums(ctx context.Context, p string, which []string) (map[string]string, error) {
	f, err := j.root.Open(path.Clean(p))
	if err != nil {
		return nil, err
	}
	defer f.Close()
	// No more is read than was there when the bag was looked through: a file
	// that grows is altered either way.
	return sums(ctx, io.LimitReader(f, j.there[p]+1), which, func(n int64) {
		j.done += n
		if j.progress != nil {
			j.progress(j.done, max(j.total, j.done))
		}
	})
}
