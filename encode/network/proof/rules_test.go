package proof

import (
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"coilwright/encode/cube"
	"coilwright/encode/network/wiring"
	"coilwright/encode/store"
	"coilwright/lang/diag"
)

var update = flag.Bool("update", os.Getenv("UPDATE_GOLDEN") == "1", "write the golden files anew")

// The machine of the rules: two opcode bits, one flag, five phases.
//
//	phase      1      2      3             4          5
//	all        ir_l
//	00, 11            rst
//	01                acc_g  acc_g acc_l   acc_g rst
//	10, zero 0               rst
//	10, zero 1               bell          rst
//
// The opcode travels in phase 1, zero in phase 3 of opcode 01. bell is low.
const (
	irL = iota
	accG
	accL
	bell
	rst
)

func small() (*store.Store, store.Changes) {
	s := &store.Store{Machine: "small", OpcodeBits: 2, Phases: 5, Flags: []string{"zero"}}
	for i, name := range []string{"ir_l", "acc_g", "acc_l", "bell", "rst"} {
		c := store.Column{Name: name, Kind: store.Gate, Low: i == bell, At: diag.Place{File: "small.coil", Line: 10 + i, Column: 6, Width: len(name)}}
		if i == rst {
			c.Kind = store.Restart
		}
		s.Columns = append(s.Columns, c)
		s.Word.Bits = append(s.Word.Bits, i)
	}
	row := func(opcode, flags cube.Cube, phase int, lines ...int) {
		r := store.Row{Opcode: opcode, Flags: flags, Phase: phase, Lines: store.NewSet(len(s.Columns))}
		for _, c := range lines {
			r.Lines.Add(c)
			if c != rst {
				r.Causes = append(r.Causes, store.Cause{Column: c, Step: diag.Place{File: "small.coil", Line: 20 + len(s.Rows), Column: 5, Width: 4}})
			}
		}
		s.Rows = append(s.Rows, r)
	}
	op := func(v uint64) cube.Cube { return cube.Cube{Care: 3, Value: v} }
	zero := func(v uint64) cube.Cube { return cube.Cube{Care: 1, Value: v} }
	row(cube.Cube{}, cube.Cube{}, 1, irL)
	row(op(0), cube.Cube{}, 2, rst)
	row(op(3), cube.Cube{}, 2, rst)
	row(op(1), cube.Cube{}, 2, accG)
	row(op(1), cube.Cube{}, 3, accG, accL)
	row(op(1), cube.Cube{}, 4, accG, rst)
	row(op(2), zero(0), 3, rst)
	row(op(2), zero(1), 3, bell)
	row(op(2), zero(1), 4, rst)
	s.Owners = []store.Owner{
		{Name: "fetch", Kind: "fetch"}, {Name: "add", Kind: "instruction", Opcodes: []cube.Cube{op(1)}},
		{Name: "jz", Kind: "instruction", Opcodes: []cube.Cube{op(2)}}, {Name: "undefined", Kind: "undefined", Opcodes: []cube.Cube{op(0), op(3)}},
	}
	return s, store.Changes{Moving: []store.Moving{
		{Phase: 1, Bits: 3}, {Opcode: op(1), Phase: 3, Tested: 1},
	}}
}

// unwire takes out the wires at a terminal and returns where they went.
func (k *sketch) unwire(t wiring.Terminal) []wiring.Terminal {
	var kept []wiring.Wire
	var to []wiring.Terminal
	for _, w := range k.Wires {
		switch t {
		case w.From:
			to = append(to, w.To)
		case w.To:
			to = append(to, w.From)
		default:
			kept = append(kept, w)
		}
	}
	k.Wires = kept
	return to
}

// move takes what is at one terminal to another.
func (k *sketch) move(from, to wiring.Terminal) {
	for _, t := range k.unwire(from) {
		k.wire(t, to)
	}
}

func (k *sketch) turn(d wiring.Diode) {
	a, b := d.Ends()
	x, y := k.unwire(a), k.unwire(b)
	for _, t := range x {
		k.wire(t, b)
	}
	for _, t := range y {
		k.wire(t, a)
	}
}

