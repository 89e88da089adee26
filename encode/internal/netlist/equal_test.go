// Package netlist_test holds what emit/netlist writes against the store by
// programs of others: it is here because random machines are.
package netlist_test

import (
	"bytes"
	"context"
	"fmt"
	"math/rand/v2"
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

// candidate is a network for a subject.
type candidate struct {
	*subject
	style string
	rows  []netlist.Product
	free  bool // the rows make use of states that cannot occur
	list  *wiring.List
}

func candidates(t *testing.T, x *subject, styles ...string) []candidate {
	t.Helper()
	var out []candidate
	for _, style := range styles {
		c, list := build(t, x, style)
		k := candidate{subject: x, style: style, free: style == "minimal", list: list}
		for _, r := range c.Rows {
			k.rows = append(k.rows, netlist.Product{Owner: r.Owner, When: r.When, Phases: r.Phases, Lines: r.Lines})
		}
		out = append(out, k)
	}
	return out
}

func (k *candidate) flow(t *testing.T) string {
	t.Helper()
	return written(t, func(b *bytes.Buffer) error { return netlist.Flow(b, k.list, k.store) })
}

func (k *candidate) function(t *testing.T, rows bool) *netlist.Function {
	t.Helper()
	f, err := netlist.Store(k.store, k.changes.Inputs)
	if rows {
		f, err = netlist.Network(k.store, k.changes.Inputs, "network", k.rows)
	}
	if err != nil {
		t.Fatalf("%s: %v", k.name, err)
	}
	return f
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

// masked wraps modules so that lines are 0 where the state cannot occur.
func masked(module, text, sums string) string {
	in, lines := ports(text)
	_, all := ports(sums)
	lines = lines[:len(all)-1]
	var b strings.Builder
	list := func(format string, from []string, between string) string {
		var out []string
		for i := range from {
			out = append(out, fmt.Sprintf(format, i))
		}
		return strings.Join(out, between)
	}
	connect := func(instance string, ports []string, format string) string {
		var out []string
		for i, p := range ports {
			out = append(out, fmt.Sprintf("."+p+"("+format+")", i))
		}
		return strings.Join(out, ", ")
	}
	fmt.Fprintf(&b, "module masked (%s, %s);\n", list("i%d", in, ", "), list("o%d", lines, ", "))
	fmt.Fprintf(&b, "  input %s;\n  output %s;\n  wire %s, %s;\n", list("i%d", in, ", "), list("o%d", lines, ", "), list("a%d", lines, ", "), list("b%d", all, ", "))
	fmt.Fprintf(&b, "  %s one (%s, %s);\n", module, connect("one", in, "i%d"), connect("one", lines, "a%d"))
	sumIn, _ := ports(sums)
	fmt.Fprintf(&b, "  %s two (%s, %s);\n", strings.Fields(sums[strings.Index(sums, "\nmodule ")+1:])[1], connect("two", sumIn, "i%d"), connect("two", all, "b%d"))
	for i := range lines {
		fmt.Fprintf(&b, "  assign o%d = a%d & b%d;\n", i, i, len(all)-1)
	}
	b.WriteString("endmodule\n")
	if text == sums {
		return sums + b.String()
	}
	return text + sums + b.String()
}

func equivalent(t *testing.T, pairs [][2]string, names []string) {
	t.Helper()
	for i, said := range unequal(t, pairs) {
		t.Errorf("%s: %s", names[i], said)
	}
}

// unequal lets an equivalence checker compare pairs of files, all in one run,
// and returns what it says of those that differ.
func unequal(t *testing.T, pairs [][2]string) map[int]string {
	t.Helper()
	abc := tool(t, "berkeley-abc")
	dir := t.TempDir()
	var script strings.Builder
	for i, p := range pairs {
		var files []string
		for k, text := range p {
			ending, read := ".v", "read_verilog"
			if strings.HasPrefix(text, "#") {
				ending, read = ".pla", "read_pla -d" // don't-cares as on, in both
			}
			f := save(t, filepath.Join(dir, fmt.Sprintf("%d_%d%s", i, k, ending)), text)
			blif := filepath.Join(dir, fmt.Sprintf("%d_%d.aig", i, k))
			fmt.Fprintf(&script, "%s %s; strash; write %s\n", read, f, blif)
			files = append(files, blif)
		}
		fmt.Fprintf(&script, "echo pair %d\ncec -n %s\n", i, strings.Join(files, " "))
	}
	said := run(t, abc, "-q", "source -s "+save(t, filepath.Join(dir, "script"), script.String()))
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

func simulated(t *testing.T, list []candidate, write func(k *candidate) string) {
	t.Helper()
	for i, said := range wrong(t, list, write) {
		t.Errorf("%s, style %s:%s", list[i].name, list[i].style, said)
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

// hold lets the equivalence checker and the simulator judge networks as sums in the order of flow.
func hold(t *testing.T, list []candidate) {
	t.Helper()
	var pairs [][2]string
	var names []string
	for i := range list {
		k := &list[i]
		sums := written(t, func(b *bytes.Buffer) error { return netlist.Sums(b, k.function(t, false)) })
		name := k.store.Machine
		pairs = append(pairs, [2]string{masked(name+"_store", sums, sums), masked(name+"_network", k.flow(t), sums)})
		names = append(names, k.name+" "+k.style+" flow")
		for _, form := range []netlist.PhaseForm{netlist.PhaseOnehot, netlist.PhaseBinary} {
			// What is on in a state that cannot occur is on too when its phase wire
			// and another are powered: a network that makes use of such states
			// equals the store with one wire at a time alone.
			if k.rows == nil || form == netlist.PhaseOnehot && k.free {
				continue
			}
			pla := func(rows bool) string {
				return written(t, func(b *bytes.Buffer) error { return netlist.PLA(b, k.function(t, rows), form) })
			}
			pairs = append(pairs, [2]string{pla(false), pla(true)})
			names = append(names, k.name+" "+k.style+" "+string(form))
		}
	}
	equivalent(t, pairs, names)
	simulated(t, list, func(k *candidate) string { return k.flow(t) })
}

func switches(t *testing.T, k *candidate) string {
	t.Helper()
	return written(t, func(b *bytes.Buffer) error { return netlist.Switches(b, k.list, k.store) })
}

func TestExamples(t *testing.T) {
	var list []candidate
	for _, x := range examples(t) {
		styles := network.Styles
		if x.store.Machine == "millrace" {
			styles = styles[:1] // the others take their time
		}
		list = append(list, candidates(t, x, styles...)...)
	}
	hold(t, list)
	simulated(t, list, func(k *candidate) string { return switches(t, k) })
}

// TestYosys lets a synthesis tool read our Verilog, and prove by its solver
// that no state that occurs tells network and store apart.
func TestYosys(t *testing.T) {
	yosys := tool(t, "yosys")
	dir := t.TempDir()
	for _, x := range examples(t) {
		k := candidates(t, x, "plain")[0]
		flow, sums := k.flow(t), written(t, func(b *bytes.Buffer) error { return netlist.Sums(b, k.function(t, false)) })
		prove := func(flow string) string {
			found := masked(x.store.Machine+"_network", flow, sums) // holds sums as well
			wanted := strings.TrimPrefix(masked(x.store.Machine+"_store", sums, sums), sums)
			file := save(t, filepath.Join(dir, "both.v"), found+strings.Replace(wanted, "module masked", "module wanted", 1))
			out, _ := exec.Command(yosys, "-p", "read_verilog "+file+"; hierarchy; proc; flatten masked wanted; miter -equiv -flatten masked wanted both; sat -prove trigger 0 both").CombinedOutput()
			return string(out)
		}
		const proved = "SAT proof finished - no model found: SUCCESS!"
		if out := prove(flow); !strings.Contains(out, proved) {
			t.Errorf("%s: %s", x.name, out[max(0, len(out)-2000):])
		}
		if out := prove(strings.Replace(flow, " & ~K", " & K", 1)); strings.Contains(out, proved) || !strings.Contains(out, "model found: FAIL!") {
			t.Errorf("%s: a contact turned over is not found: %s", x.name, out[max(0, len(out)-2000):])
		}
	}
}

// TestRandom takes 200 machines, each with a network, from the builder or
// drawn by dice, and a cover by the minimiser.
func TestRandom(t *testing.T) {
	r := rand.New(rand.NewPCG(11, 28))
	var list []candidate
	used := 0
	for i, x := range randoms(t, 200, 1) {
		k := candidate{subject: x, style: "by dice"}
		if i%2 == 0 {
			k.list = draw(x.store, x.lines(), r)
		} else {
			k = candidates(t, x, "plain")[0]
		}
		k.rows = covered(t, &k)
		k.free = len(k.function(t, false).Free) > 0
		if k.free {
			used++
		}
		list = append(list, k)
	}
	if used < 20 || used > 195 {
		t.Errorf("%d of 200 machines have states that cannot occur", used)
	}
	hold(t, list)
	// The simulator is slow with switches.
	simulated(t, list[:40], func(k *candidate) string { return switches(t, k) })
}

// covered reduces a store to few products and turns them into rows.
func covered(t *testing.T, k *candidate) []netlist.Product {
	t.Helper()
	s, f := k.store, k.function(t, false)
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
	var rows []netlist.Product
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
		rows = append(rows, row)
	}
	return rows
}

// TestFaultsAreFound: a check that cannot fail shows nothing. Each fault is
// put into a text that passed.
func TestFaultsAreFound(t *testing.T) {
	x := examples(t)[2] // textbook: every state can occur
	k := candidates(t, x, "plain")[0]
	flow, sw := k.flow(t), switches(t, &k)
	equal := func(text string) bool {
		sums := written(t, func(b *bytes.Buffer) error { return netlist.Sums(b, k.function(t, false)) })
		return len(unequal(t, [][2]string{{masked(k.store.Machine+"_store", sums, sums), masked(k.store.Machine+"_network", text, sums)}})) == 0
	}
	right := func(text string) bool {
		return len(wrong(t, []candidate{k}, func(*candidate) string { return text })) == 0
	}
	if !equal(flow) || !right(flow) || !right(sw) {
		t.Fatal("the texts are not right to begin with")
	}
	found := 0
	lines := strings.SplitAfter(flow, "\n")
	for i, line := range lines {
		if !strings.Contains(line, " & ~") {
			continue
		}
		text := strings.Join(lines[:i], "") + strings.Replace(line, " & ~", " & ", 1) + strings.Join(lines[i+1:], "")
		if equal(text) || right(text) {
			t.Errorf("not found: %s turned", strings.TrimSpace(line))
		}
		found++
	}
	lines = strings.SplitAfter(sw, "\n")
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
}
