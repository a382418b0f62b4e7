package main

import (
	"fmt"
	"io"
	"runtime"
	"runtime/debug"
	"strings"

	"github.com/spf13/cobra"

	"linecamp/daemon/carried"
)

type versionReport struct {
	Version string `json:"version"`
	Go      string `json:"go"`
	System  string `json:"system"`
}

func (v versionReport) Print(w io.Writer) {
	fmt.Fprintf(w, "linecamp %s (%s, %s)\n", v.Version, v.Go, v.System)
}

func (v versionReport) Wants() bool { return false }

func (t *tool) version() *cobra.Command {
	return &cobra.Command{
		Use:     "version",
		Short:   "says which linecamp this is",
		Example: `linecamp version --json`,
		GroupID: groupTool,
		Args:    noArgs,
		RunE:    func(cmd *cobra.Command, args []string) error { return t.say(thisVersion()) },
	}
}

// stamped is the version that the packages' builder gives the program.
var stamped string

func thisVersion() versionReport {
	v := versionReport{Version: "(no version)", Go: runtime.Version(), System: runtime.GOOS + "/" + runtime.GOARCH}
	if b, ok := debug.ReadBuildInfo(); stamped != "" {
		v.Version = stamped
	} else if ok && b.Main.Version != "" {
		v.Version = b.Main.Version
	}
	return v
}

// carriesProgram is the option of the commands that put this program on each drive.
func (t *tool) carriesProgram(cmd *cobra.Command) {
	cmd.Flags().BoolVar(&t.carries, "program-on-drives", false, "keep this program on each drive too, so that a new computer finds it there")
}

// program is what drives are to hold, none where nobody asked for it.
func (t *tool) program() carried.Program {
	if !t.carries {
		return carried.Program{}
	}
	version := thisVersion().Version
	if strings.HasPrefix(version, "(") { // of a build without one, its bytes tell
		version = ""
	}
	p, err := carried.Running(version)
	if err != nil {
		t.log().Warn("this program cannot be put on drives", "error", err)
	}
	return p
}
