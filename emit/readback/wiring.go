package readback

import (
	"fmt"
	"io"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"coilwright/encode/cube"
	"coilwright/encode/store"
)

// wiredRow is a matrix row as a page lists it, by the diodes alone.
type wiredRow struct {
	name    string
	opcodes []cube.Cube // any of them
	flags   cube.Cube
	wire    string // "phase 5" or the name of a pulse wire
	lines   []int  // columns
}

// wiring is what a page says is soldered.
type wiring struct {
	s      *store.Store
	rows   []*wiredRow
	byName map[string]*wiredRow
	pulses map[string][]int // phases of each pulse wire
	column map[string]int   // by the name of a line
	free   bool             // what the store does not ask for may be as it likes
}

// Minimal is the style that uses what is free: opcodes that the store leaves
// open, and phases after the restart of a path.
const Minimal = "minimal"

func newWiring(s *store.Store, style string) *wiring {
	w := &wiring{s: s, free: style == Minimal, byName: map[string]*wiredRow{}, pulses: map[string][]int{}, column: map[string]int{}}
	for i, c := range s.Columns {
		w.column[c.Name] = i
	}
	return w
}

// row returns the row of a name, new or as it was first listed; the second
// time it has to mean the same.
func (w *wiring) row(line int, r wiredRow) (*wiredRow, error) {
	known, ok := w.byName[r.name]
	if !ok {
		known = &r
		w.byName[r.name] = known
		w.rows = append(w.rows, known)
		return known, nil
	}
	if known.wire != r.wire || known.flags != r.flags || !slices.Equal(known.opcodes, r.opcodes) {
		return nil, refuse(line, "row %s means something else than where it was listed before", r.name)
	}
	return known, nil
}

// reach adds a diode from a row to a line.
func (w *wiring) reach(line int, r *wiredRow, name string) error {
	column, ok := w.column[name]
	if !ok {
		return refuse(line, "the store has no line %q", name)
	}
	if slices.Contains(r.lines, column) {
		return refuse(line, "row %s has two diodes to %s", r.name, name)
	}
	r.lines = append(r.lines, column)
	return nil
}

// feed adds a diode from a phase wire to a pulse wire.
func (w *wiring) feed(line int, pulse string, phase int) error {
	if phase < 1 || phase > w.s.Phases {
		return refuse(line, "pulse wire %s has phase %d, the ring has %d", pulse, phase, w.s.Phases)
	}
	if slices.Contains(w.pulses[pulse], phase) {
		return refuse(line, "pulse wire %s has two diodes from phase %d", pulse, phase)
	}
	w.pulses[pulse] = append(w.pulses[pulse], phase)
	return nil
}

// phases are those in which a wire is powered.
func (w *wiring) phases(wire string) ([]int, error) {
	if number, ok := strings.CutPrefix(wire, "phase "); ok {
		p, err := strconv.Atoi(number)
		if err != nil || p < 1 || p > w.s.Phases {
			return nil, fmt.Errorf("no wire %q in a ring of %d phases", wire, w.s.Phases)
		}
		return []int{p}, nil
	}
	if p := w.pulses[wire]; len(p) > 0 {
		return p, nil
	}
	return nil, fmt.Errorf("pulse wire %s has no diodes", wire)
}

// compare follows the diodes and holds the lines they put on against the
// store's, those that other hardware drives left out, for every opcode, flag
// combination and phase: for each phase and line the patterns of the rows and those of the store have to hold the same values.
func (w *wiring) compare() error {
	type spot struct{ phase, line int }
	found, want := map[spot][]cube.Cube{}, map[spot][]cube.Cube{}
	for _, r := range w.rows {
		phases, err := w.phases(r.wire)
		if err != nil {
			return fmt.Errorf("row %s: %w", r.name, err)
		}
		for _, p := range phases {
			for _, l := range r.lines {
				for _, o := range r.opcodes {
					found[spot{p, l}] = append(found[spot{p, l}], joint(w.s, o, r.flags))
				}
			}
		}
	}
	driven := make([]bool, len(w.s.Columns))
	for _, c := range w.s.Word.Bits {
		if c >= 0 {
			driven[c] = true
		}
	}
	for _, r := range w.s.Rows {
		for _, l := range r.Lines.Columns() {
			if !driven[l] {
				continue
			}
			want[spot{r.Phase, l}] = append(want[spot{r.Phase, l}], joint(w.s, r.Opcode, r.Flags))
		}
	}
	for p := 1; p <= w.s.Phases; p++ {
		open := w.open(p)
		for l := range w.s.Columns {
			f, s := found[spot{p, l}], want[spot{p, l}]
			if v, ok := outside(s, slices.Concat(f, open)); ok {
				return differ(w.s, v, p, l, "off")
			}
			if v, ok := outside(f, slices.Concat(s, open)); ok {
				return differ(w.s, v, p, l, "on")
			}
		}
	}
	return nil
}

