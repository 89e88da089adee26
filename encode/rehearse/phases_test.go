package rehearse_test

import (
	"fmt"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"coilwright/encode/machine"
	"coilwright/encode/rehearse"
)

// row writes a phase as a person would jot it down: phase, lines, what buses
// carry (driven ones only), what is taken in, and what is remarked.
func row(b built, v *rehearse.View) string {
	var out strings.Builder
	fmt.Fprintf(&out, "%d %s", v.Phase, b.store.Owners[v.Owner].Name)
	if v.Known {
		fmt.Fprintf(&out, " at %X", v.Address)
	}
	out.WriteString(" |")
	for _, c := range v.Lines.Columns() {
		out.WriteString(" " + b.Lines[c].Name)
	}
	out.WriteString(" |")
	for i := range b.Signals {
		if b.Signals[i].Kind == machine.Bus && v.Driven[i] != 0 {
			fmt.Fprintf(&out, " %s %X", b.Signals[i].Name, v.Values[i])
		}
	}
	out.WriteString(" |")
	for _, w := range v.Writes {
		s := &b.Signals[w.Signal]
		fmt.Fprintf(&out, " %s", s.Name)
		if s.Kind == machine.Memory {
			fmt.Fprintf(&out, "[%X]", w.Index)
		}
		if all := ^uint64(0) >> (64 - s.Width); w.Mask != all {
			fmt.Fprintf(&out, "&%X", w.Mask)
		}
		fmt.Fprintf(&out, "=%X", w.Value)
	}
	if v.Last {
		out.WriteString(" <<")
	}
	if v.Halt {
		out.WriteString(" halt")
	}
	for _, n := range v.Notes {
		fmt.Fprintf(&out, " [%s: %s]", n.Kind, n.Text)
	}
	return strings.TrimRight(out.String(), " |")
}

// rows does phases until stop and writes each down.
func rows(b built, r *rehearse.Rehearsal, stop rehearse.Stop) (out []string, f rehearse.Final) {
	f = r.Run(stop, func(v *rehearse.View) { out = append(out, row(b, v)) })
	return out, f
}

