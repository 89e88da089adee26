package schedule_test

import (
	"flag"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"coilwright/encode/cube"
	"coilwright/encode/internal/reference"
	"coilwright/encode/machine"
	"coilwright/encode/schedule"
	"coilwright/encode/store"
	"coilwright/lang/definition"
	"coilwright/lang/diag"
)

var machines = flag.Int("machines", 1000, "random machines to compare with the second reading")

// encode runs the stages from a definition's tree to its store. The store is
// nil if a stage found an error.
func encode(src *definition.Source) (*store.Store, diag.List) {
	m, list := machine.Resolve(src)
	if list.Errors() > 0 {
		return nil, list
	}
	plan, more := schedule.Encode(m)
	list = append(list, more...)
	if list.Errors() > 0 {
		return nil, list
	}
	return schedule.Weave(m, plan), list
}

// load reads a definition from memory.
func load(t *testing.T, path, text string) *definition.Source {
	t.Helper()
	src, list := definition.Load(path, func(string) ([]byte, error) { return []byte(text), nil })
	if list.Errors() > 0 {
		t.Fatalf("does not parse: %v\n%s", list, text)
	}
	return src
}

// difference compares a store with the meaning of its definition, word by
// word; "" if they agree.
func difference(s *store.Store, m *reference.Meaning) string {
	var names []string
	for _, c := range s.Columns {
		names = append(names, c.Name)
	}
	switch {
	case !slices.Equal(names, m.Lines):
		return fmt.Sprintf("lines %v, by reference %v", names, m.Lines)
	case !slices.Equal(s.Flags, m.Flags):
		return fmt.Sprintf("flags %v, by reference %v", s.Flags, m.Flags)
	case s.OpcodeBits != m.OpcodeBits || s.Phases != m.Phases:
		return fmt.Sprintf("%d opcode bits, %d phases, by reference %d, %d", s.OpcodeBits, s.Phases, m.OpcodeBits, m.Phases)
	}
	for opcode := range uint64(1) << s.OpcodeBits {
		for flags := range uint64(1) << len(s.Flags) {
			for phase := 1; phase <= s.Phases; phase++ {
				got, want := s.At(opcode, flags, phase), m.On(opcode, flags, phase)
				for i, on := range want {
					if got.Has(i) != on {
						return fmt.Sprintf("opcode %0*b flags %0*b phase %d: %s is %t, by reference %t",
							s.OpcodeBits, opcode, len(s.Flags), flags, phase, names[i], got.Has(i), on)
					}
				}
			}
		}
	}
	return ""
}

// disagree judges one definition by both readings of the page; "" if they meet.
func disagree(t *testing.T, src *definition.Source) (valid bool, text string) {
	t.Helper()
	meaning, err := reference.Evaluate(src)
	s, list := encode(src)
	switch {
	case s == nil && err != nil:
		return false, ""
	case s == nil:
		return false, "refused, but the reference takes it:\n" + errors(list)
	case err != nil:
		return true, "taken, but the reference refuses it: " + err.Error()
	}
	if text := difference(s, meaning); text != "" {
		return true, text + "\n" + both(src, meaning)
	}
	return true, ""
}

// both lists the paths that the two readings do not place alike.
func both(src *definition.Source, meaning *reference.Meaning) string {
	m, _ := machine.Resolve(src)
	plan, _ := schedule.Encode(m)
	ours := map[string]bool{}
	for _, o := range plan.Owners {
		for _, p := range o.Paths {
			flags := map[string]bool{}
			for i, f := range plan.Tested {
				if p.Flags.Care>>i&1 == 1 {
					flags[m.Signals[f].Name] = p.Flags.Value>>i&1 == 1
				}
			}
			var strobes []int
			for _, s := range p.Steps {
				strobes = append(strobes, s.Strobe)
			}
			if o.Kind != "fetch" {
				ours[fmt.Sprintf("%s %v strobes %v last %d", o.Name, flags, strobes, p.Last)] = true
			}
		}
	}
	var out []string
	for _, p := range meaning.Paths {
		key := fmt.Sprintf("%s %v strobes %v last %d", p.Owner, p.Flags, p.Strobes, p.Last)
		if !ours[key] {
			out = append(out, "  reference "+key)
		}
		delete(ours, key)
	}
	for key := range ours {
		out = append(out, "  encoder   "+key)
	}
	slices.Sort(out)
	return strings.Join(out, "\n")
}

