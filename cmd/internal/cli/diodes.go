package cli

import (
	"io"

	"github.com/spf13/cobra"

	"coilwright/emit/readback"
	"coilwright/emit/table"
	"coilwright/encode/network"
)

func newDiodes(a *app) *cobra.Command {
	var out string
	form := newChoice("text", "text", "csv")
	style := newStyle()
	cmd := command("diodes FILE [--form text|csv] [--style STYLE] [-o FILE]", "The placement list for the solder station",
		`Lists every diode in soldering order with a box to tick. Those of the matrix
have their card, row, column, line, connector pin (for a line that is active
low, the coil of its relay), what the row means and which way the band points;
those at coils, for each card after its rows, have the relay and what their two
ends are on. The counts of each row, column and card are there to check
against.

`+styleHelp,
		`coilwright diodes millrace.coil | lp
coilwright diodes millrace.coil --form csv -o diodes.csv`, wants(1, 1, "the FILE with the definition"))
	form.add(cmd, "form", "text for paper, csv for a spreadsheet")
	addStyle(cmd, &style)
	outFlag(cmd, &out)
	cmd.ValidArgsFunction = completeDefinitions
	cmd.RunE = func(_ *cobra.Command, args []string) error {
		l, n, err := a.needNetwork(args[0], style.value)
		if err != nil {
			return err
		}
		return a.deliver(out, diodesArtefact("placement list", l, n, form.value))
	}
	return cmd
}

// diodesArtefact is the placement list in a form, its diodes followed again
// and compared with the store.
func diodesArtefact(name string, l *loaded, n *network.Network, form string) artefact {
	if form == "csv" {
		return artefact{
			name:   name,
			write:  func(w io.Writer) error { return table.DiodesCSV(w, n.Matrix) },
			verify: func(r io.Reader) error { return readback.DiodesCSV(r, l.store, n.List) },
		}
	}
	return artefact{
		name:   name,
		write:  func(w io.Writer) error { return table.DiodesText(w, n.Matrix) },
		verify: func(r io.Reader) error { return readback.DiodesText(r, l.store, n.List) },
	}
}
