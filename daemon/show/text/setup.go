package text

import (
	"fmt"
	"io"
	"strings"

	"linecamp/daemon"
	"linecamp/daemon/setup"
	"linecamp/daemon/show/screen"
)

// Print writes the report for a person.
func setUp(w io.Writer, r setup.Report) {
	line := screen.LineOf(w)
	if r.Author != nil {
		tookOver(w, r.Archive, *r.Author)
		return
	}
	if c := r.Changed; c != nil {
		setUpChanged(w, *c)
		if len(r.Copies) == 0 {
			for _, n := range r.Notes {
				fmt.Fprintf(w, "Note: %s.\n", line.Text(n))
			}
			fmt.Fprintf(w, "The settings of %s are in %s\n", r.Archive, r.Config)
			return
		}
	}
	for _, c := range r.Copies {
		made := "made"
		if c.Adopted {
			made = "was a copy already"
		}
		fmt.Fprintf(w, "%s  %s, %s\n", c.Copy, shown(c.Place), made)
		for _, n := range c.Notes {
			fmt.Fprintf(w, "    %s.\n", line.Text(n))
		}
	}
	for _, n := range r.Notes {
		fmt.Fprintf(w, "Note: %s.\n", line.Text(n))
	}
	if r.Secret != "" {
		fmt.Fprintf(w, "The bucket's keys are in %s, for its owner only.\n", r.Secret)
	}
	fmt.Fprintf(w, "The settings of %s are in %s\n", r.Archive, r.Config)
	if r.State != "" {
		fmt.Fprintf(w, "What linecamp remembers of it goes to %s\n", r.State)
	}
	if r.Client != nil && r.Client.TakeHome != "" {
		fmt.Fprintf(w, "What %s takes home is in %s: print it, and give it away.\n", shown(r.Client.Name), r.Client.TakeHome)
	}
	fmt.Fprintf(w, "Now run: %s\n", line.Run("mirror"))
}

func setUpChanged(w io.Writer, c setup.ChangeReport) {
	switch c.What {
	case "renamed":
		fmt.Fprintf(w, "%s is called %s from now on. It is the same copy: nothing else changed.\n", c.Copy, c.To)
	case "removed":
		fmt.Fprintf(w, "%s is no longer used, and its lines in the settings are comments now. What it holds is left as it is.\n", c.Copy)
	case "new keys":
		newKeys(w, c)
	case "replaced":
		fmt.Fprintf(w, "%s is given up, and %s takes its place.\n", c.Copy, c.To)
		alones(w, *c.Alone)
	}
}

// held says for which copies recording waits.
func held(w io.Writer, all []daemon.Held) {
	line := screen.LineOf(w)
	for _, h := range all {
		fmt.Fprintf(w, "%s  %s\n    Nothing is recorded before this copy is read: put it right, or give it up with `%s`.\n", h.Copy, line.Text(shown(h.Error)), line.Run("mirror", "--without", h.Copy))
	}
}

func tookOver(w io.Writer, archive string, a setup.AuthorReport) {
	line := screen.LineOf(w)
	if a.Already {
		fmt.Fprintf(w, "This computer, %s, is the recording computer of %s already.\n", a.Machine, archive)
	} else {
		fmt.Fprintf(w, "This computer, %s, is the recording computer of %s from now on.\n", a.Machine, archive)
		if a.Was != "" && a.Was != a.Machine {
			fmt.Fprintf(w, "The computer %s records no more.\n", a.Was)
		}
		fmt.Fprintf(w, "These copies know it: %s.\n", strings.Join(a.Copies, ", "))
	}
	if len(a.Later) > 0 {
		fmt.Fprintf(w, "These copies are out of reach now: %s. The next mirror round goes on without what only they have, and takes it in once they are back.\n", strings.Join(a.Later, ", "))
	}
	if len(a.Parted) > 0 {
		fmt.Fprintf(w, "These copies have another history of the archive, or a damaged seal: %s. `%s` takes in what they have of another history. If it calls a seal damaged, run `%s`, then `%s`.\n", strings.Join(a.Parted, ", "), line.Run("mirror"), line.Run("verify"), line.Run("mend"))
	}
	held(w, a.Held)
}
