package main

import (
	"context"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"linecamp/cmd/linecamp/help"
	"linecamp/daemon"
	"linecamp/daemon/config"
	"linecamp/daemon/show/screen"
)

// dressCompletion adds the completion command, and completes the global options.
func (t *tool) dressCompletion(root *cobra.Command) {
	root.SetCompletionCommandGroupID(groupTool)
	root.InitDefaultCompletionCmd("completion")
	for _, c := range root.Commands() {
		if c.Name() != "completion" {
			continue
		}
		help.Completion(c)
		c.Args = cobra.ArbitraryArgs
		c.RunE = func(cmd *cobra.Command, args []string) error {
			if len(args) > 0 {
				return usagef("there is no completion for %q; there is for bash, zsh, fish and powershell", args[0])
			}
			return cmd.Help()
		}
	}
	root.RegisterFlagCompletionFunc("archive", func(*cobra.Command, []string, string) ([]string, cobra.ShellCompDirective) {
		all, _ := config.LoadFrom(t.config)
		var names []string
		for _, a := range all {
			names = append(names, a.Name)
		}
		return screen.Offered(names...), cobra.ShellCompDirectiveNoFileComp
	})
}

// completesCopies lets the named options of cmd complete copies' names.
func (t *tool) completesCopies(cmd *cobra.Command, flags ...string) {
	for _, f := range flags {
		cmd.RegisterFlagCompletionFunc(f, t.completeCopy(cobra.ShellCompDirectiveNoFileComp))
	}
}

// completesRoots is the same for an option that a folder may stand in as well.
func (t *tool) completesRoots(cmd *cobra.Command, flag string) {
	cmd.RegisterFlagCompletionFunc(flag, t.completeCopy(cobra.ShellCompDirectiveDefault))
}

func (t *tool) completeCopy(what cobra.ShellCompDirective) cobra.CompletionFunc {
	return func(*cobra.Command, []string, string) ([]string, cobra.ShellCompDirective) {
		all, _, _, err := t.chosen()
		if err != nil {
			return nil, what
		}
		return screen.Offered(copiesOf(all...)...), what
	}
}

// completeSite completes the name of a site.
func (t *tool) completeSite(cmd *cobra.Command, args []string, begun string) ([]string, cobra.ShellCompDirective) {
	if len(args) > 0 {
		return nil, cobra.ShellCompDirectiveNoFileComp
	}
	all, _, _, err := t.chosen()
	if err != nil {
		return nil, cobra.ShellCompDirectiveNoFileComp
	}
	ctx, cancel := context.WithTimeout(context.Background(), 2*time.Second)
	defer cancel()
	var names []string
	for _, a := range all {
		names = append(names, siteNames(ctx, a, begun)...)
	}
	return names, cobra.ShellCompDirectiveNoFileComp
}

// siteNames are the names of an archive's sites that begin so, read from its
// nearest drive: the name on the stake, or the folder where that was begun. A site
// whose name may not be offered is offered by its object's, which always may.
func siteNames(ctx context.Context, a config.Archive, begun string) []string {
	var names []string
	for _, s := range daemon.NearSites(ctx, a) {
		n := s.Begun(begun)
		if len(screen.Offered(n)) == 0 && strings.HasPrefix(s.Object, begun) {
			n = s.Object
		}
		names = append(names, screen.Offered(n)...)
	}
	return names
}
