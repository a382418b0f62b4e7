package daemon

import (
	"context"
	"errors"
	"slices"

	"linecamp/daemon/archive"
	"linecamp/daemon/cameracard"
	"linecamp/daemon/intake"
	"linecamp/daemon/intake/maywipe"
)

// Intake reads a camera card and proposes what of it goes where (see
// cameracard.Intake).
func Intake(ctx context.Context, card string, archives []*Archive, o intake.Options, p Progress) (*cameracard.Plan, error) {
	return cameracard.Intake(ctx, card, bare(archives), o, p)
}

// MayWipe says of each file on a card whether it is safe without it (see
// cameracard.MayWipe).
func MayWipe(ctx context.Context, card string, archives []*Archive, othersMoved bool, p Progress) (*maywipe.Answer, error) {
	return cameracard.MayWipe(ctx, card, bare(archives), othersMoved, p)
}

func bare(archives []*Archive) (all []*archive.Archive) {
	for _, a := range archives {
		all = append(all, a.Archive)
	}
	return all
}

// HasFolder reports whether this machine has a working folder of the archive.
func (a *Archive) HasFolder() bool { return a.Config.Folder != "" }

var errNoFolders = errors.New("none of the archives has its folder on this computer, so there is nowhere to file to")

// WithFolder leaves the archives that files can go to.
func WithFolder(archives []*Archive) ([]*Archive, error) {
	list := slices.DeleteFunc(slices.Clone(archives), func(a *Archive) bool { return !a.HasFolder() })
	if len(list) == 0 {
		return nil, errNoFolders
	}
	return list, nil
}
