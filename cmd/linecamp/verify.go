package main

import (
	"fmt"

	"github.com/spf13/cobra"

	"linecamp/daemon"
	"linecamp/daemon/reach"
)

func (t *tool) verify() *cobra.Command {
	var o daemon.VerifyOptions
	var from reach.RootAccess
	var root, bag string
	cmd := &cobra.Command{
		Use:     "verify",
		Short:   "re-reads the copies and says which years are missing",
		GroupID: groupKeep,
		Long: `Reads every byte of the copies and of your folder again and compares it
with the manifest, then goes through the years of each site and says what is
missing. From a bucket it downloads no more than the settings allow, longest
unread first. With --deep the JPEG and PNG photos of your folder are
decoded too, each once; of HEIC and raw files only the structure is checked.`,
		Example: `linecamp verify
linecamp verify --quick
linecamp verify --only years
linecamp verify --only years --deep
linecamp verify --quick --seal "47 2026-07-02 9f3a-11c2-5d08-77be-0c41-a9e2-3b6f-d015"
linecamp verify --from /media/office/line-camp
linecamp verify --root /media/office/line-camp
linecamp verify --bag ~/for-the-agency`,
		Args: noArgs,
		RunE: func(cmd *cobra.Command, args []string) error {
			switch o.Only {
			case "", daemon.OnlyRot, daemon.OnlyYears:
			default:
				return usagef("--only takes %q or %q, not %q", daemon.OnlyRot, daemon.OnlyYears, o.Only)
			}
			if o.Seal != "" && o.Only == daemon.OnlyYears {
				return usagef("--seal is held against the copies; leave --only years out")
			}
			if o.Deep && (o.Only == daemon.OnlyRot || o.Copy != "" || from.Root != "" || root != "") {
				return usagef("--deep decodes your folder's photos where the years are gone through; leave the other choice out")
			}
			if bag != "" {
				if root != "" || from.Root != "" || o != (daemon.VerifyOptions{}) {
					return usagef("--bag is judged as a whole, and goes with no other choice of what to check")
				}
				return t.once(func(p daemon.Progress) (report, error) { return daemon.JudgeBag(cmd.Context(), bag, p) })
			}
			if root != "" {
				if from.Root != "" || o != (daemon.VerifyOptions{}) {
					return usagef("--root is held against the OCFL standard as a whole, and goes with no other choice of what to check")
				}
				at := from
				at.Root = root
				return t.once(func(p daemon.Progress) (report, error) {
					return daemon.ValidateRoot(cmd.Context(), at, p)
				})
			}
			if from.Root != "" {
				if o.Copy != "" {
					return usagef("--from and --copy do not go together: --from is the copy")
				}
				return t.once(func(p daemon.Progress) (report, error) {
					return daemon.VerifyFrom(cmd.Context(), from, o, p)
				})
			}
			return on(t, cmd, hasPlace(o.Copy), (*daemon.Archive).Verify, o)
		},
	}
	f := cmd.Flags()
	f.StringVar(&o.Copy, "copy", "", "only the copy with this `NAME`, or \"working\" for your folder")
	f.StringVar(&o.Only, "only", "", "only one `HALF`: \"rot\" reads bytes, \"years\" goes through the years")
	f.StringVar(&o.Seal, "seal", "", "a `SEAL` on paper, as linecamp seal printed it, that each copy must bear out")
	f.StringVar(&root, "root", "", "hold any OCFL object or storage root at `PATH`, ours or not, against the standard")
	f.StringVar(&bag, "bag", "", "judge any bag (RFC 8493) in `FOLDER`, ours or not: complete, valid, and what fails")
	f.BoolVar(&o.Deep, "deep", false, "decode every JPEG and PNG of the folder in full, and name those that do not decode; of HEIC and raw files only the structure is checked, as always")
	f.BoolVar(&o.Quick, "quick", false, "compare sizes and quick sums; read in full only what differs")
	rootFlags(cmd, &from, "a copy's `ROOT`: a folder or https address; needs no settings")
	t.completesCopies(cmd, "copy")
	cmd.RegisterFlagCompletionFunc("only", cobra.FixedCompletions([]string{daemon.OnlyRot, daemon.OnlyYears}, cobra.ShellCompDirectiveNoFileComp))
	return cmd
}

// rootFlags are the options of commands that can work from one copy alone.
func rootFlags(cmd *cobra.Command, r *reach.RootAccess, from string) {
	f := cmd.Flags()
	f.StringVar(&r.Root, "from", "", from)
	f.StringVar(&r.Credentials, "credentials", "", "with --from an address: \"env\" or a `FILE` with the keys")
	f.StringVar(&r.Region, "region", "", "with --from an address: the bucket's `REGION`")
	f.StringVar(&r.CAFile, "ca-file", "", "with --from an address: certificates to trust, in a `FILE`")
}

// isRoot tells a ROOT given to --from from the name of a copy.
func (t *tool) isRoot(from string) (bool, error) {
	all, _, _, err := t.chosen()
	root := reach.IsRoot(from, copiesOf(all...))
	if err != nil && from != "" && !root {
		return false, fmt.Errorf("--from %s: no folder of that name is here, and without settings no copy has a name (%w)", from, err)
	}
	return root, nil
}

// sayOr prints a report unless it could not be made.
func (t *tool) sayOr(r report, err error) error {
	if err != nil {
		return err
	}
	return t.say(r)
}
