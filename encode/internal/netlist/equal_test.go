// Package netlist_test holds what emit/netlist writes against the store by
// programs of others: it is here because random machines are.
package netlist_test

import (
	"bytes"
	"cmp"
	"context"
	"fmt"
	"math/bits"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"coilwright/emit/netlist"
	"coilwright/encode/cover"
	"coilwright/encode/cube"
	"coilwright/encode/network"
	"coilwright/encode/network/wiring"
	"coilwright/encode/store"
)

// all says that everything is tried, which takes minutes: COILWRIGHT_NETLISTS=all.
var all = os.Getenv("COILWRIGHT_NETLISTS") == "all"

// candidate is a network for a subject.
type candidate struct {
	*subject
	style string
	list  *wiring.List
	rows  []rows
}

// rows are what a network or a cover says.
type rows struct {
	of   string
	free bool // they make use of states that cannot occur
	list []netlist.Product
}

func candidates(t *testing.T, x *subject, styles ...string) []candidate {
	t.Helper()
	var out []candidate
	for _, style := range styles {
		c, list := build(t, x, style)
		r := rows{of: "rows", free: style == "minimal"}
		for _, row := range c.Rows {
			r.list = append(r.list, netlist.Product{Owner: row.Owner, When: row.When, Phases: row.Phases, Lines: row.Lines})
		}
		out = append(out, candidate{subject: x, style: style, list: list, rows: []rows{r}})
	}
	return out
}

func (x *subject) function(t *testing.T) *netlist.Function {
	t.Helper()
	f, err := netlist.Store(x.store, x.changes.Inputs)
	if err != nil {
		t.Fatalf("%s: %v", x.name, err)
	}
	return f
}

func (x *subject) network(t *testing.T, r rows) *netlist.Function {
	t.Helper()
	f, err := netlist.Network(x.store, x.changes.Inputs, "network", r.list)
	if err != nil {
		t.Fatalf("%s: %v", x.name, err)
	}
	return f
}

func (k *candidate) flow(t *testing.T) string {
	t.Helper()
	return written(t, func(b *bytes.Buffer) error { return netlist.Flow(b, k.list, k.store, nil) })
}

// masked are store and network, with lines that are 0 where the state cannot occur.
func (k *candidate) masked(t *testing.T) [2]string {
	t.Helper()
	f := k.function(t)
	return [2]string{
		written(t, func(b *bytes.Buffer) error { return netlist.Sums(b, f, true) }),
		written(t, func(b *bytes.Buffer) error { return netlist.Flow(b, k.list, k.store, f) }),
	}
}

func (x *subject) lines() []int {
	var out []int
	for i := range x.store.Columns {
		if slices.Contains(x.store.Word.Bits, i) {
			out = append(out, i)
		}
	}
	return out
}

// ports lists the ports of a module of the subject, as its head has them.
func ports(text string) (inputs, outputs []string) {
	part := func(word string) []string {
		_, rest, _ := strings.Cut(text, "\n    "+word+" ")
		list, _, _ := strings.Cut(rest, ";")
		return strings.Fields(strings.ReplaceAll(list, ",", " "))
	}
	return part("input"), part("output")
}

// pair is two files that have to say the same: Verilog, or PLA.
type pair struct {
	name  string
	files [2]string
	alone int // the phases, if they need to be the same with one phase wire powered alone
}

func equivalent(t *testing.T, pairs []pair) {
	t.Helper()
	for i, said := range unequal(t, pairs) {
		t.Errorf("%s: %s", pairs[i].name, said)
	}
}

