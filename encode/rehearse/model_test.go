package rehearse_test

import (
	"bufio"
	"bytes"
	"fmt"
	"io"
	"io/fs"
	"math/rand/v2"
	"os"
	"os/exec"
	"path"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"coilwright/emit/image"
	"coilwright/encode/assemble"
	"coilwright/encode/rehearse"
	"coilwright/encode/store"
	"coilwright/examples"
	"coilwright/lang/program"
)

// holding is the registers and flags in the order in which the model takes
// and prints them.
var holding = strings.Fields("acc tmp res arg pc nxt lnk ir sw brd zero carry")

// patient is a bound in phases that no demo program reaches: flags takes 8,886.
const patient = 50_000

// trial is a program to run on both.
type trial struct {
	name  string
	ram   [256]byte
	start []byte // by holding
	bound int    // phases
	halts bool   // it has to
}

// modelRun is the model written in Verilog, compiled.
type modelRun struct{ dir, vvp string }

func modelText(t *testing.T) string {
	t.Helper()
	text, err := os.ReadFile(filepath.Join("..", "..", "testdata", "rehearse", "millrace.v"))
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}

// compileModel puts the words of an image beside the model.
func compileModel(t *testing.T, im *image.Image, text string) modelRun {
	t.Helper()
	compiler, runner := tool(t, "iverilog"), tool(t, "vvp")
	run := modelRun{t.TempDir(), runner}
	run.save(t, "millrace.v", []byte(text))
	cmd := exec.Command(compiler, "-g2005", "-s", "bench", "-o", "model", "millrace.v")
	cmd.Dir = run.dir
	if out, err := cmd.CombinedOutput(); err != nil || len(out) > 0 {
		t.Fatalf("iverilog: %v\n%s", err, out)
	}
	var memh bytes.Buffer
	if err := image.Write(&memh, im, image.FormMemh, image.Options{}); err != nil {
		t.Fatal(err)
	}
	run.save(t, "store.memh", memh.Bytes())
	return run
}

func (r modelRun) save(t *testing.T, name string, data []byte) {
	t.Helper()
	if err := os.WriteFile(filepath.Join(r.dir, name), data, 0o644); err != nil {
		t.Fatal(err)
	}
}

// tool finds a general tool. Without it the test is skipped, unless
// COILWRIGHT_REFERENCES=required says that it has to be there.
func tool(t *testing.T, name string) string {
	t.Helper()
	found, err := exec.LookPath(name)
	if err != nil {
		if os.Getenv("COILWRIGHT_REFERENCES") == "required" {
			t.Fatalf("%s is required: %v", name, err)
		}
		t.Skipf("%s is not installed", name)
	}
	return found
}

// lines runs all trials in one simulation and hands on what it prints.
func (r modelRun) lines(t *testing.T, trials []trial) *bufio.Scanner {
	t.Helper()
	var ram, state, bound bytes.Buffer
	for i := range trials {
		x := &trials[i]
		for _, b := range x.ram {
			fmt.Fprintf(&ram, "%02X\n", b)
		}
		for k := range 16 {
			b := byte(0)
			if k < len(x.start) {
				b = x.start[k]
			}
			fmt.Fprintf(&state, "%02X\n", b)
		}
		fmt.Fprintf(&bound, "%08X\n", x.bound)
	}
	r.save(t, "ram.memh", ram.Bytes())
	r.save(t, "state.memh", state.Bytes())
	r.save(t, "bound.memh", bound.Bytes())
	cmd := exec.Command(r.vvp, "-n", "model", fmt.Sprintf("+count=%d", len(trials)))
	cmd.Dir = r.dir
	var complaints bytes.Buffer
	cmd.Stderr = &complaints
	out, err := cmd.Output()
	if err != nil || complaints.Len() > 0 {
		t.Fatalf("vvp: %v\n%s%.2000s", err, &complaints, out)
	}
	return bufio.NewScanner(bytes.NewReader(out))
}