// ends are the terminals of a diode as activity passes it.
func (k *sketch) ends(d wiring.Diode) (from, to wiring.Terminal) {
	a, b := d.Ends()
	if k.Negative {
		return b, a
	}
	return a, b
}

// diodesInto finds the diodes that lead to a line.
func (k *sketch) diodesInto(column int) []wiring.Diode {
	var out []wiring.Diode
	for _, d := range k.Diodes {
		_, b := k.ends(d)
		for _, w := range k.Wires {
			if w.From == b && w.To == k.pin(wiring.Line, column) {
				out = append(out, d)
			}
		}
	}
	return out
}

var ruleCases = []struct {
	name    string
	overlap bool
	spoil   func(k *sketch, s *store.Store, c *store.Changes)
}{
	{"as it should be", false, func(k *sketch, s *store.Store, c *store.Changes) {}},
	{"as it should be, overlapping", true, func(k *sketch, s *store.Store, c *store.Changes) {}},
	{"a diode is missing", false, func(k *sketch, s *store.Store, c *store.Changes) {
		a, b := k.ends(k.diodesInto(accL)[0])
		k.unwire(a)
		k.unwire(b)
	}},
	{"a diode is reversed", false, func(k *sketch, s *store.Store, c *store.Changes) { k.turn(k.diodesInto(accG)[1]) }},
	{"a diode is shorted", false, func(k *sketch, s *store.Store, c *store.Changes) {
		k.wire(k.ends(k.diodesInto(accG)[1]))
	}},
	{"a diode is in the wrong column", false, func(k *sketch, s *store.Store, c *store.Changes) {
		_, b := k.ends(k.diodesInto(accL)[0])
		k.unwire(b)
		k.wire(b, k.pin(wiring.Line, irL))
	}},
	{"two opcode wires are crossed", false, func(k *sketch, s *store.Store, c *store.Changes) {
		for i := range k.Pins {
			if u := &k.Pins[i].Use; u.Kind == wiring.Opcode {
				u.N = 1 - u.N
			}
		}
	}},
	{"a contact is on the wrong throw", false, func(k *sketch, s *store.Store, c *store.Changes) {
		_, brk, mk := k.Relays[1].Pole(1)
		k.move(brk, mk)
	}},
	{"a phase wire reaches the return", false, func(k *sketch, s *store.Store, c *store.Changes) {
		k.wire(k.pin(wiring.Phase, 2), k.ret)
	}},
	{"a suppression diode is reversed", false, func(k *sketch, s *store.Store, c *store.Changes) {
		a1, a2 := k.Relays[1].Coil()
		k.diode(a1, a2)
	}},
	{"a suppression diode is right", false, func(k *sketch, s *store.Store, c *store.Changes) {
		a1, a2 := k.Relays[1].Coil()
		k.diode(a2, a1)
	}},
	{"a coil has no end at the return", false, func(k *sketch, s *store.Store, c *store.Changes) {
		_, a2 := k.Relays[1].Coil()
		k.unwire(a2)
		k.wire(a2, k.pin(wiring.Phase, 5))
	}},
	{"a coil is bridged", false, func(k *sketch, s *store.Store, c *store.Changes) { k.wire(k.Relays[0].Coil()) }},
	{"a coil is loose", false, func(k *sketch, s *store.Store, c *store.Changes) {
		a1, _ := k.Relays[2].Coil()
		k.unwire(a1)
	}},
	{"the inverting relay is on its make contact", false, func(k *sketch, s *store.Store, c *store.Changes) {
		_, brk, mk := k.Relays[0].Pole(1)
		k.move(brk, mk)
	}},
	{"a relay holds itself", false, func(k *sketch, s *store.Store, c *store.Changes) {
		k.Relays[0].Poles = 2
		a1, _ := k.Relays[0].Coil()
		k.wire(k.contact(k.Relays[0], true, k.feed), a1)
	}},
	{"a relay chatters", false, func(k *sketch, s *store.Store, c *store.Changes) {
		r := k.relay(k.pin(wiring.Spare, 0), 1)
		a1, _ := r.Coil()
		k.wire(k.contact(r, false, k.feed), a1)
	}},
	{"a contact travels on a live wire", false, func(k *sketch, s *store.Store, c *store.Changes) {
		k.wire(k.contact(k.Relays[2], true, k.pin(wiring.Phase, 1)), k.pin(wiring.Spare, 0))
	}},
	{"a line drops out while the opcode travels", false, func(k *sketch, s *store.Store, c *store.Changes) {
		a, _ := k.ends(k.diodesInto(irL)[0])
		k.unwire(a)
		k.wire(k.contact(k.Relays[1], true, k.pin(wiring.Phase, 1)), a)
		k.wire(k.contact(k.Relays[1], false, k.pin(wiring.Phase, 1)), a)
	}},
	{"a line comes on while a flag travels", false, func(k *sketch, s *store.Store, c *store.Changes) {
		x := wiring.Terminal("K4:91")
		k.wire(k.pin(wiring.Phase, 3), x)
		k.wire("K4:92", "K4:84")
		k.wire("K4:94", "K4:82")
		k.diode("K4:92", k.pin(wiring.Line, irL))
		k.diode("K4:84", k.pin(wiring.Line, irL))
	}},
	{"three diodes in series", false, func(k *sketch, s *store.Store, c *store.Changes) {
		a, _ := k.ends(k.diodesInto(accL)[0])
		for _, t := range k.unwire(a) {
			k.diode(t, "X1:1")
			k.Pins = append(k.Pins, wiring.Pin{Name: "X1", Pin: 1, Use: wiring.Use{Kind: wiring.Link, N: 1}}, wiring.Pin{Name: "X2", Pin: 1, Use: wiring.Use{Kind: wiring.Link, N: 1}}, wiring.Pin{Name: "X2", Pin: 2, Use: wiring.Use{Kind: wiring.Spare}})
			k.diode("X2:1", "X2:2")
			k.wire("X2:2", a)
		}
	}},
	{"two phases meet where they overlap", true, func(k *sketch, s *store.Store, c *store.Changes) {
		r2 := k.relay(k.pin(wiring.Phase, 2), 1)
		r3 := k.relay(k.pin(wiring.Phase, 3), 1)
		k.wire(k.contact(r3, true, k.contact(r2, true, k.feed)), "X1:2")
		k.Pins = append(k.Pins, wiring.Pin{Name: "X1", Pin: 2, Use: wiring.Use{Kind: wiring.Spare}})
		k.diode("X1:2", k.pin(wiring.Line, accL))
	}},
	{"the same, and only one phase at a time", false, func(k *sketch, s *store.Store, c *store.Changes) {
		r2 := k.relay(k.pin(wiring.Phase, 2), 1)
		r3 := k.relay(k.pin(wiring.Phase, 3), 1)
		k.wire(k.contact(r3, true, k.contact(r2, true, k.feed)), "X1:2")
		k.Pins = append(k.Pins, wiring.Pin{Name: "X1", Pin: 2, Use: wiring.Use{Kind: wiring.Spare}})
		k.diode("X1:2", k.pin(wiring.Line, accL))
	}},
	{"past the restart anything may be on", false, func(k *sketch, s *store.Store, c *store.Changes) {
		k.diode(k.pin(wiring.Phase, 5), k.pin(wiring.Line, accL))
	}},
	{"not if a flag from outside ends the path", false, func(k *sketch, s *store.Store, c *store.Changes) {
		c.Inputs = 1
		k.diode(k.pin(wiring.Phase, 5), k.pin(wiring.Line, accL))
	}},
	{"not without a restart line", false, func(k *sketch, s *store.Store, c *store.Changes) {
		s.Columns[rst].Kind = store.Output
		k.diode(k.pin(wiring.Phase, 5), k.pin(wiring.Line, accL))
	}},
	{"free opcodes may do anything", false, func(k *sketch, s *store.Store, c *store.Changes) {
		s.Free = []cube.Cube{{Care: 3, Value: 3}}
		s.Rows[2].Lines = store.NewSet(len(s.Columns))
		s.Rows[2].Lines.Add(accL)
	}},
	{"a line that other hardware drives has a pin", false, func(k *sketch, s *store.Store, c *store.Changes) {
		s.Word.Bits[accL] = -1
	}},
	{"pins are missing", false, func(k *sketch, s *store.Store, c *store.Changes) {
		for i := range k.Pins {
			u := &k.Pins[i].Use
			if u.Kind == wiring.Line && u.N == accL || u.Kind == wiring.Phase && u.N == 4 {
				u.Kind = wiring.Spare
			}
		}
	}},
	{"the return is missing", false, func(k *sketch, s *store.Store, c *store.Changes) { k.Pins[1].Use.Kind = wiring.Spare }},
	{"a list that cannot be", false, func(k *sketch, s *store.Store, c *store.Changes) {
		k.Relays = append(k.Relays, k.Relays[0], wiring.Relay{Name: "K99", Poles: -1}, wiring.Relay{})
		k.Diodes = append(k.Diodes, wiring.Diode{Name: "K1"})
		k.wire("D99:A", "J1:99")
		for i, u := range []wiring.Use{{Kind: wiring.Phase, N: 6}, {Kind: wiring.Phase}, {Kind: wiring.Line, N: 5}, {Kind: wiring.Line, N: -1},
			{Kind: wiring.Line, N: 0, Name: "acc_l"}, {Kind: wiring.Opcode, N: 2}, {Kind: wiring.Flag, N: 1}, {Kind: "mains"}} {
			k.Pins = append(k.Pins, wiring.Pin{Name: "J9", Pin: i + 1, Use: u})
		}
		k.Pins = append(k.Pins, wiring.Pin{Name: "J9", Pin: 1, Use: wiring.Use{Kind: wiring.Spare}}, wiring.Pin{Name: "D1", Pin: 1})
	}},
}

