package cli

import (
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"coilwright/lang/diag"
)

// choice is a flag whose value is one of a few words.
type choice struct {
	value string
	words []string
}

func newChoice(value string, words ...string) choice { return choice{value, words} }

func (c *choice) String() string { return c.value }
func (c *choice) Type() string   { return strings.Join(c.words, "|") }

func (c *choice) Set(s string) error {
	for _, w := range c.words {
		if s == w {
			c.value = s
			return nil
		}
	}
	meant := ""
	if near := diag.Nearest(s, c.words); near != "" {
		meant = fmt.Sprintf("; did you mean %q?", near)
	}
	return fmt.Errorf("one of %s is wanted%s", strings.Join(c.words, ", "), meant)
}

// add makes the choice a flag of cmd, with shell completion.
func (c *choice) add(cmd *cobra.Command, name, usage string) {
	cmd.Flags().Var(c, name, usage)
	completeWords(cmd, name, c.words)
}

func completeWords(cmd *cobra.Command, flag string, words []string) {
	// The only error is a flag that does not exist: a slip in this package.
	if err := cmd.RegisterFlagCompletionFunc(flag, cobra.FixedCompletions(words, cobra.ShellCompDirectiveNoFileComp)); err != nil {
		panic(err)
	}
}