func errors(list diag.List) string {
	var out []string
	for _, d := range list {
		if d.Severity == diag.Error {
			out = append(out, fmt.Sprintf("  %s: %s [%s]", d.At, d.Text, d.Name))
		}
	}
	return strings.Join(out, "\n")
}

// number puts line numbers before a text, as diagnostics name them.
func number(text string) string {
	lines := strings.Split(text, "\n")
	for i := range lines {
		lines[i] = fmt.Sprintf("%3d  %s", i+1, lines[i])
	}
	return strings.Join(lines, "\n")
}

// TestReferenceRandom compares the store with the slow, obvious evaluator for
// every (opcode, flags, phase) of random machines, and both verdicts on those
// that either refuses. It goes on until 1,000 (or -machines) were valid.
func TestReferenceRandom(t *testing.T) {
	want := *machines
	if testing.Short() {
		want = 60
	}
	seen := map[string]int{}
	wrong, valid, tried := 0, 0, uint64(0)
	for ; valid < want; tried++ {
		if tried > uint64(want)*3 {
			t.Fatalf("%d of %d random machines were valid: the generator is worth little", valid, tried)
		}
		text := reference.Random(rand.New(rand.NewPCG(tried, 2)))
		src := load(t, "random.coil", text)
		ok, no := disagree(t, src)
		if no != "" {
			t.Errorf("seed %d: %s\n%s", tried, no, number(text))
			if wrong++; wrong >= 3 {
				t.FailNow()
			}
		}
		if !ok {
			continue
		}
		valid++
		for f := range reference.Features(src) {
			seen[f]++
		}
	}
	t.Logf("%d machines, %d valid and compared", tried, valid)
	if testing.Short() {
		return
	}
	for _, f := range []string{
		"select lines", "hold", "nested when", "settling", "field with except", "low of a line", "dead",
		"restart cuts", "sliced opcode", "undefined restart", "undefined idle", "undefined halt", "undefined free",
		"undefined default", "buffered", "set of a line", "or", "bus to bus", "sliced transfer", "no restart line",
		"phases", "wait", "do", "pulse over 1", "lead of a line", "trail of a line", "lead 0", "lead 2", "trail 0",
		"trail 2", "decode 2", "decode 3", "fetch when", "opcode in two halves", "none", "halt in a step",
		"several flags", "when in hold", "hold in when", "nested hold", "select held", "second word", "number operand",
		"choice of no line", "choice of two lines", "when not", "else", "select off behind a gate", "none over a join",
	} {
		t.Logf("%-20s %d", f, seen[f])
		if seen[f] < 50 {
			t.Errorf("%q occurs in %d of %d valid machines, 50 are wanted", f, seen[f], valid)
		}
	}
}

// TestReferenceExamples does the same for the page's example and every machine in examples.
func TestReferenceExamples(t *testing.T) {
	files, err := filepath.Glob("../../examples/*/*.coil")
	if err != nil {
		t.Fatal(err)
	}
	for _, path := range append(files, "../../testdata/reference/page.coil") {
		t.Run(filepath.Base(path), func(t *testing.T) {
			src, list := definition.Load(path, os.ReadFile)
			if list.Errors() > 0 {
				t.Fatalf("does not parse:\n%s", errors(list))
			}
			valid, no := disagree(t, src)
			if no != "" {
				t.Error(no)
			}
			if !valid {
				t.Error("not valid")
			}
		})
	}
}

// TestReferenceByHand does the same for the machines that were worked by hand,
// which show rules that random machines seldom meet.
func TestReferenceByHand(t *testing.T) {
	raw, err := os.ReadFile("../../testdata/reference/hand.txt")
	if err != nil {
		t.Fatal(err)
	}
	sections := strings.Split(string(raw), "\n== ")[1:]
	_, common, _ := strings.Cut(sections[0], "\n")
	for _, section := range sections[1:] {
		name, rest, _ := strings.Cut(section, "\n")
		text, want, _ := strings.Cut(rest, "=> ")
		t.Run(name, func(t *testing.T) {
			valid, no := disagree(t, load(t, "hand.coil", common+text))
			if no != "" {
				t.Errorf("%s\n%s", no, number(common+text))
			}
			if valid == strings.HasPrefix(want, "refused") {
				t.Errorf("valid is %t", valid)
			}
		})
	}
}

