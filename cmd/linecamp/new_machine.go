package main

import (
	"fmt"

	"github.com/spf13/cobra"

	"linecamp/daemon"
	"linecamp/daemon/newmachine"
	"linecamp/daemon/setup"
	"linecamp/daemon/show/text/recovered"
)

func (t *tool) newMachine() *cobra.Command {
	var o newmachine.Options
	var yes bool
	var confirmed []string
	cmd := &cobra.Command{
		Use:     "new-machine [--from ROOT] [--into FOLDER]",
		Short:   "goes back to work from one copy, when the computer is lost",
		GroupID: groupBack,
		Long: `Brings an archive back to a computer that knows nothing, from one copy: the
folder of a drive, or the https address of a bucket. It asks for what it is not
told, and shows what is on the copy before it writes anything.

The site named with --first comes first, then the newest visit of every site,
then the rest. Then it writes the settings, with all copies that are known, and
makes this computer the recording computer. In the end it says what is known to
exist and is not on this copy. Run again after it was stopped, it carries on.

A key is sent to the copy you name. It is sent to another bucket that the copy's
settings name only once you said that the address is yours: when you are asked,
or with --confirm.`,
		Example: `linecamp new-machine
linecamp new-machine --from /media/office/line-camp --into /srv/monitoring
linecamp new-machine --from https://s3.example.net/monitoring --credentials ranch.keys \
    --into /srv/monitoring --first "Stake 3" --yes`,
		Args: noArgs,
		RunE: func(cmd *cobra.Command, args []string) error {
			o.Archive, o.Config, o.Log = t.archive, t.config, t.log()
			if yes && (o.From.Root == "" || o.Into == "") {
				return usagef("new-machine --yes needs --from ROOT and --into FOLDER: which copy, and where the photos are to go")
			}
			confirm := newmachine.ConfirmNamed(confirmed, o.From.Credentials)
			q := setup.NewQuestions(t.in, t.errs, t.secret())
			if !yes {
				if len(confirmed) == 0 {
					confirm = newmachine.ConfirmBy(q)
				}
				asked := o
				var err error
				if o, err = answered(cmd.Context(), t, func() (newmachine.Options, error) { return newmachine.Ask(q, asked) }); err != nil {
					return asUsage(err)
				}
			}
			f, err := newmachine.Look(cmd.Context(), o)
			if err != nil {
				return asUsage(err)
			}
			defer f.Close()
			if !yes {
				fmt.Fprintln(t.errs)
			}
			if !t.quiet || !yes {
				recovered.Found(t.errs, f)
			}
			if !yes {
				if _, err := answered(cmd.Context(), t, func() (struct{}, error) { return struct{}{}, newmachine.GoOn(q) }); err != nil {
					return asUsage(err)
				}
			}
			settled, err := answered(cmd.Context(), t, func() (*newmachine.Settled, error) { return f.Settle(cmd.Context(), confirm) })
			if err != nil {
				return asUsage(err)
			}
			return t.once(func(p daemon.Progress) (report, error) { return settled.Run(cmd.Context(), p) })
		},
	}
	f := cmd.Flags()
	rootFlags(cmd, &o.From, "the copy, a drive's folder or an https address, as `ROOT`")
	f.StringVar(&o.Into, "into", "", "the `FOLDER` for the photos: empty, or not there yet")
	f.StringVar(&o.First, "first", "", "the `SITE` that comes first")
	f.StringArrayVar(&confirmed, "confirm", nil, "a bucket's `ADDRESS` that is yours, so that its key may be sent there; may be said several times")
	f.BoolVar(&o.OneWriter, "one-writer", false, "you vouch that only this computer writes to the bucket")
	f.BoolVar(&yes, "yes", false, "ask nothing; the options are the answers")
	cmd.MarkFlagDirname("into")
	return cmd
}
