package readback

import (
	"io"
	"strings"
)

// verilog is a module as far as netlists use the language (IEEE 1364-2005):
// ports, wires, assignments of &, |, ~ and constants, and gates.
type verilog struct {
	name    string
	about   string // the first line, without its slashes
	remarks []string
	ports   []string
	inputs  []string
	outputs []string
	assigns []assign
	gates   []gate
	kinds   map[string]string // "input", "output" or "wire" by name
}

type assign struct {
	line int
	to   string
	sum  []product
}

// product is an AND of names, constants and sums in brackets.
type product []factor

type factor struct {
	not  bool
	name string // or "1'b0", "1'b1"
	sum  []product
	at   int // of the name among the values, set by places
}

type gate struct {
	line       int
	kind, name string
	ends       []string
}

// verilogScanner cuts a text into names, constants and signs.
type verilogScanner struct {
	tokens []string
	lines  []int
	at     int
}

func scanVerilog(text string) (*verilogScanner, []string, error) {
	s := &verilogScanner{}
	var remarks []string
	for n, line := range strings.Split(text, "\n") {
		if code, remark, ok := strings.Cut(line, "//"); ok {
			remarks = append(remarks, strings.TrimSpace(remark))
			line = code
		}
		for i := 0; i < len(line); {
			c := line[i]
			from := i
			switch {
			case c == ' ' || c == '\t' || c == '\r':
				i++
				continue
			case isNamed(c):
				for i < len(line) && (isNamed(line[i]) || line[i] == '\'') {
					i++
				}
			case strings.IndexByte("(),;=&|~", c) >= 0:
				i++
			default:
				return nil, nil, refuse(n+1, "%q is nothing that a netlist has", c)
			}
			s.tokens = append(s.tokens, line[from:i])
			s.lines = append(s.lines, n+1)
		}
	}
	return s, remarks, nil
}

func (s *verilogScanner) line() int {
	if len(s.lines) == 0 {
		return 1
	}
	return s.lines[min(s.at, len(s.lines)-1)]
}

func (s *verilogScanner) peek() string {
	if s.at == len(s.tokens) {
		return ""
	}
	return s.tokens[s.at]
}

func (s *verilogScanner) next() string {
	t := s.peek()
	if t != "" {
		s.at++
	}
	return t
}

func (s *verilogScanner) expect(want string) error {
	line := s.line()
	if got := s.next(); got != want {
		return refuse(line, "%q where %q is wanted", got, want)
	}
	return nil
}

func (s *verilogScanner) word() (string, error) {
	line := s.line()
	t := s.next()
	if t == "" || !isNamed(t[0]) {
		return "", refuse(line, "%q where a name is wanted", t)
	}
	return t, nil
}

// list reads names up to an end sign.
func (s *verilogScanner) list(end string) ([]string, error) {
	var out []string
	for {
		w, err := s.word()
		if err != nil {
			return nil, err
		}
		out = append(out, w)
		line := s.line()
		switch t := s.next(); t {
		case end:
			return out, nil
		case ",":
		default:
			return nil, refuse(line, "%q in a list", t)
		}
	}
}

func readVerilog(r io.Reader) (*verilog, error) {
	all, err := io.ReadAll(r)
	if err != nil {
		return nil, err
	}
	s, remarks, err := scanVerilog(string(all))
	if err != nil {
		return nil, err
	}
	v := &verilog{remarks: remarks, kinds: map[string]string{}}
	first, _, _ := strings.Cut(string(all), "\n")
	v.about = strings.TrimPrefix(strings.TrimSpace(first), "// ")
	if err := s.expect("module"); err != nil {
		return nil, err
	}
	if v.name, err = s.word(); err != nil {
		return nil, err
	}
	if err := s.expect("("); err != nil {
		return nil, err
	}
	if v.ports, err = s.list(")"); err != nil {
		return nil, err
	}
	if err := s.expect(";"); err != nil {
		return nil, err
	}
	gates := map[string]bool{}
	for {
		line := s.line()
		word, err := s.word()
		if err != nil {
			return nil, err
		}
		switch word {
		case "endmodule":
			if s.peek() != "" {
				return nil, refuse(s.line(), "something stands behind the end")
			}
			return v, nil
		case "input", "output", "wire":
			names, err := s.list(";")
			if err != nil {
				return nil, err
			}
			for _, n := range names {
				if v.kinds[n] != "" {
					return nil, refuse(line, "%s is declared twice", n)
				}
				v.kinds[n] = word
			}
			switch word {
			case "input":
				v.inputs = append(v.inputs, names...)
			case "output":
				v.outputs = append(v.outputs, names...)
			}
		case "assign":
			a := assign{line: line}
			if a.to, err = s.word(); err != nil {
				return nil, err
			}
			if err := s.expect("="); err != nil {
				return nil, err
			}
			if a.sum, err = s.or(0); err != nil {
				return nil, err
			}
			if err := s.expect(";"); err != nil {
				return nil, err
			}
			v.assigns = append(v.assigns, a)
		case "buf", "bufif1", "tranif0", "tranif1", "pulldown":
			g := gate{line: line, kind: word}
			if s.peek() != "(" {
				if g.name, err = s.word(); err != nil {
					return nil, err
				}
				if gates[g.name] || v.kinds[g.name] != "" {
					return nil, refuse(line, "%s is declared twice", g.name)
				}
				gates[g.name] = true
			}
			if err := s.expect("("); err != nil {
				return nil, err
			}
			if g.ends, err = s.list(")"); err != nil {
				return nil, err
			}
			if err := s.expect(";"); err != nil {
				return nil, err
			}
			v.gates = append(v.gates, g)
		default:
			return nil, refuse(line, "%s is nothing that a netlist has", word)
		}
	}
}

