package reference

import (
	"fmt"
	"math/rand/v2"
	"os"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"coilwright/lang/definition"
)

func parse(t *testing.T, text string) *definition.Source {
	t.Helper()
	src, said := load(text)
	if said != "" {
		t.Fatalf("does not parse: %s\n%s", said, text)
	}
	return src
}

func evaluate(t *testing.T, text string) *Meaning {
	t.Helper()
	m, err := Evaluate(parse(t, text))
	if err != nil {
		t.Fatalf("rejected: %v\n%s", err, text)
	}
	return m
}

// drawn writes a path as "line from..to from..to, ...; last n", lines as declared.
func drawn(m *Meaning, p Path) string {
	var out []string
	for _, line := range m.Lines {
		on := p.On[line]
		if len(on) == 0 {
			continue
		}
		s := line
		for i := 0; i < len(on); {
			j := i
			for j+1 < len(on) && on[j+1] == on[j]+1 {
				j++
			}
			if s += fmt.Sprintf(" %d", on[i]); j > i {
				s += fmt.Sprintf("..%d", on[j])
			}
			i = j + 1
		}
		out = append(out, s)
	}
	return strings.Join(out, ", ") + fmt.Sprintf("; last %d", p.Last)
}

// charts lists the charts of an owner: "flag=true: chart".
func charts(m *Meaning, owner string) []string {
	var out []string
	for _, p := range m.Paths {
		if p.Owner != owner {
			continue
		}
		s := ""
		for _, f := range m.Flags {
			if on, ok := p.Flags[f]; ok {
				s += fmt.Sprintf("%s=%t ", f, on)
			}
		}
		out = append(out, s+drawn(m, p))
	}
	return out
}

