package setup

import (
	"linecamp/daemon"
	"linecamp/daemon/config"
	who "linecamp/daemon/identity"
)

// Report says what setup made.
type Report struct {
	Archive string       `json:"archive"`
	Config  string       `json:"config"`
	Copies  []CopyReport `json:"copies"`
	Notes   []string     `json:"notes,omitempty"`
	Secret  string       `json:"secret_file,omitempty"`
	// Client tells of a client that was added.
	Client *ClientReport `json:"client,omitempty"`
	// Author tells of a take-over.
	Author *AuthorReport `json:"author,omitempty"`
	// Changed tells of a copy that was renamed, removed or replaced.
	Changed *ChangeReport `json:"changed,omitempty"`
	// State is the folder for what linecamp remembers between runs.
	State string `json:"state,omitempty"`
}

// AuthorReport says who records from now on.
type AuthorReport struct {
	Machine string   `json:"machine"`
	Was     string   `json:"was,omitempty"`
	Epoch   int      `json:"epoch"`
	Already bool     `json:"already,omitempty"` // it was the author before
	Copies  []string `json:"copies"`
	Later   []string `json:"later"`
	Parted  []string `json:"parted,omitempty"` // see daemon.Takeover

	Held []daemon.Held `json:"held,omitempty"` // see daemon.Takeover
}

// Wants is true only where recording waits for a copy: else what setup made works, and
// its notes are said once.
func (r Report) Wants() bool { return r.Author != nil && len(r.Author.Held) > 0 }

// stateOf is the state folder of an archive, "" where none can be had.
func stateOf(cfg config.Archive) string {
	dir, err := cfg.StateDir()
	if err != nil {
		return ""
	}
	return dir
}

// thisMachine is the id under which this machine records an archive; "" where
// it has none yet.
func thisMachine(cfg config.Archive) string {
	id, err := who.Known(stateOf(cfg))
	if err != nil {
		return ""
	}
	return id
}
