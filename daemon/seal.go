package daemon

import (
	"cmp"
	"context"
	"errors"
	"fmt"

	"linecamp/daemon/authority"
	"linecamp/daemon/reach"
	"linecamp/manifest/seal"
	"linecamp/manifest/store"
)

// SealReport is the archive's seal as it stands now, in the form for paper and
// in full.
type SealReport struct {
	Archive string `json:"archive"`
	Line    string `json:"line"`   // for paper: count, day, half of the digest
	Lines   int    `json:"lines"`  // of the log
	Day     string `json:"date"`   // of the last line; "" while there is none
	SHA256  string `json:"sha256"` // of the lines, in full
}

// Wants is false: a seal is only a statement.
func (SealReport) Wants() bool { return false }

func sealReport(archive string, s *seal.Seal) SealReport {
	p := s.Printed()
	return SealReport{Archive: archive, Line: p.String(), Lines: p.Lines, Day: p.Day, SHA256: s.Digest().String()}
}

// Seal says the archive's seal: that of this machine's state, or of the copies
// within reach where they are further.
func (a *Archive) Seal(ctx context.Context) (SealReport, error) {
	k, err := a.Look(ctx)
	if err != nil {
		return SealReport{}, err
	}
	defer k.Copies.Close()
	seal, err := authority.Agreed(ctx, k.Seal, nil, forAuthority(k.Copies.Open()))
	if other, ok := errors.AsType[*authority.OtherHistory](err); ok {
		return SealReport{}, fmt.Errorf("the seal on %s is not this archive's; nothing can be sealed until `linecamp verify` has shown which copy is true", other.Name)
	}
	if err != nil {
		return SealReport{}, err
	}
	return sealReport(a.Config.Name, seal), nil
}

// SealFrom says the seal of one root alone.
func SealFrom(ctx context.Context, root reach.RootAccess) (SealReport, error) {
	return from(ctx, root, func(h *reach.Copy, archive string) (SealReport, error) {
		s, err := store.ReadSeal(ctx, h.Root)
		if err != nil {
			return SealReport{}, fmt.Errorf("the seal on %s: %w", h.Name, err)
		}
		return sealReport(archive, s), nil
	})
}

// paper reads the seal given to VerifyOptions.Seal, nil for none. A slip of the pen
// says nothing of a copy, so it is told before any copy is held against it.
func (o VerifyOptions) paper(log *seal.Seal) (*seal.Printed, error) {
	if o.Seal == "" {
		return nil, nil
	}
	p, err := seal.ParsePrinted(o.Seal)
	if not := cmp.Or(log, &seal.Seal{}).Bears(p); err == nil && errors.Is(not, seal.ErrSlip) {
		err = not
	}
	return &p, err
}
