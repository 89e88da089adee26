package cli

import (
	"bytes"
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"
)

// grown writes a machine of n instructions, 128 lines and 10 opcode bits; its
// ring is fixed at 32 phases.
func grown(n int) string {
	r := rand.New(rand.NewPCG(128, 32))
	var b strings.Builder
	b.WriteString(`machine grown "made to measure"
sequencer { phases 32 }
bus data 16
bus addr 16
register ir 10 opcode
register pc 16
register nxt 16
register res 16
flag zero
flag sign
memory ram 65536 x 16 program
unit inc 16 settle 2 = addr + 1
unit alu 16 settle 3 by s0 s1 { 00 = r0 + r1, 01 = r0 - r1, 10 = r0 & r1, 11 = r0 | r1 }
line pc_g : pc -> addr
line pc_l : addr -> pc
line nxt_g : nxt -> addr
line nxt_l : inc -> nxt
line ram_g : ram[addr] -> data
line ram_l : data -> ram[addr]
line ir_l : data[9:0] -> ir
line res_l : alu -> res, zero(alu) -> zero, sign(alu) -> sign
line res_g : res -> data
line s0
line s1
line hlt : halt
line bell pulse 3
line rst : restart
fetch {
    step pc_g ram_g ir_l nxt_l
    step nxt_g pc_l
}
`)
	const registers = 57 // two lines each, and the 14 above: 128
	for i := range registers {
		fmt.Fprintf(&b, "register r%d 16\nline g%d : r%d -> data\nline l%d : data -> r%d\n", i, i, i, i, i)
	}
	for i, code := range r.Perm(1 << 10)[:n] {
		fmt.Fprintf(&b, "instruction op%d = %010b {\n", i, code)
		for range 3 {
			x, y := r.IntN(registers), r.IntN(registers-1)
			if y >= x {
				y++
			}
			fmt.Fprintf(&b, "    step g%d l%d\n", x, y)
		}
		switch i % 4 {
		case 0:
			b.WriteString("    when zero {\n        step g2 l3\n    } else {\n        step g4 l5\n    }\n")
		case 1:
			b.WriteString("    step s0 res_l\n    step res_g l0\n")
		case 2:
			b.WriteString("    step bell\n")
		}
		b.WriteString("}\n")
	}
	return b.String()
}

// BenchmarkGrowth takes machines of 64 to 512 instructions from text to every
// artefact, each read back. The reported rows and diodes say what it came to.
func BenchmarkGrowth(b *testing.B) {
	for _, n := range []int{64, 128, 256, 512} {
		text := []byte(grown(n))
		read := func(string) ([]byte, error) { return text, nil }
		b.Run(fmt.Sprintf("check/instructions=%d", n), func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				if l := pipeline("grown.coil", read); l.store == nil {
					b.Fatal(l.list)
				}
			}
		})
		b.Run(fmt.Sprintf("build/instructions=%d", n), func(b *testing.B) {
			b.ReportAllocs()
			var out bytes.Buffer
			for b.Loop() {
				l := pipeline("grown.coil", read)
				if l.store == nil {
					b.Fatal(l.list)
				}
				n := l.network("plain")
				if n == nil {
					b.Fatal(l.list)
				}
				for _, art := range l.artefacts(n) {
					out.Reset()
					if err := art.write(&out); err != nil {
						b.Fatal(art.name, err)
					}
					if art.verify == nil {
						continue
					}
					if err := art.verify(bytes.NewReader(out.Bytes())); err != nil {
						b.Fatal(art.name, err)
					}
				}
				b.ReportMetric(float64(len(n.Matrix.Rows)), "rows")
				b.ReportMetric(float64(len(n.Matrix.Diodes)), "diodes")
			}
		})
	}
}

// TestGrown keeps the benchmark's machine what it says it is.
func TestGrown(t *testing.T) {
	l := pipeline("grown.coil", func(string) ([]byte, error) { return []byte(grown(64)), nil })
	if l.store == nil {
		t.Fatal(l.list)
	}
	if len(l.store.Columns) != 128 || l.store.Phases != 32 || len(l.machine.Instructions) != 64 {
		t.Errorf("%d lines, %d phases, %d instructions", len(l.store.Columns), l.store.Phases, len(l.machine.Instructions))
	}
}