// TestRules holds what is found, word for word, to testdata/proof/findings.txt,
// on cards of both polarities: but for the way round of diodes they are alike.
func TestRules(t *testing.T) {
	var b strings.Builder
	for _, c := range ruleCases {
		var texts []string
		for _, negative := range []bool{false, true} {
			s, ch := small()
			k := plain(s, negative)
			c.spoil(k, s, &ch)
			r, err := Prove(&k.List, s, ch, Options{Overlap: c.overlap, Detail: 20})
			if err != nil {
				t.Fatal(err)
			}
			text := reportText(r)
			if negative {
				text = diodeEnd.ReplaceAllStringFunc(text, func(end string) string {
					return strings.NewReplacer(":A", ":K", ":K", ":A").Replace(end)
				})
				text = bothEnds.ReplaceAllString(text, "$1:A and $2:K")
			}
			texts = append(texts, strings.ReplaceAll(text, "K>A", "A>K"))
			if len(r.Findings) == 0 || r.Findings[0].Kind != BadList {
				got, _ := groupsOf(t, &k.List, s, ch, Options{Overlap: c.overlap})
				if d := cmp.Diff(newBench(&k.List, s, ch).judge(c.overlap).text(true), got.text(true)); d != "" {
					t.Errorf("%s: reference and proof differ:\n%s", c.name, d)
				}
			}
		}
		if d := cmp.Diff(texts[0], texts[1]); d != "" {
			t.Errorf("%s: a negative card says something else:\n%s", c.name, d)
		}
		fmt.Fprintf(&b, "== %s\n%s\n", c.name, texts[0])
	}
	golden(t, "findings.txt", b.String())
}