// The fetch of the page's example. Step 1: ram_g feeds data, which ir_l reads
// without settling: on from s-1. pc_g feeds addr, which ram_g reads (0, and D
// of ram_g is 0) and nxt_l reads through inc (2): D = 2, on from s-3. No window
// before phase 1: s = 4. Trail 1: both end in 5. Step 2: addr is free from 6,
// so nxt_g 6..8 and pc_l 7.
func TestPage(t *testing.T) {
	text, err := os.ReadFile("../../../testdata/reference/page.coil")
	if err != nil {
		t.Fatal(err)
	}
	m := evaluate(t, string(text))
	want := map[string][]string{
		// Nothing after fetch: the trail of nxt_g is the last phase.
		"nop":       {"ram_g 3..5, pc_g 1..5, pc_l 7, nxt_g 6..8, nxt_l 4, ir_l 4, rst 8; last 8"},
		"undefined": {"ram_g 3..5, pc_g 1..5, pc_l 7, nxt_g 6..8, nxt_l 4, ir_l 4, rst 8; last 8"},
		// The next strobe after pc_l is 8; the halt line has no trail.
		"halt": {"ram_g 3..5, pc_g 1..5, pc_l 7, nxt_g 6..8, nxt_l 4, ir_l 4, rst 8, hlt 8; last 8"},
		// Pulse 3 without lead and trail: 8..10.
		"ring": {"ram_g 3..5, pc_g 1..5, pc_l 7, nxt_g 6..8, nxt_l 4, ir_l 4, bell 8..10, rst 10; last 10"},
		// addr is busy to 8, pc_g has lead 1 and D 2: s-3 >= 9, s = 12; ram_g
		// from 11. Then as in fetch: nxt_g 14..16, pc_l 15.
		"ldi": {"acc_l 12, ram_g 3..5 11..13, pc_g 1..5 9..13, pc_l 7 15, nxt_g 6..8 14..16, nxt_l 4 12, ir_l 4, rst 16; last 16"},
		// res_l at 8 (nothing latched acc or tmp before). res settles in 9, so
		// res_g from 9, strobe 10, trail 11.
		"add": {"acc_l 10, res_g 9..11, res_l 8, ram_g 3..5, pc_g 1..5, pc_l 7, nxt_g 6..8, nxt_l 4, ir_l 4, rst 11; last 11"},
		// sub leads by 1 + the 3 phases of the alu and may not be on before the
		// opcode (4) is decoded, in 5: s-4 >= 5, s = 9. Trail to 10.
		"take": {"acc_l 11, res_g 10..12, res_l 9, sub 5..10, ram_g 3..5, pc_g 1..5, pc_l 7, nxt_g 6..8, nxt_l 4, ir_l 4, rst 12; last 12"},
		// Up to the test as ldi with arg for acc; then either gate onto addr
		// from 14, pc_l 15.
		"jz": {
			"zero=false arg_l 12, ram_g 3..5 11..13, pc_g 1..5 9..13, pc_l 7 15, nxt_g 6..8 14..16, nxt_l 4 12, ir_l 4, rst 16; last 16",
			"zero=true arg_g 14..16, arg_l 12, ram_g 3..5 11..13, pc_g 1..5 9..13, pc_l 7 15, nxt_g 6..8, nxt_l 4 12, ir_l 4, rst 16; last 16",
		},
		// As ldi, then addr is busy to 16: arg_g and acc_g 17..19, ram_l 18.
		"sta": {"acc_g 17..19, arg_g 17..19, arg_l 12, ram_g 3..5 11..13, ram_l 18, pc_g 1..5 9..13, pc_l 7 15, nxt_g 6..8 14..16, nxt_l 4 12, ir_l 4, rst 19; last 19"},
		// data has been free since 6: strobe 8, gate 7..9.
		"move d=tmp s=acc": {"acc_g 7..9, tmp_l 8, ram_g 3..5, pc_g 1..5, pc_l 7, nxt_g 6..8, nxt_l 4, ir_l 4, rst 9; last 9"},
		"move d=acc s=res": {"acc_l 8, res_g 7..9, ram_g 3..5, pc_g 1..5, pc_l 7, nxt_g 6..8, nxt_l 4, ir_l 4, rst 9; last 9"},
		"move d=arg s=sw":  {"arg_l 8, ram_g 3..5, pc_g 1..5, pc_l 7, nxt_g 6..8, nxt_l 4, ir_l 4, sw_g 7..9, rst 9; last 9"},
		"move d=acc s=acc": nil,
	}
	for owner, charts_ := range want {
		if diff := cmp.Diff(charts_, charts(m, owner)); diff != "" {
			t.Errorf("%s (-by hand +evaluated):\n%s", owner, diff)
		}
	}
	if m.Phases != 19 || m.OpcodeBits != 8 || !slices.Equal(m.Flags, []string{"zero"}) {
		t.Errorf("phases %d, opcode bits %d, flags %v; by hand 19, 8, zero", m.Phases, m.OpcodeBits, m.Flags)
	}
	on := func(opcode, flags uint64, phase int) string {
		var out []string
		for i, yes := range m.On(opcode, flags, phase) {
			if yes {
				out = append(out, m.Lines[i])
			}
		}
		return strings.Join(out, " ")
	}
	for _, c := range []struct {
		opcode, flags uint64
		phase         int
		want          string
	}{
		{0x80, 0, 4, "ram_g pc_g nxt_l ir_l"},
		{0x30, 0, 15, "pc_l nxt_g"},
		{0x30, 1, 15, "arg_g pc_l"},
		{0x40, 0, 8, "nxt_g rst"},         // move acc acc is no instruction
		{0x50, 0, 8, "acc_g tmp_l nxt_g"}, // 01 d=01 s=00 00
		{0xff, 1, 19, ""},
		{0xff, 1, 20, ""},
	} {
		if got := on(c.opcode, c.flags, c.phase); got != c.want {
			t.Errorf("opcode %#x flags %d phase %d: %q, by hand %q", c.opcode, c.flags, c.phase, got, c.want)
		}
	}
}

