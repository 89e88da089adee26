package assemble_test

import (
	"bytes"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"coilwright/encode/assemble"
	"coilwright/lang/program"
)

const benchLines = 200_000

// benchMachine is Millrace with addresses of 24 bits and a memory for 200,000 lines.
const benchMachine = `machine longrace "Millrace with a long memory"
bus data 8
bus addr 24
register acc 8
register tmp 8
register brd 8
register sw  8 input
register pc  24
register nxt 24
register arg 24
register ir  8 opcode
memory ram 1048576 x 8 program
unit inc 24 settle 2 = addr + 1
line acc_g : acc -> data
line acc_l : data -> acc
line tmp_g : tmp -> data
line tmp_l : data -> tmp
line brd_l : data -> brd
line sw_g  : sw -> data
line pc_g  : pc -> addr
line pc_l  : addr -> pc
line nxt_g : nxt -> addr
line nxt_l : inc -> nxt
line ram_g : ram[addr] -> data
line ir_l  : data -> ir
line hi_l : data -> arg[23:16]
line mid_l : data -> arg[15:8]
line lo_l : data -> arg[7:0]
line arg_g : arg -> addr
line rst : restart
line hlt : halt
field from 2 { acc = 00 : acc_g, tmp = 01 : tmp_g, sw = 10 : sw_g }
field to   2 { acc = 00 : acc_l, tmp = 01 : tmp_l, brd = 10 : brd_l }
sequence byte_of { step nxt_g pc_l }
sequence target {
    step pc_g ram_g hi_l nxt_l
    do byte_of
    step pc_g ram_g mid_l nxt_l
    do byte_of
    step pc_g ram_g lo_l nxt_l
    do byte_of
}
fetch {
    step pc_g ram_g ir_l nxt_l
    do byte_of
}
instruction halt = 0000_0001 { step hlt }
instruction ldi value:8 = 0001_0000, value {
    step pc_g ram_g acc_l nxt_l
    do byte_of
}
instruction lda place:24 = 0010_0000, place[23:16], place[15:8], place[7:0] {
    do target
    step arg_g ram_g acc_l
}
instruction jump place:24 = 0011_0000, place[23:16], place[15:8], place[7:0] {
    do target
    step arg_g pc_l
}
instruction move d:to, s:from = 01 d s 00 {
    except d = s
    step s d
}
instruction nop = 1000_0000
`

// bench writes one program twice: for us, and for a general assembler with one
// macro a mnemonic.
// A lean one has only what a general assembler does fastest: one small number
// or none, no labels.
func bench(lines int, lean bool) (ours, theirs string) {
	r := rand.New(rand.NewPCG(1, 2))
	var a, b strings.Builder
	b.WriteString(`.macro halt
 .byte 0x01
.endm
.macro ldi value
 .byte 0x10, \value
.endm
.macro lda place
 .byte 0x20, (\place)>>16, ((\place)>>8)&255, (\place)&255
.endm
.macro jump place
 .byte 0x30, (\place-start)>>16, ((\place-start)>>8)&255, (\place-start)&255
.endm
.macro move d, s
 .byte 0x40|to_\d<<4|from_\s<<2
.endm
.macro nopp
 .byte 0x80
.endm
.set to_acc, 0
.set to_tmp, 1
.set to_brd, 2
.set from_acc, 0
.set from_tmp, 1
.set from_sw, 2
start:
`)
	labels := lines / 10
	moves := []string{"acc, tmp", "acc, sw", "tmp, acc", "tmp, sw", "brd, acc", "brd, tmp", "brd, sw"}
	for i := range lines {
		ind := "        "
		if i%10 == 0 {
			ind = fmt.Sprintf("l%d: ", i/10)
		}
		both := func(s string) {
			a.WriteString(ind + s + "\n")
			b.WriteString(ind + s + "\n")
		}
		kind := r.IntN(6)
		if lean {
			ind, kind = "        ", kind%2*5
		}
		switch kind {
		case 0:
			both(fmt.Sprintf("ldi 0x%02x", r.IntN(256)))
		case 1:
			both(fmt.Sprintf("lda %d", r.IntN(1<<20)))
		case 2:
			both(fmt.Sprintf("jump l%d", r.IntN(labels)))
		case 3, 4:
			both("move " + moves[r.IntN(len(moves))])
		default:
			a.WriteString(ind + "nop ; nothing\n")
			b.WriteString(ind + "nopp # nothing\n")
		}
	}
	return a.String(), b.String()
}

