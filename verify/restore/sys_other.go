//go:build !linux

package restore

import (
	"context"
	"errors"
	"os"

	"linecamp/manifest/wholefile"
)

const openFlags = os.O_RDONLY

var errQuota = errors.New("over the quota")

func syncAll(*os.File) error { return nil }

func startWriting(*os.File) {}

func pour(context.Context, *os.File, *os.File, int64) error { return errors.ErrUnsupported }

func rename(f *folder, from, to string) error { return wholefile.Name(f.root, from, to) }
