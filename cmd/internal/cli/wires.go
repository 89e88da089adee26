package cli

import (
	"io"

	"github.com/spf13/cobra"

	"coilwright/emit/readback"
	"coilwright/emit/table"
	"coilwright/encode/network"
)

func newWires(a *app) *cobra.Command {
	var out string
	form, style := newChoice("text", "text", "csv"), newStyle()
	cmd := command("wires FILE [--form text|csv] [--style STYLE] [-o FILE]", "Relays, wires and parts, to solder from",
		`Lists what is soldered: each relay with what it follows, its site and its poles;
each wire from terminal to terminal, by net and again by part; what runs from
card to card; the parts to buy; and the counts to check against. Terminals are
numbered as in EN 50005: A1 A2 for a coil, 11 common, 12 break, 14 make for the
first pole. Text is for paper, with boxes to tick.

Form csv is the same list bare, for a spreadsheet: change it there when a wire
goes elsewhere at the bench. Its records have a kind:

  list   style, levels of diodes (place), side of the feed (use), title (called)
  relay  name, card, site (place), poles
  diode  name, card
  pin    name of the connector, card, pin (place), and what it meets: use
         (phase, opcode, flag, line, feed, return, link, spare), number, called
  wire   from, to, and the net, which is only a name

Machine and hash stand in every record and may be left empty in those you add.

`+styleHelp,
		`coilwright wires millrace.coil | lp
coilwright wires millrace.coil --form csv -o wires.csv`, wants(1, 1, "the FILE with the definition"))
	form.add(cmd, "form", "text for paper, csv for a spreadsheet")
	addStyle(cmd, &style)
	outFlag(cmd, &out)
	cmd.ValidArgsFunction = completeDefinitions
	cmd.RunE = func(_ *cobra.Command, args []string) error {
		_, n, err := a.needNetwork(args[0], style.value)
		if err != nil {
			return err
		}
		return a.deliver(out, wiresArtefact("list of wires", n, form.value))
	}
	return cmd
}

// wiresArtefact is the list of relays and wires in a form, read back and
// compared with the bare list.
func wiresArtefact(name string, n *network.Network, form string) artefact {
	if form == "csv" {
		return artefact{
			name:   name,
			write:  func(w io.Writer) error { return table.WiresCSV(w, n.List) },
			verify: func(r io.Reader) error { return readback.WiresCSVOf(r, n.List) },
		}
	}
	return artefact{
		name:   name,
		write:  func(w io.Writer) error { return table.WiresText(w, n) },
		verify: func(r io.Reader) error { return readback.WiresText(r, n.List) },
	}
}