// BenchmarkAssemble reports lines a second of ours, from text to words, beside
// GNU as with one macro a mnemonic on the same program. as also writes its
// object to a file: its start and that file are a few milliseconds of the
// whole. times-as is the ratio by the clock; the figures with cpu- go by the
// time that the processor spent, on ours with the garbage collector's threads,
// and say the same on a machine that does other things besides.
func BenchmarkAssemble(b *testing.B) {
	b.Run("mixed", func(b *testing.B) { beside(b, false) })
	b.Run("lean", func(b *testing.B) { beside(b, true) })
}

func beside(b *testing.B, lean bool) {
	m := resolve(b, benchMachine)
	ours, theirs := bench(benchLines, lean)
	as, err := exec.LookPath("as")
	if err != nil {
		if os.Getenv("COILWRIGHT_REFERENCES") == "required" {
			b.Fatal("as (binutils) is not installed")
		}
		b.Log("as (binutils) is not installed: nothing to compare with")
	}
	folder := b.TempDir()
	source, object, raw := filepath.Join(folder, "a.s"), filepath.Join(folder, "a.o"), filepath.Join(folder, "a.bin")
	if err := os.WriteFile(source, []byte(theirs), 0o666); err != nil {
		b.Fatal(err)
	}
	text := []byte(ours)
	read := func(string) ([]byte, error) { return text, nil }
	var mine, other, mineCPU, otherCPU time.Duration
	var out *assemble.Program
	n := 0
	for b.Loop() {
		start, spent := time.Now(), processor(b)
		src, list := program.Load("a.prog", read)
		p, more := assemble.Assemble(m, src)
		mine += time.Since(start)
		mineCPU += processor(b) - spent
		if len(list)+len(more) > 0 {
			b.Fatal(list, more)
		}
		out = p
		if as != "" {
			start = time.Now()
			cmd := exec.Command(as, "-o", object, source)
			if said, err := cmd.CombinedOutput(); err != nil {
				b.Fatalf("%v: %s", err, said)
			}
			other += time.Since(start)
			otherCPU += cmd.ProcessState.UserTime() + cmd.ProcessState.SystemTime()
		}
		n++
	}
	rate := func(d time.Duration) float64 { return float64(benchLines*n) / d.Seconds() }
	b.ReportMetric(rate(mine), "lines/s")
	b.ReportMetric(rate(mineCPU), "cpu-lines/s")
	if as == "" {
		return
	}
	b.ReportMetric(rate(other), "as-lines/s")
	b.ReportMetric(rate(otherCPU), "cpu-as-lines/s")
	b.ReportMetric(rate(mine)/rate(other), "times-as")
	b.ReportMetric(rate(mineCPU)/rate(otherCPU), "cpu-times-as")
	if copier, err := exec.LookPath("objcopy"); err == nil {
		if said, err := exec.Command(copier, "-O", "binary", "-j", ".text", object, raw).CombinedOutput(); err != nil {
			b.Fatalf("%v: %s", err, said)
		}
		want, err := os.ReadFile(raw)
		if err != nil {
			b.Fatal(err)
		}
		got := make([]byte, 0, len(want))
		for _, w := range out.Memories[0].Segments[0].Words {
			got = append(got, byte(w))
		}
		if !bytes.Equal(got, bytes.TrimRight(want, "\x00")) && !bytes.Equal(got, want) {
			b.Fatal("the two do not agree on the bytes")
		}
	}
}

// processor is the time that this process has used, of user and system.
func processor(b *testing.B) time.Duration {
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		b.Fatal(err)
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}

// BenchmarkOurs is ours alone, for profiles.
func BenchmarkOurs(b *testing.B) {
	m := resolve(b, benchMachine)
	ours, _ := bench(benchLines, false)
	text := []byte(ours)
	read := func(string) ([]byte, error) { return text, nil }
	b.SetBytes(int64(len(text)))
	b.ReportAllocs()
	for b.Loop() {
		src, _ := program.Load("a.prog", read)
		assemble.Assemble(m, src)
	}
	b.ReportMetric(benchLines*float64(b.N)/b.Elapsed().Seconds(), "lines/s")
}

func BenchmarkLoad(b *testing.B) {
	ours, _ := bench(benchLines, false)
	text := []byte(ours)
	read := func(string) ([]byte, error) { return text, nil }
	b.SetBytes(int64(len(text)))
	b.ReportAllocs()
	for b.Loop() {
		program.Load("a.prog", read)
	}
	b.ReportMetric(benchLines*float64(b.N)/b.Elapsed().Seconds(), "lines/s")
}
