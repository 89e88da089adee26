package network

import (
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"

	"coilwright/encode/cube"
	"coilwright/encode/machine"
	"coilwright/encode/store"
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

// random makes a store that owes nothing to a real machine: owners overlap,
// cubes of one owner differ, rows repeat.
func random(r *rand.Rand) *store.Store {
	s := &store.Store{Machine: "random", OpcodeBits: 1 + r.IntN(4), Phases: 1 + r.IntN(9), Flags: []string{"zero", "carry"}[:r.IntN(3)]}
	for i := range 1 + r.IntN(70) {
		s.Columns = append(s.Columns, store.Column{Name: fmt.Sprintf("line%d", i)})
		if r.IntN(10) > 0 {
			s.Word.Bits = append(s.Word.Bits, i)
		}
	}
	pattern := func(width int) cube.Cube {
		care := r.Uint64() & (1<<width - 1)
		return cube.Cube{Care: care, Value: r.Uint64() & care}
	}
	for o := range 1 + r.IntN(4) {
		owner := store.Owner{Name: fmt.Sprintf("owner%d", o), Kind: "instruction"}
		for range 1 + r.IntN(3) {
			owner.Opcodes = append(owner.Opcodes, pattern(s.OpcodeBits))
		}
		s.Owners = append(s.Owners, owner)
		for range r.IntN(12) {
			lines := store.NewSet(len(s.Columns))
			for range r.IntN(5) {
				lines.Add(r.IntN(len(s.Columns)))
			}
			s.Rows = append(s.Rows, store.Row{
				Owner: o, Opcode: owner.Opcodes[r.IntN(len(owner.Opcodes))], Flags: pattern(len(s.Flags)),
				Phase: 1 + r.IntN(s.Phases), Lines: lines,
			})
		}
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

// lit follows the diodes alone: phase wires to pulse wires, then, for the rows
// whose contacts are closed, from their feed to the columns.
func lit(m *Matrix, opcode, flags uint64, phase int) store.Set {
	live := make([]bool, len(m.Pulses))
	for _, d := range m.Diodes {
		if d.Pulse >= 0 && d.Phase == phase {
			live[d.Pulse] = true
		}
	}
	out := store.NewSet(len(m.Columns))
	for _, d := range m.Diodes {
		if d.Row < 0 {
			continue
		}
		r := m.Rows[d.Row]
		fed := r.Pulse >= 0 && live[r.Pulse] || r.Pulse < 0 && r.Phases[0] == phase
		closed := r.Flags.Matches(flags) && len(r.Opcodes) == 0
		for _, c := range r.Opcodes {
			closed = closed || r.Flags.Matches(flags) && c.Matches(opcode)
		}
		if fed && closed {
			out.Add(m.Cards[d.Card].Columns[d.Column-1])
		}
	}
	return out
}

func TestMatrixEqualsStore(t *testing.T) {
	cards, compared := 0, 0
	for seed := range uint64(400) {
		r := rand.New(rand.NewPCG(seed, 1))
		s := random(r)
		card := machine.Card{Name: "control", Rows: 2 + r.IntN(12), Columns: 5 + r.IntN(20), Pins: 30 + r.IntN(30), Spare: r.IntN(2)}
		if r.IntN(2) == 0 {
			card.Fixed = []machine.Pin{{Number: 2, Line: 0, Use: s.Columns[0].Name}, {Number: 5, Line: -1, Use: "ground"}}
		}
		m, list := Plain(s, machine.Hardware{Cards: []machine.Card{card}})
		for ; len(list) > 0; m, list = Plain(s, machine.Hardware{Cards: []machine.Card{card}}) {
			card.Columns, card.Pins = card.Columns+1, card.Pins+1
		}
		within(t, m)
		cards += len(m.Cards)
		for opcode := range uint64(1) << s.OpcodeBits {
			for flags := range uint64(1) << len(s.Flags) {
				for phase := 1; phase <= s.Phases; phase++ {
					want, got := driven(s, s.At(opcode, flags, phase)), lit(m, opcode, flags, phase)
					if !want.Equal(got) {
						t.Fatalf("seed %d, opcode %b, flags %b, phase %d: diodes light %v, the store says %v", seed, opcode, flags, phase, got.Columns(), want.Columns())
					}
					compared++
				}
			}
		}
	}
	if cards < 800 || compared < 10000 {
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
	stand := func(card, place, pin int, name string) {
		if place < 1 || place > m.Board.Rows-m.Board.Spare || taken[[2]int{card, place}] {
			t.Fatalf("%s stands on card %d place %d", name, card, place)
		}
		taken[[2]int{card, place}] = true
		if use[card][pin] != name {
			t.Fatalf("%s: pin %d carries %q", name, pin, use[card][pin])
		}
	}
	for _, p := range m.Pulses {
		stand(p.Card, p.Place, p.Pin, "pulse "+p.Name)
	}
	for _, r := range m.Rows {
		stand(r.Card, r.Place, r.Pin, "row "+r.Name)
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
		if use[d.Card][d.Pin] != want {
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
	m, list := Plain(tally(), machine.Hardware{Cards: []machine.Card{card}})
	if len(list) > 0 {
		t.Fatal(list)
	}
	var got []string
	for _, r := range m.Rows {
		got = append(got, fmt.Sprintf("%s %s %v %v %v pulse %d lines %v place %d pin %d", r.Name, r.Owner, r.Opcodes, r.Flags, r.Phases, r.Pulse, r.Lines, r.Place, r.Pin))
	}
	for _, d := range m.Diodes {
		anode, band := m.Ends(d)
		got = append(got, fmt.Sprintf("%s place %d %s >| %s column %d pin %d", d.Name, d.Place, anode, band, d.Column, d.Pin))
	}
	for _, p := range m.Cards[0].Pins {
		got = append(got, fmt.Sprint(p.Number, " ", p.Use))
	}
	want := []string{
		"R1 fetch [] {0 0} [1] pulse -1 lines [2] place 2 pin 9",
		"R2 add [{3 1}] {0 0} [3 4] pulse 0 lines [0] place 3 pin 10",
		"R3 add [{3 1}] {0 0} [4] pulse -1 lines [1] place 4 pin 11",
		"R4 add [{3 1}] {1 0} [5] pulse -1 lines [3] place 5 pin 12",
		"R5 add [{3 1}] {1 1} [5] pulse -1 lines [2 3] place 6 pin 13",
		"R6 undefined [{3 0} {2 2}] {0 0} [3 4] pulse 0 lines [3] place 7 pin 14",
		"D1 place 1 phase 3 >| P1 column 0 pin 6",
		"D2 place 1 phase 4 >| P1 column 0 pin 7",
		"D3 place 2 R1 >| pc_l column 3 pin 3",
		"D4 place 3 R2 >| acc_g column 1 pin 2",
		"D5 place 4 R3 >| acc_l column 2 pin 1",
		"D6 place 5 R4 >| rst column 4 pin 5",
		"D7 place 6 R5 >| pc_l column 3 pin 3",
		"D8 place 6 R5 >| rst column 4 pin 5",
		"D9 place 7 R6 >| rst column 4 pin 5",
		"1 acc_l", "2 acc_g", "3 pc_l", "4 ground", "5 rst", "6 phase 3", "7 phase 4", "8 pulse P1",
		"9 row R1", "10 row R2", "11 row R3", "12 row R4", "13 row R5", "14 row R6",
	}
	if d := cmp.Diff(want, got); d != "" {
		t.Error(d)
	}
}

func TestOmittedLinesHaveNoDiodes(t *testing.T) {
	s := tally()
	s.Word.Bits = []int{-1, 3, 1, 0}
	m, list := Plain(s, machine.Hardware{Cards: []machine.Card{{Name: "control", Rows: 40, Columns: 24, Pins: 64}}})
	if len(list) > 0 {
		t.Fatal(list)
	}
	if len(m.Omitted) != 1 || m.Omitted[0] != 2 || len(m.Rows) != 5 || len(m.Diodes) != 7 {
		t.Errorf("omitted %v, %d rows, %d diodes; want pc_l alone, 5 rows, 7 diodes", m.Omitted, len(m.Rows), len(m.Diodes))
	}
	for _, d := range m.Diodes {
		if d.Line == 2 {
			t.Errorf("%s leads to pc_l, which other hardware drives", d.Name)
		}
	}
}

func TestFeedNegativeTurnsTheBand(t *testing.T) {
	card := machine.Card{Name: "control", Rows: 40, Columns: 24, Pins: 64, Negative: true}
	m, _ := Plain(tally(), machine.Hardware{Cards: []machine.Card{card}})
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
		{"pins for a pulse wire", machine.Card{Rows: 9, Columns: 9, Pins: 2}, "card-pins",
			"the pulse wire of 2 phases for add needs 3 pins with the 0 fixed ones, card control has 2", "set pins 3"},
		{"pins taken by the connector", machine.Card{Rows: 9, Columns: 9, Pins: 4, Fixed: []machine.Pin{{Number: 1, Line: -1, Use: "ground"}, {Number: 2, Line: -1, Use: "supply"}}}, "card-pins",
			"needs 5 pins with the 2 fixed ones, card control has 4", "set pins 5"},
	}
	for _, tt := range tests {
		tt.card.Name = "control"
		m, list := Plain(tally(), machine.Hardware{Cards: []machine.Card{tt.card}})
		if m != nil || len(list) == 0 {
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
	fits := machine.Card{Name: "control", Rows: 1, Columns: 2, Pins: 3}
	if m, list := Plain(tally(), machine.Hardware{Cards: []machine.Card{fits}}); len(list) > 0 || len(m.Cards) != 7 {
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
