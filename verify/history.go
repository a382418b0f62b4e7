package verify

import (
	"time"

	"linecamp/manifest/tally"
)

// History is a site's visits and versions. Visits are those of its full
// history: what was deleted since is there.
type History struct {
	Archive  string              `json:"archive"`
	Site     string              `json:"site"`
	ID       string              `json:"id"`
	Pasture  string              `json:"pasture"`
	Folder   string              `json:"folder"`
	Versions []HistoryVersion    `json:"versions"`
	Visits   []tally.ReportVisit `json:"visits"`
	Other    []tally.ReportFile  `json:"other"` // files that are neither a visit's photos nor its notes
	// Formers are the objects that were joined to this one: the same stake under
	// an earlier name.
	Formers []string `json:"formers,omitempty"`
	// Missing are versions that the seal names and this copy lacks.
	Missing []int `json:"missing_versions,omitempty"`
	// Unread are versions whose record this copy cannot read: their bytes and
	// visits are not known here.
	Unread []int `json:"unread_records,omitempty"`
}

// HistoryVersion is one version; files and bytes are people's.
type HistoryVersion struct {
	Version int       `json:"version"`
	Object  string    `json:"object,omitempty"` // where it is another than the site's own: one that is closed
	Created time.Time `json:"created"`
	Message string    `json:"message"`
	Files   int       `json:"files"`
	Bytes   int64     `json:"bytes"`
}

// Wants reports whether this copy lacks versions or cannot read a record.
func (h History) Wants() bool { return len(h.Missing)+len(h.Unread) > 0 }
