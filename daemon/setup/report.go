package setup

import (
	"fmt"
	"io"
	"strings"

	"linecamp/daemon/config"
	who "linecamp/daemon/identity"
	"linecamp/manifest"
	"linecamp/manifest/words"
)

// Report says what setup made.
type Report struct {
	Archive string       `json:"archive"`
	Config  string       `json:"config"`
	Copies  []CopyReport `json:"copies"`
	Notes   []string     `json:"notes,omitempty"`
	Secret  string       `json:"secret_file,omitempty"`
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
	Already bool     `json:"already,omitempty"` // it was the author before, and nothing was changed
	Copies  []string `json:"copies"`
	Later   []string `json:"later"`
}

// Wants is false: what setup made works, and its notes are said once.
func (r Report) Wants() bool { return false }

// Print writes the report for a person.
func (r Report) Print(w io.Writer) {
	line := words.Of(w)
	if a := r.Author; a != nil && a.Already {
		fmt.Fprintf(w, "This machine, %s, records the archive %s already. Nothing was changed.\n", a.Machine, r.Archive)
		return
	} else if a != nil {
		fmt.Fprintf(w, "This machine, %s, records the archive %s from now on", a.Machine, r.Archive)
		if a.Was != "" && a.Was != a.Machine {
			fmt.Fprintf(w, "; %s no longer does", a.Was)
		}
		fmt.Fprintf(w, ".\nKnown to: %s.\n", strings.Join(a.Copies, ", "))
		if len(a.Later) > 0 {
			fmt.Fprintf(w, "Out of reach now, told by the next mirror round: %s.\n", strings.Join(a.Later, ", "))
		}
		return
	}
	if c := r.Changed; c != nil {
		c.print(w)
		if len(r.Copies) == 0 {
			fmt.Fprintf(w, "The settings of %s are in %s\n", r.Archive, r.Config)
			return
		}
	}
	for _, c := range r.Copies {
		made := "made"
		if c.Adopted {
			made = "was a copy already"
		}
		fmt.Fprintf(w, "%s  %s, %s\n", c.Copy, manifest.Printable(c.Place), made)
		for _, n := range c.Notes {
			fmt.Fprintf(w, "    %s.\n", line.Text(n))
		}
	}
	for _, n := range r.Notes {
		fmt.Fprintf(w, "Note: %s.\n", n)
	}
	if r.Secret != "" {
		fmt.Fprintf(w, "The bucket's keys are in %s, for its owner only.\n", r.Secret)
	}
	fmt.Fprintf(w, "The settings of %s are in %s\n", r.Archive, r.Config)
	if r.State != "" {
		fmt.Fprintf(w, "What linecamp remembers of it goes to %s\n", r.State)
	}
	fmt.Fprintf(w, "Now run: %s\n", line.Run("mirror"))
}

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
