package image_test

import (
	"bytes"
	"io"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"syscall"
	"testing"
	"time"

	"coilwright/emit/image"
	"coilwright/emit/readback"
	"coilwright/encode/store"
)

// benchmarkBytes is what issue 2 measures: 16 MiB of random bytes.
const benchmarkBytes = 16 << 20

// beside runs ours and objcopy in turn, file to file, and reports how many
// times as fast ours is, by the clock and by the processor's time.
func beside(b *testing.B, ours func(in, out string) error, in, out string, args ...string) {
	objcopy := tool(b, "objcopy")
	theirs := filepath.Join(filepath.Dir(out), "theirs")
	var us, them, usCPU, themCPU time.Duration
	b.SetBytes(benchmarkBytes)
	for b.Loop() {
		os.Remove(out)
		begun, cpu := time.Now(), processorTime(b)
		if err := ours(in, out); err != nil {
			b.Fatal(err)
		}
		us += time.Since(begun)
		usCPU += processorTime(b) - cpu

		os.Remove(theirs)
		begun = time.Now()
		command := exec.Command(objcopy, append(args, in, theirs)...)
		if err := command.Run(); err != nil {
			b.Fatal(err)
		}
		them += time.Since(begun)
		themCPU += command.ProcessState.UserTime() + command.ProcessState.SystemTime()
	}
	n := float64(b.N)
	b.ReportMetric(us.Seconds()*1000/n, "ours-ms")
	b.ReportMetric(them.Seconds()*1000/n, "objcopy-ms")
	b.ReportMetric(them.Seconds()/us.Seconds(), "times-as-fast")
	b.ReportMetric(themCPU.Seconds()/usCPU.Seconds(), "times-as-fast-cpu")
}

func processorTime(b *testing.B) time.Duration {
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		b.Fatal(err)
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}

func benchmarkFile(b *testing.B, form image.Form) (in, out string) {
	dir := b.TempDir()
	in, out = filepath.Join(dir, "in"), filepath.Join(dir, "out")
	im := &image.Image{Data: random(rand.New(rand.NewPCG(7, 8)), benchmarkBytes), BytesPerWord: 1, Words: benchmarkBytes, Bits: 8}
	save(b, in, written(b, im, form, image.Options{}))
	return in, out
}

func BenchmarkHexWriteBesideObjcopy(b *testing.B) { writeBeside(b, image.FormHex, "ihex") }

func BenchmarkSrecWriteBesideObjcopy(b *testing.B) { writeBeside(b, image.FormSrec, "srec") }

func writeBeside(b *testing.B, form image.Form, theirs string) {
	in, out := benchmarkFile(b, image.FormBin)
	beside(b, func(in, out string) error {
		data, err := os.ReadFile(in)
		if err != nil {
			return err
		}
		f, err := os.Create(out)
		if err != nil {
			return err
		}
		if form == image.FormHex {
			err = image.Hex(f, data, 0, image.Options{})
		} else {
			err = image.Srec(f, "bench", data, 0, image.Options{})
		}
		if err != nil {
			return err
		}
		return f.Close()
	}, in, out, "-I", "binary", "-O", theirs)
}

func BenchmarkHexReadBesideObjcopy(b *testing.B) { readBeside(b, image.FormHex, "ihex", readback.Hex) }

func BenchmarkSrecReadBesideObjcopy(b *testing.B) {
	readBeside(b, image.FormSrec, "srec", readback.Srec)
}

func readBeside(b *testing.B, form image.Form, theirs string, read func(io.Reader) (*readback.Memory, error)) {
	in, out := benchmarkFile(b, form)
	beside(b, func(in, out string) error {
		f, err := os.Open(in)
		if err != nil {
			return err
		}
		defer f.Close()
		m, err := read(f)
		if err != nil {
			return err
		}
		_, data, _ := m.Contiguous()
		return os.WriteFile(out, data, 0o644)
	}, in, out, "-I", theirs, "-O", "binary")
}

// The same without files, for the profiler.

func BenchmarkHexWrite(b *testing.B) {
	data := random(rand.New(rand.NewPCG(7, 8)), benchmarkBytes)
	b.SetBytes(benchmarkBytes)
	for b.Loop() {
		if err := image.Hex(io.Discard, data, 0, image.Options{}); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkHexRead(b *testing.B) {
	in, _ := benchmarkFile(b, image.FormHex)
	file := load(b, in)
	b.SetBytes(benchmarkBytes)
	for b.Loop() {
		if _, err := readback.Hex(bytes.NewReader(file)); err != nil {
			b.Fatal(err)
		}
	}
}

// demoSized is a store of 2^15 words, the size of the demo's: 8 opcode bits, 16
// phases, 3 flags, 40 lines, two hundred instructions of ten phases.
func demoSized() *store.Store {
	r := rand.New(rand.NewPCG(9, 10))
	s := &store.Store{
		Machine: "demo", Hash: "00", OpcodeBits: 8, Phases: 16, Flags: []string{"a", "b", "c"},
		Word: store.Word{Address: []store.AddressPart{
			{Kind: store.PhasePart, Bits: 4}, {Kind: store.OpcodePart, Bits: 8},
			{Kind: store.FlagPart, Bits: 1}, {Kind: store.FlagPart, Bits: 1, Flag: 1}, {Kind: store.FlagPart, Bits: 1, Flag: 2},
		}},
	}
	for i := range 40 {
		s.Columns = append(s.Columns, store.Column{Name: "line", Kind: store.Gate})
		s.Word.Bits = append(s.Word.Bits, i)
	}
	for i := range 2000 {
		row := store.Row{Phase: 5 + i%10, Lines: store.NewSet(40)}
		row.Opcode.Care, row.Opcode.Value = 0xFF, uint64(i/10)
		if i%3 == 0 {
			row.Flags.Care = 1
		}
		for range 3 {
			row.Lines.Add(r.IntN(40))
		}
		s.Rows = append(s.Rows, row)
	}
	return s
}

func BenchmarkFillDemo(b *testing.B) {
	s := demoSized()
	for b.Loop() {
		whole(b, s)
	}
}

func BenchmarkCompareDemo(b *testing.B) {
	s := demoSized()
	m := &readback.Memory{Segments: []readback.Segment{{Data: whole(b, s).Data}}}
	for b.Loop() {
		words, err := m.Words(5, false)
		if err != nil {
			b.Fatal(err)
		}
		if err := readback.Compare(s, 0, words); err != nil {
			b.Fatal(err)
		}
	}
}

// BenchmarkBuildDemo writes and reads back what build makes of the store.
func BenchmarkBuildDemo(b *testing.B) {
	s := demoSized()
	for _, form := range image.Forms() {
		b.Run(string(form), func(b *testing.B) {
			for b.Loop() {
				file := written(b, whole(b, s), form, image.Options{})
				if err := readback.Image(bytes.NewReader(file), string(form), s, 0, false); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
