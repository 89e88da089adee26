package cli

import (
	"errors"
	"io"

	"github.com/spf13/cobra"

	"coilwright/emit/netlist"
	"coilwright/emit/readback"
	"coilwright/encode/cube"
	"coilwright/encode/network"
	"coilwright/encode/schedule"
)

type netlistOptions struct {
	out     string
	form    choice
	of      choice
	phase   choice
	reading choice
	style   choice
	mask    bool
}

func newNetlist(a *app) *cobra.Command {
	var phases []string
	for _, f := range netlist.PhaseForms() {
		phases = append(phases, string(f))
	}
	o := netlistOptions{
		form:    newChoice("pla", "pla", "verilog"),
		of:      newChoice("store", "store", "network"),
		phase:   newChoice(string(netlist.PhaseValues), phases...),
		reading: newChoice("flow", "flow", "switches"),
		style:   newStyle(),
	}
	cmd := command("netlist FILE [--form pla|verilog] [--of store|network] [-o FILE]", "Store or network for logic tools, as PLA or Verilog",
		`Writes what other tools can minimise, compare and simulate, of the store or of
the network. A line is 1 while it is active, also if it is a low one.

Berkeley PLA form (pla) is a table of products: the opcode bits, the flags and
the phase in, the lines out, and the states that cannot occur (free opcodes,
phases after a restart) as don't-cares. --phase says how the phase is written:
as one variable of many values (.mv, which not every tool reads: berkeley-abc
does not), as one input a phase wire, or as a binary number. Of the network it
has the rows, with the don't-cares of the store.

Verilog of the store is a module of sums of products; its last output, occurs,
is 1 where exactly one phase wire is powered and the state can occur. Verilog of
the network has the same inputs and lines. Reading flow is sums in the order in
which current flows through contacts and diodes, backwards too where it can:
simulators, synthesis tools and equivalence checkers read it. Reading switches
has a tranif1 or tranif0 a contact and a bufif1 a diode: for simulators.

A network may do as it likes in a state that cannot occur. --mask makes every
line 0 there, of the store and of reading flow, and gives both the output
occurs, so that they are equal everywhere if they are where it matters. With
what the examples write an equivalence checker says so, and so does the solver
of a synthesis tool (for a machine named millrace):

  berkeley-abc -q "cec -n store.v net.v"
  yosys -p "read_verilog store.v net.v; miter -equiv -flatten \
    millrace_store millrace_network both; sat -prove trigger 0 both"

The rows are compared with the phase as a number, as a network may do anything
while two phase wires are powered, and with don't-cares as 1 in both (-d):

  berkeley-abc -q "read_pla -d rows.pla; write_blif rows.blif; \
    read_pla -d store.pla; cec -n rows.blif"

The file is read back and compared with the store and the list of wires.

`+styleHelp,
		`coilwright netlist millrace.coil --form verilog --mask -o store.v
coilwright netlist millrace.coil --form verilog --mask --of network -o net.v
coilwright netlist millrace.coil --phase binary -o store.pla
coilwright netlist millrace.coil --phase binary --of network -o rows.pla`, wants(1, 1, "the FILE with the definition"))
	o.form.add(cmd, "form", "file format")
	o.of.add(cmd, "of", "what is written")
	o.phase.add(cmd, "phase", "how pla has the phase")
	o.reading.add(cmd, "reading", "how verilog reads a network")
	addStyle(cmd, &o.style)
	cmd.Flags().BoolVar(&o.mask, "mask", false, "in verilog, lines are 0 in states that cannot occur")
	outFlag(cmd, &o.out)
	cmd.ValidArgsFunction = completeDefinitions
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		if err := o.check(cmd); err != nil {
			return err
		}
		var l *loaded
		var n *network.Network
		var err error
		if o.of.value == "network" {
			l, n, err = a.needNetwork(args[0], o.style.value)
		} else {
			l, err = a.need(args[0])
		}
		if err != nil {
			return err
		}
		art, err := o.artefact(l, n)
		if err != nil {
			return err
		}
		return a.deliver(o.out, art)
	}
	return cmd
}

