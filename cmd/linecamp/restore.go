package main

import (
	"strconv"
	"time"

	"github.com/spf13/cobra"

	"linecamp/daemon"
	"linecamp/daemon/reach"
)

func (t *tool) restore() *cobra.Command {
	var o daemon.RestoreOptions
	var from reach.RootAccess
	var earlier string // the option that --on took the place of
	cmd := &cobra.Command{
		Use:     "restore SITE --into FOLDER | --everything --into FOLDER",
		Short:   "brings back a site's full history, or everything",
		GroupID: groupBack,
		Long: `Writes a site's photos and notes into a folder, every file any version of it
had, each under its own name with its own time, and each checked on the way. A
year deleted by mistake comes back. A file that lies there already and differs
is never overwritten; a restore that was stopped carries on when run again.

With --from and the folder of a drive, or the https address of a bucket, it
needs no settings: this is the way back when the computer is lost.`,
		Example: `linecamp restore "Stake 3" --into ~/stake-3
linecamp restore "Stake 3" --year 2014 --into ~/stake-3
linecamp restore "Stake 3" --on 2019-12-31 --into ~/as-it-was
linecamp restore --everything --into /srv/monitoring --from /media/office/line-camp`,
		Args: func(cmd *cobra.Command, args []string) error {
			if o.Everything && len(args) == 0 {
				return nil
			}
			if o.Everything {
				return usagef("either name a site (%q) or say --everything, not both", args[0])
			}
			return exactly(1, "the name of a site, or --everything")(cmd, args)
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			if len(args) == 1 {
				o.Site = args[0]
			}
			if earlier != "" {
				return usagef("there is no --as-of; the day is given with --on %s", earlier)
			}
			if err := restoreUsage(o); err != nil {
				return err
			}
			if root, err := t.isRoot(from.Root); err != nil {
				return err
			} else if root {
				return t.once(func(p daemon.Progress) (report, error) {
					return daemon.RestoreFrom(cmd.Context(), from, o, p)
				})
			}
			o.From = from.Root
			if o.Everything {
				if _, _, several, err := t.chosen(); err == nil && several {
					return usagef("there are several archives; say which one is to be restored with --archive NAME")
				}
			} else if err := t.holds(cmd.Context(), o.Site); err != nil {
				return err
			}
			return on(t, cmd, hasCopy(o.From), (*daemon.Archive).Restore, o)
		},
		ValidArgsFunction: t.completeSite,
	}
	f := cmd.Flags()
	f.StringVar(&o.Into, "into", "", "the `FOLDER` to write into (needed)")
	f.BoolVar(&o.Everything, "everything", false, "every site, and the files without one")
	f.StringVar(&o.Year, "year", "", "only the visits of this `YEAR`")
	f.StringVar(&o.On, "on", "", "as it stood at the end of this `DAY`, 2019-12-31, or at a full RFC 3339 time")
	f.StringVar(&earlier, "as-of", "", "")
	f.MarkHidden("as-of")
	f.BoolVar(&o.EveryVersion, "every-version", false, "also the bytes that were replaced later, named by version")
	rootFlags(cmd, &from, "a copy's `NAME|ROOT`; a folder or https address needs no settings")
	t.completesRoots(cmd, "from")
	cmd.MarkFlagDirname("into")
	return cmd
}

// restoreUsage refuses what cannot be meant, before anything is opened.
func restoreUsage(o daemon.RestoreOptions) error {
	if o.Into == "" {
		return usagef("restore needs --into FOLDER: where the files are to be written")
	}
	if n, err := strconv.Atoi(o.Year); o.Year != "" && (err != nil || len(o.Year) != 4 || n < 0) {
		return usagef("--year takes a year of four digits, not %q", o.Year)
	}
	if o.On == "" {
		return nil
	}
	if _, err := time.Parse(time.DateOnly, o.On); err == nil {
		return nil
	}
	if _, err := time.Parse(time.RFC3339, o.On); err != nil {
		return usagef("--on takes a day such as 2019-12-31, or a full time such as 2019-12-31T18:00:00-07:00, not %q", o.On)
	}
	return nil
}
