package netlist

import (
	"bufio"
	"fmt"
	"io"
	"strings"
)

// width is the characters a line of Verilog has at most, where names allow it.
const width = 80

// module writes one Verilog module, statement by statement.
type module struct {
	out   *bufio.Writer
	names *names
	name  string
	ports ports
}

func newModule(w io.Writer, name string, opcodeBits int, flags []string, phases int, lines []string) *module {
	m := &module{out: bufio.NewWriterSize(w, 64<<10), names: newNames()}
	m.name = m.names.give(name)
	m.ports = newPorts(m.names, opcodeBits, flags, phases, lines)
	return m
}

// comment writes text as comment lines, broken at blanks.
func (m *module) comment(format string, args ...any) {
	line := "//"
	for _, word := range strings.Fields(fmt.Sprintf(format, args...)) {
		if len(line)+1+len(word) > width && line != "//" {
			fmt.Fprintln(m.out, line)
			line = "//"
		}
		line += " " + word
	}
	fmt.Fprintln(m.out, line)
}

// open writes the head with its ports. extra are further outputs.
func (m *module) open(extra ...string) {
	inputs := append(m.ports.condition(), m.ports.phases...)
	outputs := append(append([]string(nil), m.ports.lines...), extra...)
	m.list("module "+m.name+" (", append(inputs[:len(inputs):len(inputs)], outputs...), ", ", ");")
	m.list("    input ", inputs, ", ", ";")
	m.list("    output ", outputs, ", ", ";")
	fmt.Fprintln(m.out)
}

func (m *module) close() error {
	fmt.Fprintln(m.out, "endmodule")
	return m.out.Flush()
}

// wire declares a wire.
func (m *module) wire(name string) { fmt.Fprintf(m.out, "    wire %s;\n", name) }

// or assigns the OR of terms, 0 if there are none.
func (m *module) or(name string, terms []string) {
	if len(terms) == 0 {
		terms = []string{"1'b0"}
	}
	m.list("    assign "+name+" = ", terms, " | ", ";")
}

// list writes items with a separator between, broken into lines before the separator's last character would not fit.
func (m *module) list(begin string, items []string, between, end string) {
	var b strings.Builder
	b.WriteString(begin)
	column := len(begin)
	for i, item := range items {
		if i > 0 {
			b.WriteString(strings.TrimRight(between, " "))
			column += len(between) - 1
			if column+1+len(item)+len(between) > width {
				b.WriteString("\n       ")
				column = 7
			}
			b.WriteString(" ")
			column++
		}
		b.WriteString(item)
		column += len(item)
	}
	b.WriteString(end)
	fmt.Fprintln(m.out, b.String())
}