// small is a machine of which every case below declares the rest. With the
// default lead, trail and decode of 1 its fetch is a_g 1..3, ir_l 2: a_g may
// not be on before phase 1. So data is free and the opcode decoded from 3+1
// and 2+1.
const small = `
machine m
bus data 4
bus addr 4
register a 4
register b 4
register c 4 buffered
register ir 4 opcode
flag z
flag k
unit alu 4 settle 2 by s { 0 = a + 1, 1 = a - 1 }
line s
line a_g : a -> data
line a_l : data -> a
line b_g : b -> data
line b_l : data -> b
line c_g : c -> data
line c_l : data -> c
line p_l : data -> b pulse 3
line o_l : data -> b set
line u_l : alu -> b
line u_g : alu -> data
line j_g : data -> addr
line b_a : b -> addr
line d_l : addr -> a
line ir_l : data -> ir
line z_l : zero(data) -> z
line bell
line lamp lead 2 trail 3
line hlt : halt
`

func TestByHand(t *testing.T) {
	const fetch = "fetch { step a_g ir_l }\n"
	const rst = "line rst : restart\n"
	for _, c := range []struct {
		name, text string
		want       []string // charts of instruction x
		phases     int
	}{
		{"bus is free", rst + fetch + "instruction x = 0000 { step b_g a_l }",
			// b_g from 4, strobe 5, trail 6
			[]string{"a_g 1..3, a_l 5, b_g 4..6, ir_l 2, rst 6; last 6"}, 6},
		{"dead", "sequencer { dead 2 }\n" + rst + fetch + "instruction x = 0000 { step b_g a_l }",
			// b_g from 3+2+1. At the seam a_g, phase 1, stands at last+1 >= 8+2+1
			[]string{"a_g 1..3, a_l 7, b_g 6..8, ir_l 2, rst 10; last 10"}, 10},
		{"latch off between strobes", rst + fetch + "instruction x = 0000 { step b_g a_l\n step b_g a_l }",
			[]string{"a_g 1..3, a_l 5 7, b_g 4..8, ir_l 2, rst 8; last 8"}, 8},
		{"a gap stays a gap", rst + fetch + "instruction x = 0000 { step b_g a_l\n wait 3\n step b_g a_l }",
			// strobes 5 and 5+3+1 = 9: windows 4..6 and 8..10
			[]string{"a_g 1..3, a_l 5 9, b_g 4..6 8..10, ir_l 2, rst 10; last 10"}, 10},
		{"wait", rst + fetch + "instruction x = 0000 { step b_g a_l\n wait 3\n wait 1\n step bell }",
			[]string{"a_g 1..3, a_l 5, b_g 4..6, ir_l 2, bell 9, rst 9; last 9"}, 9},
		{"wait at the end", rst + fetch + "instruction x = 0000 { step b_g a_l\n wait 5 }",
			// the next strobe is phase 2 of fetch: last+2 >= 5+5+1
			[]string{"a_g 1..3, a_l 5, b_g 4..6, ir_l 2, rst 9; last 9"}, 9},
		{"wait before fetch", rst + "fetch { wait 4\n step a_g ir_l }\ninstruction x = 0000",
			[]string{"a_g 4..6, ir_l 5, rst 6; last 6"}, 6},
		{"hold", rst + fetch + "instruction x = 0000 { hold b_g { step a_l\n step z_l } }",
			[]string{"a_g 1..3, a_l 5, b_g 4..7, ir_l 2, z_l 6, rst 7; last 7"}, 7},
		{"hold is part of the steps inside", rst + fetch + "instruction x = 0000 { hold u_g { step b_l\n step c_l } }",
			// u_g reads a through alu: no latch of a on the path. Lead 1, D 0: from 4
			[]string{"a_g 1..3, b_l 5, c_l 6, u_g 4..7, ir_l 2, rst 7; last 7"}, 7},
		{"outputs", rst + fetch + "instruction x = 0000 { step lamp }",
			// lead 2: from the decoded opcode, 3, so strobe 5, trail 8
			[]string{"a_g 1..3, ir_l 2, lamp 3..8, rst 8; last 8"}, 8},
		{"pulse", rst + fetch + "instruction x = 0000 { step a_g p_l\n step c_g a_l }",
			// a_g again is one source; the opcode is decoded in 3, so strobe 4: 3..4+2+1. c_g from 8
			[]string{"a_g 1..7, a_l 9, c_g 8..10, p_l 4..6, ir_l 2, rst 10; last 10"}, 10},
		{"settling", rst + fetch + "instruction x = 0000 { step b_g a_l\n step u_l }",
			// a latched in 5 shows in 6 and has settled through alu in 8; b_g is off again in 7 (P.5)
			[]string{"a_g 1..3, a_l 5, b_g 4..6, u_l 8, ir_l 2, rst 8; last 8"}, 8},
		{"what is read does not latch", rst + fetch + "instruction x = 0000 { step b_g a_l\n step b_l none }",
			// b_g reads b and drives data to 6
			[]string{"a_g 1..3, a_l 5, b_g 4..6, b_l 7, ir_l 2, rst 7; last 7"}, 7},
		{"buffered may be read", rst + fetch + "instruction x = 0000 { step c_g c_l }",
			[]string{"a_g 1..3, c_g 4..6, c_l 5, ir_l 2, rst 6; last 6"}, 6},
		{"set may be read", rst + fetch + "instruction x = 0000 { step b_g o_l }",
			[]string{"a_g 1..3, b_g 4..6, o_l 5, ir_l 2, rst 6; last 6"}, 6},
		{"select off, then on", rst + fetch + "instruction x = 0000 { step u_l\n step s u_l }",
			// off from 3-2 to 3; s has D 2: from strobe-3 >= 4
			[]string{"s 4..8, a_g 1..3, u_l 3 7, ir_l 2, rst 8; last 8"}, 8},
		{"select on, then off", rst + fetch + "instruction x = 0000 { step s u_l\n step u_l }",
			// s from 3, strobe 6, trail 7; off from strobe-2 >= 8
			[]string{"s 3..7, a_g 1..3, u_l 6 10, ir_l 2, rst 10; last 10"}, 10},
		{"select across the seam", rst + "fetch { step a_g ir_l u_l }\ninstruction x = 0000 { step s u_l }",
			// fetch needs s off from 2-2 = 0, the last phase of the path before
			[]string{"s 3..7, a_g 1..3, u_l 2 6, ir_l 2, rst 8; last 8"}, 8},
		{"settling across the seam", "sequencer { trail 0 }\n" + rst + "fetch { step a_g ir_l u_l }\ninstruction x = 0000 { step b_g a_l }",
			// a_g 1..2, b_g 3..4. a, latched in 4, may be read through alu from 7 on:
			// u_l, phase 2, stands at last+2
			[]string{"a_g 1..2, a_l 4, b_g 3..4, u_l 2, ir_l 2, rst 5; last 5"}, 5},
		{"join", rst + fetch + "instruction x = 0000 { step b_g j_g d_l }",
			// b_g feeds j_g feeds d_l; lead once. data free from 4; a_l reads addr
			[]string{"a_g 1..3, b_g 4..6, j_g 4..6, d_l 5, ir_l 2, rst 6; last 6"}, 6},
		{"join the other way", rst + fetch + "instruction x = 0000 { step b_a j_g c_l }",
			// data is one bus with addr from the start of j_g on: after a_g
			[]string{"a_g 1..3, c_l 5, j_g 4..6, b_a 4..6, ir_l 2, rst 6; last 6"}, 6},
		{"none", rst + fetch + "instruction x = 0000 { step none c_l }",
			[]string{"a_g 1..3, c_l 4, ir_l 2, rst 4; last 4"}, 4},
		{"decode of a flag", "sequencer { decode 3 }\n" + rst + fetch + "instruction x = 0000 { step b_g z_l\n when z { step bell } else { step hlt } }",
			// opcode in 5, so b_g 5..7; z in 6, arms from 9. The sides first differ in 9
			[]string{
				"z=false a_g 1..3, b_g 5..7, ir_l 2, z_l 6, hlt 9, rst 9; last 9",
				"z=true a_g 1..3, b_g 5..7, ir_l 2, z_l 6, bell 9, rst 9; last 9"}, 9},
		{"decode of a flag, one arm", "sequencer { decode 3 }\n" + rst + fetch + "instruction x = 0000 { step b_g z_l\n when z { step bell } }",
			// without z the path would end in 7, before z is decoded in 9: so it waits
			[]string{
				"z=false a_g 1..3, b_g 5..7, ir_l 2, z_l 6, rst 9; last 9",
				"z=true a_g 1..3, b_g 5..7, ir_l 2, z_l 6, bell 9, rst 9; last 9"}, 9},
		{"decode of a flag, steps after the arms", "sequencer { decode 3 }\n" + rst + fetch + "instruction x = 0000 { step b_g z_l\n when z { step bell }\n step hlt }",
			// without z hlt would stand in 7, with it in 10: the sides differ in 7, so hlt waits for 9
			[]string{
				"z=false a_g 1..3, b_g 5..7, ir_l 2, z_l 6, hlt 9, rst 9; last 9",
				"z=true a_g 1..3, b_g 5..7, ir_l 2, z_l 6, bell 9, hlt 10, rst 10; last 10"}, 10},
		{"flag across the seam", "sequencer { decode 3 }\n" + rst + "fetch { when z { step bell }\n step a_g ir_l }\ninstruction x = 0000 { step b_g z_l }",
			// bell 1, a_g 1..3, ir_l 2; opcode in 5, z in 6, decoded in 9: last+1 >= 9
			[]string{
				"z=false a_g 1..3, b_g 5..7, ir_l 2, z_l 6, rst 8; last 8",
				"z=true a_g 1..3, b_g 5..7, ir_l 2, z_l 6, bell 1, rst 8; last 8"}, 8},
		{"restart cuts", "sequencer { restart cuts }\n" + rst + fetch + "instruction x = 0000",
			[]string{"a_g 1..3, ir_l 2, rst 4; last 3"}, 4},
		{"no restart line", "sequencer { phases 7 }\n" + fetch + "instruction x = 0000",
			[]string{"a_g 1..3, ir_l 2; last 7"}, 7},
		{"merged variants of nothing", rst + fetch + "instruction x n:2 = 00 n { step bell }",
			[]string{"a_g 1..3, ir_l 2, bell 3, rst 3; last 3"}, 3},
	} {
		t.Run(c.name, func(t *testing.T) {
			m := evaluate(t, small+c.text)
			if diff := cmp.Diff(c.want, charts(m, "x")); diff != "" {
				t.Errorf("-by hand +evaluated:\n%s", diff)
			}
			if m.Phases != c.phases {
				t.Errorf("%d phases, by hand %d", m.Phases, c.phases)
			}
		})
	}
}

