package rehearse_test

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"coilwright/encode/rehearse"
)

// multiplication is 11 times 13 by repeated addition, over and over: product at
// F0, count at F1.
func multiplication() map[uint64]uint64 {
	return words(
		0x10, 0, 0x21, 0xF0, 0x10, 13, 0x21, 0xF1, // ldi 0, sta F0, ldi 13, sta F1
		0x10, 11, 0x50, 0x20, 0xF0, 0x80, 0x21, 0xF0, // again: ldi 11, move tmp acc, lda F0, add, sta F0
		0x10, 1, 0x50, 0x20, 0xF1, 0x81, 0x21, 0xF1, // ldi 1, move tmp acc, lda F1, sub, sta F1
		0x31, 0x00, 0x30, 0x08) // jz 0, jump again
}

func TestMultiplication(t *testing.T) {
	b := example(t, "millrace")
	ram := b.signal(t, "ram")
	r := rehearse.New(b.Machine, b.store, rehearse.FromStore(b.store), rehearse.Setup{Memories: map[int]map[uint64]uint64{ram: multiplication()}})
	// 4 instructions before the loop, and 12 in it, 13 times over, but for the last jump.
	f := r.Fast(rehearse.Stop{Instructions: 4 + 13*12 - 1})
	if got := f.Memories[ram]; got[0xF0] != 143 || got[0xF1] != 0 || f.Values[b.signal(t, "pc")] != 0 {
		t.Errorf("11 times 13 is %d with %d to go and pc at %d, want 143, 0 and 0", got[0xF0], got[0xF1], f.Values[b.signal(t, "pc")])
	}
}

// used is the processor time of this process, or of those it waited for.
func used(b *testing.B, who int) time.Duration {
	var u syscall.Rusage
	if err := syscall.Getrusage(who, &u); err != nil {
		b.Fatal(err)
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}

const self, children = 0, -1 // RUSAGE_SELF, RUSAGE_CHILDREN

// BenchmarkFastBesideVerilator runs the same program for the same number of
// phases on both and compares millions of phases a second of processor time.
func BenchmarkFastBesideVerilator(b *testing.B) {
	if _, err := exec.LookPath("verilator"); err != nil {
		if os.Getenv("COILWRIGHT_REFERENCES") == "required" {
			b.Fatal(err)
		}
		b.Skip("verilator is not installed")
	}
	const phases = 200_000_000
	m := example(b, "millrace")
	program := multiplication()
	dir := b.TempDir()
	model := filepath.Join("..", "..", "testdata", "rehearse", "speed")
	for _, name := range []string{"millrace.v", "drive.cpp"} {
		data, err := os.ReadFile(filepath.Join(model, name))
		if err != nil {
			b.Fatal(err)
		}
		write(b, filepath.Join(dir, name), data)
	}
	var rom, ram strings.Builder
	lines := rehearse.FromStore(m.store)
	for address := range uint64(1) << m.store.AddressBits() {
		opcode, flags, phase := m.store.Decode(address)
		fmt.Fprintf(&rom, "%08X\n", lines.Lines(opcode, flags, phase)[0])
	}
	for address := range uint64(256) {
		fmt.Fprintf(&ram, "%02X\n", program[address])
	}
	write(b, filepath.Join(dir, "store.memh"), []byte(rom.String()))
	write(b, filepath.Join(dir, "ram.memh"), []byte(ram.String()))
	make := exec.Command("verilator", "--cc", "--exe", "--build", "-O3", "--x-assign", "fast", "--x-initial", "fast", "--noassert",
		"-CFLAGS", "-O3 -march=native -flto", "-LDFLAGS", "-flto",
		"-MAKEFLAGS", "OPT_FAST=-O3 OPT_SLOW=-O3 OPT_GLOBAL=-O3", "--top-module", "millrace", "millrace.v", "drive.cpp")
	make.Dir = dir
	if out, err := make.CombinedOutput(); err != nil {
		b.Fatalf("%v\n%s", err, out)
	}
	setup := rehearse.Setup{Memories: map[int]map[uint64]uint64{m.signal(b, "ram"): program}}
	var ours, theirs time.Duration
	for b.Loop() {
		before := used(b, children)
		run := exec.Command("./obj_dir/Vmillrace", fmt.Sprint(phases))
		run.Dir = dir
		out, err := run.CombinedOutput()
		if err != nil {
			b.Fatalf("%v\n%s", err, out)
		}
		theirs += used(b, children) - before

		before = used(b, self)
		r := rehearse.New(m.Machine, m.store, rehearse.FromStore(m.store), setup)
		r.Fast(rehearse.Stop{Phases: phases, Instructions: 1 << 60})
		ours += used(b, self) - before

		var v rehearse.View
		r.Next(&v)
		got := fmt.Sprintf("acc %d pc %d phase %d\n", v.Values[m.signal(b, "acc")], v.Values[m.signal(b, "pc")], v.Phase)
		if got != string(out) {
			b.Fatalf("after %d phases: %s, Verilator has %s", phases, got, out)
		}
	}
	rate := func(d time.Duration) float64 { return float64(b.N) * phases / d.Seconds() / 1e6 }
	b.ReportMetric(rate(ours), "Mphases/s")
	b.ReportMetric(rate(theirs), "verilator-Mphases/s")
	b.ReportMetric(rate(ours)/rate(theirs), "ratio")
}

func write(b *testing.B, path string, data []byte) {
	b.Helper()
	if err := os.WriteFile(path, data, 0o644); err != nil {
		b.Fatal(err)
	}
}

// BenchmarkRun is the run that is the truth, with and without views.
func BenchmarkRun(b *testing.B) {
	m := example(b, "millrace")
	setup := rehearse.Setup{Memories: map[int]map[uint64]uint64{m.signal(b, "ram"): multiplication()}}
	for _, c := range []struct {
		name string
		each func(*rehearse.View)
	}{{"silent", nil}, {"views", func(*rehearse.View) {}}} {
		b.Run(c.name, func(b *testing.B) {
			const phases = 100_000
			for b.Loop() {
				rehearse.New(m.Machine, m.store, rehearse.FromStore(m.store), setup).Run(rehearse.Stop{Phases: phases}, c.each)
			}
			b.ReportMetric(float64(b.N)*phases/b.Elapsed().Seconds()/1e6, "Mphases/s")
		})
	}
}