// TestReferenceSeesFlippedBits: with any one bit of a store flipped, the comparison fails.
func TestReferenceSeesFlippedBits(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 7))
	small, large := 2, 20
	if testing.Short() {
		small, large = 1, 4
	}
	for seed := uint64(0); small+large > 0; seed++ {
		if seed > 2000 {
			t.Fatal("no machines to try")
		}
		src := load(t, "random.coil", reference.Random(rand.New(rand.NewPCG(seed, 2))))
		meaning, err := reference.Evaluate(src)
		s, _ := encode(src)
		if s == nil || err != nil || difference(s, meaning) != "" {
			continue
		}
		bits := len(s.Columns) << s.OpcodeBits << len(s.Flags) * s.Phases
		var tries []int
		switch {
		case bits < 4000 && small > 0:
			small--
			for n := range bits {
				tries = append(tries, n)
			}
		case bits >= 4000 && large > 0:
			large--
			for range 30 {
				tries = append(tries, r.IntN(bits))
			}
		default:
			continue
		}
		for i, n := range tries {
			if i%500 == 0 {
				one(t, s, flip(s, n))
			}
			if difference(flip(s, n), meaning) == "" {
				t.Fatalf("seed %d: bit %d flipped and not seen", seed, n)
			}
		}
		t.Logf("seed %d: %d of %d bits flipped, each seen", seed, len(tries), bits)
	}
}

// one checks that two stores differ in one bit.
func one(t *testing.T, a, b *store.Store) {
	t.Helper()
	bits := 0
	for opcode := range uint64(1) << a.OpcodeBits {
		for flags := range uint64(1) << len(a.Flags) {
			for phase := 1; phase <= a.Phases; phase++ {
				x, y := a.At(opcode, flags, phase), b.At(opcode, flags, phase)
				for i := range a.Columns {
					if x.Has(i) != y.Has(i) {
						bits++
					}
				}
			}
		}
	}
	if bits != 1 {
		t.Fatalf("flip changed %d bits", bits)
	}
}

// flip returns the store with bit n of all its bits changed: line by line
// within a word, word by word over phases, flags and opcodes.
func flip(s *store.Store, n int) *store.Store {
	column := n % len(s.Columns)
	n /= len(s.Columns)
	phase := n%s.Phases + 1
	n /= s.Phases
	flags := uint64(n) & (1<<len(s.Flags) - 1)
	opcode := uint64(n) >> len(s.Flags)

	out := *s
	exact := store.Row{
		Opcode: cube.Cube{Care: 1<<s.OpcodeBits - 1, Value: opcode},
		Flags:  cube.Cube{Care: 1<<len(s.Flags) - 1, Value: flags},
		Phase:  phase, Lines: store.NewSet(len(s.Columns)),
	}
	exact.Lines.Add(column)
	if !s.At(opcode, flags, phase).Has(column) {
		out.Rows = append(slices.Clone(s.Rows), exact)
		return &out
	}
	out.Rows = nil
	for _, row := range s.Rows {
		if row.Phase != phase || !row.Lines.Has(column) || !row.Opcode.Matches(opcode) || !row.Flags.Matches(flags) {
			out.Rows = append(out.Rows, row)
			continue
		}
		// The row without the column, and the column for all words of the
		// row but this one: those that differ in a bit that did not matter.
		rest := row
		rest.Lines = slices.Clone(row.Lines)
		rest.Lines[column/64] &^= 1 << (column % 64)
		out.Rows = append(out.Rows, rest)
		for b := range s.OpcodeBits {
			if row.Opcode.Care>>b&1 == 0 {
				other := row
				other.Lines = exact.Lines
				other.Opcode = row.Opcode.With(b, 1-opcode>>b&1)
				out.Rows = append(out.Rows, other)
			}
		}
		for b := range s.Flags {
			if row.Flags.Care>>b&1 == 0 {
				other := row
				other.Lines = exact.Lines
				other.Flags = row.Flags.With(b, 1-flags>>b&1)
				out.Rows = append(out.Rows, other)
			}
		}
	}
	return &out
}