// unequal lets an equivalence checker compare pairs of files, all in one run,
// and returns what it says of those that differ.
func unequal(t *testing.T, pairs []pair) map[int]string {
	t.Helper()
	abc := tool(t, "berkeley-abc")
	dir := t.TempDir()
	script := func(text string) string {
		return run(t, abc, "-q", "source -s "+save(t, filepath.Join(dir, "script"), text))
	}
	var convert, compare strings.Builder
	for i, p := range pairs {
		var files []string
		for k, text := range p.files {
			file := filepath.Join(dir, fmt.Sprintf("m%d_%d", i, k))
			read := "read_verilog " + file + ".v"
			if strings.HasPrefix(text, "#") {
				save(t, file+".pla", text)
				read = "read_pla -d " + file + ".pla" // don't-cares as on, in both
			} else {
				save(t, file+".v", text)
			}
			if p.alone > 0 {
				fmt.Fprintf(&convert, "%s; strash; write_verilog %s.v\n", read, file)
				read = "read_verilog " + file + "_alone.v"
			}
			fmt.Fprintf(&compare, "%s; strash; write %s.aig\n", read, file)
			files = append(files, file+".aig")
		}
		fmt.Fprintf(&compare, "echo pair %d\ncec -n %s\n", i, strings.Join(files, " "))
	}
	script(convert.String())
	for i, p := range pairs {
		for k := range p.files {
			if p.alone == 0 {
				continue
			}
			file := filepath.Join(dir, fmt.Sprintf("m%d_%d", i, k))
			text, err := os.ReadFile(file + ".v")
			if err != nil {
				t.Fatal(err)
			}
			save(t, file+"_alone.v", decoded(string(text), p.alone))
		}
	}
	said := script(compare.String())
	if strings.Contains(said, "Warning") {
		t.Fatal(said)
	}
	bad := map[int]string{}
	for i := range pairs {
		_, after, _ := strings.Cut(said, fmt.Sprintf("pair %d ", i))
		after, _, _ = strings.Cut(after, "pair ")
		if !strings.Contains(after, "Networks are equivalent") {
			bad[i] = after
		}
	}
	return bad
}

// decoded wraps a module whose last inputs are phase wires so that a binary
// number powers them, one at a time or none.
func decoded(text string, phases int) string {
	text = strings.ReplaceAll(text, "\n  ", "\n    ")
	in, out := ports(text)
	before, rest, _ := strings.Cut(text, "\nmodule ")
	_, rest, _ = strings.Cut(rest, " ")
	text = before + "\nmodule inner " + rest
	condition := len(in) - phases
	number := bits.Len(uint(phases))
	var heads, inputs, outputs []string
	for i := range condition + number {
		inputs = append(inputs, fmt.Sprintf("i%d", i))
	}
	var decode strings.Builder
	for i := range in {
		if i < condition {
			heads = append(heads, inputs[i])
			continue
		}
		fmt.Fprintf(&decode, "  wire w%d;\n  assign w%[1]d = ", i)
		for b := range number {
			if b > 0 {
				decode.WriteString(" & ")
			}
			if (i-condition)>>b&1 == 0 {
				decode.WriteString("~")
			}
			decode.WriteString(inputs[condition+b])
		}
		decode.WriteString(";\n")
		heads = append(heads, fmt.Sprintf("w%d", i))
	}
	for i := range out {
		outputs = append(outputs, fmt.Sprintf("o%d", i))
	}
	var connections []string
	for i, p := range append(in, out...) {
		connections = append(connections, fmt.Sprintf(".%s(%s)", p, append(heads, outputs...)[i]))
	}
	return text + fmt.Sprintf("module outer (%s);\n  input %s;\n  output %s;\n%s  inner inside (%s);\nendmodule\n",
		strings.Join(append(inputs, outputs...), ", "), strings.Join(inputs, ", "), strings.Join(outputs, ", "), decode.String(), strings.Join(connections, ", "))
}

func simulated(t *testing.T, list []candidate, write func(k *candidate) string) {
	t.Helper()
	// With many modules at once the simulator takes longer for each.
	for some := range slices.Chunk(list, 25) {
		for i, said := range wrong(t, some, write) {
			t.Errorf("%s, style %s:%s", some[i].name, some[i].style, said)
		}
	}
}

