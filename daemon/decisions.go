package daemon

import (
	"context"

	"linecamp/daemon/decide"
)

// What a person decides about the record; see package decide.
type (
	ExplainOptions = decide.ExplainOptions
	ExplainReport  = decide.ExplainReport
	ExplainedSite  = decide.ExplainedSite
	SameOptions    = decide.SameOptions
	SameReport     = decide.SameReport
)

// Explain puts the reason for missing years, or for a finding about a file, on file.
func (a *Archive) Explain(ctx context.Context, o ExplainOptions, p Progress) (ExplainReport, error) {
	return decide.Explain(ctx, a.Archive, o, p)
}

// Same puts on file that two sites are one stake, or that they are two.
func (a *Archive) Same(ctx context.Context, o SameOptions, p Progress) (SameReport, error) {
	return decide.Same(ctx, a.Archive, o, p)
}
