package network

import (
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"

	"coilwright/encode/cube"
	"coilwright/encode/internal/reference"
	"coilwright/encode/machine"
	"coilwright/encode/network/proof"
	"coilwright/encode/schedule"
	"coilwright/encode/store"
	"coilwright/lang/definition"
	"coilwright/lang/diag"

	"github.com/google/go-cmp/cmp"
)

func columns(names string) []store.Column {
	var out []store.Column
	for _, n := range strings.Fields(names) {
		out = append(out, store.Column{Name: n})
	}
	return out
}

func set(n int, columns ...int) store.Set {
	s := store.NewSet(n)
	for _, c := range columns {
		s.Add(c)
	}
	return s
}

// driven leaves of a set what the control word drives.
func driven(s *store.Store, lines store.Set) store.Set {
	out := store.NewSet(len(s.Columns))
	for _, c := range s.Word.Bits {
		if lines.Has(c) {
			out.Add(c)
		}
	}
	return out
}

// lit follows the matrix alone: diodes from phase wires to pulse wires, then,
// for the rows whose contacts are closed, to the columns.
func lit(m *Matrix, opcode, flags uint64, phase int) store.Set {
	live := make([]bool, len(m.Pulses))
	for _, d := range m.Diodes {
		if d.Pulse >= 0 && d.Phase == phase {
			live[d.Pulse] = true
		}
	}
	out := store.NewSet(len(m.Columns))
	on := func(r Row) bool {
		closed := r.Flags.Matches(flags) && len(r.Opcodes) == 0
		for _, c := range r.Opcodes {
			closed = closed || r.Flags.Matches(flags) && c.Matches(opcode|flags<<m.OpcodeBits)
		}
		return closed && (r.Pulse >= 0 && live[r.Pulse] || r.Pulse < 0 && r.Phases[0] == phase)
	}
	for _, d := range m.Diodes {
		if d.Row >= 0 && on(m.Rows[d.Row]) {
			out.Add(m.Cards[d.Card].Columns[d.Column-1])
		}
	}
	for _, r := range m.Rows {
		if r.Direct && on(r) {
			out.Add(r.Lines[0])
		}
	}
	return out
}

// hardware is the default one with a card.
func hardware(card machine.Card) machine.Hardware {
	if card.Relays == 0 {
		card.Relays = 32
	}
	return machine.Hardware{
		Relay: machine.Relay{Poles: 4, Suppression: "diode", CoilVolts: 12, CoilOhms: 720}, Diode: machine.Diode{Levels: 2, Limit: 0.2},
		Cards: []machine.Card{card}, Cost: machine.Cost{Relay: 3, Contact: 0.1, Diode: 0.05, Joint: 0.02},
	}
}

// placed builds a store in a style on a card.
func placed(t *testing.T, s *store.Store, style string, hw machine.Hardware) (*Circuit, *Network, diag.List) {
	t.Helper()
	c, err := Build(s, store.Changes{}, hw, style)
	if err != nil {
		t.Fatal(err)
	}
	n, list := Place(c, s, hw)
	return c, n, list
}

// TestMatrixEqualsStore follows the rows of random machines in plain style, and
// holds the wires of every style against the circuit, and against the store by
// the proof.
func TestMatrixEqualsStore(t *testing.T) {
	machines, cards, compared := 0, 0, 0
	for seed := uint64(0); machines < 24; seed++ {
		r := rand.New(rand.NewPCG(seed, 9))
		src, list := definition.Load("random.coil", func(string) ([]byte, error) { return []byte(reference.Random(r)), nil })
		m, more := machine.Resolve(src)
		if list = append(list, more...); list.Errors() > 0 {
			continue
		}
		p, more := schedule.Encode(m)
		if list = append(list, more...); list.Errors() > 0 {
			continue
		}
		s, ch := schedule.Weave(m, p), schedule.Changes(m, p)
		if s.OpcodeBits+len(s.Flags) > 10 {
			continue
		}
		machines++
		hw := m.Hardware
		hw.Cards = []machine.Card{{Name: "control", Relays: 3 + r.IntN(20), Rows: 3 + r.IntN(12), Columns: 5 + r.IntN(20), Pins: 30 + r.IntN(30), Spare: r.IntN(2)}}
		style := Styles[machines%3]
		c, err := Build(s, ch, hw, style)
		if err != nil {
			t.Fatal(err)
		}
		n, wrong := Place(c, s, hw)
		for ; len(wrong) > 0; n, wrong = Place(c, s, hw) {
			hw.Cards[0].Columns++
			hw.Cards[0].Pins++
		}
		sound(t, c, s, hw, n)
		within(t, n.Matrix)
		cards += len(n.Matrix.Cards)
		report, err := proof.Prove(n.List, s, ch, proof.Options{Hardware: &hw})
		if err != nil {
			t.Fatal(err)
		}
		if !report.Proved() {
			t.Errorf("seed %d, %s: %+v", seed, style, report.Findings[0])
		}
		if style != "plain" {
			continue
		}
		for opcode := range uint64(1) << s.OpcodeBits {
			for flags := range uint64(1) << len(s.Flags) {
				for phase := 1; phase <= s.Phases; phase++ {
					want, got := driven(s, s.At(opcode, flags, phase)), lit(n.Matrix, opcode, flags, phase)
					if !want.Equal(got) {
						t.Fatalf("seed %d, opcode %b, flags %b, phase %d: the rows light %v, the store says %v", seed, opcode, flags, phase, got.Columns(), want.Columns())
					}
					compared++
				}
			}
		}
	}
	if cards < 50 || compared < 4000 {
		t.Errorf("only %d cards and %d words: the generator has gone weak", cards, compared)
	}
}