// wrong lets a simulator try every state of networks, and returns the first
// difference of those that are not as the store says.
func wrong(t *testing.T, list []candidate, write func(k *candidate) string) map[int]string {
	t.Helper()
	iverilog, vvp := tool(t, "iverilog"), tool(t, "vvp")
	dir := t.TempDir()
	var source strings.Builder
	for i := range list {
		k := &list[i]
		text := write(k)
		in, out := ports(text)
		fmt.Fprintf(&source, "%s\n", strings.Replace(text, "\nmodule "+k.store.Machine+"_network (", fmt.Sprintf("\nmodule m%d (", i), 1))
		words := k.words()
		save(t, filepath.Join(dir, fmt.Sprintf("%d.mem", i)), strings.Join(words, "\n")+"\n")
		n := k.store.OpcodeBits + len(k.store.Flags)
		fmt.Fprintf(&source, `module bench%[1]d;
  reg [%[2]d:0] want [0:%[3]d]; reg [%[2]d:0] w;
  reg [%[4]d:0] c; reg [%[5]d:0] p; wire [%[6]d:0] got; integer i, bad;
  m%[1]d m (`, i, len(out), len(words)-1, max(0, n-1), k.store.Phases, len(out)-1)
		var ports []string
		for j := range in {
			if j < n {
				ports = append(ports, fmt.Sprintf("c[%d]", n-1-j))
			} else {
				ports = append(ports, fmt.Sprintf("p[%d]", j-n+1))
			}
		}
		for j := range out {
			ports = append(ports, fmt.Sprintf("got[%d]", j))
		}
		fmt.Fprintf(&source, `%s);
  initial begin
    bad = 0; $readmemb("%s/%d.mem", want);
    for (i = 0; i < %d; i = i + 1) begin
      c = i / %[5]d; p = 0; p[i %% %[5]d] = 1; #1 w = want[i];
      if (w[%[6]d] && got !== w[%[7]d:0]) begin
        if (bad == 0) $display("%[3]d: condition %%b, phase %%0d: %%b, want %%b", c, i %% %[5]d, got, w[%[7]d:0]);
        bad = bad + 1;
      end
    end
    $display("%[3]d ends with %%0d", bad);
  end
endmodule
`, strings.Join(ports, ", "), dir, i, len(words), k.store.Phases+1, len(out), len(out)-1)
	}
	program := filepath.Join(dir, "bench")
	run(t, iverilog, "-o", program, save(t, filepath.Join(dir, "bench.v"), source.String()))
	said := "\n" + run(t, vvp, "-n", program)
	bad := map[int]string{}
	for i := range list {
		if !strings.Contains(said, fmt.Sprintf("\n%d ends with 0\n", i)) {
			_, line, _ := strings.Cut(said, fmt.Sprintf("\n%d:", i))
			bad[i], _, _ = strings.Cut(line, "\n")
		}
	}
	return bad
}

// words are the expected lines for every setting of opcode and flags (the
// opcode above, as in the ports) and no phase, then each: a 1 in front if the state occurs.
func (x *subject) words() []string {
	s := x.store
	table := s
	n := s.OpcodeBits + len(s.Flags)
	lines := x.lines()
	var out []string
	for c := range uint64(1) << n {
		// The first flag is the highest of the low bits.
		opcode, flags := c>>len(s.Flags), uint64(0)
		for i := range s.Flags {
			flags |= c >> (len(s.Flags) - 1 - i) & 1 << i
		}
		free := slices.ContainsFunc(s.Free, func(c cube.Cube) bool { return c.Matches(opcode) })
		over := false
		for phase := range s.Phases + 1 {
			word := []byte(strings.Repeat("0", len(lines)+1))
			if !free && !over {
				word[0] = '1'
			}
			if phase > 0 {
				on := table.At(opcode, flags, phase)
				for i, l := range lines {
					if on.Has(l) {
						word[len(lines)-i] = '1'
					}
				}
			}
			out = append(out, string(word))
			for _, r := range s.Rows {
				if r.Phase == phase && r.Opcode.Matches(opcode) && r.Flags.Matches(flags) && r.Flags.Care&x.changes.Inputs == 0 &&
					slices.ContainsFunc(r.Lines.Columns(), func(c int) bool { return s.Columns[c].Kind == store.Restart }) {
					over = true
				}
			}
		}
	}
	return out
}

// hold lets the equivalence checker and the simulator judge networks as sums
// in the order of flow, and the checker their rows too.
func hold(t *testing.T, list []candidate) {
	t.Helper()
	var pairs []pair
	for i := range list {
		k := &list[i]
		name := k.name + ", " + k.style
		pairs = append(pairs, pair{name: name + " flow", files: k.masked(t)})
		for _, r := range k.rows {
			for _, form := range []netlist.PhaseForm{netlist.PhaseOnehot, netlist.PhaseBinary} {
				pla := func(f *netlist.Function) string {
					return written(t, func(b *bytes.Buffer) error { return netlist.PLA(b, f, form) })
				}
				p := pair{name: name + " " + r.of + " " + string(form), files: [2]string{pla(k.function(t)), pla(k.network(t, r))}}
				if form == netlist.PhaseOnehot && r.free {
					// What is on in a state that cannot occur is on too when its phase
					// wire and another are powered.
					p.alone = k.store.Phases
				}
				pairs = append(pairs, p)
			}
		}
	}
	equivalent(t, pairs)
	simulated(t, list, func(k *candidate) string { return k.flow(t) })
}

func switches(t *testing.T, k *candidate) string {
	t.Helper()
	return written(t, func(b *bytes.Buffer) error { return netlist.Switches(b, k.list, k.store) })
}

