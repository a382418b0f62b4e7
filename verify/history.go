package verify

import (
	"context"
	"io"
	"time"

	"linecamp/manifest/store"
	"linecamp/manifest/tally"
)

// History is a site's visits and versions.
type History struct {
	Archive  string              `json:"archive"`
	Site     string              `json:"site"`
	ID       string              `json:"id"`
	Pasture  string              `json:"pasture"`
	Folder   string              `json:"folder"`
	Versions []HistoryVersion    `json:"versions"`
	Visits   []tally.ReportVisit `json:"visits"`
	// Missing are versions that the seal names and this copy lacks.
	Missing []int `json:"missing_versions,omitempty"`
}

// HistoryVersion is one version; files and bytes are people's.
type HistoryVersion struct {
	Version int       `json:"version"`
	Created time.Time `json:"created"`
	Message string    `json:"message"`
	Files   int       `json:"files"`
	Bytes   int64     `json:"bytes"`
}

// HistoryOf reads a site's history from one copy.
func HistoryOf(ctx context.Context, r store.Root, s Site) (History, error) {
	return History{}, errSoon
}

// Wants reports whether this copy lacks versions.
func (h History) Wants() bool { return len(h.Missing) > 0 }

// Print writes the history for a person.
func (h History) Print(w io.Writer) {}
