package readback

import (
	"bufio"
	"io"
	"math/bits"
	"slices"
	"strconv"
	"strings"

	"coilwright/encode/cube"
	"coilwright/encode/store"
)

// PLA reads a file in Berkeley PLA form, of the store or of a network, and
// holds it against the store: what is on in the states that can occur, and
// which states those are. The phase may be one variable of many values, an
// input a wire, or a binary number; the file's size tells. Inputs are the flags
// that are set from outside: bit i is s.Flags[i].
func PLA(r io.Reader, s *store.Store, inputs uint64) error {
	p := &plaFile{s: s, lines: drivenLines(s), told: -1, codes: s.Phases}
	in := bufio.NewReaderSize(r, 64<<10)
	for end := false; !end; {
		text, err := in.ReadString('\n')
		if err != nil && err != io.EOF {
			return err
		}
		if end = err == io.EOF; end && text == "" {
			break
		}
		p.line++
		if p.line == 1 {
			if err := headed(1, strings.TrimPrefix(strings.TrimSpace(text), "# "), s); err != nil {
				return err
			}
		}
		text, _, _ = strings.Cut(text, "#")
		text = strings.TrimSpace(text)
		switch {
		case text == "":
			continue
		case p.ended:
			return refuse(p.line, "something stands behind the end")
		case text[0] == '.':
			err = p.directive(strings.Fields(text))
		default:
			err = p.term(text)
		}
		if err != nil {
			return err
		}
	}
	switch {
	case !p.ended:
		return refuse(p.line, "the file has no end")
	case p.told != p.terms:
		return refuse(p.line, "%d terms, %d are announced", p.terms, p.told)
	}
	return p.compare(inputs)
}

// drivenLines lists the columns that the control word drives.
func drivenLines(s *store.Store) []int {
	var out []int
	for i := range s.Columns {
		if slices.Contains(s.Word.Bits, i) {
			out = append(out, i)
		}
	}
	return out
}

type plaFile struct {
	s     *store.Store
	lines []int // columns, in the order of the outputs
	line  int
	ended bool
	sized bool // the number of outputs was given
	fd    bool
	told  int
	terms int
	form  string
	codes int // phases that the file can name
	on    [][][]cube.Cube
	free  [][]cube.Cube
}

func (p *plaFile) directive(f []string) error {
	number := func(i int) int {
		if i >= len(f) {
			return -1
		}
		n, err := strconv.Atoi(f[i])
		if err != nil {
			return -1
		}
		return n
	}
	known := p.s.OpcodeBits + len(p.s.Flags)
	switch f[0] {
	case ".i":
		switch phases := number(1) - known; {
		case p.s.Phases > 1 && phases == bits.Len(uint(p.s.Phases-1)) && phases != p.s.Phases, p.s.Phases == 1 && phases == 0:
			p.form, p.codes = "binary", 1<<phases
		case phases == p.s.Phases:
			p.form = "onehot"
		default:
			return refuse(p.line, "%d inputs for %d opcode bits, %d flags and %d phases", number(1), p.s.OpcodeBits, len(p.s.Flags), p.s.Phases)
		}
	case ".o":
		if number(1) != len(p.lines) {
			return refuse(p.line, "%d outputs, the store has %d lines", number(1), len(p.lines))
		}
		p.sized = true
	case ".mv":
		if len(f) != 5 || number(1) != known+2 || number(2) != known || number(3) != p.s.Phases || number(4) != len(p.lines) {
			return refuse(p.line, "%s: the store has %d two-valued inputs, %d phases and %d lines", strings.Join(f, " "), known, p.s.Phases, len(p.lines))
		}
		p.form, p.sized = "values", true
	case ".type":
		if p.fd = len(f) == 2 && f[1] == "fd"; !p.fd {
			return refuse(p.line, "not of type fd")
		}
	case ".p":
		p.told = number(1)
	case ".ilb":
		return p.named(f[1:], p.inputNames())
	case ".ob":
		var want []string
		for _, l := range p.lines {
			want = append(want, p.s.Columns[l].Name)
		}
		return p.named(f[1:], want)
	case ".e":
		p.ended = true
	default:
		return refuse(p.line, "%s is not known here", f[0])
	}
	return nil
}

func (p *plaFile) inputNames() []string {
	var out []string
	for i := p.s.OpcodeBits - 1; i >= 0; i-- {
		out = append(out, "opcode_"+strconv.Itoa(i))
	}
	out = append(out, p.s.Flags...)
	switch p.form {
	case "onehot":
		for i := 1; i <= p.s.Phases; i++ {
			out = append(out, "phase_"+strconv.Itoa(i))
		}
	case "binary":
		for i := bits.Len(uint(p.codes)) - 2; i >= 0; i-- {
			out = append(out, "phase_bit_"+strconv.Itoa(i))
		}
	}
	return out
}

// named holds names against those wanted; a name that is taken has underscores behind it.
func (p *plaFile) named(found, want []string) error {
	if len(found) != len(want) {
		return refuse(p.line, "%d names, %d are wanted", len(found), len(want))
	}
	for i := range want {
		if !sameName(found[i], want[i]) {
			return refuse(p.line, "%s stands where %s should", found[i], want[i])
		}
	}
	return nil
}

func sameName(found, want string) bool {
	rest, ok := strings.CutPrefix(found, want)
	return ok && strings.Trim(rest, "_") == ""
}