// within checks what a card can hold, and that every wire has a pin of its own.
func within(t *testing.T, m *Matrix) {
	t.Helper()
	use := make([]map[int]string, len(m.Cards))
	for i, c := range m.Cards {
		use[i] = map[int]string{}
		for _, p := range c.Pins {
			if p.Number < 1 || p.Number > m.Board.Pins || use[i][p.Number] != "" {
				t.Fatalf("card %s: pin %d for %s and %q", c.Name, p.Number, p.Use, use[i][p.Number])
			}
			use[i][p.Number] = p.Use
		}
		for _, p := range m.Board.Fixed {
			if use[i][p.Number] != p.Use {
				t.Fatalf("card %s: fixed pin %d carries %q, not %s", c.Name, p.Number, use[i][p.Number], p.Use)
			}
		}
		if len(c.Columns) > m.Board.Columns {
			t.Fatalf("card %s has %d columns", c.Name, len(c.Columns))
		}
	}
	taken := map[[2]int]bool{}
	stand := func(card, place int, name string) {
		if place < 1 || place > m.Board.Rows-m.Board.Spare || taken[[2]int{card, place}] {
			t.Fatalf("%s stands on card %d place %d", name, card, place)
		}
		taken[[2]int{card, place}] = true
	}
	for _, p := range m.Pulses {
		stand(p.Card, p.Place, p.Name)
	}
	for _, r := range m.Rows {
		if !r.Direct {
			stand(r.Card, r.Place, r.Name)
		}
	}
	last := Diode{}
	for i, d := range m.Diodes {
		if d.Name != fmt.Sprintf("D%d", i+1) || d.Card < last.Card || d.Card == last.Card && d.Place < last.Place {
			t.Fatalf("diode %d is %+v after %+v", i, d, last)
		}
		want := phaseName(d.Phase)
		if d.Line >= 0 {
			want = m.Columns[d.Line].Name
		}
		if use[d.Card][d.Pin] != want && (d.Line < 0 || !m.Columns[d.Line].Low) {
			t.Fatalf("%s: pin %d carries %q, not %s", d.Name, d.Pin, use[d.Card][d.Pin], want)
		}
		last = d
	}
}

// tally is a small store with everything that the plain style tells apart: an
// owner of two cubes, flags, a set of phases that two owners share.
func tally() *store.Store {
	n := 4
	s := &store.Store{
		Machine: "tally", Hash: strings.Repeat("0123456789abcdef", 4), OpcodeBits: 2, Phases: 5, Flags: []string{"zero"},
		Columns: columns("acc_g acc_l pc_l rst"), Word: store.Word{Bits: []int{0, 1, 2, 3}},
		Owners: []store.Owner{
			{Name: "fetch", Kind: "fetch"},
			{Name: "add", Kind: "instruction", Opcodes: []cube.Cube{{Care: 3, Value: 1}}, At: diag.Place{File: "tally.coil", Line: 9, Column: 1}},
			{Name: "undefined", Kind: "undefined", Opcodes: []cube.Cube{{Care: 3, Value: 0}, {Care: 2, Value: 2}}},
		},
	}
	row := func(owner int, opcode, flags cube.Cube, phase int, lines ...int) {
		s.Rows = append(s.Rows, store.Row{Owner: owner, Opcode: opcode, Flags: flags, Phase: phase, Lines: set(n, lines...)})
	}
	all, add := cube.Cube{}, cube.Cube{Care: 3, Value: 1}
	row(0, all, all, 1, 2)
	row(1, add, all, 3, 0)
	row(1, add, all, 4, 0, 1)
	row(1, add, cube.Cube{Care: 1}, 5, 3)
	row(1, add, cube.Cube{Care: 1, Value: 1}, 5, 2, 3)
	for _, c := range s.Owners[2].Opcodes {
		row(2, c, all, 3, 3)
		row(2, c, all, 4, 3)
	}
	return s
}

