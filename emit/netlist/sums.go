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
// and the state can occur. Masked, every line is 0 where it is 0.
func Sums(w io.Writer, f *Function, masked bool) error {
	m := newModule(w, f.Machine+"_store", f.OpcodeBits, f.Flags, f.Phases, f.Lines)
	mask := m.mask(f)
	fmt.Fprintf(m.out, "// %s: %s as sums of products, sha256 %s\n", f.Machine, f.About, shortHash(f.Hash))
	if f.Title != "" {
		m.comment("%s", f.Title)
	}
	m.comment("In: the opcode from its top bit down, the flags, the phase wires. Out: 1 = the line is active, also if it is a low one. "+
		"Where %s is 0 the state cannot occur: no phase wire or several, a free opcode, a phase after a restart.", mask.occurs)
	lines := m.ports.lines
	if masked {
		mask.remark()
		lines = mask.unmasked()
	}
	m.open(mask.occurs)

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
		m.list("    assign "+row+" = ", append([]string{feed}, m.literals(t)...), " & ", ";")
		for _, l := range t.Lines {
			asked[l] = append(asked[l], row)
		}
	}
	m.comment("lines")
	for i, rows := range asked {
		if masked {
			m.wire(lines[i])
		}
		m.or(lines[i], rows)
	}
	mask.write()
	if masked {
		mask.apply(lines)
	}
	return m.close()
}

// literals are what a term asks of opcode and flags, from the top bit down.
func (m *module) literals(t Term) []string {
	inputs := append(append([]string(nil), m.ports.opcode...), m.ports.flags...)
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

// mask says in a module which states can occur.
type mask struct {
	*module
	f      *Function
	occurs string // the output that says it
}

func (m *module) mask(f *Function) *mask { return &mask{m, f, m.names.give("occurs")} }

func (m *mask) remark() {
	m.comment("Masked for a comparison: where %s is 0 every line is 0.", m.occurs)
}

// unmasked names the lines as they are before the mask.
func (m *mask) unmasked() []string {
	var out []string
	for _, l := range m.ports.lines {
		out = append(out, m.names.give(l+"_unmasked"))
	}
	return out
}

// apply assigns the lines.
func (m *mask) apply(unmasked []string) {
	m.comment("lines where the state occurs")
	for i, l := range m.ports.lines {
		m.list("    assign "+l+" = ", []string{unmasked[i], m.occurs}, " & ", ";")
	}
}

// write assigns the output.
func (m *mask) write() {
	f := m.f
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
		m.list("    assign "+name+" = ", append([]string{from[t.Phases[0]]}, m.literals(t)...), " & ", ";")
		free = append(free, name)
	}
	none := m.names.give("cannot_occur")
	m.wire(none)
	m.or(none, free)
	m.list("    assign "+m.occurs+" = ", []string{from[1], "~" + none}, " & ", ";")
}
