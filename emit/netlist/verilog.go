package netlist

import (
	"fmt"
	"io"
	"regexp"
	"strings"

	"coilwright/encode/network/wiring"
	"coilwright/encode/store"
)

// lines names the columns that the control word drives.
func lines(s *store.Store) []string {
	var out []string
	for _, n := range driven(s) {
		out = append(out, s.Columns[n].Name)
	}
	return out
}

func (p *plan) module(w io.Writer) *module {
	s := p.store
	return newModule(w, s.Machine+"_network", s.OpcodeBits, s.Flags, s.Phases, lines(s))
}

// about begins a file.
func (p *plan) about(m *module, what string) {
	l := p.list
	fmt.Fprintf(m.out, "// %s: the network as %s, sha256 %s\n", l.Machine, what, shortHash(l.Hash))
	if l.Title != "" {
		m.comment("%s", l.Title)
	}
	m.comment("Style %s: %d relays, %d diodes, %d wires. In: the opcode from its top bit down, the flags, the phase wires; "+
		"1 = carries the feed. Out: the lines; 1 = active, for a low line: its wire carries nothing.",
		l.Style, len(l.Relays), len(l.Diodes), len(l.Wires))
}

var unfit = regexp.MustCompile(`[^A-Za-z0-9_]`)

// nameNet makes a name of a net's first terminal.
func (p *plan) nameNet(m *module, net int) string {
	return m.names.give("at_" + unfit.ReplaceAllString(p.names[net], "_"))
}

// Flow writes the network as a combinational Verilog module: one sum a net, in
// the order in which current flows from the phase wires. Every way that
// current can take from an input to a line or a coil is in it, backwards
// through contacts too, so that it says what the network does in every state
// whether that is right or not.
//
// With a function of the store it is masked by the states that occur there, as
// Sums can be, and has the same ports.
//
// The error wraps ErrLoop where no such order exists; else it is about the
// list, or the writer's. A line without a pin is 0, as if its wire were dead.
func Flow(w io.Writer, l *wiring.List, s *store.Store, masked *Function) error {
	p, err := read(l, s)
	if err != nil {
		return err
	}
	ways, err := follow(p)
	if err != nil {
		return err
	}
	order, err := ways.order()
	if err != nil {
		return err
	}
	m := p.module(w)
	p.about(m, "sums in the order of flow")
	m.comment("One sum a net, named after its first terminal: the nets that current comes from, each with the relay whose contact lies between " +
		"(~ for a break contact); a net alone comes through a diode. No assignment depends on a later one. Ways that no state opens, " +
		"and those that lead to no line or coil, are left out.")
	lines := m.ports.lines
	var mask *mask
	var extra []string
	if masked != nil {
		mask = m.mask(masked)
		mask.remark()
		lines, extra = mask.unmasked(), []string{mask.occurs}
	}
	if idle := ways.idle(); len(idle) > 0 {
		m.comment("Left out altogether: %s", strings.Join(idle, " "))
	}
	m.open(extra...)

	relays := make([]string, len(l.Relays))
	for i, k := range l.Relays {
		relays[i] = m.names.give(unfit.ReplaceAllString(k.Name, "_"))
	}
	coilOf := make(map[int][]int)
	controls := make([]bool, len(l.Relays))
	terms := make([][]edge, len(p.names))
	for i, e := range ways.edges {
		if ways.used[i] {
			terms[e.to] = append(terms[e.to], e)
			if e.contact >= 0 {
				controls[p.contacts[e.contact].relay] = true
			}
		}
	}
	for i, n := range p.coils {
		if n >= 0 && controls[i] {
			coilOf[n] = append(coilOf[n], i)
		}
	}
	names := make([]string, len(p.names))
	for _, n := range order {
		var sum []string
		if n == p.feed {
			sum = append(sum, "1'b1")
		}
		for _, i := range p.brought(n) {
			sum = append(sum, m.port(i))
		}
		for _, e := range terms[n] {
			term := names[e.from]
			if e.contact >= 0 {
				c := p.contacts[e.contact]
				control := relays[c.relay]
				if !c.made {
					control = "~" + control
				}
				if term += " & " + control; e.from == p.feed {
					term = control
				}
			}
			sum = append(sum, term)
		}
		if len(sum) == 1 && len(terms[n]) == 0 {
			names[n] = sum[0]
		} else {
			names[n] = p.nameNet(m, n)
			m.wire(names[n])
			m.or(names[n], sum)
		}
		for _, i := range coilOf[n] {
			m.wire(relays[i])
			m.or(relays[i], names[n:n+1])
		}
	}
	for i, n := range driven(s) {
		value := "1'b0"
		if net := p.lines[n]; net >= 0 {
			value = names[net]
		}
		if s.Columns[n].Low {
			value = "~" + value
		}
		if mask != nil {
			m.wire(lines[i])
		}
		m.or(lines[i], []string{value})
	}
	if mask != nil {
		mask.write()
		mask.apply(lines)
	}
	return m.close()
}