func TestPlainByHand(t *testing.T) {
	card := machine.Card{Name: "control", Rows: 40, Columns: 24, Pins: 64, Fixed: []machine.Pin{{Number: 1, Line: 1, Use: "acc_l"}, {Number: 4, Line: -1, Use: "ground"}}}
	_, n, list := placed(t, tally(), "plain", hardware(card))
	if len(list) > 0 {
		t.Fatal(list)
	}
	m := n.Matrix
	var got []string
	for _, r := range m.Rows {
		got = append(got, fmt.Sprintf("%s %s %v %v %v pulse %d lines %v place %d pin %d by %s", r.Name, r.Owner, r.Opcodes, r.Flags, r.Phases, r.Pulse, r.Lines, r.Place, r.Pin, r.Feed))
	}
	for _, d := range m.Diodes {
		anode, band := m.Ends(d)
		got = append(got, fmt.Sprintf("%s place %d %s >| %s column %d pin %d", d.Name, d.Place, anode, band, d.Column, d.Pin))
	}
	for _, p := range m.Cards[0].Pins {
		got = append(got, fmt.Sprint(p.Number, " ", p.Use))
	}
	want := []string{
		"R1 fetch [] {0 0} [1] pulse -1 lines [2] place 2 pin 6 by phase 1",
		"R2 add [{3 1}] {0 0} [3 4] pulse 0 lines [0] place 0 pin 0 by K4:14",
		"R3 add [{3 1}] {0 0} [4] pulse -1 lines [1] place 0 pin 0 by K4:24",
		"R4 add [{3 1}] {1 0} [5] pulse -1 lines [3] place 3 pin 0 by K5:14",
		"R5 add [{3 1}] {1 1} [5] pulse -1 lines [2 3] place 4 pin 0 by K6:14",
		"R6 undefined [{3 0} {2 2}] {0 0} [3 4] pulse 0 lines [3] place 5 pin 0 by K7:14",
		"D1 place 1 phase 3 >| P1 column 0 pin 7",
		"D2 place 1 phase 4 >| P1 column 0 pin 8",
		"D3 place 2 R1 >| pc_l column 3 pin 3",
		"D4 place 3 R4 >| rst column 4 pin 5",
		"D5 place 4 R5 >| pc_l column 3 pin 3",
		"D6 place 4 R5 >| rst column 4 pin 5",
		"D7 place 5 R6 >| rst column 4 pin 5",
		"1 acc_l", "2 acc_g", "3 pc_l", "4 ground", "5 rst", "6 phase 1", "7 phase 3", "8 phase 4", "9 phase 5",
		"10 opcode 0", "11 opcode 1", "12 flag zero", "13 supply",
	}
	if d := cmp.Diff(want, got); d != "" {
		t.Error(d)
	}
}

func TestOmittedLinesHaveNoDiodes(t *testing.T) {
	s := tally()
	s.Word.Bits = []int{-1, 3, 1, 0}
	_, n, list := placed(t, s, "plain", hardware(machine.Card{Name: "control", Rows: 40, Columns: 24, Pins: 64}))
	if len(list) > 0 {
		t.Fatal(list)
	}
	m := n.Matrix
	if len(m.Omitted) != 1 || m.Omitted[0] != 2 || len(m.Rows) != 5 || len(m.Diodes) != 5 {
		t.Errorf("omitted %v, %d rows, %d diodes; want pc_l alone, 5 rows (two without), 5 diodes", m.Omitted, len(m.Rows), len(m.Diodes))
	}
	for _, d := range m.Diodes {
		if d.Line == 2 {
			t.Errorf("%s leads to pc_l, which other hardware drives", d.Name)
		}
	}
}

func TestFeedNegativeTurnsTheBand(t *testing.T) {
	card := machine.Card{Name: "control", Rows: 40, Columns: 24, Pins: 64, Negative: true}
	_, n, _ := placed(t, tally(), "plain", hardware(card))
	m := n.Matrix
	var got []string
	for _, d := range m.Diodes[1:3] {
		anode, band := m.Ends(d)
		got = append(got, anode+" >| "+band)
	}
	if d := cmp.Diff([]string{"P1 >| phase 4", "pc_l >| R1"}, got); d != "" {
		t.Error(d)
	}
}

