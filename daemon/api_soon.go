package daemon

import (
	"context"
	"errors"
	"io"

	"linecamp/daemon/config"
)

var errSoon = errors.New("not built yet")

// Reports: each of these becomes the report of the room that makes it.
type (
	soon          struct{}
	TallyReport   = soon
	MirrorReport  = soon
	VerifyReport  = soon
	MendReport    = soon
	HistoryReport = soon
	RestoreReport = soon
	Status        = soon
)

func (soon) Wants() bool       { return false }
func (soon) Print(w io.Writer) {}

// Archive is one archive, open.
type Archive struct{}

func Open(cfg config.Archive, o Options) (*Archive, error) { return nil, errSoon }
func (a *Archive) Close() error                            { return nil }
func (a *Archive) Name() string                            { return "" }
func (a *Archive) Tally(ctx context.Context, p Progress) (TallyReport, error) {
	return soon{}, errSoon
}
func (a *Archive) Mirror(ctx context.Context, o MirrorOptions, p Progress) (MirrorReport, error) {
	return soon{}, errSoon
}
func (a *Archive) Verify(ctx context.Context, o VerifyOptions, p Progress) (VerifyReport, error) {
	return soon{}, errSoon
}
func (a *Archive) Mend(ctx context.Context, o MendOptions, p Progress) (MendReport, error) {
	return soon{}, errSoon
}
func (a *Archive) History(ctx context.Context, site, from string) (HistoryReport, error) {
	return soon{}, errSoon
}
func (a *Archive) Restore(ctx context.Context, o RestoreOptions, p Progress) (RestoreReport, error) {
	return soon{}, errSoon
}
func (a *Archive) Status(ctx context.Context) (Status, error) { return soon{}, errSoon }

// IsRoot tells a ROOT given to --from (a drive's folder, or an address) from a copy's name.
func IsRoot(from string) bool { return false }

// RootAccess is how to get at a ROOT that no config describes.
type RootAccess struct {
	Root        string // a drive's folder, or https://host/bucket/prefix
	Region      string
	Credentials string // "env" or a file; "" for "env"
	CAFile      string
}

func HistoryFrom(ctx context.Context, root RootAccess, site string) (HistoryReport, error) {
	return soon{}, errSoon
}
func RestoreFrom(ctx context.Context, root RootAccess, o RestoreOptions, p Progress) (RestoreReport, error) {
	return soon{}, errSoon
}
func VerifyFrom(ctx context.Context, root RootAccess, o VerifyOptions, p Progress) (VerifyReport, error) {
	return soon{}, errSoon
}

// ServeOptions are the daemon's settings.
type ServeOptions struct {
	Config  string // the config file or folder, read again at Reload
	Archive string // only this archive; "" for all
	Options
}

// Serve runs the rounds until ctx ends. It takes SIGHUP itself.
func Serve(ctx context.Context, o ServeOptions) error { return errSoon }