func TestUndefined(t *testing.T) {
	const rest = "line rst : restart\nfetch { step a_g ir_l }\ninstruction x = 0000 { step b_g a_l }\nundefined "
	for kind, want := range map[string]string{
		"restart": "a_g 1..3, ir_l 2, rst 3; last 3",
		"free":    "a_g 1..3, ir_l 2, rst 3; last 3",
		"idle":    "a_g 1..3, ir_l 2; last 6", // to the end of the ring, which x needs
		"halt":    "a_g 1..3, ir_l 2, hlt 3, rst 3; last 3",
	} {
		m := evaluate(t, small+rest+kind)
		if diff := cmp.Diff([]string{want}, charts(m, "undefined")); diff != "" {
			t.Errorf("%s (-by hand +evaluated):\n%s", kind, diff)
		}
	}
}

func TestRejected(t *testing.T) {
	const rst = "line rst : restart\n"
	const fetch = rst + "fetch { step a_g ir_l }\n"
	x := func(body string) string { return fetch + "instruction x = 0000 { " + body + " }" }
	for _, c := range []struct{ text, rule string }{
		{x("step a_g b_g c_l"), "P.3"},                                         // two sources
		{x("step b_a j_g a_g c_l"), "P.3"},                                     // two sources through a join
		{x("step a_g a_l"), "P.5"},                                             // passes through itself
		{x("step a_g b_l p_l"), "L.5"},                                         // two latches of b
		{x("step d_l"), "P.8"},                                                 // nothing on data
		{x("step j_g c_l"), "P.8"},                                             // a join is no source
		{x("step none c_l c_g"), "L.9"},                                        // a source after all
		{x("step rst"), "L.7"},                                                 // the encoder's own
		{x("step ir_l a_g"), "P.13"},                                           // the opcode in a body
		{x("when z { step bell\n when z { step hlt } }"), "P.12"},              // dead arm
		{x("when z { step bell }\n when not z { step hlt }"), "P.12"},          // dead arm
		{x("when z { step a_g z_l }"), "P.10"},                                 // the flag in its arm
		{x("when z { step bell\n step bell }\n step a_g z_l"), "P.10"},         // while the arms differ
		{x("hold a_l { step a_g }"), "P.14"},                                   // a latch held
		{x("pack { step a_g b_l }"), "P.14"},                                   // not yet
		{x("step nobody"), "N.1"},                                              //
		{x("do nothing"), "N.1"},                                               //
		{fetch + "sequence q { do q }\ninstruction x = 0000 { do q }", "P.14"}, //
		{fetch + "instruction x = 00?0\ninstruction y = 0?00", "P.9"},          // the same opcode
		{fetch + "instruction x = 00000", "E.2"},                               // five bits
		{fetch + "instruction x n:2 = 000 n[0]", "E.2"},                        // a bit left out
		{"sequencer { phases 5 }\n" + x("step b_g a_l"), "P.9"},                // needs 6
		{"sequencer { phases 9, dead 2 }\n" + x("step b_g a_l"), "P.9"},        // needs 10 with its seam
		{"fetch { step a_g ir_l }\ninstruction x = 0000", "P.7"},               // no restart, no phases
		{rst + "fetch { step a_g b_l }\ninstruction x = 0000", "P.13"},         // no opcode
		{rst + "fetch { when z { step a_g ir_l } }", "P.13"},                   // in an arm
		{rst + "fetch { step a_g ir_l }\nunit v 4 = w + 1\nunit w 4 = v + 1", "W.4"},
		{rst + "line l_g : addr + 1 -> addr\nfetch { step l_g a_g ir_l }", "P.2"}, // feeds itself
		{rst + "line q : a -> data, b -> c\nfetch { step a_g ir_l }", "L.1"},      // gate and latch
		{rst + "bus wide 8\nline q : wide -> a\nfetch { step a_g ir_l }", "W.1"},
		{rst + "line late : data -> s\nfetch { step a_g ir_l }", "N.1"},
		{rst + "line v_g : alu -> data lead 4\nfetch { step a_g ir_l }\ninstruction x = 0000 { step s v_g b_l }", "P.6"}, // s leads by 3
	} {
		src, said := load(small + c.text)
		if said != "" {
			t.Errorf("%s: does not parse: %s", c.text, said)
			continue
		}
		if _, err := Evaluate(src); err == nil || !strings.HasPrefix(err.Error(), c.rule+":") {
			t.Errorf("%s\n  got %v, want rule %s", c.text, err, c.rule)
		}
	}
}

// TestRandom: the generator repeats itself for the same seed, what it writes
// parses, and much of it is sound.
func TestRandom(t *testing.T) {
	sound := 0
	for seed := range uint64(200) {
		text := Random(rand.New(rand.NewPCG(seed, 1)))
		if text != Random(rand.New(rand.NewPCG(seed, 1))) {
			t.Fatalf("seed %d gives two machines", seed)
		}
		if _, err := Evaluate(parse(t, text)); err == nil {
			sound++
		}
	}
	if sound < 60 {
		t.Errorf("%d of 200 random machines are sound", sound)
	}
}

// load reads one text; said is what the parser has against it.
func load(text string) (src *definition.Source, said string) {
	src, list := definition.Load("random.coil", func(string) ([]byte, error) { return []byte(text), nil })
	for _, d := range list {
		said += d.Text + "; "
	}
	return src, said
}
