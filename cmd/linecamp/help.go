package main

import (
	"errors"
	"regexp"
	"strings"

	"github.com/spf13/cobra"

	"linecamp/cmd/linecamp/help"
)

// noOption finds the option in what the reader of options says of one that is
// none.
var noOption = regexp.MustCompile(`^unknown (?:flag: |shorthand flag: '.' in )(-\S+)$`)

// dressHelp gives the program its own help pages.
func (t *tool) dressHelp(root *cobra.Command) {
	root.SetHelpFunc(func(cmd *cobra.Command, _ []string) { help.Write(cmd.OutOrStdout(), cmd) })
	root.SetUsageFunc(func(cmd *cobra.Command) error { help.Write(cmd.ErrOrStderr(), cmd); return nil })
	root.SetFlagErrorFunc(func(_ *cobra.Command, err error) error {
		if m := noOption.FindStringSubmatch(err.Error()); m != nil {
			return usagef("there is no option %s", m[1])
		}
		return usageError{errors.New(strings.Join(strings.Fields(err.Error()), " "))}
	})
	root.SetHelpCommandGroupID(groupTool)
	root.InitDefaultHelpCmd()
	for _, c := range root.Commands() {
		if c.Name() == "help" {
			c.Use, c.Short = "help [COMMAND]", "shows the page of a command"
			c.Long, c.Example = "", "linecamp help restore"
		}
	}
}