func TestRefusals(t *testing.T) {
	tests := []struct {
		what       string
		card       machine.Card
		name, text string
		hint       string
	}{
		{"columns", machine.Card{Rows: 9, Columns: 1, Pins: 64}, "card-row-too-wide",
			"the row of add in phase 5 needs 2 columns, card control has 1", "set columns 2"},
		{"pins for a relay", machine.Card{Rows: 9, Columns: 9, Pins: 5}, "card-pins",
			"a relay of add needs 6 pins, card control has 5", "set pins 6"},
		{"pins for a pulse wire", machine.Card{Rows: 9, Columns: 9, Pins: 2}, "card-pins",
			"the pulse wire of 2 phases for add needs 3 pins, card control has 2", "set pins 6"},
		{"pins taken by the connector", machine.Card{Rows: 9, Columns: 9, Pins: 4, Fixed: []machine.Pin{{Number: 1, Line: -1, Use: "ground"}, {Number: 2, Line: -1, Use: "supply"}}}, "card-pins",
			"needs 5 pins with the 2 fixed ones, card control has 4", "set pins 7"},
	}
	for _, tt := range tests {
		tt.card.Name = "control"
		_, n, list := placed(t, tally(), "plain", hardware(tt.card))
		if n != nil || len(list) == 0 {
			t.Errorf("%s: not refused", tt.what)
			continue
		}
		if d := list[0]; d.Name != tt.name || !strings.Contains(d.Text, tt.text) || !strings.Contains(d.Hint, tt.hint) {
			t.Errorf("%s: %s: %q, hint %q", tt.what, d.Name, d.Text, d.Hint)
		}
		if settled := list.Settle(nil); len(settled) != 1 {
			t.Errorf("%s: %d messages for one cause", tt.what, len(settled))
		}
	}
	fits := machine.Card{Name: "control", Relays: 1, Rows: 1, Columns: 2, Pins: 8}
	if _, n, list := placed(t, tally(), "plain", hardware(fits)); len(list) > 0 || len(n.Matrix.Cards) < 6 {
		t.Errorf("the smallest card that fits: %v", list)
	}
}

func TestSpans(t *testing.T) {
	for _, tt := range []struct {
		in   []int
		want string
	}{{nil, ""}, {[]int{4}, "4"}, {[]int{2, 3, 4, 7}, "2-4 7"}, {[]int{1, 3, 4}, "1 3-4"}} {
		if got := Spans(tt.in); got != tt.want {
			t.Errorf("Spans(%v) = %q, want %q", tt.in, got, tt.want)
		}
	}
}

// TestPartsSayWhatToBuy: each diode of the list is among the parts, and each
// part says what it has to stand: 24 V and 1,000 ohm are 24 mA and 576 mW.
func TestPartsSayWhatToBuy(t *testing.T) {
	hw := hardware(machine.Card{Name: "control", Rows: 40, Columns: 24, Pins: 64})
	hw.Relay.CoilVolts, hw.Relay.CoilOhms, hw.Supply = 24, 1000, 26
	for how, want := range map[string][]string{
		"none":  {"for 200 mA and, in reverse, 52 V"},
		"diode": {"for 200 mA and, in reverse, 52 V", "for the coil's 24 mA and, in reverse, 52 V"},
		"zener": {"for 200 mA and, in reverse, 100 V", "for the coil's 24 mA and, in reverse, 52 V", "for 24 V (the coil's own: common practice, no source) and 576 mW"},
	} {
		hw.Relay.Suppression = how
		_, n, list := placed(t, tally(), "plain", hw)
		if len(list) > 0 {
			t.Fatal(list)
		}
		count := 0
		var diodes []string
		for _, p := range n.Parts {
			if strings.Contains(p.What, "diode") {
				count += p.Count
				diodes = append(diodes, p.What)
			}
		}
		if count != len(n.List.Diodes) {
			t.Errorf("%s: %d diodes to buy, %d to solder", how, count, len(n.List.Diodes))
		}
		if len(diodes) != len(want) {
			t.Errorf("%s: %q", how, diodes)
			continue
		}
		for i := range want {
			if !strings.Contains(diodes[i], want[i]) || !strings.Contains(diodes[i], "common practice, no source") {
				t.Errorf("%s: %q does not say %q", how, diodes[i], want[i])
			}
		}
	}
}