// mostBrackets bounds how deep a sum may lie in sums.
const mostBrackets = 8

func (s *verilogScanner) or(depth int) ([]product, error) {
	if depth > mostBrackets {
		return nil, refuse(s.line(), "brackets more than %d deep", mostBrackets)
	}
	var out []product
	for {
		var p product
		for {
			var f factor
			for s.peek() == "~" {
				s.next()
				f.not = !f.not
			}
			if s.peek() == "(" {
				s.next()
				sum, err := s.or(depth + 1)
				if err != nil {
					return nil, err
				}
				f.sum = sum
				if err := s.expect(")"); err != nil {
					return nil, err
				}
			} else {
				w, err := s.word()
				if err != nil {
					return nil, err
				}
				f.name = w
			}
			p = append(p, f)
			if s.peek() != "&" {
				break
			}
			s.next()
		}
		out = append(out, p)
		if s.peek() != "|" {
			return out, nil
		}
		s.next()
	}
}

// lanes is 64 values of a wire.
type lanes = uint64

// settle works out all assignments, each of which may use inputs and what was
// assigned before it. The values of wires are where places put them.
func (v *verilog) settle(values []lanes) {
	next := constants + len(v.inputs)
	for i := range v.assigns {
		values[next] = sumOf(v.assigns[i].sum, values)
		next++
	}
}

func sumOf(sum []product, values []lanes) lanes {
	out := lanes(0)
	for _, p := range sum {
		x := ^lanes(0)
		for i := range p {
			f := &p[i]
			y := values[f.at]
			if f.sum != nil {
				y = sumOf(f.sum, values)
			}
			if f.not {
				y = ^y
			}
			x &= y
		}
		out |= x
	}
	return out
}

// constants come first among the values: 0, then 1.
const constants = 2

// places numbers the wires of a module, inputs first, then as they are
// assigned, and checks that each is declared, that
// none is assigned twice, and that none is used before it is known.
func (v *verilog) places() (map[string]int, error) {
	at := map[string]int{"1'b0": 0, "1'b1": 1}
	for _, n := range v.inputs {
		at[n] = len(at)
	}
	var check func(line int, sum []product) error
	check = func(line int, sum []product) error {
		for _, p := range sum {
			for i := range p {
				f := &p[i]
				if f.sum != nil {
					if err := check(line, f.sum); err != nil {
						return err
					}
					continue
				}
				known := false
				if f.at, known = at[f.name]; !known {
					return refuse(line, "%s is used before it is known", f.name)
				}
			}
		}
		return nil
	}
	for _, a := range v.assigns {
		if err := check(a.line, a.sum); err != nil {
			return nil, err
		}
		if k := v.kinds[a.to]; k != "wire" && k != "output" {
			return nil, refuse(a.line, "%s is no wire", a.to)
		}
		if _, known := at[a.to]; known {
			return nil, refuse(a.line, "%s is assigned twice", a.to)
		}
		at[a.to] = len(at)
	}
	for _, n := range v.outputs {
		if _, ok := at[n]; !ok {
			return nil, refuse(1, "nothing is assigned to %s", n)
		}
	}
	return at, nil
}