// term reads one product.
func (p *plaFile) term(text string) error {
	if p.form == "" || !p.sized || !p.fd {
		return refuse(p.line, "a term before the sizes and the type")
	}
	p.terms++
	text = strings.Map(func(r rune) rune {
		if r == '|' || r == ' ' || r == '\t' {
			return -1
		}
		return r
	}, text)
	n, flags := p.s.OpcodeBits, len(p.s.Flags)
	phase := p.s.Phases
	if p.form == "binary" {
		phase = bits.Len(uint(p.codes)) - 1
	}
	if len(text) != n+flags+phase+len(p.lines) {
		return refuse(p.line, "a term of %d characters, not %d", len(text), n+flags+phase+len(p.lines))
	}
	var when cube.Cube
	for i := range n + flags {
		bit := n - 1 - i // the opcode from its top bit down, then the flags
		if i >= n {
			bit = i
		}
		switch text[i] {
		case '0', '1':
			when = when.With(bit, uint64(text[i]-'0'))
		case '-':
		default:
			return refuse(p.line, "%q for an input", text[i])
		}
	}
	out := text[n+flags+phase:]
	free := strings.Trim(out, "-") == ""
	codes, err := p.phases(text[n+flags:n+flags+phase], free)
	if err != nil {
		return err
	}
	if p.on == nil {
		p.on = make([][][]cube.Cube, p.codes+1)
		p.free = make([][]cube.Cube, p.codes+1)
	}
	for _, code := range codes {
		if free {
			p.free[code] = append(p.free[code], when)
			continue
		}
		if p.on[code] == nil {
			p.on[code] = make([][]cube.Cube, len(p.lines))
		}
		for i := range p.lines {
			switch out[i] {
			case '1':
				p.on[code][i] = append(p.on[code][i], when)
			case '~':
			default:
				return refuse(p.line, "%q for the line %s", out[i], p.s.Columns[p.lines[i]].Name)
			}
		}
	}
	return nil
}

// phases are those in which a term is meant, from 1.
func (p *plaFile) phases(text string, free bool) ([]int, error) {
	var out []int
	switch p.form {
	case "values":
		for i, c := range text {
			if c != '0' && c != '1' {
				return nil, refuse(p.line, "%q for a phase", c)
			}
			if c == '1' {
				out = append(out, i+1)
			}
		}
		if len(out) == 0 {
			return nil, refuse(p.line, "a term of no phase")
		}
	case "onehot":
		other := byte('-')
		if free {
			other = '0'
		}
		at := strings.IndexByte(text, '1')
		if at < 0 || strings.Count(text, string(other)) != len(text)-1 {
			return nil, refuse(p.line, "a term has to look at one phase wire")
		}
		out = append(out, at+1)
	case "binary":
		for code := range p.codes {
			for i, c := range []byte(text) {
				bit := byte('0' + code>>(len(text)-1-i)&1)
				if c != '0' && c != '1' && c != '-' {
					return nil, refuse(p.line, "%q for the phase", c)
				}
				if c != '-' && c != bit {
					bit = 0
				}
				if bit == 0 {
					code = -1
					break
				}
			}
			if code >= 0 {
				out = append(out, code+1)
			}
		}
	}
	return out, nil
}

// freeStates are the patterns in each phase that cannot occur: opcodes that are
// free, and phases after the restart of a path, unless a flag from outside decides on it.
func freeStates(s *store.Store, inputs uint64) [][]cube.Cube {
	out := make([][]cube.Cube, s.Phases+1)
	from := func(phase int, c cube.Cube) {
		for ; phase <= s.Phases; phase++ {
			out[phase] = append(out[phase], c)
		}
	}
	for _, c := range s.Free {
		from(1, c)
	}
	for _, r := range s.Rows {
		if r.Flags.Care&inputs != 0 {
			continue
		}
		for i, c := range s.Columns {
			if c.Kind == store.Restart && r.Lines.Has(i) {
				from(r.Phase+1, joint(s, r.Opcode, r.Flags))
			}
		}
	}
	return out
}

// compare holds the terms against the store, pattern by pattern.
func (p *plaFile) compare(inputs uint64) error {
	s := p.s
	if p.on == nil {
		p.on, p.free = make([][][]cube.Cube, p.codes+1), make([][]cube.Cube, p.codes+1)
	}
	free := freeStates(s, inputs)
	want := make([][][]cube.Cube, s.Phases+1)
	for i := range want {
		want[i] = make([][]cube.Cube, len(p.lines))
	}
	for _, r := range s.Rows {
		for i, l := range p.lines {
			if r.Lines.Has(l) {
				want[r.Phase][i] = append(want[r.Phase][i], joint(s, r.Opcode, r.Flags))
			}
		}
	}
	for phase := 1; phase <= p.codes; phase++ {
		if phase > s.Phases {
			if _, some := outside([]cube.Cube{{}}, p.free[phase]); some || p.on[phase] != nil {
				return refuse(p.line, "phase %d lies past the ring and is not said to", phase)
			}
			continue
		}
		if v, ok := outside(free[phase], p.free[phase]); ok {
			return refuse(p.line, "phase %d, opcode and flags 0x%X: cannot occur, and is not said to", phase, v)
		}
		if v, ok := outside(p.free[phase], free[phase]); ok {
			return refuse(p.line, "phase %d, opcode and flags 0x%X: is said not to occur, but can", phase, v)
		}
		for i, l := range p.lines {
			var found []cube.Cube
			if p.on[phase] != nil {
				found = p.on[phase][i]
			}
			if v, ok := outside(want[phase][i], slices.Concat(found, free[phase])); ok {
				return differ(s, v, phase, l, "off")
			}
			if v, ok := outside(found, slices.Concat(want[phase][i], free[phase])); ok {
				return differ(s, v, phase, l, "on")
			}
		}
	}
	return nil
}