// What Millrace's chart (`coilwright phases`) and its lines say, followed with a pencil.
func TestMillracePhaseByPhase(t *testing.T) {
	b := example(t, "millrace")
	at := func(code ...uint64) map[uint64]uint64 {
		out := map[uint64]uint64{0x90: 0x33}
		for i, v := range code {
			out[0x40+uint64(i)] = v
		}
		return out
	}
	for _, c := range []struct {
		name string
		code []uint64
		from map[string]uint64
		want []string
	}{
		{"add", []uint64{0x80}, map[string]uint64{"acc": 0xFF, "tmp": 2}, []string{
			"1 fetch | pc_g | addr 40",
			"2 fetch | ram_g pc_g | data 80 addr 40",
			"3 fetch at 40 | ram_g pc_g nxt_l ir_l | data 80 addr 40 | nxt=41 ir=80",
			"4 add at 40 | ram_g pc_g | data 80 addr 40",
			"5 add at 40 | pc_n | | pc=41",
			"6 add at 40 | res_l | | res=1 zero=0 carry=1",
			"7 add at 40 | res_g | data 1",
			"8 add at 40 | acc_l res_g | data 1 | acc=1",
			"9 add at 40 | res_g rst | data 1 | <<",
		}},
		{"jz, on", []uint64{0x31, 0x90}, map[string]uint64{"zero": 1}, []string{
			"1 fetch | pc_g | addr 40",
			"2 fetch | ram_g pc_g | data 31 addr 40",
			"3 fetch at 40 | ram_g pc_g nxt_l ir_l | data 31 addr 40 | nxt=41 ir=31",
			"4 jz at 40 | ram_g pc_g | data 31 addr 40",
			"5 jz at 40 | pc_n | | pc=41",
			"6 jz at 40 | pc_g | addr 41",
			"7 jz at 40 | ram_g pc_g | data 90 addr 41",
			"8 jz at 40 | arg_l ram_g pc_g nxt_l | data 90 addr 41 | arg=90 nxt=42",
			"9 jz at 40 | ram_g pc_g | data 90 addr 41",
			"10 jz at 40 | arg_g pc_n | addr 90 | pc=42",
			"11 jz at 40 | arg_g pc_l | addr 90 | pc=90",
			"12 jz at 40 | arg_g rst | addr 90 | <<",
		}},
		{"jz, off", []uint64{0x31, 0x90}, nil, []string{
			"1 fetch | pc_g | addr 40",
			"2 fetch | ram_g pc_g | data 31 addr 40",
			"3 fetch at 40 | ram_g pc_g nxt_l ir_l | data 31 addr 40 | nxt=41 ir=31",
			"4 jz at 40 | ram_g pc_g | data 31 addr 40",
			"5 jz at 40 | pc_n | | pc=41",
			"6 jz at 40 | pc_g | addr 41",
			"7 jz at 40 | ram_g pc_g | data 90 addr 41",
			"8 jz at 40 | arg_l ram_g pc_g nxt_l | data 90 addr 41 | arg=90 nxt=42",
			"9 jz at 40 | ram_g pc_g | data 90 addr 41",
			"10 jz at 40 | pc_n rst | | pc=42 <<",
		}},
		{"halt", []uint64{0x01}, nil, []string{
			"1 fetch | pc_g | addr 40",
			"2 fetch | ram_g pc_g | data 1 addr 40",
			"3 fetch at 40 | ram_g pc_g nxt_l ir_l | data 1 addr 40 | nxt=41 ir=1",
			"4 halt at 40 | ram_g pc_g | data 1 addr 40",
			"5 halt at 40 | pc_n | | pc=41",
			"6 halt at 40 | rst hlt | | halt",
		}},
	} {
		t.Run(c.name, func(t *testing.T) {
			setup := rehearse.Setup{
				Values:   map[int]uint64{b.signal(t, "pc"): 0x40},
				Memories: map[int]map[uint64]uint64{b.signal(t, "ram"): at(c.code...)},
			}
			for name, v := range c.from {
				setup.Values[b.signal(t, name)] = v
			}
			got, _ := rows(b, rehearse.New(b.Machine, b.store, rehearse.FromStore(b.store), setup), rehearse.Stop{Instructions: 1})
			if diff := cmp.Diff(c.want, got); diff != "" {
				t.Errorf("(-want +got):\n%s", diff)
			}
		})
	}
}

