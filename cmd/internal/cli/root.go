package cli

import (
	"errors"
	"fmt"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"coilwright/lang/diag"
)

const rootLong = `Coilwright turns the instruction set of a relay computer, written as ordered
steps of control lines, into sequencer phases, memory images and a diode matrix.

A definition is a text file (.coil); "-" stands for standard input. Data goes to
standard output, or to a file with -o; messages go to standard error.

Exit status: 0 fine, 1 the input has errors, 2 wrong usage, 3 a file could not
be read or written, 70 a bug in the program.`

// usageText is how the help of a command ends: what to type, examples, flags.
const usageText = `Usage:
  {{.UseLine}}{{if .HasAvailableSubCommands}} COMMAND

Commands:{{range .Commands}}{{if or .IsAvailableCommand (eq .Name "help")}}
  {{rpad .Name .NamePadding}} {{.Short}}{{end}}{{end}}{{end}}{{if .HasExample}}

Examples:
{{.Example}}{{end}}{{if .HasAvailableLocalFlags}}

Flags:
{{.LocalFlags.FlagUsagesWrapped 80 | trimTrailingWhitespaces}}{{end}}{{if .HasAvailableInheritedFlags}}

Flags of every command:
{{.InheritedFlags.FlagUsagesWrapped 80 | trimTrailingWhitespaces}}{{end}}{{if .HasAvailableSubCommands}}

"coilwright help COMMAND" says more about a command, "coilwright help language"
is the reference of the definition language, "coilwright help program" that of
the program language.{{end}}
`

// Commands are shown in the order in which a builder meets them. Cobra has no
// other place for this than its own variable.
func init() { cobra.EnableCommandSorting = false }

// newRoot builds the tree of commands.
func newRoot(a *app) *cobra.Command {
	root := &cobra.Command{
		Use:     "coilwright",
		Short:   "Phases, memory images and a diode matrix for a relay computer",
		Long:    rootLong,
		Example: "  coilwright new mymachine\n  coilwright build mymachine/millrace.coil",
		Version: version,
		Args:    cobra.ArbitraryArgs,
		// The usage template adds what belongs behind the name.
		DisableFlagsInUseLine: true,
		SilenceUsage:          true,
		SilenceErrors:         true,
		RunE: func(cmd *cobra.Command, args []string) error {
			if len(args) == 0 {
				cmd.SetOut(a.err)
				if err := cmd.Help(); err != nil {
					return err
				}
				return said(statusUsage)
			}
			return unknownCommand(cmd, args[0])
		},
	}
	root.SetIn(a.in)
	root.SetOut(a.out)
	root.SetErr(a.err)
	root.PersistentFlags().Var(&a.colour, "colour", "colour in messages; auto: on a terminal. None at all where NO_COLOR is set")
	completeWords(root, "colour", a.colour.words)
	root.AddCommand(
		newNew(a),
		newCheck(a),
		newFormat(a),
		newPhases(a),
		newBuild(a),
		newImage(a),
		newExercise(a),
		newMatrix(a),
		newDiodes(a),
		newWires(a),
		newProve(a),
		newNetlist(a),
		newAssemble(a),
		newRehearse(a),
		newExplain(a),
		newVersion(a),
		newCompletion(a),
		newLanguage(a),
		newProgram(a),
	)
	root.SetHelpCommand(newHelp(a))
	root.CompletionOptions.DisableDefaultCmd = true
	root.SetUsageTemplate(usageText)
	root.SetVersionTemplate(versionLine() + "\n")
	return root
}

func unknownCommand(root *cobra.Command, name string) error {
	meant := ""
	if near := diag.Nearest(name, commandNames(root)); near != "" {
		meant = fmt.Sprintf("; did you mean %q?", near)
	}
	return usagef("there is no command %q%s", name, meant)
}

// commandNames lists the commands that a person can see, topics of help left out.
func commandNames(root *cobra.Command) []string {
	var names []string
	for _, c := range root.Commands() {
		if c.IsAvailableCommand() || c.Name() == "help" {
			names = append(names, c.Name())
		}
	}
	return names
}

// command is the frame of a command: its arguments are checked before it runs.
func command(use, short, long, example string, args cobra.PositionalArgs) *cobra.Command {
	return &cobra.Command{
		Use:                   use,
		Short:                 short,
		Long:                  long,
		Example:               indent(example),
		Args:                  args,
		DisableFlagsInUseLine: true,
	}
}

func indent(s string) string {
	return "  " + strings.ReplaceAll(strings.TrimSpace(s), "\n", "\n  ")
}

// wants is the arguments of a command in words, as its usage line has them.
// None may be empty: it would stand for the folder we are in, or for nothing.
func wants(least, most int, what string) cobra.PositionalArgs {
	return func(_ *cobra.Command, args []string) error {
		switch {
		case len(args) < least:
			return fmt.Errorf("%s is missing", what)
		case most >= 0 && len(args) > most:
			return fmt.Errorf("%q is one argument too many", args[most])
		case slices.Contains(args, ""):
			return errors.New("an argument is empty")
		}
		return nil
	}
}

// outFlag adds -o, --out.
func outFlag(cmd *cobra.Command, out *string) {
	*out = "-"
	cmd.Flags().VarP((*place)(out), "out", "o", "write to `FILE` instead of standard output (-)")
}

// place is a flag whose value is where to write: "-" is standard output.
type place string

func (p *place) String() string { return "" } // no default in the help: the usage says it
func (p *place) Type() string   { return "FILE" }

func (p *place) Set(path string) error {
	if path == "" {
		return errors.New("it is empty: name a file, or - for standard output")
	}
	*p = place(path)
	return nil
}

// completeDefinitions completes the first argument with .coil files.
func completeDefinitions(_ *cobra.Command, args []string, _ string) ([]string, cobra.ShellCompDirective) {
	if len(args) > 0 {
		return nil, cobra.ShellCompDirectiveNoFileComp
	}
	return []string{"coil"}, cobra.ShellCompDirectiveFilterFileExt
}
