package daemon

import (
	"context"

	"linecamp/daemon/sheet"
	"linecamp/daemon/status"
)

// How an archive stands, and what is on paper of it; see packages status and sheet.
type (
	Status      = status.Status
	CopyStatus  = status.CopyStatus
	PastRound   = status.PastRound
	PaperReport = sheet.PaperReport
)

// Status looks at the archive. A copy that does not answer in a few seconds is
// told as such, with the age of what is known.
func (a *Archive) Status(ctx context.Context) (Status, error) { return status.Of(ctx, a.Archive) }

// RecoverySheet draws the recovery sheet into a new file.
func (a *Archive) RecoverySheet(ctx context.Context, file string) (PaperReport, error) {
	return sheet.Draw(a.Archive, file)
}

// SheetPrinted puts on file that the recovery sheet in a file was printed.
func (a *Archive) SheetPrinted(ctx context.Context, file string) (PaperReport, error) {
	return sheet.NotePrinted(a.Archive, file)
}
