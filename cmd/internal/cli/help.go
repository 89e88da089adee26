package cli

import (
	_ "embed"
	"fmt"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"coilwright/lang/diag"
)

var (
	//go:embed language.txt
	languageText string
	//go:embed program.txt
	programText string
)

// newLanguage is a topic of help rather than a command: it cannot be run.
func newLanguage(*app) *cobra.Command {
	return &cobra.Command{
		Use:   "language",
		Short: "The definition language, for reading offline",
		Long:  strings.TrimSpace(languageText),
	}
}

// newProgram is the other topic.
func newProgram(*app) *cobra.Command {
	return &cobra.Command{
		Use:   "program",
		Short: "The program language, for reading offline",
		Long:  strings.TrimSpace(programText),
	}
}

// topics are what help knows beside commands.
var topics = []string{"language", "program"}

func newHelp(a *app) *cobra.Command {
	cmd := command("help [COMMAND | language | program]", "Help about a command, or one of the languages",
		`Prints the help of a command. "help language" is the reference of the definition
language, "help program" that of the program language; "explain NAME" is the
help about a message.`,
		`coilwright help build
coilwright help language | less`, nil)
	cmd.ValidArgsFunction = func(c *cobra.Command, args []string, _ string) ([]string, cobra.ShellCompDirective) {
		if len(args) > 0 {
			return nil, cobra.ShellCompDirectiveNoFileComp
		}
		return append(commandNames(c.Root()), topics...), cobra.ShellCompDirectiveNoFileComp
	}
	cmd.RunE = func(c *cobra.Command, args []string) error {
		root := c.Root()
		found, rest, err := root.Find(args)
		if err != nil || len(rest) > 0 {
			name := strings.Join(args, " ")
			meant := ""
			if near := diag.Nearest(name, append(commandNames(root), topics...)); near != "" {
				meant = fmt.Sprintf("; did you mean %q?", near)
			}
			return usagef("there is no help about %q%s", name, meant)
		}
		if slices.Contains(topics, found.Name()) {
			_, err := fmt.Fprintln(a.out, found.Long)
			return written(err)
		}
		found.InitDefaultHelpFlag()
		return found.Help()
	}
	return cmd
}

// written turns a failed write on standard output into the status alone: the
// reason is named at the end of the run.
func written(err error) error {
	if err != nil {
		return said(statusFile)
	}
	return nil
}
