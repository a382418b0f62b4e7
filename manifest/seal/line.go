package seal

import (
	"bytes"
	"fmt"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"

	"linecamp/manifest"
	"linecamp/manifest/jsontext"
	"linecamp/manifest/names"
)

// What a line of the seal tells.
const (
	Version = "version" // a version was committed on its first holder
	Author  = "author"  // a machine became the archive's author
	GaveUp  = "gave-up" // a person gave a copy up
	Late    = "late"    // another log, of a history that met this one
	Lost    = "lost"    // versions that no copy has count no more
	Closed  = "closed"  // an object that is not gone on with
)

// MaxEpoch is the highest epoch a line may name, so that there is always a next one.
const MaxEpoch = 1_000_000_000

// Line is one line of the seal. Which fields it uses depends on What:
//
//	N TIME version OBJECT vVERSION INVENTORY
//	N TIME author AUTHOR EPOCH "WHY"
//	N TIME gave-up COPY "WHY"
//	N TIME late LINES LOG "WHY"
//	N TIME lost OBJECT vVERSION "WHY"
//	N TIME closed OBJECT vVERSION "WHY"
//
// N has ten digits, TIME is RFC 3339 in whole seconds of UTC, WHY is a JSON
// string, so that a line stays one line. From lost or closed on, the versions of
// OBJECT from VERSION on that are named above count no more. A line with another
// word is of a newer program: it is kept as it is, and tells nothing here.
type Line struct {
	N         int // from 1
	At        time.Time
	What      string
	Object    string          // full object id
	Version   int             // from 1
	Inventory manifest.Digest // SHA-256 of that version's inventory.json
	Lines     int             // of a late log
	Log       manifest.Digest // SHA-256 of all its lines
	Author    string          // uuid
	Epoch     int             // from 1, raised by every take-over
	Copy      string          // uuid
	Why       string
	rest      string // what follows a word that is not known
}

// Known reports whether this program knows what the line tells.
func (l *Line) Known() bool {
	switch l.What {
	case Version, Author, GaveUp, Late, Lost, Closed:
		return true
	}
	return false
}

// Drops reports whether versions of the line's object, from its version on, count
// no more.
func (l *Line) Drops() bool { return l.What == Lost || l.What == Closed }

// isWord reports whether s can be what a line of a newer program tells.
func isWord(s string) bool {
	for i := range len(s) {
		if c := s[i]; (c < 'a' || c > 'z') && (c != '-' || i == 0) {
			return false
		}
	}
	return s != "" && len(s) <= 32
}

const maxLines = 9_999_999_999 // what ten digits can count

// check reports the first rule that the line breaks.
func (l *Line) check() error {
	if l.N < 1 || int64(l.N) > maxLines {
		return fmt.Errorf("its number is %d", l.N)
	}
	if y := l.At.UTC().Year(); l.At.IsZero() || y < 1 || y > 9999 {
		return fmt.Errorf("it does not say when")
	}
	switch l.What {
	case Version, Lost, Closed:
		if _, _, err := manifest.ParseObjectID(l.Object); err != nil {
			return err
		}
		if _, ok := manifest.ParseVersion(manifest.VersionName(l.Version)); !ok {
			return fmt.Errorf("its version is %d", l.Version)
		}
		if l.What == Version && l.Inventory.IsZero() {
			return fmt.Errorf("it has no digest")
		}
	case Author:
		if !isUUID(l.Author) {
			return fmt.Errorf("the author %q is no uuid", names.Clip(l.Author))
		}
		if l.Epoch < 1 || l.Epoch > MaxEpoch {
			return fmt.Errorf("its epoch is %d", l.Epoch)
		}
	case GaveUp:
		if !isUUID(l.Copy) {
			return fmt.Errorf("the copy %q is no uuid", names.Clip(l.Copy))
		}
	case Late:
		if l.Lines < 1 || l.Log.IsZero() {
			return fmt.Errorf("it does not say which log is late")
		}
	default:
		if !isWord(l.What) {
			return fmt.Errorf("%q is no word of a seal", names.Clip(l.What))
		}
		if !utf8.ValidString(l.rest) {
			return fmt.Errorf("it is not valid UTF-8")
		}
	}
	if !utf8.ValidString(l.Why) {
		return fmt.Errorf("its reason is not valid UTF-8")
	}
	return nil
}

