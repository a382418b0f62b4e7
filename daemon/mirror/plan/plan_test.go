package plan

import (
	"fmt"
	"testing"

	"linecamp/daemon/mirror/sites"
	"linecamp/manifest/tally"
)

// A version carries 64 MiB, or an eighth of a site that is larger than that
// eight times over; a file larger than either is a version of its own.
func TestStepsGrowWithTheSite(t *testing.T) {
	const mb = 1 << 20
	for _, tt := range []struct {
		name  string
		files int
		size  int64
		most  int // steps
		first int // files in the first one
	}{
		{"small", 10, mb, 1, 10},
		{"150 MB", 5, 30 * mb, 3, 2},
		{"one large file each", 3, 200 * mb, 3, 1},
		{"25 GB", 5000, 5 * mb, 45, 12},
	} {
		t.Run(tt.name, func(t *testing.T) {
			c := &change{Slug: "stake", Group: &sites.Group{Files: map[string]tally.File{}}}
			for i := range tt.files {
				name := fmt.Sprintf("%05d.jpg", i)
				c.fresh.add(name)
				c.Group.Files[name] = tally.File{Path: name, Size: tt.size}
			}
			steps := c.steps(versionBytes)
			if len(steps) > tt.most || steps[0].Paths.len() != tt.first {
				t.Errorf("%d steps, %d files in the first; want at most %d and %d", len(steps), steps[0].Paths.len(), tt.most, tt.first)
			}
			n := 0
			for i, s := range steps {
				n += s.Paths.len()
				if s.First != (i == 0) || s.Paths.len() == 0 {
					t.Errorf("step %d: first %v, %d files", i, s.First, s.Paths.len())
				}
			}
			if n != tt.files {
				t.Errorf("%d of %d files are in a step", n, tt.files)
			}
		})
	}
}
