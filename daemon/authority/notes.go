package authority

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"linecamp/daemon/authority/marks"
	"linecamp/manifest/seal"
	"linecamp/manifest/store"
)

// Notes is the part of the ledger that keeps single values.
type Notes interface {
	Value(key string) (string, bool, error)
	SetValue(key, value string) error
}

const authorKey = "author"

// NoteAuthor keeps who was last named as the author.
func NoteAuthor(l Notes, a store.Author) error {
	return l.SetValue(authorKey, fmt.Sprintf("%d %s %s %s", a.Epoch, a.Author, a.Archive, a.Machine))
}

// LastAuthor is whom NoteAuthor noted for this archive, else the zero value.
func LastAuthor(l Notes, archiveID string) (store.Author, error) {
	v, _, err := l.Value(authorKey)
	if err != nil {
		return store.Author{}, err
	}
	f := strings.SplitN(v, " ", 4)
	if len(f) < 4 || f[2] != archiveID {
		return store.Author{}, nil
	}
	epoch, err := strconv.Atoi(f[0])
	if err != nil {
		return store.Author{}, nil
	}
	return store.Author{Epoch: epoch, Author: f[1], Archive: f[2], Machine: f[3]}, nil
}

// readKey is where it is noted that a copy was read once by this state, and
// scanKey that every site there was looked at.
func readKey(copyID string) string { return "read " + copyID }
func scanKey(copyID string) string { return "scanned " + copyID }

// MarkRead notes that this machine's state has seen what the copy holds. Until
// every copy is marked, nothing is recorded. A person who gives a copy up
// answers for what it holds; no round has it among its copies.
func MarkRead(l Notes, copyID string) error {
	if excused, err := noted(l, excusedKey(copyID)); err != nil || excused {
		if err = errors.Join(err, l.SetValue(excusedKey(copyID), "")); err != nil {
			return err
		}
	}
	return l.SetValue(readKey(copyID), "yes")
}

// WasRead reports whether MarkRead noted the copy.
func WasRead(l Notes, copyID string) (bool, error) { return noted(l, readKey(copyID)) }

// MarkScanned notes that the ledger knows each site's newest version on the copy.
func MarkScanned(l Notes, copyID string) error { return l.SetValue(scanKey(copyID), "yes") }

// WasScanned reports whether MarkScanned noted the copy.
func WasScanned(l Notes, copyID string) (bool, error) { return noted(l, scanKey(copyID)) }

func excusedKey(copyID string) string { return "excused " + copyID }

// WasExcused reports whether a person had this machine take over while the copy was
// out of reach, or while its seal did not read, and it was not read since: nothing waits
// for what it holds, and what that is, is settled when it is met. The archive's seal had
// that many lines then.
func WasExcused(l Notes, copyID string) (lines int, was bool, err error) {
	if read, err := WasRead(l, copyID); err != nil || read {
		return 0, false, err
	}
	v, _, err := l.Value(excusedKey(copyID))
	lines, _ = strconv.Atoi(v) // an earlier program noted no number
	return lines, v != "", err
}

// SealingKey is where the ledger notes the copies that are being given a line of
// the seal. As long as one stands there, it may hold a line nobody else knows,
// and another line with the same number would make two histories.
const SealingKey = "seal being written"

// excuse has nothing wait for copies that are out of reach at a take-over: not for
// being read, nor for what this state may have begun there, nor for what of these many
// lines of the seal only they have. A copy that answers may be put right at once, so what
// it holds is waited for. One with a seal that is unread, of which a power cut may have this
// state forget the note, is met as one of another history.
//
// Those with a seal that reads as if it rotted are only noted to be given the archive's:
// what else they hold is waited for.
func excuse(l Notes, copies []Copy, unread map[string]bool, rotten []Copy, lines int) error {
	for _, c := range rotten {
		if err := Replacing(l, c.ID); err != nil {
			return err
		}
	}
	away := map[string]bool{}
	for _, c := range copies {
		if (c.Root != nil || c.Answers) && !unread[c.ID] {
			continue
		}
		if unread[c.ID] {
			if err := Replacing(l, c.ID); err != nil {
				return err
			}
		}
		away[c.ID] = true
		if err := errors.Join(Unread(l, c.ID), l.SetValue(excusedKey(c.ID), strconv.Itoa(lines))); err != nil {
			return err
		}
	}
	was, _, err := l.Value(SealingKey)
	if err != nil {
		return err
	}
	left := slices.DeleteFunc(strings.Fields(was), func(id string) bool { return away[id] })
	if err := l.SetValue(SealingKey, strings.Join(left, " ")); err != nil {
		return err
	}
	return marks.Begun(l).Drop(func(m marks.Mark) bool { return away[m.Copy] })
}

