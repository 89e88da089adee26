package netlist

import (
	"fmt"
	"io"
	"strings"
)

// Sums writes the function as a Verilog module of sums of products, for
// comparing a network with. Its ports are those of Flow and Switches, in
// the same order: opcode bits from the top, flags, phase wires, lines (1 =
// active); then `occurs`, which is 1 where exactly one phase wire is powered
// and the state can occur.
func Sums(w io.Writer, f *Function) error {
	m := newModule(w, f.Machine+"_store", f.OpcodeBits, f.Flags, f.Phases, f.Lines)
	occurs := m.names.give("occurs")
	fmt.Fprintf(m.out, "// %s: %s as sums of products, sha256 %s\n", f.Machine, f.About, shortHash(f.Hash))
	if f.Title != "" {
		m.comment("%s", f.Title)
	}
	m.comment("In: the opcode from its top bit down, the flags, the phase wires. Out: 1 = the line is active, also if it is a low one. "+
		"Where %s is 0 the state cannot occur: no phase wire or several, a free opcode, a phase after a restart.", occurs)
	m.open(occurs)

	inputs := append(append([]string(nil), m.ports.opcode...), m.ports.flags...)
	literals := func(t Term) []string {
		var out []string
		for i := len(inputs) - 1; i >= 0; i-- {
			if t.When.Care>>i&1 == 0 {
				continue
			}
			name := inputs[i]
			if t.When.Value>>i&1 == 0 {
				name = "~" + name
			}
			out = append(out, name)
		}
		return out
	}
	asked := make([][]string, len(f.Lines))
	owner := ""
	for i, t := range f.On {
		if t.Owner != owner {
			owner = t.Owner
			m.comment("%s", owner)
		}
		row := m.names.give(fmt.Sprintf("row_%d", i+1))
		m.wire(row)
		var wires []string
		for _, p := range t.Phases {
			wires = append(wires, m.ports.phases[p-1])
		}
		feed := strings.Join(wires, " | ")
		if len(wires) > 1 {
			feed = "(" + feed + ")"
		}
		m.list("    assign "+row+" = ", append([]string{feed}, literals(t)...), " & ", ";")
		for _, l := range t.Lines {
			asked[l] = append(asked[l], row)
		}
	}
	m.comment("lines")
	for i, rows := range asked {
		m.or(m.ports.lines[i], rows)
	}

	// from[k]: a wire of the phases from k on is powered; two: more than one is.
	m.comment("states that occur")
	from := make([]string, f.Phases+1)
	from[f.Phases] = m.ports.phases[f.Phases-1]
	var free []string
	for k := f.Phases - 1; k >= 1; k-- {
		phase := m.ports.phases[k-1]
		from[k] = m.names.give(fmt.Sprintf("from_%d", k))
		m.wire(from[k])
		m.or(from[k], []string{phase, from[k+1]})
		next := m.names.give(fmt.Sprintf("two_%d", k))
		m.wire(next)
		m.or(next, append(free, phase+" & "+from[k+1]))
		free = []string{next}
	}
	for i, t := range f.Free {
		name := m.names.give(fmt.Sprintf("free_%d", i+1))
		m.wire(name)
		// Free phases always reach to the end of the ring.
		m.list("    assign "+name+" = ", append([]string{from[t.Phases[0]]}, literals(t)...), " & ", ";")
		free = append(free, name)
	}
	none := m.names.give("cannot_occur")
	m.wire(none)
	m.or(none, free)
	m.list("    assign "+occurs+" = ", []string{from[1], "~" + none}, " & ", ";")
	return m.close()
}
