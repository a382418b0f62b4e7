package main

import (
	"io"

	"github.com/spf13/cobra"
)

// tool is one run of the program: its streams and its global options.
type tool struct {
	in        io.Reader
	out, errs io.Writer
	bars      io.Writer // the error stream itself, for what moves the cursor

	config  string
	archive string
	json    bool
	quiet   bool
	among   int // archives that the settings describe

	whichOne bool // --version
	carries  bool // --program-on-drives

	spoken bool // the report is out already; only the exit status is left to tell
}

// The groups of commands on the help page, in the order of a ranch's year.
const (
	groupStart = "start"
	groupLook  = "look"
	groupKeep  = "keep"
	groupBack  = "back"
	groupTool  = "tool"
)

func (t *tool) root() *cobra.Command {
	root := &cobra.Command{
		Use:   "linecamp",
		Short: "Keeps a second and a third copy of a ranch's photo-monitoring record.",
		Long: `linecamp looks after a folder of monitoring photos and field notes. It knows
every file by its content, keeps copies of it on a drive and in S3-compatible
storage, re-reads those copies, says which years are missing, and brings any
site's full history back.`,
		Example: `linecamp setup                                 answer a few questions, once
linecamp mirror                                bring the copies up to date
linecamp status                                one look at how things stand
linecamp restore "Stake 3" --into ~/stake-3    bring one site back`,
		Args:          cobra.ArbitraryArgs,
		RunE:          t.bare,
		SilenceErrors: true,
		SilenceUsage:  true,
	}
	cobra.EnableCommandSorting = false // in the order of their use, as added below
	root.AddGroup(
		&cobra.Group{ID: groupStart, Title: "Once, at the start"},
		&cobra.Group{ID: groupLook, Title: "Look"},
		&cobra.Group{ID: groupKeep, Title: "Keep"},
		&cobra.Group{ID: groupBack, Title: "Bring back"},
		&cobra.Group{ID: groupTool, Title: "About the program"},
	)
	f := root.PersistentFlags()
	f.StringVar(&t.config, "config", "", "settings `PATH`: one file, or a folder with one file per archive")
	f.StringVar(&t.archive, "archive", "", "the archive's `NAME`, where there are several")
	f.BoolVar(&t.json, "json", false, "print the report as one JSON object")
	f.BoolVar(&t.quiet, "quiet", false, "print nothing when all is well")
	root.Flags().BoolVar(&t.whichOne, "version", false, "say which linecamp this is")

	root.AddCommand(t.setup(), t.status(), t.page(), t.tally(), t.history(), t.due(), t.mayWipe(), t.seal(), t.levels(), t.intake(), t.mirror(),
		t.verify(), t.explain(), t.same(), t.mend(), t.daemon(), t.service(), t.notice(), t.newMachine(), t.restore(), t.drill(), t.handOver(), t.paper(), t.version())
	t.dressHelp(root)
	t.dressCompletion(root)
	for _, dress := range dressings {
		dress(root)
	}
	return root
}

// dressings add what only some builds of the program have.
var dressings []func(*cobra.Command)

// bare runs when no command was named: it shows the help page, and refuses a
// word that is no command.
func (t *tool) bare(cmd *cobra.Command, args []string) error {
	if len(args) == 0 && t.whichOne {
		return t.say(thisVersion())
	}
	if len(args) == 0 {
		return cmd.Help()
	}
	return usagef("%q is not a command; the commands are listed by: linecamp --help", args[0])
}
