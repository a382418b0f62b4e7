package carried

import (
	"bytes"
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"linecamp/manifest"
	"linecamp/manifest/store"
	"linecamp/manifest/store/fault"
)

// MostPaths is how many paths a list names; the rest is counted.
const MostPaths = 10_000

// mostList bounds what is read of a list: every path as long as a path can be.
const mostList = 64 << 20

// Why a file is left behind.
const (
	NotRecorded = "not recorded yet"
	NotSent     = "recorded, and not on this copy yet"
)

// List is what a machine knows and a copy does not have yet.
type List struct {
	Made        time.Time `json:"made"`
	Machine     string    `json:"machine"`
	FolderFiles int       `json:"folder_files"` // files in the working folder
	NotHere     []Left    `json:"not_here"`     // newest visits first
	Files       int       `json:"not_here_files"`
	Bytes       int64     `json:"not_here_bytes"`
	Waiting     []Waiting `json:"waiting"`
	Waits       int       `json:"waiting_files"`
}

// Left is one file of it.
type Left struct {
	Path   string          `json:"path"`
	Bytes  int64           `json:"bytes"`
	SHA256 manifest.Digest `json:"sha256"`
	Why    string          `json:"why"`

	visit string // for the order
}

// Waiting is a file that was seen and not recorded.
type Waiting struct {
	Path   string `json:"path"`
	Reason string `json:"reason"`
}

// Add adds a file of a visit. What does not fit any more is counted.
func (l *List) Add(visit string, f Left) {
	f.visit = visit
	l.NotHere = append(l.NotHere, f)
	l.Count(1, f.Bytes)
	if len(l.NotHere) >= 2*MostPaths {
		l.cut()
	}
}

// Count counts files without naming them.
func (l *List) Count(files int, bytes int64) {
	l.Files += files
	l.Bytes += bytes
}

// Wait adds a file that waits.
func (l *List) Wait(path, reason string) {
	l.Waits++
	if len(l.Waiting) < MostPaths {
		l.Waiting = append(l.Waiting, Waiting{path, reason})
	}
}

// cut leaves the newest visits.
func (l *List) cut() {
	slices.SortStableFunc(l.NotHere, func(a, b Left) int {
		return cmp.Or(strings.Compare(b.visit, a.visit), strings.Compare(a.Path, b.Path))
	})
	if len(l.NotHere) > MostPaths {
		l.NotHere = slices.Clip(l.NotHere[:MostPaths])
	}
}

// says is the list without its day: whether there is anything new to tell.
func (l List) says() string {
	l.Made = time.Time{}
	b, _ := json.Marshal(l) // plain data, which cannot fail
	return digestOf(b)
}

func listNote(copyID string) string { return "left behind as told to " + copyID }

// betweenQuiet is how long a list stands where nothing is sent, and where it says what it
// said: its day tells whoever only keeps the copy that this computer lives. A long list is
// a burden on a link, and does that once a week. One of a day to come was written by a
// clock that was ahead: nobody believes it.
const (
	betweenQuiet = 24 * time.Hour
	betweenLong  = 7 * betweenQuiet
	longList     = 1000 // files
)

// PutList puts the list on a copy, if it says something else than the one there. quiet
// says that this round sends nothing: such a list is written once a day at most. On a
// drive, hold Lock.
func PutList(ctx context.Context, c Copy, n Notes, l List, quiet bool) error {
	l.cut()
	if l.NotHere == nil {
		l.NotHere = []Left{}
	}
	if l.Waiting == nil {
		l.Waiting = []Waiting{}
	}
	was := recall(n, listNote(c.ID))
	is := noted{Says: l.says(), At: l.Made}
	age, still := l.Made.Sub(was.At), betweenQuiet
	if l.Files+l.Waits > longList {
		still = betweenLong
	}
	if age >= 0 && (was.Says == is.Says && age < still || quiet && was.Says != "" && age < betweenQuiet) {
		if stands(ctx, c.Root, ListKey, was) {
			return nil
		}
	}
	b, err := json.Marshal(l)
	if err != nil {
		return err
	}
	b = bytes.ReplaceAll(b, []byte(`{"path"`), []byte("\n{\"path\"")) // a line for each file; no text has a bare quote
	info, err := replace(ctx, c.Root, ListKey, store.Bytes(append(b, '\n')), was.ETag)
	if err != nil {
		return trouble("the list of what is left behind could not be written there", err)
	}
	is.ETag, is.Size = info.ETag, info.Size
	return remember(n, listNote(c.ID), is)
}

// ErrUnread marks a file of this package that is on a copy and cannot be used.
var ErrUnread = errors.New("it cannot be read")

// ReadList reads a copy's list; fs.ErrNotExist where there is none. Paths that could
// not be those of a working folder are left out, and text is fit to print.
func ReadList(ctx context.Context, r store.Root) (List, error) {
	b, _, err := store.ReadSmall(ctx, r, ListKey, mostList)
	if err != nil {
		return List{}, err
	}
	return DecodeList(b)
}

// DecodeList is ReadList of bytes at hand.
func DecodeList(b []byte) (List, error) {
	var l List
	if err := json.Unmarshal(b, &l); err != nil {
		return List{}, fmt.Errorf("the list of what was left behind is damaged: %w (%v)", ErrUnread, err)
	}
	l.Machine = shown(l.Machine)
	l.NotHere = slices.DeleteFunc(l.NotHere, func(f Left) bool { return f.Bytes < 0 || manifest.CheckPath(f.Path) != nil })
	l.NotHere = l.NotHere[:min(len(l.NotHere), MostPaths)]
	for i := range l.NotHere {
		l.NotHere[i].Why = shown(l.NotHere[i].Why)
	}
	l.Waiting = l.Waiting[:min(len(l.Waiting), MostPaths)]
	for i, w := range l.Waiting {
		l.Waiting[i] = Waiting{shown(w.Path), shown(w.Reason)}
	}
	l.Files, l.Waits = max(l.Files, len(l.NotHere)), max(l.Waits, len(l.Waiting))
	var named int64
	for _, f := range l.NotHere {
		if named += f.Bytes; named < 0 {
			return List{}, fault.Say(ErrUnread, "the list of what was left behind names impossible sizes")
		}
	}
	l.Bytes = max(l.Bytes, named)
	return l, nil
}

// shown makes text from outside fit to print, and short.
func shown(s string) string { return store.Clip(manifest.Printable(s)) }
