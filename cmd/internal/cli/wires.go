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
		`Lists what is soldered: each relay with what it follows, its site and its poles
in use; each wire from terminal to terminal, by net and again by part,
connectors among them; what runs from card to card; the parts to buy; and the
counts to check against. A relay of a condition has the opcodes and flags that
pull it in, for a test by hand. A pole in use is a common contact with one or
both of its throws, which a proof counts as one or two contacts. Terminals are
numbered as in EN 50005: A1 A2 for a coil, 11 common, 12 break, 14 make for the
first pole. Text is for paper, with boxes to tick.

Form csv is the same list bare, for a spreadsheet: change it there when a wire
goes elsewhere at the bench. Its records have a kind:

  list   style, levels of diodes (place), side of the feed (use), title (called)
  relay  name, card, site (place), poles; kind (use: opcode, flag, condition,
         pulse, inverter), poles in use (number), what it follows (called) and
         the net of its A1 (net)
  diode  name, card; use: matrix, feed (into a coil) or suppression (across
         one), and then the relay (called)
  pin    name of the connector, card, pin (place), and what it meets: use
         (phase, opcode, flag, line, feed, return, link, spare), number, called
  wire   from, to, and the net, which is only a name

The proof looks at the wires alone: kinds of relays, what they follow and what
diodes are for is there for people. Machine and hash stand in every record and
may be left empty in those you add.

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
			write:  func(w io.Writer) error { return table.WiresCSV(w, n) },
			verify: func(r io.Reader) error { return readback.WiresCSVOf(r, n.List) },
		}
	}
	return artefact{
		name:   name,
		write:  func(w io.Writer) error { return table.WiresText(w, n) },
		verify: func(r io.Reader) error { return readback.WiresText(r, n.List) },
	}
}
