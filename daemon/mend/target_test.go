package mend

import (
	"context"
	"fmt"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"linecamp/manifest/store"
	"linecamp/verify/verifytest"
)

// refusing is a drive that takes nothing.
type refusing struct {
	store.Root
	err error
}

func (r refusing) Mend(context.Context, string, store.Content, string) error { return r.err }

// Where good bytes are at hand and only cannot be put in place, nothing is lost,
// and the one that has them is not blamed.
func TestMendWhatCannotBePutInPlace(t *testing.T) {
	for _, err := range []error{
		fmt.Errorf("the drive: %w", store.ErrFull),
		fmt.Errorf("it was written again and still reads back wrong; the drive may be failing: %w", store.ErrDigest),
	} {
		r, folder := ranch(t, 2)
		verifytest.Flip(t, r.Path(0, r.Key(slug, "2019-06-21/plot.jpg")))
		found, _ := damage(t, r, folder)
		r.Copies[0].Root = refusing{r.Copies[0].Root, err}
		rep := mend(t, r, In{Damage: found, Folder: folder})
		if len(rep.Unmended) != 1 || rep.Unmended[0].Nowhere || !strings.Contains(rep.Unmended[0].Reason, "drive2 has good bytes") {
			t.Errorf("%v: %+v", err, rep)
		}
	}
	r, folder := ranch(t, 2)
	verifytest.Flip(t, filepath.Join(folder, "Windmill/Stake 3/2019-06-21/plot.jpg"))
	found, _ := damage(t, r, folder)
	file := filepath.Join(t.TempDir(), "file")
	verifytest.Write(t, file, nil, time.Now())
	rep := mend(t, r, In{Damage: found, Folder: folder, Aside: filepath.Join(file, "aside")})
	if len(rep.Unmended) != 1 || rep.Unmended[0].Nowhere || !strings.Contains(rep.Unmended[0].Reason, "drive1 has good bytes") {
		t.Errorf("the working folder: %+v", rep)
	}
}