var drawnOnce []candidate

// drawn are the examples in every style: the builder takes its time for them.
func drawn(t *testing.T) []candidate {
	t.Helper()
	if drawnOnce == nil {
		for _, x := range examples(t) {
			drawnOnce = append(drawnOnce, candidates(t, x, network.Styles...)...)
		}
	}
	return drawnOnce
}

func TestExamples(t *testing.T) {
	list := drawn(t)
	hold(t, list)
	simulated(t, list, func(k *candidate) string { return switches(t, k) })
}

// TestYosys lets a synthesis tool read our Verilog, and prove by its solver
// that no state that occurs tells network and store apart.
func TestYosys(t *testing.T) {
	yosys := tool(t, "yosys")
	dir := t.TempDir()
	for _, k := range drawn(t) {
		pair := k.masked(t)
		prove := func(flow string) string {
			store, network := save(t, filepath.Join(dir, "store.v"), pair[0]), save(t, filepath.Join(dir, "network.v"), flow)
			out, _ := exec.Command(yosys, "-p", fmt.Sprintf("read_verilog %s %s; miter -equiv -flatten %[3]s_store %[3]s_network both; sat -prove trigger 0 both",
				store, network, k.store.Machine)).CombinedOutput()
			return string(out)
		}
		const proved = "SAT proof finished - no model found: SUCCESS!"
		if out := prove(pair[1]); !strings.Contains(out, proved) {
			t.Errorf("%s, style %s: %s", k.name, k.style, out[max(0, len(out)-2000):])
		}
		if out := prove(strings.Replace(pair[1], " & ~K", " & K", 1)); strings.Contains(out, proved) || !strings.Contains(out, "model found: FAIL!") {
			t.Errorf("%s, style %s: a contact turned over is not found: %s", k.name, k.style, out[max(0, len(out)-2000):])
		}
	}
}

// TestRandom takes 200 machines, each with a network, drawn by dice or from
// the builder, and a cover by the minimiser. The builder takes its time for
// styles shared and minimal where rows are many: these get one of plain style,
// or dice. COILWRIGHT_NETLISTS=all has every machine in every style and by dice.
func TestRandom(t *testing.T) {
	r := rand.New(rand.NewPCG(11, 28))
	list := randoms(t, 200, 1)
	free := 0
	for _, x := range list {
		if len(x.function(t).Free) > 0 {
			free++
		}
	}
	if free < 20 || free > 195 {
		t.Errorf("%d of 200 machines have states that cannot occur", free)
	}
	slices.SortStableFunc(list, func(a, b *subject) int { return cmp.Compare(len(a.store.Rows), len(b.store.Rows)) })
	var some []candidate
	judge := func() {
		hold(t, some)
		// The simulator is slow with switches.
		most := len(some)
		if !all {
			most = 40
		}
		r.Shuffle(len(some), func(i, j int) { some[i], some[j] = some[j], some[i] })
		simulated(t, some[:most], func(k *candidate) string { return switches(t, k) })
		some = nil
	}
	for i, x := range list {
		dice := candidate{subject: x, style: "by dice", list: draw(x.store, x.lines(), r)}
		if all {
			some = append(append(some, dice), candidates(t, x, network.Styles...)...)
			some[len(some)-1].rows = append(some[len(some)-1].rows, covered(t, x))
			if len(some) >= 100 {
				judge()
			}
			continue
		}
		choice := i % 2
		if i < len(list)/2 {
			choice = i % 4
		}
		if choice == 0 {
			some = append(some, dice)
		} else {
			some = append(some, candidates(t, x, network.Styles[choice-1])...)
		}
		some[i].rows = append(some[i].rows, covered(t, x))
	}
	if len(some) > 0 {
		judge()
	}
}