// A machine whose only instruction takes in the values of all expressions at
// one strobe. Each was worked out by hand.
func TestExpressions(t *testing.T) {
	const page = `machine sums "every function once"
bus data 8
bus addr 4
register pc 4 buffered
register ir 8 opcode
register a 8
register b 8
register n 4
flag f
memory ram 16 x 8 program
unit alu 8 by s1 s0 {
    00 = a + b
    01 = a - b
    10 = a & b
    11 = inc
}
unit inc 8 = a + 1
unit sum 8 = a + b + f
line s1
line s0
line pc_g : pc -> addr
line ram_g : ram[addr] -> data
line ir_l : data -> ir
line pc_i : pc + 1 -> pc
line rst : restart
%s
fetch {
    step pc_g ram_g ir_l
    step pc_i
}
instruction go = ???? ???? {
    step take%s
}
`
	for _, c := range []struct {
		expr    string
		selects string
		a, b, n uint64
		f       uint64
		want    uint64
	}{
		{"a + b", "", 0xF0, 0x13, 0, 0, 0x03},
		{"a - b", "", 0x03, 0x05, 0, 0, 0xFE},
		{"a & b", "", 0b1100, 0b1010, 0, 0, 0b1000},
		{"a | b", "", 0b1100, 0b1010, 0, 0, 0b1110},
		{"a ^ b", "", 0b1100, 0b1010, 0, 0, 0b0110},
		{"~a", "", 0b1010_0110, 0, 0, 0, 0b0101_1001},
		{"a + n", "", 0xFF, 0, 2, 0, 0x01},
		{"~n", "", 0, 0, 5, 0, 0x0A}, // four bits, then zeros on top
		{"a + b + f", "", 0x7F, 0x80, 0, 1, 0x00},
		{"a - 1", "", 0, 0, 0, 0, 0xFF},
		{"a[6:3]", "", 0b0101_1000, 0, 0, 0, 0b1011},
		{"join(n, a[7:4])", "", 0xC3, 0, 5, 0, 0x5C},
		{"rol(a)", "", 0b1001_0110, 0, 0, 0, 0b0010_1101},
		{"ror(a)", "", 0b1001_0111, 0, 0, 0, 0b1100_1011},
		{"shl(a)", "", 0b1001_0110, 0, 0, 0, 0b0010_1100},
		{"shr(a)", "", 0b1001_0111, 0, 0, 0, 0b0100_1011},
		{"rol(n)", "", 0, 0, 0b1001, 0, 0b0011},
		{"zero(a)", "", 0, 9, 0, 0, 1},
		{"zero(a)", "", 8, 0, 0, 0, 0},
		{"sign(a)", "", 0x80, 0, 0, 0, 1},
		{"sign(n)", "", 0xFF, 0, 7, 0, 0},
		{"carry(a + b)", "", 0xFF, 0x01, 0, 0, 1},
		{"carry(a + b)", "", 0xFE, 0x01, 0, 1, 0},
		{"carry(a + b + f)", "", 0xFE, 0x01, 0, 1, 1},
		{"carry(a + b + f)", "", 0xFF, 0xFF, 0, 1, 1},
		{"carry(a - b)", "", 3, 4, 0, 0, 1},
		{"carry(a - b)", "", 4, 4, 0, 0, 0},
		{"carry(a + n)", "", 0xF1, 0, 0xF, 0, 1},
		{"alu", "", 0xF0, 0x13, 0, 0, 0x03},
		{"alu", " s0", 3, 5, 0, 0, 0xFE},
		{"alu", " s1", 0b1100, 0b1010, 0, 0, 0b1000},
		{"alu", " s1 s0", 0x0F, 0, 0, 0, 0x10},
		{"carry(alu)", "", 0xF0, 0x13, 0, 0, 1},
		{"carry(alu)", " s0", 3, 5, 0, 0, 1},
		{"carry(alu)", " s1", 0xFF, 0xFF, 0, 0, 0},
		{"carry(alu)", " s1 s0", 0xFF, 0, 0, 0, 1},
		{"carry(sum)", "", 0xFF, 0, 0, 1, 1},
		{"sum[7:4]", "", 0x1F, 0x10, 0, 1, 0x3},
		{"ram[n]", "", 0, 0, 14, 0, 0x77},
		{"ram[a + n]", "", 0xFF, 0, 0xF, 0, 0x77}, // 0x10E is 0x0E in eight bits
		{"ram[n][6:4]", "", 0, 0, 14, 0, 7},
	} {
		t.Run(c.expr+c.selects, func(t *testing.T) {
			b := text(t, fmt.Sprintf(page, "register out 8\nline take : "+c.expr+" -> out", c.selects))
			setup := rehearse.Setup{
				Values:   map[int]uint64{b.signal(t, "a"): c.a, b.signal(t, "b"): c.b, b.signal(t, "n"): c.n, b.signal(t, "f"): c.f},
				Memories: map[int]map[uint64]uint64{b.signal(t, "ram"): {14: 0x77}},
			}
			for _, run := range []func(*rehearse.Rehearsal) rehearse.Final{
				func(r *rehearse.Rehearsal) rehearse.Final { return r.Run(rehearse.Stop{Instructions: 2}, nil) },
				func(r *rehearse.Rehearsal) rehearse.Final { return r.Fast(rehearse.Stop{Instructions: 2}) },
			} {
				f := run(rehearse.New(b.Machine, b.store, rehearse.FromStore(b.store), setup))
				if got := f.Values[b.signal(t, "out")]; got != c.want {
					t.Errorf("%s is %X, want %X", c.expr, got, c.want)
				}
			}
		})
	}
}
