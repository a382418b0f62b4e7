package intake

import (
	"context"
	"errors"
	"io/fs"
	"os"
	"slices"
	"strings"
	"time"

	"linecamp/manifest/store/fault"
	"linecamp/manifest/tally"
	"linecamp/manifest/walk"
	"linecamp/manifest/words"
	"linecamp/verify"
)

// Card is everything on a camera card, read now.
type Card struct {
	Folder string
	Files  []tally.File   // in byte order of their paths
	Unread []walk.Waiting // what could not be read, with the reason
	Passed []walk.Waiting // links and special files, never opened
	Litter int            // what systems and cameras leave about
}

// longAgo is how far ahead of now a card is read. A tally lets files of the
// last minute wait, since someone may still be writing them; on a card nobody
// is, and a file that does change under the reader is noticed as it is read.
const longAgo = 200 * 24 * time.Hour

// ReadCard reads every file of a card once. An error wraps ErrCard or is ctx's;
// a fault in one file is in the Card.
func ReadCard(ctx context.Context, folder string, now time.Time, progress func(done, total int64)) (*Card, error) {
	info, err := os.Stat(folder)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return nil, fault.Say(ErrCard, "%s is not there; check that the card is in the reader and the path is right", verify.Shown(folder))
	case err != nil:
		return nil, fault.Say(ErrCard, "%s cannot be looked at (%s)", verify.Shown(folder), words.Reason(err))
	case !info.IsDir():
		return nil, fault.Say(ErrCard, "%s is a file; name the folder of the card", verify.Shown(folder))
	}
	o := tally.Options{Folder: folder, Now: func() time.Time { return now.Add(longAgo) }}
	if progress != nil {
		o.Progress = func(_ int, bytes int64) { progress(bytes, 0) }
	}
	r, err := tally.Read(ctx, o)
	if ctx.Err() != nil {
		return nil, ctx.Err()
	}
	if err != nil {
		return nil, fault.Say(ErrCard, "%s cannot be read (%s)", verify.Shown(folder), words.Reason(err))
	}
	c := &Card{Folder: folder, Files: everyFile(r), Unread: r.Waiting, Passed: r.Passed, Litter: r.Litter}
	slices.SortFunc(c.Files, func(a, b tally.File) int { return strings.Compare(a.Path, b.Path) })
	return c, nil
}

// everyFile lists all that a tally read.
func everyFile(r *tally.Result) []tally.File {
	var all []tally.File
	for i := range r.Sites {
		for f := range r.Sites[i].Files() {
			all = append(all, f)
		}
	}
	return slices.AppendSeq(all, r.Unfiled.All())
}
