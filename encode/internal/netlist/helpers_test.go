package netlist_test

import (
	"bytes"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"coilwright/encode/internal/reference"
	"coilwright/encode/machine"
	"coilwright/encode/network"
	"coilwright/encode/network/wiring"
	"coilwright/encode/schedule"
	"coilwright/encode/store"
	"coilwright/lang/definition"
)

// tool finds a reference program. Without it the test is skipped, unless
// COILWRIGHT_REFERENCES=required says that it has to be there.
func tool(t testing.TB, name string) string {
	t.Helper()
	path, err := exec.LookPath(name)
	if err != nil {
		if os.Getenv("COILWRIGHT_REFERENCES") == "required" {
			t.Fatalf("%s is required: %v", name, err)
		}
		t.Skipf("%s is not installed", name)
	}
	return path
}

// subject is a machine with all that is made of it before it is written.
type subject struct {
	name    string
	store   *store.Store
	changes store.Changes
	machine *machine.Machine
}

// load takes a definition to its store; nil if it has errors.
func load(t testing.TB, name, text string) *subject {
	t.Helper()
	src, list := definition.Load(name, func(string) ([]byte, error) { return []byte(text), nil })
	if list.Errors() > 0 {
		t.Fatalf("%s does not parse: %v", name, list)
	}
	m, list := machine.Resolve(src)
	if list.Errors() > 0 {
		return nil
	}
	plan, list := schedule.Encode(m)
	if list.Errors() > 0 {
		return nil
	}
	return &subject{name, schedule.Weave(m, plan), schedule.Changes(m, plan), m}
}

func examples(t testing.TB) []*subject {
	t.Helper()
	var out []*subject
	files, err := filepath.Glob("../../../examples/*/*.coil")
	if err != nil || len(files) < 3 {
		t.Fatalf("examples: %v %v", files, err)
	}
	for _, f := range files {
		text, err := os.ReadFile(f)
		if err != nil {
			t.Fatal(err)
		}
		out = append(out, load(t, filepath.Base(f), string(text)))
	}
	return out
}

// randoms makes n machines by chance that are right and small enough to be
// tried out in every state.
func randoms(t testing.TB, n int, seed uint64) []*subject {
	t.Helper()
	r := rand.New(rand.NewPCG(seed, 1209))
	var out []*subject
	for len(out) < n {
		x := load(t, fmt.Sprintf("random %d", len(out)), reference.Random(r))
		if x == nil || (x.store.Phases+1)<<(x.store.OpcodeBits+len(x.store.Flags)) > 1500 {
			continue
		}
		x.store.Machine = fmt.Sprintf("random_%d", len(out))
		out = append(out, x)
	}
	return out
}

// solder makes a list of a circuit, each relay's coils side by side, all on
// one card that has room for everything.
func solder(c *network.Circuit, s *store.Store, hw machine.Hardware) *wiring.List {
	l := &wiring.List{Machine: s.Machine, Title: s.Title, Hash: s.Hash, Style: c.Style, Negative: hw.Cards[0].Negative, Levels: 2}
	wire := func(a, b wiring.Terminal) { l.Wires = append(l.Wires, wiring.Wire{From: a, To: b}) }
	pin := func(k wiring.Kind, n int, name string) wiring.Terminal {
		p := wiring.Pin{Name: "J1", Card: "card", Pin: len(l.Pins) + 1, Use: wiring.Use{Kind: k, N: n, Name: name}}
		l.Pins = append(l.Pins, p)
		return p.Terminal()
	}
	ret := pin(wiring.Return, 0, "")
	at := make([]wiring.Terminal, len(c.Points))
	meet := func(p int, t wiring.Terminal) {
		if at[p] != "" {
			wire(at[p], t)
		}
		at[p] = t
	}
	low := map[int]bool{}
	for _, p := range c.Points {
		low[p.N] = low[p.N] || p.Kind == network.LowPoint
	}
	for i, p := range c.Points {
		switch {
		case p.Kind == network.FeedPoint:
			meet(i, pin(wiring.Feed, 0, ""))
		case p.Kind == network.PhasePoint:
			meet(i, pin(wiring.Phase, p.N, ""))
		case p.Kind == network.LowPoint, p.Kind == network.ColumnPoint && !low[p.N]:
			meet(i, pin(wiring.Line, p.N, s.Columns[p.N].Name))
		}
	}
	free := make([][][3]wiring.Terminal, len(c.Signals))
	coils := make([]wiring.Terminal, len(c.Signals))
	for _, k := range c.Contacts {
		if len(free[k.Signal]) == 0 {
			r := wiring.Relay{Name: fmt.Sprintf("K%d", len(l.Relays)+1), Card: "card", Site: len(l.Relays) + 1, Poles: hw.Relay.Poles}
			l.Relays = append(l.Relays, r)
			a1, a2 := r.Coil()
			wire(a2, ret)
			sig := c.Signals[k.Signal]
			switch {
			case coils[k.Signal] != "":
				wire(coils[k.Signal], a1)
			case sig.Coil >= 0:
				meet(sig.Coil, a1)
			case sig.Kind == network.OpcodeSignal:
				wire(pin(wiring.Opcode, sig.N, ""), a1)
			default:
				wire(pin(wiring.Flag, sig.N, s.Flags[sig.N]), a1)
			}
			coils[k.Signal] = a1
			for n := 1; n <= r.Poles; n++ {
				c, b, m := r.Pole(n)
				free[k.Signal] = append(free[k.Signal], [3]wiring.Terminal{c, b, m})
			}
		}
		pole := free[k.Signal][0]
		free[k.Signal] = free[k.Signal][1:]
		for i, p := range []int{k.Common, k.Break, k.Make} {
			if p >= 0 {
				meet(p, pole[i])
			}
		}
	}
	for _, d := range c.Diodes {
		x := wiring.Diode{Name: fmt.Sprintf("D%d", len(l.Diodes)+1), Card: "card"}
		l.Diodes = append(l.Diodes, x)
		a, k := x.Ends()
		if l.Negative {
			a, k = k, a
		}
		meet(d.From, a)
		meet(d.To, k)
	}
	return l
}

func build(t testing.TB, x *subject, style string) (*network.Circuit, *wiring.List) {
	t.Helper()
	c, err := network.Build(x.store, x.changes, x.machine.Hardware, style)
	if err != nil {
		t.Fatalf("%s: %v", x.name, err)
	}
	return c, solder(c, x.store, x.machine.Hardware)
}

// written is what a writer writes.
func written(t testing.TB, write func(b *bytes.Buffer) error) string {
	t.Helper()
	var b bytes.Buffer
	if err := write(&b); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

func save(t testing.TB, path, text string) string {
	t.Helper()
	if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
	return path
}

func run(t testing.TB, name string, args ...string) string {
	t.Helper()
	out, err := exec.Command(name, args...).CombinedOutput()
	if err != nil {
		t.Fatalf("%s %s: %v\n%s", name, strings.Join(args, " "), err, out)
	}
	return string(out)
}