// rehearsed writes what the rehearsal has to say about a trial as the model
// prints it, and returns how it ended.
func rehearsed(w io.Writer, t *testing.T, b built, n int, x *trial, each func(*rehearse.View)) rehearse.Final {
	t.Helper()
	ram := b.signal(t, "ram")
	setup := rehearse.Setup{Values: map[int]uint64{}, Memories: map[int]map[uint64]uint64{ram: {}}}
	for i, v := range x.ram {
		setup.Memories[ram][uint64(i)] = uint64(v)
	}
	var shown []int
	for i, name := range holding {
		shown = append(shown, b.signal(t, name))
		setup.Values[shown[i]] = uint64(x.start[i])
	}
	data, addr := b.signal(t, "data"), b.signal(t, "addr")
	r := rehearse.New(b.Machine, b.store, rehearse.FromStore(b.store), setup)
	f := r.Run(rehearse.Stop{Phases: x.bound, Instructions: x.bound}, func(v *rehearse.View) {
		fmt.Fprintf(w, "%d %d on %07x", n, v.Phase, v.Lines[0])
		for i, s := range shown {
			format := " %s %02x"
			if b.Signals[s].Width == 1 {
				format = " %s %x"
			}
			fmt.Fprintf(w, format, holding[i], v.Values[s])
		}
		fmt.Fprintf(w, " data %02x addr %02x\n", v.Values[data], v.Values[addr])
		for _, note := range v.Notes {
			t.Errorf("%s, phase %d of instruction %d: %s", x.name, v.Phase, v.Instruction, note.Text)
		}
		each(v)
	})
	for i := range uint64(256) {
		v, changed := f.Memories[ram][i]
		if !changed {
			v = uint64(x.ram[i])
		}
		fmt.Fprintf(w, "%02x", v)
	}
	fmt.Fprintln(w)
	return f
}

// demos assembles each demo program of Millrace. The one for all values of the
// flags comes with each value of the keys that makes a difference to it.
func demos(t *testing.T, b built) []trial {
	t.Helper()
	names, err := fs.Glob(examples.FS, "millrace/programs/*.prog")
	if err != nil || len(names) == 0 {
		t.Fatalf("%d demo programs: %v", len(names), err)
	}
	var out []trial
	for _, name := range names {
		x := trial{name: path.Base(name), start: make([]byte, len(holding)), bound: patient, halts: true}
		src, list := program.Load(name, examples.FS.ReadFile)
		p, more := assemble.Assemble(b.Machine, src)
		for _, d := range append(list, more...) {
			t.Fatalf("%v: %s", d.At, d.Text)
		}
		for _, s := range p.Memories[0].Segments {
			for i, w := range s.Words {
				x.ram[s.Address+uint64(i)] = byte(w)
			}
		}
		for keys := range byte(4) {
			y := x
			y.start = slices.Clone(x.start)
			y.start[slices.Index(holding, "sw")] = keys
			out = append(out, y)
			if x.name != "flags.prog" {
				break
			}
		}
		if x.name == "smoke.prog" { // the second start, as its comment says
			y := x
			y.start = slices.Clone(x.start)
			y.start[slices.Index(holding, "pc")], y.start[slices.Index(holding, "lnk")] = 2, 5
			out = append(out, y)
		}
	}
	return out
}

// anyTrials makes n programs. Every second one is random bytes from reset; the
// others start anywhere and hold an opcode of an instruction in three bytes of
// four, so that they get around.
func anyTrials(t *testing.T, r *rand.Rand, b built, n int) []trial {
	var out []trial
	for i := range n {
		x := trial{name: fmt.Sprintf("random program %d", i), start: make([]byte, len(holding)), bound: 500}
		for a := range x.ram {
			x.ram[a] = byte(r.Uint32())
		}
		if i%2 == 1 {
			for k, name := range holding {
				x.start[k] = byte(r.Uint32()) & byte(1<<b.Signals[b.signal(t, name)].Width-1)
			}
			for a := range x.ram {
				owner := b.store.Owners[r.IntN(len(b.store.Owners))]
				if owner.Kind == "instruction" && r.IntN(4) > 0 && (owner.Name != "halt" || r.IntN(8) == 0) {
					c := owner.Opcodes[0]
					x.ram[a] = x.ram[a]&^byte(c.Care) | byte(c.Value)
				}
			}
		}
		out = append(out, x)
	}
	return out
}

