package cli

import (
	"io"

	"github.com/spf13/cobra"

	"coilwright/emit/table"
	"coilwright/encode/network"
)

func newDiodes(a *app) *cobra.Command {
	var out string
	form := newChoice("text", "text", "csv")
	cmd := command("diodes FILE [--form text|csv] [-o FILE]", "The placement list for the solder station",
		`Lists every diode in soldering order with a box to tick: card, row, column,
line, connector pin, what the row means and which way the band points; then the
counts of each row and column to check against.`,
		`coilwright diodes millrace.coil | lp
coilwright diodes millrace.coil --form csv -o diodes.csv`, wants(1, 1, "the FILE with the definition"))
	form.add(cmd, "form", "text for paper, csv for a spreadsheet")
	outFlag(cmd, &out)
	cmd.ValidArgsFunction = completeDefinitions
	cmd.RunE = func(_ *cobra.Command, args []string) error {
		l, mx, err := a.needMatrix(args[0])
		if err != nil {
			return err
		}
		return a.deliver(out, diodesArtefact("placement list", l, mx, form.value))
	}
	return cmd
}

func diodesArtefact(name string, l *loaded, mx *network.Matrix, form string) artefact {
	write, verify := table.DiodesText, verifyDiodesText
	if form == "csv" {
		write, verify = table.DiodesCSV, verifyDiodesCSV
	}
	return artefact{
		name:   name,
		write:  func(w io.Writer) error { return write(w, mx) },
		verify: func(r io.Reader) error { return verify(r, l.store, mx) },
	}
}
