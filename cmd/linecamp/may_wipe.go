package main

import (
	"github.com/spf13/cobra"

	"linecamp/daemon"
)

func (t *tool) mayWipe() *cobra.Command {
	var moved bool
	cmd := &cobra.Command{
		Use:     "may-wipe FOLDER",
		Short:   "whether a camera card may be wiped",
		GroupID: groupLook,
		Long: `Reads every byte of a camera card, a phone's folder or an old laptop's, and says
of each file whether it is safe without it: held by two copies on different
devices beside your folder, and read back from one of them at least.
What is filed and not yet safe is named with the command to run. What linecamp
keeps nowhere is listed, to be moved first. Nothing is changed. The exit status
is 0 only when nothing is left to do, else 3.`,
		Example: `linecamp may-wipe /media/office/CAMERA
linecamp may-wipe /media/office/CAMERA --others-moved`,
		Args: exactly(1, "the folder of the card"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return t.opened(cmd.Context(), func(archives []*daemon.Archive) (report, error) {
				return t.watched(func(p daemon.Progress) (report, error) {
					return daemon.MayWipe(cmd.Context(), args[0], archives, moved, p)
				})
			})
		},
	}
	cmd.Flags().BoolVar(&moved, "others-moved", false, "you say that what linecamp keeps nowhere is moved, or not wanted")
	return cmd
}
