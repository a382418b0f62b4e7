package daemon

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"syscall"

	"linecamp/daemon/archive"
	"linecamp/daemon/reach"
	"linecamp/manifest"
	"linecamp/verify"
	"linecamp/verify/gather"
)

// Record is an archive's whole record as it stands now: every site with its
// files, judged.
type Record struct {
	gather.Input
	VerifyReport
}

// Record looks at the working folder and at what is known of the copies, and
// judges the years and findings as Verify does with OnlyYears. A copy that does
// not answer within seconds is left out.
func (a *Archive) Record(ctx context.Context) (*Record, error) {
	r, err := a.Reach(ctx, a.Config.Copies, reach.Glance)
	if err != nil {
		return nil, err
	}
	defer r.Close()
	k, err := a.Known(ctx, r)
	if err != nil {
		return nil, err
	}
	rec := &Record{VerifyReport: VerifyReport{Report: verify.Report{Archive: a.Config.Name, Folder: a.Config.Folder, Copies: []verify.CopyReport{}}}}
	in, err := a.judge(ctx, VerifyOptions{Only: OnlyYears}, r, k, &rec.VerifyReport, nil)
	if err != nil {
		return nil, err
	}
	rec.Input = in.Input
	return rec, nil
}

// ErrNotHere marks a file that is not where the record has it.
var ErrNotHere = errors.New("it is not there any more")

// OpenWorking opens a file of the working folder by its path in the record. It
// follows no link out of the folder, and opens nothing but files.
func (a *Archive) OpenWorking(path string) (*os.File, error) {
	if a.Config.Folder == "" {
		return nil, archive.ErrNoFolder
	}
	folder, err := os.OpenRoot(a.Config.Folder)
	if err != nil {
		return nil, fmt.Errorf("your folder: %w", err)
	}
	defer folder.Close()
	f, err := folder.OpenFile(filepath.FromSlash(path), os.O_RDONLY|syscall.O_NONBLOCK, 0)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, ErrNotHere
	}
	if err != nil {
		return nil, err
	}
	info, err := f.Stat()
	if err == nil && !info.Mode().IsRegular() {
		err = ErrNotHere
	}
	if err != nil {
		f.Close()
		return nil, err
	}
	return f, nil
}

// OpenKept opens, on the nearest copy that has it, the newest bytes that an
// object's history has of a file that is no longer in the working folder. The
// digest is what they must come to. from names the copy.
func (a *Archive) OpenKept(ctx context.Context, object, path string) (f io.ReadCloser, sum manifest.Digest, from string, err error) {
	r, err := a.Reach(ctx, a.Config.Copies, reach.Glance)
	if err != nil {
		return nil, sum, "", err
	}
	k, err := a.Known(ctx, r)
	if err != nil {
		r.Close()
		return nil, sum, "", err
	}
	inv, rec, err := k.Object(object)
	if err != nil {
		r.Close()
		return nil, sum, "", err
	}
	for logical, held := range inv.FullHistory() {
		of := rec
		if held.Version != inv.Head() {
			if of, err = k.RecordOf(object, inv, held.Version); err != nil {
				continue
			}
		}
		if of == nil || verify.WorkingPath(of, logical) != path {
			continue
		}
		for _, h := range r.Nearest() {
			for _, p := range inv.Content[held.Digest] {
				if got, _, err := h.Root.Open(ctx, object+"/"+p); err == nil {
					return fromCopy{got, r}, held.Digest, h.Name, nil
				}
			}
		}
		break
	}
	r.Close()
	return nil, sum, "", reach.ErrNoReach
}

// fromCopy is a file on a copy, which is given back with it.
type fromCopy struct {
	io.ReadCloser
	r *reach.Copies
}

func (k fromCopy) Close() error {
	err := k.ReadCloser.Close()
	k.r.Close()
	return err
}
