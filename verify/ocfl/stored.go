package ocfl

import (
	"context"
	"fmt"
	"io"
	"strings"

	"linecamp/manifest/store"
)

// Stored lists a whole storage root once, in one pass, and returns it as Files.
// In a bucket that is the fewest requests there can be. It holds every name in
// memory, about 100 bytes for each file.
//
// Empty folders and links do not exist in a bucket. On a drive they do, and a
// store.Root does not show them: use OpenFolder there.
func Stored(ctx context.Context, r store.Root) (Files, error) {
	s := &stored{root: r, folders: map[string][]Entry{"": nil}}
	for info, err := range r.List(ctx, "") {
		if err != nil {
			return nil, fmt.Errorf("listing %s: %w", r.Name(), err)
		}
		folder, name := "", info.Key
		if i := strings.LastIndexByte(info.Key, '/'); i >= 0 {
			folder, name = info.Key[:i], info.Key[i+1:]
		}
		folder = s.folder(folder)
		s.folders[folder] = append(s.folders[folder], Entry{Name: strings.Clone(name), Kind: File, Size: info.Size})
	}
	return s, nil
}

type stored struct {
	root    store.Root
	folders map[string][]Entry
}

// folder makes sure that a folder and all above it are listed.
func (s *stored) folder(folder string) string {
	if _, ok := s.folders[folder]; ok {
		return folder
	}
	folder = strings.Clone(folder)
	for at := folder; ; {
		above, name := "", at
		if i := strings.LastIndexByte(at, '/'); i >= 0 {
			above, name = at[:i], at[i+1:]
		}
		_, known := s.folders[above]
		if _, ok := s.folders[at]; !ok {
			s.folders[at] = nil
		}
		s.folders[above] = append(s.folders[above], Entry{Name: name, Kind: Folder})
		if known {
			return folder
		}
		at = above
	}
}

func (s *stored) Name() string { return s.root.Name() }

func (s *stored) List(ctx context.Context, folder string) ([]Entry, error) {
	return s.folders[folder], ctx.Err()
}

func (s *stored) Open(ctx context.Context, name string) (io.ReadCloser, error) {
	r, _, err := s.root.OpenFresh(ctx, name)
	return r, err
}
