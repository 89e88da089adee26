package netlist

import (
	"bytes"
	"errors"
	"flag"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"coilwright/emit/readback"
	"coilwright/encode/cube"
	"coilwright/encode/machine"
	"coilwright/encode/network/wiring"
	"coilwright/encode/schedule"
	"coilwright/encode/store"
	"coilwright/lang/definition"
)

var update = flag.Bool("update", os.Getenv("UPDATE_GOLDEN") == "1", "write the golden files anew")

// golden compares text with a file of testdata/netlist.
func golden(t *testing.T, name, text string) {
	t.Helper()
	path := filepath.Join("../../testdata/netlist", name)
	if *update {
		if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(string(want), text); diff != "" {
		t.Errorf("%s (-want +got):\n%s", name, diff)
	}
}

func text(t *testing.T, write func(w io.Writer) error) string {
	t.Helper()
	var b bytes.Buffer
	if err := write(&b); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

func TestStoreGolden(t *testing.T) {
	for _, name := range []string{"quern", "hoist"} {
		src, list := definition.Load("../../testdata/table/"+name+".coil", os.ReadFile)
		m, more := machine.Resolve(src)
		list = append(list, more...)
		p, more := schedule.Encode(m)
		if list = append(list, more...); len(list) > 0 {
			t.Fatal(list)
		}
		s := schedule.Weave(m, p)
		inputs := schedule.Changes(m, p).Inputs
		f, err := Store(s, inputs)
		if err != nil {
			t.Fatal(err)
		}
		for _, form := range PhaseForms() {
			pla := text(t, func(w io.Writer) error { return PLA(w, f, form) })
			golden(t, name+"-"+string(form)+".pla", pla)
			if err := readback.PLA(strings.NewReader(pla), s, inputs); err != nil {
				t.Errorf("%s %s: %v", name, form, err)
			}
		}
		for _, masked := range []bool{false, true} {
			file := name + "-store.v"
			if masked {
				file = name + "-store-masked.v"
			}
			sums := text(t, func(w io.Writer) error { return Sums(w, f, masked) })
			golden(t, file, sums)
			if err := readback.Sums(strings.NewReader(sums), s, inputs, masked); err != nil {
				t.Errorf("%s: %v", file, err)
			}
		}
	}
}

// handStore has what the hand-made list needs: an opcode of one bit, a flag,
// four phases, a line whose name Verilog keeps for itself and a low one.
func handStore() *store.Store {
	s := &store.Store{
		Machine: "hand", Title: "by hand", Hash: strings.Repeat("0123456789ab", 6)[:64],
		OpcodeBits: 1, Flags: []string{"zero"}, Phases: 4,
		Columns: []store.Column{{Name: "acc_g", Kind: store.Gate}, {Name: "buf", Kind: store.Latch},
			{Name: "ram_l", Kind: store.Latch, Low: true}, {Name: "rst", Kind: store.Restart}, {Name: "bell", Kind: store.Output}},
		Owners: []store.Owner{{Name: "fetch", Kind: "fetch"}, {Name: "add", Kind: "instruction"}, {Name: "jump", Kind: "instruction"}},
		Word:   store.Word{Bits: []int{0, 1, 2, 3}}, // other hardware drives the bell
	}
	row := func(owner int, opcode, flags cube.Cube, phase int, lines ...int) {
		r := store.Row{Owner: owner, Opcode: opcode, Flags: flags, Phase: phase, Lines: store.NewSet(5)}
		for _, l := range lines {
			r.Lines.Add(l)
		}
		s.Rows = append(s.Rows, r)
	}
	row(0, cube.Cube{}, cube.Cube{}, 1, 0)
	row(1, cube.Cube{Care: 1}, cube.Cube{}, 2, 0, 1)
	row(1, cube.Cube{Care: 1}, cube.Cube{}, 3, 2)
	row(1, cube.Cube{Care: 1}, cube.Cube{}, 4, 3)
	row(2, cube.Cube{Care: 1, Value: 1}, cube.Cube{Care: 1, Value: 1}, 2, 3, 4)
	row(2, cube.Cube{Care: 1, Value: 1}, cube.Cube{Care: 1}, 2, 2)
	row(2, cube.Cube{Care: 1, Value: 1}, cube.Cube{Care: 1}, 3, 3)
	return s
}

// handList does what handStore says: a tree on phase 2, a repeater, an inverter,
// a line that one contact alone feeds, a suppression diode.
func handList() *wiring.List {
	l := &wiring.List{Machine: "hand", Title: "by hand", Hash: strings.Repeat("0123456789ab", 6)[:64], Style: "plain", Levels: 1}
	for i, poles := range []int{3, 2, 1, 1} {
		l.Relays = append(l.Relays, wiring.Relay{Name: []string{"K1", "K2", "K3", "K4"}[i], Card: "c", Site: i + 1, Poles: poles})
	}
	for _, d := range strings.Fields("D1 D2 D3 D4 D5 D6 D7 D8 D9") {
		l.Diodes = append(l.Diodes, wiring.Diode{Name: d, Card: "c"})
	}
	for i, u := range []wiring.Use{
		{Kind: wiring.Feed}, {Kind: wiring.Return}, {Kind: wiring.Opcode, N: 0}, {Kind: wiring.Flag, N: 0, Name: "zero"},
		{Kind: wiring.Phase, N: 1}, {Kind: wiring.Phase, N: 2}, {Kind: wiring.Phase, N: 3}, {Kind: wiring.Phase, N: 4},
		{Kind: wiring.Line, N: 0, Name: "acc_g"}, {Kind: wiring.Line, N: 1, Name: "buf"}, {Kind: wiring.Line, N: 2, Name: "ram_l"}, {Kind: wiring.Line, N: 3, Name: "rst"},
		{Kind: wiring.Spare},
	} {
		l.Pins = append(l.Pins, wiring.Pin{Name: "J1", Card: "c", Pin: i + 1, Use: u})
	}
	wires(l, `
J1:3 K1:A1   K1:A2 J1:2   J1:1 K1:31   K1:34 K4:A1   K4:A2 J1:2
J1:4 K2:A1   K2:A2 J1:2
J1:5 D1:A    D1:K J1:9
J1:6 K1:11   K1:12 D2:A   K1:12 J1:10  D2:K J1:9
K1:14 K2:11  K2:14 D3:A   D3:K J1:12   K2:12 D4:A    D4:K K3:A1
J1:7 K1:21   K1:22 D5:A   D5:K K3:A1   K1:24 K2:21   K2:22 D6:A  D6:K J1:12
J1:8 K4:11   K4:12 D7:A   D7:K J1:12
K3:A2 J1:2   J1:1 K3:11   K3:12 J1:11
D9:A J1:2    D9:K K3:A1`)
	return l
}

func wires(l *wiring.List, pairs string) {
	f := strings.Fields(pairs)
	for i := 0; i < len(f); i += 2 {
		l.Wires = append(l.Wires, wiring.Wire{From: wiring.Terminal(f[i]), To: wiring.Terminal(f[i+1])})
	}
}

func TestNetworkGolden(t *testing.T) {
	s, l := handStore(), handList()
	flow := text(t, func(w io.Writer) error { return Flow(w, l, s, nil) })
	golden(t, "hand-flow.v", flow)
	if err := readback.Flow(strings.NewReader(flow), l, s, 0, false); err != nil {
		t.Error(err)
	}
	f, err := Store(s, 0)
	if err != nil {
		t.Fatal(err)
	}
	masked := text(t, func(w io.Writer) error { return Flow(w, l, s, f) })
	golden(t, "hand-flow-masked.v", masked)
	if err := readback.Flow(strings.NewReader(masked), l, s, 0, true); err != nil {
		t.Error(err)
	}
	sw := text(t, func(w io.Writer) error { return Switches(w, l, s) })
	golden(t, "hand-switches.v", sw)
	if err := readback.Switches(strings.NewReader(sw), l, s); err != nil {
		t.Error(err)
	}
	// Fed negative every diode is turned, and the sums stay as they are.
	l.Negative = true
	for i, w := range l.Wires {
		turn := func(t wiring.Terminal) wiring.Terminal {
			if name, ok := strings.CutSuffix(string(t), ":A"); ok && name[0] == 'D' {
				return wiring.Terminal(name + ":K")
			}
			if name, ok := strings.CutSuffix(string(t), ":K"); ok {
				return wiring.Terminal(name + ":A")
			}
			return t
		}
		l.Wires[i] = wiring.Wire{From: turn(w.From), To: turn(w.To)}
	}
	turned := text(t, func(w io.Writer) error { return Flow(w, l, s, nil) })
	if err := readback.Flow(strings.NewReader(turned), l, s, 0, false); err != nil {
		t.Error(err)
	}
}

// TestFlowBackwards leaves a diode out: current then runs from one phase
// backwards through a contact onto another phase's wire, and the sums say so.
func TestFlowBackwards(t *testing.T) {
	s, l := handStore(), handList()
	for i := range l.Wires {
		if l.Wires[i].To == "D1:A" {
			l.Wires[i].To = "J1:9" // phase 1 straight to acc_g
		}
	}
	flow := text(t, func(w io.Writer) error { return Flow(w, l, s, nil) })
	if err := readback.Flow(strings.NewReader(flow), l, s, 0, false); err != nil {
		t.Error(err) // D2 still keeps them apart
	}
	for i := range l.Wires {
		if l.Wires[i].To == "D2:A" {
			l.Wires[i].To = "J1:9"
		}
	}
	flow = text(t, func(w io.Writer) error { return Flow(w, l, s, nil) })
	err := readback.Flow(strings.NewReader(flow), l, s, 0, false)
	if err == nil || !strings.Contains(err.Error(), "buf is on and should be off") {
		t.Errorf("the back circuit from phase 1 through acc_g to buf is not in the sums: %v", err)
	}
	if !strings.Contains(flow, "assign buf_ = ") {
		t.Error("buf is a keyword of Verilog and kept its name")
	}
}

func TestFlowRefuses(t *testing.T) {
	s := handStore()
	for name, test := range map[string]struct {
		change func(l *wiring.List)
		want   string
	}{
		"holds itself":     {func(l *wiring.List) { wires(l, "K4:14 K4:A1 J1:1 J1:8") }, "in a circle"},
		"no such terminal": {func(l *wiring.List) { wires(l, "K9:A1 K1:A1") }, "no terminal of the list"},
		"twice":            {func(l *wiring.List) { l.Diodes = append(l.Diodes, wiring.Diode{Name: "D1"}) }, "stands twice"},
		"no return":        {func(l *wiring.List) { l.Pins[1].Use.Kind = wiring.Spare }, "between a wire and the return"},
	} {
		l := handList()
		test.change(l)
		err := Flow(io.Discard, l, s, nil)
		if err == nil || !strings.Contains(err.Error(), test.want) {
			t.Errorf("%s: %v", name, err)
		}
		if loop := name == "holds itself"; errors.Is(err, ErrLoop) != loop {
			t.Errorf("%s: ErrLoop is %t", name, !loop)
		}
	}
}

func TestPLARefuses(t *testing.T) {
	s := handStore()
	s.Word.Bits = nil
	if _, err := Store(s, 0); !errors.Is(err, ErrNoLines) {
		t.Errorf("no lines: %v", err)
	}
	f := &Function{OpcodeBits: 1, Phases: 256, Lines: []string{"a"}}
	for range LargestTerms/256 + 1 {
		f.On = append(f.On, Term{Phases: span(1, 256), Lines: []int{0}})
	}
	if err := PLA(io.Discard, f, PhaseOnehot); !errors.Is(err, ErrTooLarge) {
		t.Errorf("too large: %v", err)
	}
}
