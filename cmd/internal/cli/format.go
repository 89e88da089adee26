package cli

import (
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"coilwright/lang/definition"
	"coilwright/lang/diag"
)

type formatOptions struct {
	out     string
	replace bool
	check   bool
}

func newFormat(a *app) *cobra.Command {
	var o formatOptions
	cmd := command("format FILE... [--replace | --check] [-o FILE]", "Lay definitions out in one way",
		`Prints definitions with indentation, columns and comments lined up. Lines are
never joined, split or moved. A file with syntax errors is left alone.

--replace rewrites the files that change; --check lists them and fails (status
1).`,
		`coilwright format millrace.coil
coilwright format --replace *.coil
coilwright format --check millrace.coil`, wants(1, -1, "the FILE to format"))
	cmd.Flags().BoolVar(&o.replace, "replace", false, "rewrite the files")
	cmd.Flags().BoolVar(&o.check, "check", false, "list the files that would change, and fail if there are any")
	outFlag(cmd, &o.out)
	cmd.ValidArgsFunction = func(*cobra.Command, []string, string) ([]string, cobra.ShellCompDirective) {
		return []string{"coil"}, cobra.ShellCompDirectiveFilterFileExt
	}
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		switch toFile := cmd.Flags().Changed("out"); {
		case o.replace && o.check:
			return usagef("--replace and --check do not go together")
		case o.replace && toFile:
			return usagef("--replace and --out do not go together")
		case toFile && !o.check && len(args) > 1:
			return usagef("--out takes the text of one FILE, not of %d", len(args))
		}
		return a.format(args, o)
	}
	return cmd
}

// format goes on with the other files after one that is bad; the status is
// that of the worst.
func (a *app) format(files []string, o formatOptions) error {
	status := statusFine
	var changed []string
	for _, path := range files {
		if o.replace && path == "-" {
			return usagef("--replace cannot rewrite standard input")
		}
		source, err := a.read(path)
		if err != nil {
			fmt.Fprintf(a.err, "coilwright: %s: %s\n", path, err)
			status = max(status, statusFile)
			continue
		}
		laid, list := definition.Format(path, string(source))
		if err := a.print(diag.Sources{path: string(source)}, list.Settle([]string{path})); err != nil {
			return err
		}
		if list.Errors() > 0 {
			status = max(status, statusInput)
			continue
		}
		switch {
		case o.check:
			if laid != string(source) {
				changed = append(changed, path+"\n")
				status = max(status, statusInput)
			}
		case o.replace:
			if laid != string(source) {
				err = a.deliverOver(path, text(path, laid))
			}
		case o.out != "-":
			err = a.deliverOver(o.out, text(path, laid))
		default:
			err = a.deliver(o.out, text(path, laid))
		}
		if err != nil {
			return err
		}
	}
	if o.check {
		if err := a.deliver(o.out, text("list", strings.Join(changed, ""))); err != nil {
			return err
		}
	}
	if status != statusFine {
		return said(status)
	}
	return nil
}

// deliverOver is deliver for a command that may rewrite its input.
func (a *app) deliverOver(out string, art artefact) error {
	a.inputs = nil
	return a.deliver(out, art)
}