// firstDifference runs trials on both; "" if all lines agree.
func firstDifference(t *testing.T, b built, model modelRun, trials []trial, each func(*rehearse.View)) string {
	t.Helper()
	got := model.lines(t, trials)
	for n := range trials {
		x := &trials[n]
		var want bytes.Buffer
		f := rehearsed(&want, t, b, n, x, each)
		if x.halts && f.Reason != rehearse.Halted {
			t.Errorf("%s ends by %s", x.name, f.Reason)
		}
		for want.Len() > 0 {
			line, _ := want.ReadString('\n')
			line = strings.TrimSuffix(line, "\n")
			if !got.Scan() {
				return fmt.Sprintf("%s: the model ended early, at\n%s", x.name, line)
			}
			if got.Text() != line {
				return fmt.Sprintf("%s\nmodel     %s\nrehearsal %s", x.name, got.Text(), line)
			}
		}
	}
	if got.Scan() {
		return "the model goes on: " + got.Text()
	}
	if err := got.Err(); err != nil {
		t.Fatal(err)
	}
	return ""
}

// TestVerilogModelAgrees compares the rehearsal with a description of Millrace
// in another language, run by a general simulator from our memh image: lines,
// registers, flags and buses in each phase, and the memory at the end, of all
// demo programs and of 400 random ones.
func TestVerilogModelAgrees(t *testing.T) {
	b := example(t, "millrace")
	im, err := image.Whole(b.store)
	if err != nil {
		t.Fatal(err)
	}
	trials := append(demos(t, b), anyTrials(t, rand.New(rand.NewPCG(5, 3)), b, 400)...)
	phases, on := 0, store.NewSet(len(b.store.Columns))
	diff := firstDifference(t, b, compileModel(t, im, modelText(t)), trials, func(v *rehearse.View) {
		phases++
		on.Or(v.Lines)
	})
	if diff != "" {
		t.Fatal(diff)
	}
	if on.Len() != len(b.store.Columns) {
		t.Errorf("only %d of %d lines were ever on", on.Len(), len(b.store.Columns))
	}
	if phases < 100_000 {
		t.Errorf("only %d phases were compared", phases)
	}
	t.Logf("%d programs, %d phases", len(trials), phases)
}

// A comparison that nothing fails would show nothing: with any one statement
// of the datapath left out of the model, the demo programs show a difference.
func TestVerilogModelTellsAStatementThatIsMissing(t *testing.T) {
	b := example(t, "millrace")
	im, err := image.Whole(b.store)
	if err != nil {
		t.Fatal(err)
	}
	trials := demos(t, b)
	for i := range trials {
		trials[i].bound = min(trials[i].bound, 4000)
		trials[i].halts = false
	}
	text := modelText(t)
	statements := regexp.MustCompile(`(?m)^ +(assign .*|if \(\w+\) .*;|2'b\d\d: .*|(zero|carry|ring|res) <= .*)$`).FindAllStringIndex(text, -1)
	if len(statements) != 8+4+12+4 {
		t.Errorf("%d statements found", len(statements))
	}
	for _, at := range statements {
		statement := strings.TrimSpace(text[at[0]:at[1]])
		t.Run(statement, func(t *testing.T) {
			model := compileModel(t, im, text[:at[0]]+text[at[1]:])
			if diff := firstDifference(t, b, model, trials, func(*rehearse.View) {}); !strings.Contains(diff, "\nmodel ") {
				t.Errorf("no difference: %q", diff)
			}
		})
	}
}
