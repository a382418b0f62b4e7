package status

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"slices"
	"time"

	"linecamp/daemon/archive"
	"linecamp/daemon/attention"
	"linecamp/daemon/glance"
	"linecamp/daemon/reach"
	"linecamp/daemon/service"
	"linecamp/manifest/seal"
	"linecamp/manifest/tally"
)

// keyRecorded is where the ledger keeps a recordedAll.
const keyRecorded = "working folder when all of it was recorded"

// seeFolder looks at the working folder.
func seeFolder(ctx context.Context, a *archive.Archive, r *reach.Copies, looked *archive.Looked, o *Outlook) (err error) {
	f := &o.Facts
	if f.Folder == "" {
		return nil
	}
	if f.FolderFault = folderFault(f.Folder); f.FolderFault != "" {
		return nil
	}
	var since time.Time
	for _, r := range f.Rounds {
		if r.Kind == service.Mirror {
			since = r.Done
		}
	}
	o.seen, err = look(ctx, a, r, looked, since)
	switch {
	case ctx.Err() != nil:
		return ctx.Err()
	case errors.Is(err, glance.ErrFolder):
		f.FolderFault = err.Error()
		return nil
	case err != nil:
		return err
	}
	f.Empty = o.seen.Files == 0
	f.Late, f.New = amount(o.seen.Late), amount(o.seen.New)
	first := o.seen.Late
	if first.Files == 0 {
		first = o.seen.New
	}
	f.Path, f.Oldest = tally.Logical(first.Path), first.Oldest
	return nil
}

func amount(s glance.Share) attention.Amount {
	return attention.Amount{Files: s.Files, Bytes: s.Bytes}
}

// recordedAll is what the working folder was when all of it was recorded.
type recordedAll struct {
	Lines int    // of the seal
	Files int    // in the folder
	Print uint64 // see glance.Seen
}

// look looks at the working folder for what no version has, unless the work at hand
// saw that all is recorded. Where nothing has changed since all of it was, that costs a
// walk and no more. A site's manifest that the state folder lacks is read from a drive,
// never from a bucket.
func look(ctx context.Context, a *archive.Archive, r *reach.Copies, looked *archive.Looked, since time.Time) (glance.Seen, error) {
	log, err := a.Cache.Seal()
	if errors.Is(err, fs.ErrNotExist) {
		log, err = seal.Decode(nil)
	}
	if err != nil {
		return glance.Seen{}, fmt.Errorf("the seal in the state folder: %w", err)
	}
	if looked != nil && looked.Recorded && looked.Lines == log.Len() {
		return glance.Seen{Files: looked.Files, Print: looked.Print}, a.Remember(keyRecorded, recordedAll{log.Len(), looked.Files, looked.Print})
	}
	var was recordedAll
	if err := a.Recall(keyRecorded, &was); err != nil {
		return glance.Seen{}, err
	}
	if was.Lines == log.Len() && was.Lines > 0 {
		if looked != nil && !looked.Judged && looked.Files == was.Files && looked.Print == was.Print {
			return glance.Seen{Files: was.Files, Print: was.Print}, nil
		}
		files, print, err := glance.Print(ctx, a.Config.Folder)
		if err != nil || files == was.Files && print == was.Print {
			return glance.Seen{Files: files, Print: print}, err
		}
	}
	k, err := a.Known(ctx, &reach.Copies{All: slices.DeleteFunc(r.Open(), func(h *reach.Copy) bool { return !h.Can().Local })})
	if err != nil {
		return glance.Seen{}, err
	}
	var recorded glance.Recorded
	for inv, rec := range k.Pairs() {
		recorded.Add(inv, rec)
	}
	unsure := recorded.Sites < len(k.Present())
	seen, err := glance.Look(ctx, a.Config.Folder, a.Ledger.Folder, &recorded, since.Add(-time.Minute), a.Now())
	if err != nil {
		return seen, err
	}
	if unsure { // nobody at hand knows what is recorded of some sites
		return glance.Seen{Files: seen.Files}, ctx.Err()
	}
	if files, _ := seen.Unrecorded(); files == 0 {
		return seen, a.Remember(keyRecorded, recordedAll{log.Len(), seen.Files, seen.Print})
	}
	return seen, nil
}

// folderFault says why a working folder cannot be looked at; "" where it can.
func folderFault(folder string) string {
	info, err := os.Stat(folder)
	switch {
	case os.IsNotExist(err):
		return fmt.Sprintf("your folder %s is not there", folder)
	case err != nil:
		return fmt.Sprintf("your folder %s cannot be looked at: %s", folder, err.Error())
	case !info.IsDir():
		return fmt.Sprintf("your folder %s is a file, not a folder", folder)
	}
	return ""
}