// check finds options that would have no effect, before the definition is read.
func (o *netlistOptions) check(cmd *cobra.Command) error {
	changed := cmd.Flags().Changed
	switch {
	case changed("phase") && o.form.value != "pla":
		return usagef("--phase means nothing in form %s: its phase is one input a wire", o.form.value)
	case changed("style") && o.of.value != "network":
		return usagef("--style means nothing for the store: it is about the network (--of network)")
	case o.mask && (o.form.value != "verilog" || o.reading.value == "switches"):
		return usagef("--mask means nothing here: it is about sums in verilog")
	case changed("reading") && (o.of.value != "network" || o.form.value != "verilog"):
		return usagef("--reading means nothing here: it is about the network in verilog")
	}
	return nil
}

// artefact is the netlist, compared with the store, and with the list if it
// is of one. n is nil if it is of the store.
func (o *netlistOptions) artefact(l *loaded, n *network.Network) (artefact, error) {
	s, inputs := l.store, schedule.Changes(l.machine, l.plan).Inputs
	flow := n != nil && o.form.value == "verilog"
	if flow && o.reading.value == "switches" {
		return artefact{
			name:   "netlist",
			write:  func(w io.Writer) error { return netlist.Switches(w, n.List, s) },
			verify: func(r io.Reader) error { return readback.Switches(r, n.List, s) },
		}, nil
	}
	if flow && !o.mask {
		return artefact{
			name:   "netlist",
			write:  func(w io.Writer) error { return asInput(netlist.Flow(w, n.List, s, nil)) },
			verify: func(r io.Reader) error { return readback.Flow(r, n.List, s, inputs, false) },
		}, nil
	}
	f, err := netlist.Store(s, inputs)
	if n != nil && !flow {
		f, err = netlist.Network(s, inputs, "network, "+n.Matrix.Style+" style", products(n.Matrix))
	}
	if err != nil {
		return artefact{}, asInput(err)
	}
	switch {
	case flow:
		return artefact{
			name:   "netlist",
			write:  func(w io.Writer) error { return asInput(netlist.Flow(w, n.List, s, f)) },
			verify: func(r io.Reader) error { return readback.Flow(r, n.List, s, inputs, true) },
		}, nil
	case o.form.value == "verilog":
		return artefact{
			name:   "netlist",
			write:  func(w io.Writer) error { return netlist.Sums(w, f, o.mask) },
			verify: func(r io.Reader) error { return readback.Sums(r, s, inputs, o.mask) },
		}, nil
	}
	return artefact{
		name:   "netlist",
		write:  func(w io.Writer) error { return asInput(netlist.PLA(w, f, netlist.PhaseForm(o.phase.value))) },
		verify: func(r io.Reader) error { return readback.PLA(r, s, inputs) },
	}, nil
}

// products are the rows of a matrix as a logic tool sees them.
func products(m *network.Matrix) []netlist.Product {
	var out []netlist.Product
	for _, r := range m.Rows {
		p := netlist.Product{Owner: r.Owner, Phases: r.Phases, Lines: r.Lines}
		opcodes := r.Opcodes
		if len(opcodes) == 0 {
			opcodes = []cube.Cube{{}}
		}
		for _, c := range opcodes {
			flags := cube.Cube{Care: r.Flags.Care << m.OpcodeBits, Value: r.Flags.Value << m.OpcodeBits}
			if both, ok := c.And(flags); ok {
				p.When = append(p.When, both)
			}
		}
		out = append(out, p)
	}
	return out
}

// asInput says that what no netlist can hold is the definition's.
func asInput(err error) error {
	if errors.Is(err, netlist.ErrNoLines) || errors.Is(err, netlist.ErrTooLarge) || errors.Is(err, netlist.ErrLoop) {
		return inputf("%w", err)
	}
	return err
}
