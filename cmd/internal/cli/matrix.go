package cli

import (
	"io"

	"github.com/spf13/cobra"

	"coilwright/emit/readback"
	"coilwright/emit/table"
	"coilwright/encode/network"
)

type matrixOptions struct {
	out   string
	form  choice
	style choice
}

func newMatrix(a *app) *cobra.Command {
	o := matrixOptions{
		form:  newChoice("text", "text", "csv"),
		style: newStyle(),
	}
	cmd := command("matrix FILE [--form text|csv] [--style STYLE] [-o FILE]", "The diode matrix as a grid",
		`Prints the matrix: its rows with what they mean and what feeds them, its
columns with the lines, and a mark where a diode sits. At one level of diodes a
pulse wire is made by a relay: its coil, where the diodes lead, and its
contact, which feeds the wire, are named; so are those of the inverting relay
of a line that is active low. Diodes at coils are on the placement list
(coilwright diodes). Text is cut into blocks of columns that fit 80 characters;
csv is the same for a spreadsheet.

`+styleHelp,
		`coilwright matrix millrace.coil
coilwright matrix millrace.coil --form csv -o matrix.csv`, wants(1, 1, "the FILE with the definition"))
	o.form.add(cmd, "form", "text for paper, csv for a spreadsheet")
	addStyle(cmd, &o.style)
	outFlag(cmd, &o.out)
	cmd.ValidArgsFunction = completeDefinitions
	cmd.RunE = func(_ *cobra.Command, args []string) error {
		l, n, err := a.needNetwork(args[0], o.style.value)
		if err != nil {
			return err
		}
		return a.deliver(o.out, matrixArtefact("matrix", l, n, o.form.value))
	}
	return cmd
}

// matrixArtefact is the matrix in a form, its diodes followed again and
// compared with the store.
func matrixArtefact(name string, l *loaded, n *network.Network, form string) artefact {
	if form == "csv" {
		return artefact{
			name:   name,
			write:  func(w io.Writer) error { return table.MatrixCSV(w, n.Matrix) },
			verify: func(r io.Reader) error { return readback.MatrixCSV(r, l.store, n.List) },
		}
	}
	return artefact{
		name:   name,
		write:  func(w io.Writer) error { return table.MatrixText(w, n.Matrix, table.Width) },
		verify: func(r io.Reader) error { return readback.MatrixText(r, l.store, n.List) },
	}
}