// open is where a line may be on or off in a phase: nowhere, except in the
// style that uses what is free.
func (w *wiring) open(phase int) []cube.Cube {
	if !w.free {
		return nil
	}
	out := slices.Clone(w.s.Free)
	for _, r := range w.s.Rows {
		for l, c := range w.s.Columns {
			if c.Kind == store.Restart && r.Phase < phase && r.Lines.Has(l) {
				out = append(out, joint(w.s, r.Opcode, r.Flags))
			}
		}
	}
	return out
}

// joint is a pattern over the opcode and, above it, the flags: 48 bits at most.
func joint(s *store.Store, opcode, flags cube.Cube) cube.Cube {
	return cube.Cube{Care: opcode.Care | flags.Care<<s.OpcodeBits, Value: opcode.Value | flags.Value<<s.OpcodeBits}
}

// differ names a word in which a page and the store do not agree on a line.
func differ(s *store.Store, value uint64, phase, line int, is string) error {
	should := map[string]string{"on": "off", "off": "on"}[is]
	where := fmt.Sprintf("phase %d, opcode %s", phase, cube.Cube{Care: 1<<s.OpcodeBits - 1, Value: value & (1<<s.OpcodeBits - 1)}.Text(s.OpcodeBits))
	for i, f := range s.Flags {
		where += fmt.Sprintf(", %s %d", f, value>>s.OpcodeBits>>i&1)
	}
	return fmt.Errorf("%s: %s is %s and should be %s", where, s.Columns[line].Name, is, should)
}

// outside finds a value that some cube of a holds and no cube of b does.
func outside(a, b []cube.Cube) (value uint64, found bool) {
	same := make(map[cube.Cube]bool, len(b))
	for _, c := range b {
		same[c] = true
	}
	for _, c := range a {
		if same[c] {
			continue
		}
		if v, ok := uncovered(c, b); ok {
			return v, true
		}
	}
	return 0, false
}

// uncovered finds a value of c that no cube of the list holds, by halving c
// until each part lies within a cube or meets none.
func uncovered(c cube.Cube, list []cube.Cube) (value uint64, found bool) {
	var meet []cube.Cube
	free := uint64(0)
	for _, d := range list {
		if c.Within(d) {
			return 0, false
		}
		if c.Meets(d) {
			meet = append(meet, d)
			free |= d.Care &^ c.Care
		}
	}
	if len(meet) == 0 {
		return c.Value, true
	}
	bit := 0
	for free>>bit&1 == 0 {
		bit++
	}
	for v := range uint64(2) {
		if value, found := uncovered(c.With(bit, v), meet); found {
			return value, true
		}
	}
	return 0, false
}

// parsePattern reads a pattern of 0, 1, ? and _ over width bits.
func parsePattern(text string, width int) (cube.Cube, error) {
	var c cube.Cube
	n := 0
	for _, r := range text {
		if r == '_' {
			continue
		}
		c.Care, c.Value = c.Care<<1, c.Value<<1
		switch r {
		case '0', '1':
			c.Care |= 1
			c.Value |= uint64(r - '0')
		case '?':
		default:
			return c, fmt.Errorf("%q is no pattern", text)
		}
		n++
	}
	if n != width {
		return c, fmt.Errorf("pattern %q has %d bits, not %d", text, n, width)
	}
	return c, nil
}

