package main

import (
	"fmt"
	"io"
	"runtime"
	"runtime/debug"

	"github.com/spf13/cobra"
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

func thisVersion() versionReport {
	v := versionReport{Version: "(no version)", Go: runtime.Version(), System: runtime.GOOS + "/" + runtime.GOARCH}
	if b, ok := debug.ReadBuildInfo(); ok && b.Main.Version != "" {
		v.Version = b.Main.Version
	}
	return v
}
