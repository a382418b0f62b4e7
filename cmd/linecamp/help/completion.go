package help

import "github.com/spf13/cobra"

// Completion names the completion command and its shells in our words.
func Completion(c *cobra.Command) {
	c.Short = "writes what a shell needs to complete names"
	c.Long = `Writes a script for your shell, after which the TAB key completes commands,
options, and the names of sites, archives and copies. The page of each shell
says where the script goes.`
	c.Example = `linecamp completion bash --help`
	for _, shell := range c.Commands() {
		if page, ok := shellPages[shell.Name()]; ok {
			shell.Short, shell.Long, shell.Example = "for "+shell.Name(), page.long, page.example
			if f := shell.Flags().Lookup("no-descriptions"); f != nil {
				f.Usage = "complete names only, without a word on each"
			}
		}
	}
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
