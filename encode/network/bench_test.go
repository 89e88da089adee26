package network

import (
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"
)

// measured is a machine of n instructions for measurements: 32 registers,
// three moves an instruction, a test or a sum in some; ten opcode bits,
// numbered as they come, as a person would.
func measured(n int) string {
	r := rand.New(rand.NewPCG(11, 12))
	var b strings.Builder
	b.WriteString(`machine measured "made to measure"
bus data 8
bus addr 8
register ir 10 opcode
register pc 8
register nxt 8
register res 8
flag zero
memory ram 256 x 10 program
unit inc 8 settle 1 = addr + 1
unit alu 8 settle 2 by s0 s1 { 00 = r0 + r1, 01 = r0 - r1, 10 = r0 & r1, 11 = r0 | r1 }
bus wide 10
line pc_g : pc -> addr
line pc_l : nxt -> pc
line nxt_l : inc -> nxt
line ram_g : ram[addr] -> wide
line ir_l : wide -> ir
line res_l : alu -> res, zero(alu) -> zero
line res_g : res -> data
line s0
line s1
line bell pulse 3
line rst : restart
fetch {
    step pc_g ram_g ir_l nxt_l
    step pc_l
}
undefined free
`)
	const registers = 32
	for i := range registers {
		fmt.Fprintf(&b, "register r%d 8\nline g%d : r%d -> data\nline l%d : data -> r%d\n", i, i, i, i, i)
	}
	for i := range n {
		fmt.Fprintf(&b, "instruction op%d = %010b {\n", i, i)
		for range 1 + i%3 {
			x, y := r.IntN(registers), r.IntN(registers-1)
			if y >= x {
				y++
			}
			fmt.Fprintf(&b, "    step g%d l%d\n", x, y)
		}
		switch i % 5 {
		case 0:
			b.WriteString("    when zero {\n        step g2 l3\n    }\n")
		case 1:
			b.WriteString("    step s0 res_l\n    step res_g l0\n")
		case 2:
			b.WriteString("    step bell\n")
		}
		b.WriteString("}\n")
	}
	return b.String()
}

// BenchmarkMinimal is the growth of the search with instructions, and Millrace.
func BenchmarkMinimal(b *testing.B) {
	run := func(name string, w woven) {
		b.Run(name, func(b *testing.B) {
			var c *Circuit
			for b.Loop() {
				c, _ = Build(w.store, w.ch, w.m.Hardware, "minimal")
			}
			b.ReportMetric(float64(c.Cost.Relays), "relays")
			b.ReportMetric(float64(c.Cost.Contacts), "poles")
			b.ReportMetric(float64(c.Cost.Diodes), "diodes")
			b.ReportMetric(c.Cost.Total, "cost")
			b.ReportMetric(c.Bound, "bound")
		})
	}
	for _, w := range exampleMachines(b) {
		run(w.name, w)
	}
	for _, n := range []int{25, 50, 100, 200, 400} {
		w, ok := weave(b, "measured", measured(n))
		if !ok {
			b.Fatal("the machine made to measure has errors")
		}
		run(fmt.Sprintf("instructions=%d", n), w)
	}
}