// diodeEnd is an end of a diode in a text, and bothEnds are both the other way round.
var (
	diodeEnd = regexp.MustCompile(`\bD[1-8]?\d:[AK]\b`)
	bothEnds = regexp.MustCompile(`\b(D\d+):K and (D\d+):A\b`)
)

func reportText(r *Report) string {
	var b strings.Builder
	fmt.Fprintf(&b, "%d opcodes, %d states, %d between, %d travelling; %d contacts\n", r.Opcodes, r.States, r.Between, r.Moving, r.Contacts)
	for _, f := range r.Findings {
		fmt.Fprintf(&b, "%s: %s\n", f.Kind, f.Text)
		if f.Where != "" {
			fmt.Fprintf(&b, "    at   %s; %d states, phases %v\n", f.Where, f.States, f.Phases)
		}
		for _, a := range f.Asked {
			fmt.Fprintf(&b, "    ask  %s\n", a)
		}
		if f.Path != "" {
			fmt.Fprintf(&b, "    path %s\n", f.Path)
		}
		for _, n := range f.Notes {
			fmt.Fprintf(&b, "    note %s\n", n)
		}
	}
	for _, n := range r.Notes {
		fmt.Fprintf(&b, "odd  %s\n", n)
	}
	if r.More > 0 {
		fmt.Fprintf(&b, "and %d more\n", r.More)
	}
	return b.String()
}

