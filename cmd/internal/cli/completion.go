package cli

import (
	"fmt"
	"io"

	"github.com/spf13/cobra"
)

func newCompletion(a *app) *cobra.Command {
	var out string
	shells := []string{"bash", "zsh", "fish", "powershell"}
	cmd := command("completion bash|zsh|fish|powershell [-o FILE]", "A script that lets your shell complete commands",
		`Writes a script for your shell. Loaded, it completes commands, flags, definition
files, the instructions of a definition (phases) and the names of messages
(explain).`,
		`source <(coilwright completion bash)
coilwright completion zsh -o ~/.zfunc/_coilwright
coilwright completion fish -o ~/.config/fish/completions/coilwright.fish`, wants(1, 1, "the name of the shell"))
	outFlag(cmd, &out)
	cmd.ValidArgsFunction = cobra.FixedCompletions(shells, cobra.ShellCompDirectiveNoFileComp)
	cmd.RunE = func(c *cobra.Command, args []string) error {
		shell := newChoice("", shells...)
		if err := shell.Set(args[0]); err != nil {
			return fmt.Errorf("no completion for %q: %w", args[0], err)
		}
		root := c.Root()
		write := map[string]func(io.Writer) error{
			"bash":       func(w io.Writer) error { return root.GenBashCompletionV2(w, true) },
			"zsh":        root.GenZshCompletion,
			"fish":       func(w io.Writer) error { return root.GenFishCompletion(w, true) },
			"powershell": root.GenPowerShellCompletionWithDesc,
		}[shell.value]
		return a.deliver(out, artefact{name: "script", write: write})
	}
	return cmd
}
