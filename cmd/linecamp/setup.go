package main

import (
	"cmp"
	"fmt"
	"os"
	"strings"

	"github.com/spf13/cobra"
	"golang.org/x/term"

	"linecamp/daemon/setup"
	"linecamp/daemon/show/text/takehome"
)

func (t *tool) setup() *cobra.Command {
	var o setup.Options
	var drives, s3s []string
	var yes, add, takeOver bool
	var remove, rename, replace, newKeys, removeArchive string
	cmd := &cobra.Command{
		Use:     "setup | --yes --archive NAME [--folder FOLDER] --drive NAME=FOLDER | --add-copy --drive NAME=FOLDER | --remove-copy NAME | --rename-copy OLD=NEW | --replace-copy NAME --drive NAME=FOLDER | --new-keys NAME | --take-over | --remove-archive NAME",
		Short:   "makes an archive's copies and its settings",
		GroupID: groupStart,
		Long: `Asks at most six questions, tries each copy, makes it ready, and writes the
settings. Scripts answer with options and --yes instead. Settings that are there
already are never overwritten: --add-copy adds a copy to them. --remove-copy
takes one out, once nothing is on it alone; --rename-copy gives it another name;
--replace-copy gives up a drive that is dead and makes a new copy in its place.
None of them deletes anything from a copy.

--new-keys asks for other keys of a bucket, or takes them with --credentials. It
tries them on the copy before it changes the settings, and writes over no key.

--take-over makes this computer the one that records new versions, after another
computer did so before: a new office computer, for example.

--client adds the archive of a client to a computer that looks after many. It asks
what the client is called, which folder, drive and bucket, puts the bucket's keys
into a file of the client's own, and writes a text for the client to take home.

--remove-archive takes an archive off this computer. It sets the settings aside and
says what stays where; it deletes no photo, no copy and nothing it remembers. It
asks first, and refuses while a copy lacks something, unless you add --yes.`,
		Example: `linecamp setup
linecamp setup --yes --archive saltbush-draw --folder /srv/monitoring \
    --drive shelf-drive=/media/office/line-camp \
    --s3 bucket=https://s3.example.net/monitoring --credentials env
linecamp setup --add-copy --drive barn-drive=/media/barn/line-camp
linecamp setup --rename-copy barn-drive=loft-drive
linecamp setup --replace-copy shelf-drive --drive shelf-drive=/media/new/line-camp
linecamp setup --new-keys bucket --credentials ~/new-keys.toml
linecamp setup --client --yes --name "Hackberry Flat Ranch" --drive clients-drive=/media/hackberry/line-camp
linecamp setup --take-over
linecamp setup --remove-archive saltbush-draw`,
		Args: noArgs,
		RunE: func(cmd *cobra.Command, args []string) (err error) {
			o.Archive, o.Config, o.Log, o.Words = t.archive, t.config, t.log(), takehome.Write
			if err := o.Name(drives, s3s); err != nil {
				return asUsage(err)
			}
			var asked []string
			for _, name := range []string{"add-copy", "remove-copy", "rename-copy", "replace-copy", "new-keys", "take-over", "remove-archive"} {
				if cmd.Flags().Changed(name) {
					asked = append(asked, "--"+name)
				}
			}
			if len(asked) > 1 {
				return usagef("%s and %s are two different things; run one, then the other", asked[0], asked[1])
			}
			if o.UseAgain && !add && replace == "" {
				return usagef("--use-again goes with --add-copy: it says that a copy which was given up is to be used again")
			}
			if cmd.Flags().Changed("remove-archive") {
				return t.removeArchive(cmd.Context(), removeArchive, yes)
			}
			var r setup.Report
			switch {
			case takeOver:
				r, err = setup.TakeOver(cmd.Context(), o)
			case cmd.Flags().Changed("remove-copy"):
				r, err = setup.RemoveCopy(cmd.Context(), o, remove)
			case cmd.Flags().Changed("rename-copy"):
				old, to, ok := strings.Cut(rename, "=")
				if !ok || old == "" || to == "" {
					return usagef("--rename-copy takes OLD=NEW, for example shelf-drive=barn-drive, not %q", rename)
				}
				r, err = setup.RenameCopy(cmd.Context(), o, old, to)
			case cmd.Flags().Changed("replace-copy"):
				r, err = setup.ReplaceCopy(cmd.Context(), o, replace)
			case cmd.Flags().Changed("new-keys"):
				r, err = t.newKeys(cmd.Context(), o, newKeys, yes)
			case add:
				r, err = setup.AddCopy(cmd.Context(), o)
			default:
				if !yes {
					asked := o
					if o, err = answered(cmd.Context(), t, func() (setup.Options, error) { return setup.Ask(t.in, t.errs, t.secret(), asked) }); err != nil {
						return asUsage(err)
					}
				} else if err := o.Answered(); err != nil {
					return asUsage(err)
				}
				r, err = setup.Run(cmd.Context(), o)
			}
			t.archive = cmp.Or(t.archive, r.Archive) // for the command to run next
			return t.sayOr(r, asUsage(err))
		},
	}
	f := cmd.Flags()
	f.BoolVar(&yes, "yes", false, "ask nothing; the options are the answers")
	f.StringVar(&o.Folder, "folder", "", "your `FOLDER`, with the photos and notes")
	f.StringVar(&o.Layout, "layout", "", "how its folders are named, as a `PATTERN`; the common ways are understood without it")
	f.StringArrayVar(&drives, "drive", nil, "a copy on a drive, `NAME=FOLDER`; may be said several times")
	f.StringArrayVar(&s3s, "s3", nil, "a copy in a bucket, `NAME=ADDRESS`; may be said several times")
	f.StringVar(&o.Credentials, "credentials", "", "the bucket's keys: \"env\", or a `FILE` only its owner can read")
	f.StringVar(&o.Region, "region", "", "the bucket's `REGION`")
	f.StringVar(&o.CAFile, "ca-file", "", "certificates to trust beside the system's, in a `FILE`")
	f.BoolVar(&o.OneWriter, "one-writer", false, "you vouch that only this computer writes to the bucket")
	f.StringVar(&o.State, "state", "", "the `FOLDER` for what linecamp remembers between runs")
	f.BoolVar(&o.Client, "client", false, "the archive is a client's, one of many: asks four things, and writes a text for the client")
	f.StringVar(&o.Title, "name", "", "what the archive or the client is called, as people `WRITE` it")
	f.BoolVar(&add, "add-copy", false, "add a copy to settings that are there")
	f.BoolVar(&o.UseAgain, "use-again", false, "the copy to add was given up, and is to be used again")
	f.StringVar(&remove, "remove-copy", "", "stop using the copy with this `NAME`, if nothing is on it alone")
	f.StringVar(&rename, "rename-copy", "", "give a copy another name, `OLD=NEW`")
	f.StringVar(&replace, "replace-copy", "", "give up the lost copy with this `NAME`; a new one takes its place")
	f.StringVar(&newKeys, "new-keys", "", "have the bucket with this `NAME` used with other keys, once they were tried")
	f.BoolVar(&takeOver, "take-over", false, "make this computer the recording computer")
	f.StringVar(&removeArchive, "remove-archive", "", "no longer look after the archive with this `NAME` here; deletes nothing")
	cmd.MarkFlagDirname("folder")
	cmd.MarkFlagDirname("state")
	t.completesCopies(cmd, "remove-copy", "replace-copy", "new-keys")
	return cmd
}

// secret reads a line that the terminal does not show; nil where there is no
// terminal to hide it from.
func (t *tool) secret() func() (string, error) {
	f, ok := t.in.(*os.File)
	if !ok || !term.IsTerminal(int(f.Fd())) {
		return nil
	}
	return func() (string, error) {
		b, err := term.ReadPassword(int(f.Fd()))
		fmt.Fprintln(t.errs)
		return string(b), err
	}
}
