package drill

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"iter"
	"maps"
	"os"
	"path/filepath"
	"slices"

	"linecamp/manifest"
	"linecamp/manifest/tally"
	"linecamp/manifest/words"
	"linecamp/verify"
)

// compare holds what came back against the working folder, whose files are read for
// it. A file that is no longer in the folder has nothing to be held against.
func (t *attempt) compare(ctx context.Context) error {
	if t.Config.Folder == "" {
		return nil
	}
	folder, err := os.OpenRoot(t.Config.Folder)
	if err != nil {
		return fail(Comparing, fmt.Errorf("your folder cannot be looked at: %w", err))
	}
	defer folder.Close()
	there, err := t.inFolder(ctx)
	if err != nil {
		return fail(Comparing, err)
	}
	raws := map[string]bool{}
	for _, path := range slices.Sorted(maps.Keys(t.came)) {
		c := t.came[path]
		raws[c.Raw] = true
		is, err := digest(ctx, folder, c.Raw)
		switch {
		case ctx.Err() != nil:
			return ctx.Err()
		case errors.Is(err, fs.ErrNotExist):
			continue
		case err != nil:
			return fail(Comparing, fmt.Errorf("%s in your folder cannot be read: %w", verify.Shown(path), err))
		}
		if t.Compared++; is != c.Digest {
			t.differs(&t.Different, path, "is another file in your folder than on this copy")
		}
	}
	for f := range there {
		if shown := verify.Shown(f.Path); !raws[f.Path] && !t.lost[f.Path] && !t.out[f.Path] {
			t.differs(&t.Missing, shown, "is in your folder and not on this copy")
		}
	}
	slices.Sort(t.Different)
	slices.Sort(t.Missing)
	return nil
}

func (t *attempt) differs(list *[]string, path, how string) {
	*list = append(*list, path)
	switch {
	case t.Step != "":
	case t.Behind > 0 && list == &t.Missing:
		t.Step, t.Error = Reading, fmt.Sprintf("%s that the seal names %s not there, the first of %s", words.Count(t.Behind, "version"), words.Noun(t.Behind, "is", "are"), manifest.Printable(t.first))
	default:
		t.Step, t.Error = Comparing, manifest.Printable(path)+" "+how
	}
}

// digest reads a file of the working folder.
func digest(ctx context.Context, folder *os.Root, raw string) (manifest.Digest, error) {
	f, err := folder.Open(filepath.FromSlash(raw))
	if err != nil {
		return manifest.Digest{}, err
	}
	defer f.Close()
	d, _, err := manifest.Copy(ctx, nil, f)
	return d, err
}

// inFolder are the files that the working folder has of what was fetched.
func (t *attempt) inFolder(ctx context.Context) (iter.Seq[tally.File], error) {
	r, err := t.Folder(ctx, t.progress)
	if err != nil {
		return nil, err
	}
	return func(yield func(tally.File) bool) {
		for i := range r.Sites {
			s := &r.Sites[i]
			if !t.asked.Everything && !t.is(s) {
				continue
			}
			for f := range s.Files() {
				if (t.Visit == "" || f.Visit == t.Visit) && !yield(f) {
					return
				}
			}
		}
		if !t.asked.Everything {
			return
		}
		for f := range r.Unfiled.All() {
			if !yield(f) {
				return
			}
		}
	}, nil
}

// is reports whether a site of the folder is the one that was fetched: by its
// folder, else by its names, as the copy has them.
func (t *attempt) is(s *tally.Site) bool {
	if t.site.Folder != "" && s.Base == t.site.Folder {
		return true
	}
	return t.site.Site != "" && s.Site == t.site.Site && s.Pasture == t.site.Pasture
}