// parsePatterns reads patterns over width bits separated by blanks; behind a
// stroke stands one of flags as declared, which go above.
func parsePatterns(text string, width, flags int) ([]cube.Cube, error) {
	var out []cube.Cube
	for _, f := range strings.Fields(text) {
		opcode, when, stroke := strings.Cut(f, "/")
		c, err := parsePattern(opcode, width)
		if err != nil {
			return nil, err
		}
		if stroke {
			if len(when) != flags || strings.Trim(when, "01?") != "" {
				return nil, fmt.Errorf("%q is no pattern of %d flags", when, flags)
			}
			for i, v := range []byte(when) {
				if v != '?' {
					c = c.With(width+i, uint64(v-'0'))
				}
			}
		}
		out = append(out, c)
	}
	if len(out) == 0 {
		return nil, fmt.Errorf("a pattern is missing")
	}
	return out, nil
}

// parseFlags reads "zero=1 carry=0".
func parseFlags(text string, flags []string) (cube.Cube, error) {
	var c cube.Cube
next:
	for _, f := range strings.Fields(text) {
		for i, name := range flags {
			if v, ok := strings.CutPrefix(f, name+"="); ok && (v == "0" || v == "1") {
				c = c.With(i, uint64(v[0]-'0'))
				continue next
			}
		}
		return c, fmt.Errorf("%q is no condition on a flag that is tested", f)
	}
	return c, nil
}

// parseSpans reads "2-4 7", with blanks or commas between.
func parseSpans(text string) ([]int, error) {
	var out []int
	for _, f := range strings.FieldsFunc(text, func(r rune) bool { return r == ' ' || r == ',' }) {
		first, last, run := strings.Cut(f, "-")
		from, err := strconv.Atoi(first)
		to := from
		if err == nil && run {
			to, err = strconv.Atoi(last)
		}
		if err != nil || to < from || to > 256 || len(out) > 0 && from <= out[len(out)-1] {
			return nil, fmt.Errorf("%q are no phases", text)
		}
		for ; from <= to; from++ {
			out = append(out, from)
		}
	}
	return out, nil
}

func sameNumbers(a, b []int) bool {
	return slices.Equal(slices.Sorted(slices.Values(a)), slices.Sorted(slices.Values(b)))
}

// belonging reads whose a row is: "fetch: every opcode", "add: opcode 0001",
// "undefined: opcodes 01?? 1???".
func belonging(text string, s *store.Store) ([]cube.Cube, error) {
	_, what, ok := strings.Cut(text, ": ")
	if ok && what == "every opcode" {
		return []cube.Cube{{}}, nil
	}
	for _, word := range []string{"opcode ", "opcodes "} {
		if list, ok := strings.CutPrefix(what, word); ok {
			return parsePatterns(list, s.OpcodeBits, len(s.Flags))
		}
	}
	return nil, fmt.Errorf("%q does not say which opcodes it serves", text)
}

var hashed = regexp.MustCompile(` sha256 ([0-9a-f]+)$`)

// opened reads the lines of a page whose first one is right.
func opened(r io.Reader, s *store.Store) ([]string, error) {
	all, err := io.ReadAll(r)
	if err != nil {
		return nil, err
	}
	text := strings.Split(strings.TrimSuffix(string(all), "\n"), "\n")
	return text, headed(1, text[0], s)
}

// headed checks the first line of a page: the machine and its hash.
func headed(line int, text string, s *store.Store) error {
	rest, ok := strings.CutPrefix(text, s.Machine)
	if !ok || rest == "" || rest[0] != ':' && rest[0] != ' ' {
		return refuse(line, "the page is not of machine %s", s.Machine)
	}
	hash := hashed.FindStringSubmatch(text)
	if hash == nil || !sameHash(hash[1], s) {
		return refuse(line, "the page does not carry the hash %s", s.Hash[:min(12, len(s.Hash))])
	}
	return nil
}

func sameHash(found string, s *store.Store) bool { return found == s.Hash[:min(12, len(s.Hash))] }

// unwrap joins the lines of a text that was broken at blanks.
func unwrap(lines []string) string {
	var words []string
	for _, l := range lines {
		words = append(words, strings.Fields(l)...)
	}
	return strings.Join(words, " ")
}
