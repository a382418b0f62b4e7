package setup

import (
	"fmt"
	"io"
	"strings"
	"time"
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
	now    time.Time
}

// AuthorReport says who records from now on.
type AuthorReport struct {
	Machine string   `json:"machine"`
	Was     string   `json:"was,omitempty"`
	Epoch   int      `json:"epoch"`
	Copies  []string `json:"copies"`
	Later   []string `json:"later"`
}

// Wants is false: what setup made works, and its notes are said once.
func (r Report) Wants() bool { return false }

// Print writes the report for a person.
func (r Report) Print(w io.Writer) {
	if a := r.Author; a != nil {
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
	for _, c := range r.Copies {
		made := "made"
		if c.Adopted {
			made = "was a copy already"
		}
		fmt.Fprintf(w, "%s  %s, %s\n", c.Copy, c.Place, made)
		for _, n := range c.Notes {
			fmt.Fprintf(w, "    %s.\n", n)
		}
	}
	for _, n := range r.Notes {
		fmt.Fprintf(w, "Note: %s.\n", n)
	}
	if r.Secret != "" {
		fmt.Fprintf(w, "The bucket's keys are in %s, for its owner only.\n", r.Secret)
	}
	fmt.Fprintf(w, "The settings of %s are in %s. Now run: linecamp mirror\n", r.Archive, r.Config)
}
