package daemon

import (
	"context"
	"time"

	"linecamp/daemon/reach"
)

// Round runs one scheduled round, as the service does.
func (a *Archive) Round(ctx context.Context, kind string) error { return scheduled{a}.round(ctx, kind) }

// Returned reports whether the service would run a round for a drive that came back.
func (a *Archive) Returned(ctx context.Context) bool {
	return watch.Back(ctx, scheduled{a}.Missed(), a.Now)
}

// Opens is when the service would run a round for a link that opens.
func (a *Archive) Opens() time.Time { return scheduled{a}.Opens() }

// Broke reports whether the service would soon try again to reach a bucket.
func (a *Archive) Broke() bool { return scheduled{a}.Broke() }

var watch reach.Watch
