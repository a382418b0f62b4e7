// Package setup makes an archive's copies and its config.
package setup

import (
	"context"
	"errors"
	"io"
)

var errSoon = errors.New("not built yet")

// NamedDir is a drive copy to be: NAME=DIR.
type NamedDir struct{ Name, Dir string }

// NamedURL is an S3 copy to be: NAME=URL/BUCKET[/PREFIX].
type NamedURL struct{ Name, URL string }

// Options are the answers setup needs.
type Options struct {
	Archive     string
	Folder      string // working folder; "" where this machine only keeps the archive
	Layout      string
	Drives      []NamedDir
	S3s         []NamedURL
	Credentials string // "env", or the file that holds them; "" for "env"
	Region      string
	CAFile      string
	OneWriter   bool   // a person vouches that one machine writes to the buckets
	Config      string // the config file to write, or the folder to write NAME.toml into
	State       string // "" for the usual place
}

// Report says what setup made.
type Report struct {
	Archive string `json:"archive"`
	Config  string `json:"config"`
}

func (r Report) Wants() bool       { return false }
func (r Report) Print(w io.Writer) {}

// Run makes the copies' roots, then writes the config. Never overwrites one.
func Run(ctx context.Context, o Options) (Report, error) { return Report{}, errSoon }

// AddCopy adds the drives and buckets of o to the config at o.Config (o.Archive picks one in a folder).
func AddCopy(ctx context.Context, o Options) (Report, error) { return Report{}, errSoon }

// TakeOver makes this machine the author of the archive at o.Config.
func TakeOver(ctx context.Context, o Options) (Report, error) { return Report{}, errSoon }

// Ask puts at most six questions and returns have with what was missing filled
// in. secret reads a line without showing it; nil reads it from in.
func Ask(in io.Reader, out io.Writer, secret func() (string, error), have Options) (Options, error) {
	return Options{}, errSoon
}
