package verify

import (
	"context"
	"iter"
	"time"

	"linecamp/manifest"
)

// Options say how a check is done.
type Options struct {
	Quick     bool
	Memory    Memory // nil: nothing is remembered
	Allowance int64  // bytes that may be downloaded from S3 now; below 0 is no limit
	// Expected returns the newest inventory of an object committed anywhere;
	// the error wraps fs.ErrNotExist if there is none. May be nil.
	Expected        func(object string) (*manifest.Inventory, error)
	ExpectedObjects []string       // objects every copy should have
	Seal            *manifest.Seal // the archive's seal, as the author has it; may be nil
	Now             func() time.Time
	Workers         int
	Progress        func(done, total int64) // bytes
}

// Rot re-reads one copy against its manifests.
func Rot(ctx context.Context, c Copy, o Options) (CopyReport, error) {
	return CopyReport{}, errSoon
}

// Working re-reads the working folder against the newest manifests.
func Working(ctx context.Context, folder string, objects iter.Seq2[*manifest.Inventory, *manifest.Record], o Options) (CopyReport, error) {
	return CopyReport{}, errSoon
}