const steppedKey = "stepped down"

// StepDown notes that another history goes on instead of the one this state recorded:
// nothing waits for a line of that.
func StepDown(l Notes) error {
	return errors.Join(l.SetValue(steppedKey, "yes"), l.SetValue(SealingKey, ""))
}

func noted(l Notes, key string) (bool, error) {
	v, _, err := l.Value(key)
	return v != "", err
}

// Unread makes this machine's state new to a copy again: what the copy holds is
// to be read before anything is recorded. A machine that takes over does this
// for every copy, since the one before may have committed more than it sealed.
func Unread(l Notes, copyID string) error {
	return errors.Join(l.SetValue(readKey(copyID), ""), ScanAnew(l, copyID))
}

// ScanAnew has every site on the copy be looked at once more. Whether this state has seen
// what the copy holds stays as it is.
func ScanAnew(l Notes, copyID string) error { return l.SetValue(scanKey(copyID), "") }

// ReadAnew makes this machine's state new to a copy that was given up and is used
// again. The person who gave it up answered for what it holds, so nothing waits
// for it.
func ReadAnew(l Notes, copyID string) error {
	return errors.Join(MarkRead(l, copyID), ScanAnew(l, copyID))
}

const (
	// RoundsKey is where the author and the rounds are noted that a bucket may name
	// for this state.
	RoundsKey = "recording"
	// twinKey is where it is noted that another state bears this one's author id.
	twinKey = "another state bears this one's name"
)

// ownRounds are the rounds of an author that a bucket may name for this state.
func ownRounds(l Notes, author string) ([]string, error) {
	v, _, err := l.Value(RoundsKey)
	f := strings.Fields(v)
	if err != nil || len(f) == 0 || f[0] != author {
		return nil, err
	}
	return f[1:], nil
}

// isOwn reports whether the round that a bucket names is one of this state.
func isOwn(l Notes, a store.Author) (bool, error) {
	own, err := ownRounds(l, a.Author)
	return slices.Contains(own, a.Round), err
}

// ForgetTwin notes that this state has a name of its own again.
func ForgetTwin(l Notes) error { return l.SetValue(twinKey, "") }

// HasTwin reports whether another state recorded under this one's name.
func HasTwin(l Notes) (bool, error) { return noted(l, twinKey) }

func sealKey(copyID string) string { return "seal " + copyID }

// NoteSeal notes how many lines the copy's seal has, and its last file.
func NoteSeal(l Notes, copyID string, t store.Tail) error {
	return l.SetValue(sealKey(copyID), fmt.Sprintf("%d %d %d %s", t.Lines, t.Before, t.File, t.ETag))
}

// ForgetSeal forgets what NoteSeal noted.
func ForgetSeal(l Notes, copyID string) error { return l.SetValue(sealKey(copyID), "") }

// PutSeal brings the seal of a copy to the lines of s, and notes it. A bucket whose seal
// is known is sent the new lines' file and nothing is read there.
func PutSeal(ctx context.Context, l Notes, c Copy, s *seal.Seal) error {
	t, err := NotedSeal(l, c.ID)
	if err != nil {
		return err
	}
	if t, err = store.ExtendSeal(ctx, c.Root, s, t); err != nil {
		return fmt.Errorf("writing the seal: %w", err)
	}
	return NoteSeal(l, c.ID, t)
}

// NotedSeal is what NoteSeal noted last; of what an earlier program noted, the number
// of lines.
func NotedSeal(l Notes, copyID string) (t store.Tail, err error) {
	v, _, err := l.Value(sealKey(copyID))
	if n, _ := fmt.Sscan(v, &t.Lines, &t.Before, &t.File, &t.ETag); n < 4 {
		t = store.Tail{Lines: t.Lines}
	}
	return t, err
}
