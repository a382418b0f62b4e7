package daemon

import (
	"context"

	"linecamp/daemon/reach"
	"linecamp/verify/ocfl"
)

// ValidateRoot holds any OCFL object or storage root, ours or not, against the
// specification: a folder, or an https address of a bucket.
func ValidateRoot(ctx context.Context, at reach.RootAccess, p Progress) (ocfl.Report, error) {
	o := ocfl.Options{Progress: func(done, total int64) { p.Tell(at.Root, done, total) }}
	c := at.At(at.Root)
	if c.Can().Local {
		folder, err := ocfl.OpenFolder(at.Root)
		if err != nil {
			return ocfl.Report{}, err
		}
		defer folder.Close()
		return ocfl.Validate(ctx, folder, o)
	}
	bucket, err := c.Open(ctx)
	if err != nil {
		return ocfl.Report{}, err
	}
	defer bucket.Close()
	files, err := ocfl.Stored(ctx, bucket)
	if err != nil {
		return ocfl.Report{}, err
	}
	return ocfl.Validate(ctx, files, o)
}
