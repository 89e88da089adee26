package cli

import (
	"fmt"
	"io"
	"slices"

	"github.com/spf13/cobra"

	"coilwright/emit/readback"
	"coilwright/emit/table"
	"coilwright/encode/schedule"
	"coilwright/lang/diag"
)

func newPhases(a *app) *cobra.Command {
	var out string
	cmd := command("phases FILE [INSTRUCTION] [-o FILE]", "The phase chart: lines down, phases across",
		`Draws the steps of every instruction, or of one, on the phases of the ring:
strobes, leads and trails, the ways through a "when" one under the other, and
below each the chain of constraints that sets its length. INSTRUCTION may also
be fetch or undefined.

The chart is read back and compared with the store before it is written.`,
		`coilwright phases millrace.coil
coilwright phases millrace.coil add
coilwright phases millrace.coil undefined`, wants(1, 2, "the FILE with the definition"))
	outFlag(cmd, &out)
	cmd.ValidArgsFunction = func(c *cobra.Command, args []string, word string) ([]string, cobra.ShellCompDirective) {
		if len(args) == 1 {
			if l := a.load(args[0]); l.machine != nil {
				return table.Instructions(l.machine), cobra.ShellCompDirectiveNoFileComp
			}
		}
		return completeDefinitions(c, args, word)
	}
	cmd.RunE = func(_ *cobra.Command, args []string) error {
		l, err := a.need(args[0])
		if err != nil {
			return err
		}
		only := ""
		if len(args) == 2 {
			if only, err = l.mnemonic(args[1]); err != nil {
				return err
			}
		}
		return a.deliver(out, l.chartArtefact("phase chart", only))
	}
	return cmd
}

// chartArtefact is the chart of one instruction, or of all for "".
func (l *loaded) chartArtefact(name, only string) artefact {
	return artefact{
		name: name,
		write: func(w io.Writer) error {
			return table.Chart(w, l.machine, l.plan, table.ChartOptions{Instruction: only})
		},
		verify: func(r io.Reader) error { return readback.ChartOf(only)(r, l.store) },
	}
}

// mnemonic checks a name from the command line: an unknown one is wrong
// usage, for the definition is in order.
func (l *loaded) mnemonic(name string) (string, error) {
	// These two are no instructions, but have charts of their own.
	names := append(table.Instructions(l.machine), "fetch")
	if slices.ContainsFunc(l.plan.Owners, func(o schedule.Owner) bool { return o.Kind == "undefined" }) {
		names = append(names, "undefined")
	} else if name == "undefined" && !slices.Contains(names, name) {
		return "", usagef("machine %s has no undefined opcodes: an instruction has each", l.machine.Name)
	}
	for _, n := range names {
		if n == name {
			return n, nil
		}
	}
	meant := ""
	if near := diag.Nearest(name, names); near != "" {
		meant = fmt.Sprintf("; did you mean %q?", near)
	}
	return "", usagef("machine %s has no instruction %q%s", l.machine.Name, name, meant)
}
