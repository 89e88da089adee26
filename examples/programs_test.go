package examples_test

import (
	"fmt"
	"io/fs"
	"path"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"coilwright/encode/assemble"
	"coilwright/encode/rehearse"
	"coilwright/examples"
	"coilwright/lang/program"
)

func assembled(t *testing.T, e *example, name string) *assemble.Program {
	t.Helper()
	src, list := program.Load("millrace/programs/"+name, examples.FS.ReadFile)
	p, more := assemble.Assemble(e.machine, src)
	for _, d := range append(list, more...) {
		t.Errorf("%v: %v: %s [%s]", d.At, d.Severity, d.Text, d.Name)
	}
	if t.Failed() {
		t.FailNow()
	}
	return p
}

// rehearsed runs a program until it halts and holds it to what it expects.
// Registers and flags that set does not name are 0 at the start.
func rehearsed(t *testing.T, e *example, p *assemble.Program, set map[string]uint64, each func(*rehearse.View)) rehearse.Final {
	t.Helper()
	setup := rehearse.Setup{Values: map[int]uint64{}, Memories: map[int]map[uint64]uint64{}}
	for name, v := range set {
		setup.Values[signal(e, name)] = v
	}
	start := map[uint64]uint64{}
	for _, m := range p.Memories {
		setup.Memories[m.Signal] = start
		for _, s := range m.Segments {
			for i, w := range s.Words {
				start[s.Address+uint64(i)] = w
			}
		}
	}
	r := rehearse.New(e.machine, e.store, rehearse.FromStore(e.store), setup)
	f := r.Run(rehearse.Stop{Instructions: 5000}, func(v *rehearse.View) {
		for _, n := range v.Notes {
			t.Errorf("instruction %d, phase %d: %s", v.Instruction, v.Phase, n.Text)
		}
		each(v)
	})
	if f.Reason != rehearse.Halted {
		t.Errorf("ends by %s", f.Reason)
	}
	for _, x := range p.Expects {
		got := f.Values[x.Signal]
		if words, ok := setup.Memories[x.Signal]; ok {
			if got, ok = f.Memories[x.Signal][x.Index]; !ok {
				got = words[x.Index]
			}
		}
		if got != x.Value {
			t.Errorf("%v: %s is %d, want %d", x.At, x.Text, got, x.Value)
		}
	}
	return f
}

func signal(e *example, name string) int {
	for i := range e.machine.Signals {
		if e.machine.Signals[i].Name == name {
			return i
		}
	}
	panic("no signal " + name)
}

func TestProgramsMeetTheirExpectations(t *testing.T) {
	e := load(t, "millrace")
	names, err := fs.Glob(examples.FS, "millrace/programs/*")
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	for _, name := range names {
		name = path.Base(name)
		got = append(got, name)
		t.Run(name, func(t *testing.T) {
			p := assembled(t, e, name)
			if len(p.Expects) < 5 {
				t.Errorf("%d expectations", len(p.Expects))
			}
			f := rehearsed(t, e, p, nil, func(*rehearse.View) {})
			says := fmt.Sprintf("%s | %d | %.1f s |", name, f.Instructions, f.Seconds)
			if !strings.Contains(page(t, "millrace"), says) {
				t.Errorf("the page does not say %q", says)
			}
		})
	}
	if want := []string{"flags.prog", "multiply.prog", "smoke.prog", "sum.prog"}; !slices.Equal(got, want) {
		t.Errorf("programs %v, want %v", got, want)
	}
}