// covered reduces a store to few products and turns them into rows.
func covered(t *testing.T, k *subject) rows {
	t.Helper()
	s, f := k.store, k.function(t)
	bits := s.OpcodeBits + len(s.Flags)
	shape := cover.Shape{Sizes: append(slices.Repeat([]int{2}, bits), s.Phases), Outputs: len(f.Lines)}
	list := func(terms []netlist.Term) *cover.Cover {
		out, err := cover.New(shape)
		if err != nil {
			t.Fatal(err)
		}
		for _, term := range terms {
			c := out.Full()
			for i := range bits {
				if term.When.Care>>i&1 == 1 {
					c.Keep(i, int(term.When.Value>>i&1))
				}
			}
			for p := range s.Phases {
				if !slices.Contains(term.Phases, p+1) {
					c.Drop(bits, p)
				}
			}
			if len(term.Lines) > 0 {
				c.Keep(out.OutputVar(), term.Lines...)
			}
		}
		return out
	}
	result, err := cover.Minimise(context.Background(), cover.Problem{On: list(f.On), Free: list(f.Free)}, cover.Options{Work: 1 << 18})
	if err != nil {
		t.Fatalf("%s: %v", k.name, err)
	}
	out := rows{of: "cover", free: len(f.Free) > 0}
	lines := k.lines()
	for i := range result.Cover.Len() {
		c := result.Cover.At(i)
		row := netlist.Product{Owner: "cover"}
		var when cube.Cube
		for b := range bits {
			if !c.All(b) {
				when = when.With(b, uint64(c.Values(b)[0]))
			}
		}
		row.When = []cube.Cube{when}
		for _, p := range c.Values(bits) {
			row.Phases = append(row.Phases, p+1)
		}
		for _, l := range c.Outputs() {
			row.Lines = append(row.Lines, lines[l])
		}
		out.list = append(out.list, row)
	}
	return out
}

// TestFaultsAreFound: a check that cannot fail shows nothing. Each fault is
// put into a text that passed.
func TestFaultsAreFound(t *testing.T) {
	x := examples(t)[2] // textbook: every state can occur
	k := candidates(t, x, "plain")[0]
	masked, flow, sw := k.masked(t), k.flow(t), switches(t, &k)
	equal := func(text string) bool { return len(unequal(t, []pair{{files: [2]string{masked[0], text}}})) == 0 }
	right := func(text string) bool {
		return len(wrong(t, []candidate{k}, func(*candidate) string { return text })) == 0
	}
	if !equal(masked[1]) || !right(flow) || !right(sw) {
		t.Fatal("the texts are not right to begin with")
	}
	found := 0
	for i, turned := range turns(flow) {
		if equal(turns(masked[1])[i]) || right(turned) {
			t.Errorf("not found: contact %d turned", i+1)
		}
		found++
	}
	lines := strings.SplitAfter(sw, "\n")
	for i, line := range lines {
		if !strings.HasPrefix(line, "    bufif1 D") && !strings.HasPrefix(line, "    tranif") || i%3 > 0 {
			continue
		}
		if strings.Contains(line, ", at_K1_A2)") {
			continue // from the return: across a coil
		}
		if text := strings.Join(lines[:i], "") + strings.Join(lines[i+1:], ""); right(text) {
			t.Errorf("not found: %s left out", strings.TrimSpace(line))
		}
		found++
	}
	if found < 8 {
		t.Errorf("%d faults tried", found)
	}

	var pairs []pair
	for _, form := range []netlist.PhaseForm{netlist.PhaseOnehot, netlist.PhaseBinary} {
		pla := func(f *netlist.Function) string {
			return written(t, func(b *bytes.Buffer) error { return netlist.PLA(b, f, form) })
		}
		wanted, rows := pla(k.function(t)), pla(k.network(t, k.rows[0]))
		lines := strings.SplitAfter(rows, "\n")
		for i, line := range lines {
			in, out, ok := strings.Cut(line, " ")
			if !ok || !strings.Contains(out, "1") || strings.ContainsAny(in, "#.") {
				continue
			}
			text := strings.Join(lines[:i], "") + in + " " + strings.Replace(out, "1", "~", 1) + strings.Join(lines[i+1:], "")
			pairs = append(pairs, pair{name: string(form) + " " + line, files: [2]string{wanted, text}})
			if form == netlist.PhaseOnehot {
				pairs = append(pairs, pair{name: "alone " + line, files: [2]string{wanted, text}, alone: k.store.Phases})
			}
		}
	}
	bad := unequal(t, pairs)
	for i, p := range pairs {
		if bad[i] == "" {
			t.Errorf("not found: a line left out in %s", p.name)
		}
	}
	if len(pairs) < 24 {
		t.Errorf("%d rows tried", len(pairs))
	}
}

// turns lists texts of sums in the order of flow that differ in one contact.
func turns(flow string) []string {
	var out []string
	lines := strings.SplitAfter(flow, "\n")
	for i, line := range lines {
		if strings.Contains(line, " & ~K") {
			out = append(out, strings.Join(lines[:i], "")+strings.Replace(line, " & ~K", " & K", 1)+strings.Join(lines[i+1:], ""))
		}
	}
	return out
}
