package main

import (
	"slices"

	"github.com/spf13/cobra"

	"linecamp/daemon"
)

func (t *tool) mirror() *cobra.Command {
	var o daemon.MirrorOptions
	cmd := &cobra.Command{
		Use:     "mirror",
		Short:   "brings the copies up to date",
		GroupID: groupKeep,
		Long: `Adds to every copy what is new in your folder, all copies at once.
Deleting a file here deletes nothing there. A change that looks like an accident
(many files altered or gone at once) is not recorded until someone has looked:
look, and then run it again with --accept-changes.

--without gives a copy up for good, one that is lost: it is marked in the
settings and not used again, its name is free, and should it turn up, linecamp
asks before anything is done with it.

It may be stopped at any moment; the next run carries on where it was.`,
		Example: `linecamp mirror
linecamp mirror --copy shelf-drive
linecamp mirror --accept-changes --why "sorted the 2014 folders"
linecamp mirror --without old-drive             give a lost copy up for good`,
		Args: noArgs,
		RunE: func(cmd *cobra.Command, args []string) error {
			if o.Why != "" && !o.AcceptChanges {
				return usagef("--why goes with --accept-changes: it is the reason put on file")
			}
			if slices.Contains(o.Without, o.Copy) {
				return usagef("a copy that is given up cannot be brought up to date; leave --copy out")
			}
			return on(t, cmd, hasCopy(append(o.Without, o.Copy)...), (*daemon.Archive).Mirror, o)
		},
	}
	f := cmd.Flags()
	f.StringVar(&o.Copy, "copy", "", "only the copy with this `NAME`")
	f.BoolVar(&o.AcceptChanges, "accept-changes", false, "record the changes that wait for a person")
	f.StringVar(&o.Why, "why", "", "the `REASON` that goes on file with them")
	f.StringArrayVar(&o.Without, "without", nil, "give up the copy with this `NAME`; may be said several times")
	t.carriesProgram(cmd)
	t.completesCopies(cmd, "copy", "without")
	return cmd
}