// Switches writes the network as a Verilog module of switches (IEEE 1364-2005,
// 7.6): a tranif1 or tranif0 a contact, which carries current both ways, a
// bufif1 a diode, one instance a part with the part's name. Nothing is decided
// about the way of the current; simulators read it, synthesis tools do not.
// The error is about the list, or the writer's.
func Switches(w io.Writer, l *wiring.List, s *store.Store) error {
	p, err := read(l, s)
	if err != nil {
		return err
	}
	m := p.module(w)
	p.about(m, "switches")
	m.comment("For a simulator. tranif1 = make contact, tranif0 = break contact, with their two ends and the relay; bufif1 = diode, whose second " +
		"end follows the first. Each net is pulled down, nets are named after their first terminal. K1_2m is the make contact of pole 2 of K1.")
	m.open()

	relays := make([]string, len(l.Relays))
	for i, k := range l.Relays {
		relays[i] = m.names.give(unfit.ReplaceAllString(k.Name, "_"))
	}
	names := make([]string, len(p.names))
	name := func(n int) string {
		if names[n] == "" {
			names[n] = p.nameNet(m, n)
			m.wire(names[n])
			fmt.Fprintf(m.out, "    pulldown (%s);\n", names[n])
		}
		return names[n]
	}
	part := func(kind, part string, ends ...string) {
		fmt.Fprintf(m.out, "    %s %s (%s);\n", kind, m.names.give(unfit.ReplaceAllString(part, "_")), strings.Join(ends, ", "))
	}
	m.comment("what comes in")
	if p.feed >= 0 {
		part("buf", "feed", name(p.feed), "1'b1")
	}
	for _, i := range p.inputs {
		part("bufif1", m.port(i)+"_in", name(i.net), "1'b1", m.port(i))
	}
	m.comment("relays")
	for i, n := range p.coils {
		m.wire(relays[i])
		if n < 0 {
			m.or(relays[i], nil)
			continue
		}
		m.or(relays[i], []string{name(n)})
	}
	m.comment("contacts")
	for _, c := range p.contacts {
		kind, letter := "tranif0", "b"
		if c.made {
			kind, letter = "tranif1", "m"
		}
		part(kind, fmt.Sprintf("%s_%d%s", l.Relays[c.relay].Name, c.pole, letter), name(c.common), name(c.throw), relays[c.relay])
	}
	m.comment("diodes")
	for _, d := range p.diodes {
		part("bufif1", d.name, name(d.to), "1'b1", name(d.from))
	}
	m.comment("what goes out")
	for i, n := range driven(s) {
		value := "1'b0"
		if net := p.lines[n]; net >= 0 {
			value = name(net)
		}
		if s.Columns[n].Low {
			value = "~" + value
		}
		m.or(m.ports.lines[i], []string{value})
	}
	return m.close()
}
