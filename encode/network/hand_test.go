package network

import "testing"

// byHand is fetch, nop, load immediate and jump-if-zero of the language page,
// and every other opcode free.
const byHand = `machine byhand "Three instructions, by hand"

bus data 8
bus addr 8
register acc 8
register arg 8
register pc  8
register nxt 8
register ir  8 opcode
flag     zero
memory   ram 256 x 8 program
unit inc 8 settle 2 = addr + 1

line acc_l : data -> acc, zero(data) -> zero
line arg_g : arg -> addr
line arg_l : data -> arg
line ram_g : ram[addr] -> data
line pc_g  : pc -> addr
line pc_l  : addr -> pc
line nxt_g : nxt -> addr
line nxt_l : inc -> nxt
line ir_l  : data -> ir
line rst   : restart

sequence advance {
    step nxt_g pc_l
}
fetch {
    step pc_g ram_g ir_l nxt_l
    do advance
}
instruction nop           = 0000_0000
instruction ldi value:8   = 0001_0000, value {
    step pc_g ram_g acc_l nxt_l
    do advance
}
instruction jz target:8   = 0011_0000, target {
    step pc_g ram_g arg_l nxt_l
    when zero {
        step arg_g pc_l
    } else {
        do advance
    }
}
undefined free
`

// A skilled hand needs no condition relay, four row contacts (three transfers
// and a break) and 30 diodes for these: worked out on paper for the project.
func TestMinimalIsNoDearerThanASkilledHand(t *testing.T) {
	w, ok := weave(t, "byhand", byHand)
	if !ok {
		t.Fatal("the definition has errors")
	}
	costs := map[string]Cost{}
	for _, style := range Styles {
		c, err := Build(w.store, w.ch, w.m.Hardware, style)
		if err != nil {
			t.Fatal(err)
		}
		costs[style] = c.Cost
		t.Logf("%s: %+v, bound %.2f", style, c.Cost, c.Bound)
		if style != "minimal" {
			continue
		}
		for _, g := range c.Signals {
			if g.Kind == ConditionSignal {
				t.Errorf("a condition relay for %s: the hand needs none", g.Owner)
			}
		}
		transfers, breaks := 0, 0
		for _, k := range c.Contacts {
			if k.Break >= 0 && k.Make >= 0 {
				transfers++
			} else {
				breaks++
			}
		}
		if transfers > 3 || breaks > 1 || c.Cost.Diodes > 30 {
			t.Errorf("%d transfers, %d single contacts, %d diodes; the hand needs 3, 1 and 30", transfers, breaks, c.Cost.Diodes)
		}
	}
	if costs["minimal"].Total >= costs["plain"].Total {
		t.Errorf("minimal costs %.2f, plain %.2f", costs["minimal"].Total, costs["plain"].Total)
	}
}
