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
		style: newChoice("plain", "plain", "shared", "minimal"),
	}
	cmd := command("matrix FILE [--form text|csv] [--style plain] [-o FILE]", "The diode matrix as a grid",
		`Prints the matrix: its rows with what they mean, its columns with the lines, and
a mark where a diode sits. Text is cut into blocks of columns that fit 80
characters; csv is the same for a spreadsheet.

Style plain has one row for each instruction, flag pattern and set of phases.
The styles shared and minimal come later.`,
		`coilwright matrix millrace.coil
coilwright matrix millrace.coil --form csv -o matrix.csv`, wants(1, 1, "the FILE with the definition"))
	o.form.add(cmd, "form", "text for paper, csv for a spreadsheet")
	o.style.add(cmd, "style", "how instructions share rows")
	outFlag(cmd, &o.out)
	cmd.ValidArgsFunction = completeDefinitions
	cmd.RunE = func(_ *cobra.Command, args []string) error {
		if o.style.value != "plain" {
			return usagef("--style %s: not yet, it comes with a later version; plain is there", o.style.value)
		}
		l, mx, err := a.needMatrix(args[0])
		if err != nil {
			return err
		}
		return a.deliver(o.out, matrixArtefact("matrix", l, mx, o.form.value))
	}
	return cmd
}

// needMatrix loads a definition for a command that wants the matrix.
func (a *app) needMatrix(path string) (*loaded, *network.Matrix, error) {
	l := a.load(path)
	mx := l.matrix()
	if err := a.say(l); err != nil {
		return nil, nil, err
	}
	if status := l.status(); status != statusFine {
		return nil, nil, said(status)
	}
	return l, mx, nil
}

// matrix places the matrix; what there is to say about it joins the list. It
// returns nil if there are errors.
func (l *loaded) matrix() *network.Matrix {
	if l.store == nil {
		return nil
	}
	mx, more := network.Plain(l.store, l.machine.Hardware)
	l.list = append(l.list, more...).Settle(l.source.Paths())
	if l.list.Errors() > 0 {
		return nil
	}
	return mx
}

// matrixArtefact is the matrix in a form, its diodes followed again and
// compared with the store.
func matrixArtefact(name string, l *loaded, mx *network.Matrix, form string) artefact {
	if form == "csv" {
		return artefact{
			name:   name,
			write:  func(w io.Writer) error { return table.MatrixCSV(w, mx) },
			verify: func(r io.Reader) error { return readback.MatrixCSV(r, l.store) },
		}
	}
	return artefact{
		name:   name,
		write:  func(w io.Writer) error { return table.MatrixText(w, mx, table.Width) },
		verify: func(r io.Reader) error { return readback.MatrixText(r, l.store) },
	}
}
