package main

import (
	"context"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"linecamp/daemon"
	"linecamp/daemon/config"
	"linecamp/daemon/show/screen"
)

// dressCompletion names the completion command in our words and completes the
// global options.
func (t *tool) dressCompletion(root *cobra.Command) {
	root.SetCompletionCommandGroupID(groupTool)
	root.InitDefaultCompletionCmd("completion")
	for _, c := range root.Commands() {
		if c.Name() != "completion" {
			continue
		}
		c.Short = "writes what a shell needs to complete names"
		c.Long = `Writes a script for your shell, after which the TAB key completes commands,
options, and the names of sites, archives and copies. The page of each shell
says where the script goes.`
		c.Example = `linecamp completion bash --help`
		c.Args = cobra.ArbitraryArgs
		c.RunE = func(cmd *cobra.Command, args []string) error {
			if len(args) > 0 {
				return usagef("there is no completion for %q; there is for bash, zsh, fish and powershell", args[0])
			}
			return cmd.Help()
		}
		for _, shell := range c.Commands() {
			if page, ok := shellPages[shell.Name()]; ok {
				shell.Short, shell.Long, shell.Example = "for "+shell.Name(), page.long, page.example
				if f := shell.Flags().Lookup("no-descriptions"); f != nil {
					f.Usage = "complete names only, without a word on each"
				}
			}
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

// shellPages say for each shell where its script goes.
var shellPages = map[string]struct{ long, example string }{
	"bash": {`Writes the completion script for bash. For this window alone, read it in; for
every window, put it where bash looks for such scripts. The package
bash-completion has to be installed.`,
		`source <(linecamp completion bash)
linecamp completion bash > ~/.local/share/bash-completion/completions/linecamp`},
	"zsh": {`Writes the completion script for zsh. Put it into a folder of your $fpath, under
the name _linecamp, before compinit runs in your ~/.zshrc.`,
		`source <(linecamp completion zsh)
linecamp completion zsh > "${fpath[1]}/_linecamp"`},
	"fish": {`Writes the completion script for fish. For this window alone, read it in; for
every window, put it among fish's completions.`,
		`linecamp completion fish | source
linecamp completion fish > ~/.config/fish/completions/linecamp.fish`},
	"powershell": {`Writes the completion script for PowerShell. For this window alone, run it; for
every window, put the line into your profile.`,
		`linecamp completion powershell | Out-String | Invoke-Expression`},
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
		var names []string
		for _, a := range all {
			for _, c := range a.Copies {
				names = append(names, c.Name)
			}
		}
		return screen.Offered(names...), what
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