func golden(t *testing.T, name, got string) {
	t.Helper()
	path := filepath.Join("..", "..", "..", "testdata", "proof", name)
	if *update {
		if err := os.WriteFile(path, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(string(want), got); d != "" {
		t.Errorf("%s differs (-want +got):\n%s", name, d)
	}
}

// TestWide: 2^31 combinations are too many to be tried one by one, and are
// proved all the same.
func TestWide(t *testing.T) {
	s, c := small()
	s.OpcodeBits = 30
	c.Moving[0].Bits = 1<<30 - 1
	for i := range s.Rows {
		if r := &s.Rows[i]; r.Opcode.Care != 0 {
			r.Opcode.Care |= 1<<29 | 1<<17
			r.Opcode.Value |= 1 << 17
		}
	}
	s.Rows[3].Opcode.Care = 1<<30 - 1
	k := plain(s, false)
	r, err := Prove(&k.List, s, c, Options{Overlap: true})
	if err != nil {
		t.Fatal(err)
	}
	if !r.Proved() || r.Opcodes != 1<<30 || r.States < 1<<32 {
		t.Error(reportText(r))
	}
	prover := NewProver(s, c, Options{Overlap: true})
	if holds, err := prover.Holds(&k.List); err != nil || !holds {
		t.Error("the prover does not let it pass", err)
	}
	k.move("K2:12", "K2:14")
	if holds, err := prover.Holds(&k.List); err != nil || holds {
		t.Error("the prover lets a wrong throw pass", err)
	}
	if r, err = Prove(&k.List, s, c, Options{}); err != nil || r.Proved() {
		t.Error("a wrong throw was not found", err)
	}
}

// TestTooLarge: what cannot be tried is said.
func TestTooLarge(t *testing.T) {
	s, c := small()
	k := plain(s, false)
	p, _, _ := prepare(&k.List, s, c, Options{})
	p.bySets, p.most = true, 10
	if _, total, err := p.run(); err != nil || total.states != 23 {
		t.Errorf("%d states, %v: few states are tried one by one if sets take too much", total.states, err)
	}
	p.store.Phases = 1 << 30
	if !p.moreThan(maxStates) {
		t.Error("2^33 states are few")
	}
	p.store.Phases = 5
	if _, err := p.runSets(); err != (TooLarge{Bits: 3, Phases: 5}) {
		t.Error(err)
	}
}

// TestDetail: what is not worked out is counted.
func TestDetail(t *testing.T) {
	s, c := small()
	k := plain(s, false)
	k.Wires = k.Wires[:len(k.Wires)/2]
	full, err := Prove(&k.List, s, c, Options{Detail: 1000})
	if err != nil {
		t.Fatal(err)
	}
	few, err := Prove(&k.List, s, c, Options{Detail: 2})
	if err != nil {
		t.Fatal(err)
	}
	if len(few.Findings) != 2 || few.More != len(full.Findings)-2 || few.Proved() {
		t.Errorf("%d findings and %d more of %d", len(few.Findings), few.More, len(full.Findings))
	}
	if d := cmp.Diff(full.Findings[:2], few.Findings); d != "" {
		t.Error(d)
	}
}
