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
)

// Line is one line of the seal. Which fields it uses depends on What:
//
//	N TIME version OBJECT vVERSION INVENTORY
//	N TIME author AUTHOR EPOCH "WHY"
//	N TIME gave-up COPY "WHY"
//
// N has ten digits, TIME is RFC 3339 in whole seconds of UTC, WHY is a JSON
// string, so that a line stays one line.
type Line struct {
	N         int // from 1
	At        time.Time
	What      string
	Object    string          // full object id
	Version   int             // from 1
	Inventory manifest.Digest // SHA-256 of that version's inventory.json
	Author    string          // uuid
	Epoch     int             // from 1, raised by every take-over
	Copy      string          // uuid
	Why       string
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
	case Version:
		if _, _, err := manifest.ParseObjectID(l.Object); err != nil {
			return err
		}
		if _, ok := manifest.ParseVersion(manifest.VersionName(l.Version)); !ok {
			return fmt.Errorf("its version is %d", l.Version)
		}
		if l.Inventory.IsZero() {
			return fmt.Errorf("it has no digest")
		}
		return nil
	case Author:
		if !isUUID(l.Author) {
			return fmt.Errorf("the author %q is no uuid", names.Clip(l.Author))
		}
		if l.Epoch < 1 {
			return fmt.Errorf("its epoch is %d", l.Epoch)
		}
	case GaveUp:
		if !isUUID(l.Copy) {
			return fmt.Errorf("the copy %q is no uuid", names.Clip(l.Copy))
		}
	default:
		return fmt.Errorf("%q is none of %s, %s, %s", names.Clip(l.What), Version, Author, GaveUp)
	}
	if !utf8.ValidString(l.Why) {
		return fmt.Errorf("its reason is not valid UTF-8")
	}
	return nil
}

func (l *Line) append(b []byte) []byte {
	b = fmt.Appendf(b, "%010d %s %s ", l.N, l.At.UTC().Format(manifest.CreatedForm), l.What)
	switch l.What {
	case Version:
		b = fmt.Appendf(b, "%s %s %s", l.Object, manifest.VersionName(l.Version), l.Inventory)
	case Author:
		b = fmt.Appendf(b, "%s %d ", l.Author, l.Epoch)
		b = jsontext.AppendString(b, l.Why)
	case GaveUp:
		b = fmt.Appendf(b, "%s ", l.Copy)
		b = jsontext.AppendString(b, l.Why)
	}
	return append(b, '\n')
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
	if err = l.parseRest(text); err != nil {
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

func (l *Line) parseRest(text string) error {
	switch l.What {
	case Version:
		var version, digest string
		l.Object, text, _ = strings.Cut(text, " ")
		version, digest, _ = strings.Cut(text, " ")
		n, ok := manifest.ParseVersion(version)
		if !ok {
			return fmt.Errorf("%q is no version", names.Clip(version))
		}
		l.Version = n
		var err error
		l.Inventory, err = manifest.ParseDigest(digest)
		return err
	case Author:
		var epoch string
		l.Author, text, _ = strings.Cut(text, " ")
		epoch, text, _ = strings.Cut(text, " ")
		n, err := strconv.Atoi(epoch)
		if err != nil {
			return fmt.Errorf("%q is no epoch", names.Clip(epoch))
		}
		l.Epoch = n
	case GaveUp:
		l.Copy, text, _ = strings.Cut(text, " ")
	default:
		return nil // check says what is wrong
	}
	s := jsontext.New([]byte(text))
	l.Why = s.Str("as the reason")
	s.End()
	return s.Err
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