func (l *Line) append(b []byte) []byte {
	b = fmt.Appendf(b, "%010d %s %s", l.N, l.At.UTC().Format(manifest.CreatedForm), l.What)
	switch l.What {
	case Version:
		return fmt.Appendf(b, " %s %s %s\n", l.Object, manifest.VersionName(l.Version), l.Inventory)
	case Author:
		b = fmt.Appendf(b, " %s %d ", l.Author, l.Epoch)
	case GaveUp:
		b = fmt.Appendf(b, " %s ", l.Copy)
	case Late:
		b = fmt.Appendf(b, " %d %s ", l.Lines, l.Log)
	case Lost, Closed:
		b = fmt.Appendf(b, " %s %s ", l.Object, manifest.VersionName(l.Version))
	default:
		return append(append(b, l.rest...), '\n')
	}
	return append(jsontext.AppendString(b, l.Why), '\n')
}

// parseLine reads a line and accepts it only if it is exactly what append
// writes.
func parseLine(raw []byte) (l Line, err error) {
	text, ok := strings.CutSuffix(string(raw), "\n")
	if !ok {
		return l, fmt.Errorf("it has no end")
	}
	number, text, _ := strings.Cut(text, " ")
	if len(number) != 10 {
		return l, fmt.Errorf("it does not begin with a number of ten digits")
	}
	if l.N, err = strconv.Atoi(number); err != nil {
		return l, fmt.Errorf("it does not begin with a number of ten digits")
	}
	at, text, _ := strings.Cut(text, " ")
	var why string
	if l.At, why = manifest.ParseCreated(at); why != "" {
		return l, fmt.Errorf("its time %q %s", names.Clip(at), why)
	}
	l.What, text, _ = strings.Cut(text, " ")
	if !l.Known() {
		_, l.rest, _ = strings.Cut(string(raw[:len(raw)-1]), " "+l.What)
	} else if err = l.parseRest(text); err != nil {
		return l, err
	}
	if err = l.check(); err != nil {
		return l, err
	}
	if !bytes.Equal(l.append(nil), raw) {
		return l, fmt.Errorf("it is not written as a seal's lines are")
	}
	return l, nil
}

func (l *Line) parseRest(text string) (err error) {
	first, text, _ := strings.Cut(text, " ")
	switch l.What {
	case GaveUp:
		l.Copy = first
	case Author:
		l.Author = first
		first, text, _ = strings.Cut(text, " ")
		if l.Epoch, err = strconv.Atoi(first); err != nil {
			return fmt.Errorf("%q is no epoch", names.Clip(first))
		}
	case Late:
		if l.Lines, err = strconv.Atoi(first); err != nil {
			return fmt.Errorf("%q is no number of lines", names.Clip(first))
		}
		first, text, _ = strings.Cut(text, " ")
		if l.Log, err = manifest.ParseDigest(first); err != nil {
			return err
		}
	default:
		l.Object = first
		first, text, _ = strings.Cut(text, " ")
		n, ok := manifest.ParseVersion(first)
		if !ok {
			return fmt.Errorf("%q is no version", names.Clip(first))
		}
		l.Version = n
		if l.What == Version {
			l.Inventory, err = manifest.ParseDigest(text)
			return err
		}
	}
	s := jsontext.New([]byte(text))
	l.Why = s.Str("as the reason")
	s.End()
	return s.Err
}

// digits are those of a SHA-256.
const digits = 2 * len(manifest.Digest{})

// Digests are the SHA-256 that stand in a text, whether or not that reads as a seal: where
// bytes of one rotted, it still tells of all manifests that its other lines name. None of
// so many digits stands there by accident. Where rot made one longer, it begins or ends so.
func Digests(text []byte) map[manifest.Digest]bool {
	all := map[manifest.Digest]bool{}
	for run := range bytes.FieldsFuncSeq(text, func(c rune) bool { return (c < '0' || c > '9') && (c < 'a' || c > 'f') }) {
		for _, b := range [][]byte{run[:min(digits, len(run))], run[max(0, len(run)-digits):]} {
			if d, err := manifest.ParseDigest(string(b)); err == nil {
				all[d] = true
			}
		}
	}
	return all
}

// isUUID reports whether s is a UUID in the form of RFC 9562 section 4, small
// letters only.
func isUUID(s string) bool {
	if len(s) != 36 {
		return false
	}
	for i := range len(s) {
		c := s[i]
		switch i {
		case 8, 13, 18, 23:
			if c != '-' {
				return false
			}
		default:
			if (c < '0' || c > '9') && (c < 'a' || c > 'f') {
				return false
			}
		}
	}
	return true
}