// The table in the smoke test's comment is what the rehearsal shows: the
// opcode register once each word is fetched, in the two starts that it names.
func TestSmokeTestShowsItsLamps(t *testing.T) {
	e := load(t, "millrace")
	p := assembled(t, e, "smoke.prog")
	text, err := examples.FS.ReadFile("millrace/programs/smoke.prog")
	if err != nil {
		t.Fatal(err)
	}
	var want []string
	for _, row := range regexp.MustCompile(`(?m)^; +([0-9A-F]{2}) +([01]{4} [01]{4})\b`).FindAllStringSubmatch(string(text), -1) {
		want = append(want, row[1]+" "+row[2])
	}
	var got []string
	see := func(v *rehearse.View) {
		if v.Last || v.Halt {
			got = append(got, fmt.Sprintf("%02X %04b %04b", v.Address, v.Opcode>>4, v.Opcode&15))
		}
	}
	if f := rehearsed(t, e, p, nil, see); f.Values[signal(e, "pc")] != 2 {
		t.Errorf("the second start is at %d", f.Values[signal(e, "pc")])
	}
	rehearsed(t, e, p, map[string]uint64{"pc": 2, "lnk": 5, "ir": 1}, see)
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("(-comment +rehearsal):\n%s", diff)
	}
	// The first addresses are the numbers themselves.
	s := p.Memories[0].Segments
	if len(s) != 1 || s[0].Address != 0 || len(s[0].Words) != 17 {
		t.Fatalf("segments %v", s)
	}
	for i, w := range s[0].Words[:16] {
		if w != uint64(i) {
			t.Errorf("%d holds %d", i, w)
		}
	}
	for _, row := range want[:6] {
		if !strings.Contains(page(t, "millrace"), "    "+row[:2]+"  "+row[3:]+"  ") {
			t.Errorf("the page does not show %s", row)
		}
	}
}

// With the keys at 0 to 3, each instruction in all its variants, and an
// undefined one, is decoded under all four values of the flags.
func TestFlagsProgramTakesEverythingThroughEveryFlag(t *testing.T) {
	e := load(t, "millrace")
	p := assembled(t, e, "flags.prog")
	zero, carry := signal(e, "zero"), signal(e, "carry")
	type taken struct {
		owner       string
		zero, carry uint64
	}
	seen := map[taken]bool{}
	for keys := range uint64(4) {
		last := 0
		rehearsed(t, e, p, map[string]uint64{"sw": keys}, func(v *rehearse.View) {
			o := &e.store.Owners[v.Owner]
			if o.Kind != "fetch" && v.Instruction != last { // before it has changed them
				last = v.Instruction
				seen[taken{o.Name, v.Values[zero], v.Values[carry]}] = true
			}
		})
	}
	for _, o := range e.store.Owners {
		if o.Kind == "fetch" {
			continue
		}
		for flags := range uint64(4) {
			if x := (taken{o.Name, flags & 1, flags >> 1}); !seen[x] {
				t.Errorf("not taken: %+v", x)
			}
		}
	}
}

var token = regexp.MustCompile(`;.*|[A-Za-z]\w*|[0-9]\w*|\.\.|[^\s;]`)

// One wrong token in a program gives one error, or a program: each is left
// out, made nonsense, and replaced by others of its file (every twentieth: all of
// them take a minute).
func TestOneSlipInAProgram(t *testing.T) {
	e := load(t, "millrace")
	names, err := fs.Glob(examples.FS, "millrace/programs/*")
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range names {
		raw, err := examples.FS.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		text := string(raw)
		var places [][]int
		var others []string
		for _, at := range token.FindAllStringIndex(text, -1) {
			if word := text[at[0]:at[1]]; word[0] != ';' {
				places = append(places, at)
				if !slices.Contains(others, word) {
					others = append(others, word)
				}
			}
		}
		refused := 0
		for i, at := range places {
			puts := []string{"", "xyzzy", "?", "99999", "'"}
			for k := i % 20; k < len(others); k += 20 {
				puts = append(puts, others[k])
			}
			for _, put := range puts {
				slip := text[:at[0]] + put + text[at[1]:]
				src, list := program.Load(name, func(string) ([]byte, error) { return []byte(slip), nil })
				_, more := assemble.Assemble(e.machine, src)
				list = append(list, more...).Settle(src.Paths())
				refused += len(list)
				if len(list) > 1 {
					t.Errorf("%s:%d: %q for %q gives %d errors: %v", name, 1+strings.Count(text[:at[0]], "\n"), put, text[at[0]:at[1]], len(list), list)
				}
			}
		}
		if refused < 3*len(places) {
			t.Errorf("%s: %d slips are refused", name, refused)
		}
	}
}
