package examples_test

import (
	"bufio"
	"bytes"
	base16 "encoding/hex"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"coilwright/emit/image"
	"coilwright/examples"
)

// Data lines are 8; the simulated memory is as large as 16 address lines allow,
// and begins filled with something that no test writes everywhere.
const (
	boardCells = 65536
	boardFill  = 0xA5
	patience   = 2000 // milliseconds of the board's time: more than any record takes
)

// boardTools says whether the board can be simulated here. Without the tools
// the test is skipped, unless COILWRIGHT_REFERENCES=required says that they
// have to be there.
func boardTools(t testing.TB) {
	t.Helper()
	for _, probe := range [][]string{
		{"avr-gcc", "-mmcu=atmega328p", "-E", "-include", "avr/io.h", "-xc", os.DevNull},
		{"cc", "-E", "-include", "simavr/sim_avr.h", "-include", "libelf.h", "-xc", os.DevNull},
	} {
		if err := exec.Command(probe[0], probe[1:]...).Run(); err != nil {
			if os.Getenv("COILWRIGHT_REFERENCES") == "required" {
				t.Fatalf("gcc-avr, avr-libc, libsimavr-dev, libelf-dev are required: %v: %v", probe, err)
			}
			t.Skipf("no simulated board here: %v: %v", probe, err)
		}
	}
}

func compile(t testing.TB, command ...string) {
	t.Helper()
	for _, arg := range command {
		if strings.HasSuffix(arg, ".c") {
			// Only what the test itself opens makes `go test` run it again.
			if _, err := os.ReadFile(arg); err != nil {
				t.Fatal(err)
			}
		}
	}
	if out, err := exec.Command(command[0], command[1:]...).CombinedOutput(); err != nil {
		t.Fatalf("%v: %v\n%s", command, err, out)
	}
}

// firmware builds the loader for the bench. It is told of a clock of 1 MHz and
// of times of 1 ms, so that little time has to be simulated;
// TestLoaderBoardAsItStands has those of the board.
func firmware(t testing.TB, define ...string) string {
	t.Helper()
	out := filepath.Join(t.TempDir(), "loader.elf")
	args := []string{"-DF_CPU=1000000UL", "-DBAUD=4800UL",
		"-DSETTLE_MS=1", "-DPULSE_MS=1", "-DRELEASE_MS=1", "-DREAD_MS=1", "-DCHARACTER_MS=100"}
	for _, d := range define {
		args = append(args, "-D"+d)
	}
	compile(t, avrCompiler(append(args, "-o", out)...)...)
	return out
}

// avrCompiler is the command at the head of loader.c.
func avrCompiler(more ...string) []string {
	return append([]string{"avr-gcc", "-std=c11", "-mmcu=atmega328p", "-Os", "-Wall", "-Wextra", "-Werror", "loader/loader.c"}, more...)
}

func simulator(t testing.TB) string {
	t.Helper()
	out := filepath.Join(t.TempDir(), "board")
	compile(t, "cc", "-std=gnu11", "-O2", "-Wall", "-Wextra", "-Werror", "-o", out,
		"../testdata/examples/board.c", "-lsimavr", "-lelf")
	return out
}

// board is a simulated one, talked to by line.
type board struct {
	t   testing.TB
	in  io.Writer
	out *bufio.Reader
}

// newBoard switches a board on that holds what firmware builds: the memory
// filled, the greeting heard.
func newBoard(t testing.TB, simulator, elf string) *board {
	t.Helper()
	return newBoardWith(t, simulator, elf, "1000000", "4800", "1", "1", "1", "1")
}

// newBoardWith takes board.c's further arguments: hertz, bits a second, then
// settle, pulse, release and read in ms.
func newBoardWith(t testing.TB, simulator, elf string, times ...string) *board {
	t.Helper()
	cmd := exec.Command(simulator, append([]string{elf}, times...)...)
	cmd.Stderr = os.Stderr
	in, err := cmd.StdinPipe()
	if err != nil {
		t.Fatal(err)
	}
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	b := &board{t, in, bufio.NewReader(out)}
	t.Cleanup(func() {
		in.Close()
		if err := cmd.Wait(); err != nil {
			t.Errorf("board: %v", err)
		}
	})
	b.tell("fill %02X", boardFill)
	if got := b.answer(100); got != ">" {
		t.Fatalf("a board that is switched on says %q, want >", got)
	}
	return b
}

func (b *board) tell(format string, args ...any) {
	b.t.Helper()
	if _, err := fmt.Fprintf(b.in, format+"\n", args...); err != nil {
		b.t.Fatal(err)
	}
}

func (b *board) heard() string {
	b.t.Helper()
	line, err := b.out.ReadString('\n')
	if err != nil {
		b.t.Fatalf("board: %q, %v", line, err)
	}
	return strings.TrimSuffix(line, "\n")
}

func (b *board) send(text string) { b.tell("send %X", text) }

// answer is the next character that the board says within ms of its time, or
// "" if it says nothing.
func (b *board) answer(ms int) string {
	b.t.Helper()
	b.tell("wait %d", ms)
	line := b.heard()
	if line == "silent" {
		return ""
	}
	var c byte
	if _, err := fmt.Sscanf(line, "said %X", &c); err != nil {
		b.t.Fatalf("board: %q", line)
	}
	return string(rune(c))
}

// answers takes all that the board says until it has been silent for ms.
func (b *board) answers(ms int) string {
	b.t.Helper()
	var all strings.Builder
	for {
		c := b.answer(ms)
		if c == "" {
			return all.String()
		}
		all.WriteString(c)
	}
}

func (b *board) cells() []byte {
	b.t.Helper()
	b.tell("dump 0 %d", boardCells)
	data, err := base16.DecodeString(strings.TrimPrefix(b.heard(), "cells "))
	if err != nil || len(data) != boardCells {
		b.t.Fatalf("board: %d cells, %v", len(data), err)
	}
	return data
}

// kept fails the test if a rule of the bench was broken, and counts what the
// memory did.
func (b *board) kept() (writes, reads int) {
	b.t.Helper()
	b.tell("ledger")
	if _, err := fmt.Sscanf(b.heard(), "writes %d reads %d", &writes, &reads); err != nil {
		b.t.Fatal(err)
	}
	for line := b.heard(); line != "end"; line = b.heard() {
		b.t.Errorf("on the bench: %s", line)
	}
	return writes, reads
}

// load sends a file as the page says: a record, its answer, the next. It is
// the sender for what is not disturbed.
func (b *board) load(file string) {
	b.t.Helper()
	records := strings.SplitAfter(strings.TrimSuffix(file, "\n"), "\n")
	for i, r := range records {
		want := "+"
		if i == len(records)-1 {
			want = "."
			r += "\n"
		}
		b.send(r)
		if got := b.answer(patience); got != want {
			b.t.Fatalf("record %d, %q: the board says %q, want %q", i+1, r, got, want)
		}
	}
}

// filled is the memory of a new board with segments in it.
func filled(segments []image.Segment) []byte {
	data := bytes.Repeat([]byte{boardFill}, boardCells)
	for _, s := range segments {
		copy(data[s.Address:], s.Data)
	}
	return data
}

func differ(want, got []byte) string {
	if bytes.Equal(want, got) {
		return ""
	}
	for i := range want {
		if want[i] != got[i] {
			return fmt.Sprintf("first at %X: %02X, want %02X", i, got[i], want[i])
		}
	}
	return fmt.Sprintf("%d cells, want %d", len(got), len(want))
}

func hexOf(t testing.TB, segments []image.Segment, o image.Options) string {
	t.Helper()
	var out bytes.Buffer
	if err := image.HexSegments(&out, segments, o); err != nil {
		t.Fatal(err)
	}
	return out.String()
}

// scattered is a picture of every byte value, and of pieces that begin and end
// anywhere.
func scattered() []image.Segment {
	every := make([]byte, 256)
	for i := range every {
		every[i] = byte(i)
	}
	return []image.Segment{
		{Address: 0, Data: every},
		{Address: 0x1FF, Data: []byte{0x00}},
		{Address: 0x7FF8, Data: every[0xF0:]},
		{Address: 0xFFFD, Data: []byte{1, 0x80, 0xFF}},
	}
}

func TestLoaderBoardLoadsOurFiles(t *testing.T) {
	boardTools(t)
	sim, elf := simulator(t), firmware(t, "MEMORY_BYTES=65536UL")
	type file struct {
		name     string
		segments []image.Segment
	}
	files := []file{{"scattered", scattered()}}
	for _, name := range []string{"firststeps", "textbook"} {
		files = append(files, file{name + " store", []image.Segment{{Data: load(t, name).image.Data}}})
	}
	millrace := load(t, "millrace")
	entries, err := examples.FS.ReadDir("millrace/programs")
	if err != nil || len(entries) == 0 {
		t.Fatalf("programs: %d, %v", len(entries), err)
	}
	for _, entry := range entries {
		if !strings.HasSuffix(entry.Name(), ".prog") {
			continue
		}
		f := file{name: entry.Name()}
		for _, m := range assembled(t, millrace, entry.Name()).Memories {
			if m.Bytes != 1 {
				t.Fatalf("%s: words of %d bytes", entry.Name(), m.Bytes)
			}
			for _, s := range m.Segments {
				seg := image.Segment{Address: uint32(s.Address)}
				for _, w := range s.Words {
					seg.Data = append(seg.Data, byte(w))
				}
				f.segments = append(f.segments, seg)
			}
		}
		files = append(files, f)
	}
	for _, f := range files {
		t.Run(f.name, func(t *testing.T) {
			total := 0
			for _, s := range f.segments {
				total += len(s.Data)
			}
			b := newBoard(t, sim, elf)
			b.load(hexOf(t, f.segments, image.Options{}))
			if diff := differ(filled(f.segments), b.cells()); diff != "" {
				t.Error(diff)
			}
			if writes, reads := b.kept(); writes != total || reads != total {
				t.Errorf("%d writes and %d reads for %d bytes", writes, reads, total)
			}
		})
	}
}

// TestLoaderBoardAsItStands builds loader.c with no option at all and holds it
// to the times and the speed that its page and its head give.
func TestLoaderBoardAsItStands(t *testing.T) {
	boardTools(t)
	elf := filepath.Join(t.TempDir(), "loader.elf")
	compile(t, avrCompiler("-o", elf)...)
	b := newBoardWith(t, simulator(t), elf, "16000000", "9600", "15", "20", "15", "25")
	b.load(":0300300002337A1E\n:00000001FF\n")
	if diff := differ(filled([]image.Segment{{Address: 0x30, Data: []byte{0x02, 0x33, 0x7A}}}), b.cells()); diff != "" {
		t.Error(diff)
	}
	b.kept()
	b.send(":03")
	if got := b.answer(patience); got != "~" {
		t.Errorf("a record that stops: says %q, want ~", got)
	}
}

// TestLoaderBoardWithoutReadBack is for a memory whose data lines are not wired
// back: what was written is right, and no read line moves.
func TestLoaderBoardWithoutReadBack(t *testing.T) {
	boardTools(t)
	b := newBoard(t, simulator(t), firmware(t, "READ_BACK=0", "DATA_MASK=0x7F"))
	b.load(":0300300002337A1E\n:01004000AA15\n:00000001FF\n")
	want := filled([]image.Segment{{Address: 0x30, Data: []byte{0x02, 0x33, 0x7A}}, {Address: 0x40, Data: []byte{0x2A}}})
	if diff := differ(want, b.cells()); diff != "" {
		t.Error(diff)
	}
	if writes, reads := b.kept(); writes != 4 || reads != 0 {
		t.Errorf("%d writes and %d reads, want 4 and none", writes, reads)
	}
}

func TestLoaderBoardFollowsBases(t *testing.T) {
	boardTools(t)
	sim := simulator(t)
	for _, c := range []struct {
		name, define string
		base         uint32
		addressing   image.Addressing
		open         string
	}{
		{"linear", "BASE=0x12340000UL", 0x12340000, image.Linear, ":020000041234B4\n"},
		{"segment", "BASE=0x20000UL", 0x20000, image.Segmented, ":020000022000DC\n"},
		{"inside", "BASE=0x100UL", 0x100, image.Linear, ":"},
	} {
		t.Run(c.name, func(t *testing.T) {
			var there []image.Segment
			here := scattered()[:2]
			for _, s := range here {
				there = append(there, image.Segment{Address: c.base + s.Address, Data: s.Data})
			}
			file := hexOf(t, there, image.Options{Addressing: c.addressing})
			if !strings.HasPrefix(file, c.open) {
				t.Fatalf("this file shows nothing: %.20q", file)
			}
			b := newBoard(t, sim, firmware(t, "MEMORY_BYTES=32768UL", c.define))
			b.load(file)
			if diff := differ(filled(here), b.cells()); diff != "" {
				t.Error(diff)
			}
			b.kept()
		})
	}
}

// TestLoaderBoardWrapsInASegment: after a record of type 02 the byte behind
// offset FFFF is the segment's first (checks.md 1.1); after 04 it is beyond.
func TestLoaderBoardWrapsInASegment(t *testing.T) {
	boardTools(t)
	b := newBoard(t, simulator(t), firmware(t, "MEMORY_BYTES=65536UL", "BASE=0x20000UL"))
	over := record(0xFFFF, []byte{0x11, 0x22})
	for _, c := range []struct{ text, want string }{
		{":020000040002F8\n", "+"}, {over, "#"}, {":020000022000DC\n", "+"}, {over, "+"},
	} {
		b.send(c.text)
		if got := b.answers(patience); got != c.want {
			t.Errorf("%q: says %q, want %q", c.text, got, c.want)
		}
	}
	want := filled([]image.Segment{{Address: 0, Data: []byte{0x22}}, {Address: 0xFFFF, Data: []byte{0x11}}})
	if diff := differ(want, b.cells()); diff != "" {
		t.Error(diff)
	}
	b.kept()
}

// TestLoaderBoardAnswers sends what a person or a bad line might, each to a
// new board, whose memory is 256 bytes from 0.
func TestLoaderBoardAnswers(t *testing.T) {
	boardTools(t)
	const (
		good = ":0300300002337A1E\n" // checks.md 1.1, as the other records with known sums
		end  = ":00000001FF\n"
	)
	loaded := filled([]image.Segment{{Address: 0x30, Data: []byte{0x02, 0x33, 0x7A}}})
	untouched := filled(nil)
	sim, elf := simulator(t), firmware(t)
	for _, c := range []struct {
		name, setup, text, want string
		cells                   []byte
	}{
		{"sound", "", good + "", "+", loaded},
		{"end", "", end, ".", untouched},
		{"end with a carriage return", "", ":00000001FF\r\n", ".", untouched},
		{"small letters", "", ":0300300002337a1e\n", "+", loaded},
		{"wrong checksum", "", ":0300300002337A1F\n", "?", untouched},
		{"a digit turned", "", ":0300300002337B1E\n", "?", untouched},
		{"a digit lost", "", ":030030000233A1E\n", "?", untouched},
		{"a byte lost", "", ":03003000027A1E\n", "?", untouched},
		{"a byte more than it says", "", ":0200300002337A1F\n", "?", untouched},
		{"no digit", "", ":03003000G2337A1E\n", "?", untouched},
		{"only a colon", "", ":\n", "?", untouched},
		{"the line end lost", "", strings.TrimSuffix(good, "\n"), "~", untouched},
		{"cut, and then nothing", "", ":0300300", "~", untouched},
		{"cut, and sent again", "", ":0300300" + good, "+", loaded},
		{"noise between records", "", "\x00\xff7A\n\n;" + good, "+", loaded},
		{"the colon lost", "", good[1:], "", untouched},
		{"the sender begins anew in a record", "", ":0300300>", ">", untouched},
		{"asked whether it is there", "", ">", ">", untouched},
		{"past the end of the memory", "", ":0100FF00AA56\n", "+", filled([]image.Segment{{Address: 0xFF, Data: []byte{0xAA}}})},
		{"half past the end of the memory", "", ":0200FF00AABB9A\n", "#", untouched},
		{"another memory", "", ":10010000214601360121470136007EFE09D2190140\n", "#", untouched},
		{"an unknown type", "", ":00000006FA\n", "#", untouched},
		{"an end record with data", "", ":0100000100FE\n", "#", untouched},
		{"a base of one byte", "", ":0100000404F7\n", "#", untouched},
		{"start addresses", "", ":0400000300003800C1\n", "+", untouched},
		{"as long as can be", "", record(0x10, bytes.Repeat([]byte{0x5A}, 26)), "+",
			filled([]image.Segment{{Address: 0x10, Data: bytes.Repeat([]byte{0x5A}, 26)}})},
		{"longer than can be", "", record(0x10, bytes.Repeat([]byte{0x5A}, 27)), "#", untouched},
		{"very much longer", "", ":" + strings.Repeat("0", 700) + "\n", "#", untouched},
		{"no data", "", ":00003000D0\n", "+", untouched},
		{"a cell that misses one write", "flaky 31 1", good, "+", loaded},
		{"a cell that misses two", "flaky 31 2", good, "!",
			filled([]image.Segment{{Address: 0x30, Data: []byte{0x02, boardFill, 0x7A}}})},
		{"a bit that sticks off", "stuck 31 10 00", good, "!",
			filled([]image.Segment{{Address: 0x30, Data: []byte{0x02, 0x23, 0x7A}}})},
		{"a bit that sticks on", "stuck 32 80 80", good, "!",
			filled([]image.Segment{{Address: 0x30, Data: []byte{0x02, 0x33, 0xFA}}})},
	} {
		t.Run(c.name, func(t *testing.T) {
			b := newBoard(t, sim, elf)
			if c.setup != "" {
				b.tell("%s", c.setup)
			}
			b.send(c.text)
			if got := b.answers(patience); got != c.want {
				t.Errorf("says %q, want %q", got, c.want)
			}
			cells := b.cells()
			if c.setup == "" || c.want == "+" {
				if diff := differ(c.cells, cells); diff != "" {
					t.Error(diff)
				}
			} else if diff := cmp.Diff(c.cells[0x30:0x33], cells[0x30:0x33]); diff != "" {
				t.Error(diff)
			}
			b.kept()

			// Whatever it was, a good record after it is taken.
			b.tell("stuck 31 0 0")
			b.tell("stuck 32 0 0")
			b.send(good)
			if got := b.answers(patience); got != "+" {
				t.Errorf("says %q to a good record after it, want +", got)
			}
			if diff := cmp.Diff([]byte{0x02, 0x33, 0x7A}, b.cells()[0x30:0x33]); diff != "" {
				t.Error(diff)
			}
		})
	}
}

// record is a data record of any length, whole and with its line end.
func record(offset uint16, data []byte) string {
	b := append([]byte{byte(len(data)), byte(offset >> 8), byte(offset), 0}, data...)
	sum := byte(0)
	for _, v := range b {
		sum -= v
	}
	return fmt.Sprintf(":%X\n", append(b, sum))
}

func TestLoaderBoardNoticesADamagedCharacter(t *testing.T) {
	boardTools(t)
	b := newBoard(t, simulator(t), firmware(t))
	text := base16.EncodeToString([]byte(":0300300002337A1E\n"))
	// The port says that the stop bit was missing; the character itself is whole.
	b.tell("send %s*%s", text[:10], text[10:])
	if got := b.answers(patience); got != "?" {
		t.Errorf("says %q, want ?", got)
	}
	if diff := differ(filled(nil), b.cells()); diff != "" {
		t.Error(diff)
	}
}

func TestLoaderBoardReportsWhatFailed(t *testing.T) {
	boardTools(t)
	b := newBoard(t, simulator(t), firmware(t))
	b.tell("stuck 31 10 00")
	b.tell("flaky 32 1")
	for _, c := range []struct{ text, want string }{
		{"r", "0000 0000 0000 00000000 00 00\r\n"},
		{":0300300002337A1E\n", "!"},
		// Two bytes stored, one write repeated for each of two cells, one failed.
		{"r", "0002 0002 0001 00000031 33 23\r\n"},
		// The end says that not all is well, however often it is asked.
		{":00000001FF\n", "!"},
		{":00000001FF\n", "!"},
		// The next file begins with a clean sheet.
		{":01004000AA15\n", "+"},
		{":00000001FF\n", "."},
		{"r", "0001 0000 0000 00000000 00 00\r\n"},
		{":0100310000CE\n", "+"},
		{">", ">"},
		{"r", "0000 0000 0000 00000000 00 00\r\n"},
	} {
		b.send(c.text)
		if got := b.answers(patience); got != c.want {
			t.Errorf("%q: says %q, want %q", c.text, got, c.want)
		}
	}
	b.kept()
}

// TestLoaderBoardForgetsItsBase holds the board to begin each file at 0.
func TestLoaderBoardForgetsItsBase(t *testing.T) {
	boardTools(t)
	b := newBoard(t, simulator(t), firmware(t))
	const base, data = ":020000040001F9\n", ":01004000AA15\n"
	for _, c := range []struct{ text, want string }{
		{base, "+"}, {data, "#"}, {":00000001FF\n", "."}, {data, "+"},
		{base, "+"}, {data, "#"}, {">", ">"}, {data, "+"},
	} {
		b.send(c.text)
		if got := b.answers(patience); got != c.want {
			t.Errorf("%q: says %q, want %q", c.text, got, c.want)
		}
	}
}

// TestLoaderBoardOnABadLine is the sender of the page on a line that loses,
// turns over and adds characters in both directions: the memory is right in
// the end.
func TestLoaderBoardOnABadLine(t *testing.T) {
	boardTools(t)
	b := newBoard(t, simulator(t), firmware(t, "MEMORY_BYTES=65536UL"))
	r := rand.New(rand.NewPCG(3, 4))
	disturb := map[string]func(string) string{
		"turned":     func(s string) string { i := r.IntN(len(s)); return s[:i] + string(rune(s[i]^1<<r.IntN(7))) + s[i+1:] },
		"lost":       func(s string) string { i := r.IntN(len(s)); return s[:i] + s[i+1:] },
		"cut":        func(s string) string { return s[:r.IntN(len(s))] },
		"head lost":  func(s string) string { return s[1+r.IntN(len(s)-1):] },
		"record cut": func(s string) string { i := r.IntN(len(s)); return s[:i] + s },
		"all lost":   func(string) string { return "" },
	}
	kinds := []string{"turned", "lost", "cut", "head lost", "record cut", "all lost", "answer lost"}
	seen := map[string]int{}
	segments := scattered()
	for i := range segments {
		for k := range segments[i].Data {
			segments[i].Data[k] ^= 0x3C
		}
	}
	file := hexOf(t, segments, image.Options{Record: 4})
	records := strings.SplitAfter(strings.TrimSuffix(file, "\n"), "\n")
	records[len(records)-1] += "\n"
	for i, text := range records {
		want := "+"
		if i == len(records)-1 {
			want = "."
		}
		for n := 0; ; n++ {
			if n == 20 {
				t.Fatalf("record %d: sent %d times in vain", i+1, n)
			}
			line, kind := text, ""
			if r.IntN(3) > 0 {
				kind = kinds[r.IntN(len(kinds))]
				seen[kind]++
				if d := disturb[kind]; d != nil {
					line = d(line)
				}
			}
			b.send(line)
			got := b.answer(patience)
			if kind == "answer lost" {
				continue
			}
			if got == want {
				break
			}
			if got != "" && strings.Contains("+!#.", got) {
				t.Fatalf("record %d, %s, %q: says %q", i+1, kind, line, got)
			}
			b.answers(500) // until it is quiet
		}
	}
	if diff := differ(filled(segments), b.cells()); diff != "" {
		t.Error(diff)
	}
	b.kept()
	for _, kind := range kinds {
		if seen[kind] == 0 {
			t.Errorf("no record was disturbed by %q", kind)
		}
	}
	t.Logf("%d records, disturbed: %v", len(records), seen)
}

// TestLoaderBoardIsNotWaitedFor is a terminal program that sends on while the
// relays move: what the receiver could not hold is lost, and neither the
// records nor the end may pass for sound.
func TestLoaderBoardIsNotWaitedFor(t *testing.T) {
	boardTools(t)
	sim, elf := simulator(t), firmware(t, "MEMORY_BYTES=65536UL")
	segments := scattered()[:1]
	for _, lineEnd := range []string{"\n", "\r\n", "\n\n\n\n\n"} {
		t.Run(fmt.Sprintf("%q", lineEnd), func(t *testing.T) {
			b := newBoard(t, sim, elf)
			file := strings.ReplaceAll(hexOf(t, segments, image.Options{}), "\n", lineEnd)
			b.send(file)
			if got := b.answers(patience); strings.ContainsAny(got, "+.") || !strings.Contains(got, "?") {
				t.Errorf("says %q to what it has lost in part", got)
			}
			want, holes := filled(segments), 0
			for i, v := range b.cells() {
				if v == boardFill && want[i] != boardFill {
					holes++
				} else if v != want[i] {
					t.Errorf("cell %X holds %02X", i, v)
				}
			}
			if holes == 0 {
				t.Fatal("nothing was lost: this shows nothing")
			}
			// It is not held against the next try.
			b.send(">")
			if got := b.answers(100); got != ">" {
				t.Errorf("says %q, want >", got)
			}
			b.load(hexOf(t, segments, image.Options{}))
			if diff := differ(want, b.cells()); diff != "" {
				t.Error(diff)
			}
			b.kept()
		})
	}
}

// TestLoaderBoardNoticesWhatItLost takes the same apart: a record during whose
// writing another began is answered with ?, and the end too until the first is
// sent again.
func TestLoaderBoardNoticesWhatItLost(t *testing.T) {
	boardTools(t)
	const first, second, end = ":0300300002337A1E\n", ":01004000AA15\n", ":00000001FF\n"
	b := newBoard(t, simulator(t), firmware(t))
	for _, c := range []struct{ text, want string }{
		{first + second, "?"},
		{end, "?"}, {end, "?"},
		{":0400000300003800C1\n", "+"}, // moves no relay, so it settles nothing
		{end, "?"},
		{first, "+"}, {second, "+"}, {end, "."},
		// One colon is enough, and what is no record is noise.
		{first + ":", "?"}, {first, "+"}, {end, "."},
		{first + "\n7A", "+"}, {end, "."},
		{first + "0123456789", "?"}, {">", ">"}, {end, "."},
		{first + second, "?"}, {end, "?"}, {first + "\x00\x01", "+"}, {end, "."},
	} {
		b.send(c.text)
		if got := b.answers(patience); got != c.want {
			t.Errorf("%q: says %q, want %q", c.text, got, c.want)
		}
	}
	b.kept()
}

// TestLoaderBoardIsReset in the middle of a file: it greets, its lines are at
// rest, and the base of the file is forgotten.
func TestLoaderBoardIsReset(t *testing.T) {
	boardTools(t)
	sim, elf := simulator(t), firmware(t, "MEMORY_BYTES=65536UL")
	const base, data = ":020000020100FB\n", ":0300300002337A1E\n"
	for _, c := range []struct {
		name, text, told string
		cells            []byte // from 30
	}{
		{"between records", base + data, "", []byte{boardFill, boardFill, boardFill}},
		{"in a record", base + data[:9], "", []byte{boardFill, boardFill, boardFill}},
		{"in a write", base + data, "reset-write 2", []byte{boardFill, boardFill, boardFill}},
	} {
		t.Run(c.name, func(t *testing.T) {
			b := newBoard(t, sim, elf)
			if c.told != "" {
				b.tell("%s", c.told)
			}
			b.send(c.text)
			if c.told == "" {
				b.answers(50)
				b.tell("reset")
			}
			if got := b.answers(patience); !strings.HasSuffix(got, ">") {
				t.Errorf("says %q, want > last", got)
			}
			if diff := cmp.Diff(c.cells, b.cells()[0x30:0x33]); diff != "" {
				t.Error(diff)
			}
			b.send(data)
			if got := b.answers(patience); got != "+" {
				t.Errorf("says %q to a record after it, want +", got)
			}
			if diff := cmp.Diff([]byte{0x02, 0x33, 0x7A}, b.cells()[0x30:0x33]); diff != "" {
				t.Errorf("the base is not forgotten: %s", diff)
			}
			b.kept()
		})
	}
}

// TestLoaderSender runs send.c against the board on a pseudo terminal. The
// sender lives in the host's time: where it has to find out by waiting that
// something was lost, how often it had to try is not looked at.
func TestLoaderSender(t *testing.T) {
	boardTools(t)
	sim, elf := simulator(t), firmware(t)
	sender := filepath.Join(t.TempDir(), "send")
	compile(t, "cc", "-std=c99", "-O2", "-Wall", "-Wextra", "-Werror", "-o", sender, "loader/send.c")
	data := scattered()[0].Data
	whole := hexOf(t, []image.Segment{{Data: data}}, image.Options{})
	based := ":020000020001FB\n" + hexOf(t, []image.Segment{{Data: data[:0xF0]}}, image.Options{})
	higher := filled([]image.Segment{{Address: 0x10, Data: data[:0xF0]}})[:0x100]
	for _, c := range []struct {
		name, setup, file string
		args              []string
		exit              int
		says              string
		cells             []byte // the first ones
	}{
		{"sound", "", whole, nil, 0, "17 records loaded, 0 sent again\n", data},
		// Character 1 from the host is the question whether the board is there; a record is 44.
		{"a digit turned", "spoil 60", whole, nil, 0, "17 records loaded, 1 sent again\n", data},
		{"a line end lost", "lose 89", whole, nil, 0, "17 records loaded, 1 sent again\n", data},
		{"a colon lost", "lose 46", whole, []string{"-t", "700"}, 0, "sent again\n", data},
		{"an answer lost", "mute 3", whole, []string{"-t", "700"}, 0, "sent again\n", data},
		{"an answer that comes twice", "double 5", whole, nil, 0, "17 records loaded, 0 sent again\n", data},
		{"the question lost", "lose 1", whole, nil, 0, "17 records loaded, 0 sent again\n", data},
		{"a cell that misses a write", "flaky 42 1", whole, nil, 0, "17 records loaded, 0 sent again\n", data},
		{"a cell that fails", "stuck 42 01 01", whole, nil, 1,
			"send: line 5: byte 42 should be 42 and reads 43 (1 failed up to here)\n", data[:0x42]},
		{"cells that fail, all of them", "stuck 42 01 01", whole, []string{"-k"}, 1,
			"send: loaded, but for the bytes that failed\n", data[:0x42]},
		{"too large", "", hexOf(t, []image.Segment{{Address: 0x80, Data: data}}, image.Options{}), nil, 1,
			"send: line 9: not for this memory: :10010000", nil},
		{"records too long", "", hexOf(t, []image.Segment{{Data: data}}, image.Options{Record: 32}), nil, 1,
			"the board takes 63 characters a record: write the file with --record 16", nil},
		{"cut", "", whole[:100], nil, 1, "there is no end record: the file is cut", nil},
		{"no HEX", "", "S00600004844521B\n", nil, 1, "x.hex:1: not a record of Intel HEX", nil},
		{"no file", "", "", nil, 3, "No such file", nil},
		// 44 characters a record, 16 write pulses, an answer each and the greeting before.
		{"the board is reset while a record comes", "reset-at 100", whole, nil, 0, "line 3: the board began anew, and so does the file\n", data},
		{"reset in a write", "reset-write 40", whole, nil, 0, "line 3: the board began anew", data},
		{"reset after an answer", "reset-answer 4", whole, nil, 0, "the board began anew", data},
		{"reset after an answer, soon there again", "boot 0\nreset-answer 4", whole, nil, 0, "the board began anew", data},
		{"reset, and a base is in force", "boot 0\nreset-answer 4", based, nil, 0, "the board began anew", higher},
		{"reset again and again", "reset-often 20", whole, []string{"-n", "3"}, 1, "the board began anew 3 times: check its supply\n", nil},
		{"no number", "", whole, []string{"-n", "many"}, 2, "many is not a number from 1 to 1000", nil},
	} {
		t.Run(c.name, func(t *testing.T) {
			b := newBoard(t, sim, elf)
			if c.setup != "" {
				b.tell("%s", c.setup)
			}
			b.tell("serve")
			var port string
			if _, err := fmt.Sscanf(b.heard(), "port %s", &port); err != nil {
				t.Fatal(err)
			}
			file := filepath.Join(t.TempDir(), "x.hex")
			if c.file != "" {
				if err := os.WriteFile(file, []byte(c.file), 0o644); err != nil {
					t.Fatal(err)
				}
			}
			// The board greeted before the sender came: no use to wait for it.
			args := append([]string{"-b", "38400", "-g", "1", "-t", "60000", "-q", "300"}, c.args...)
			cmd := exec.Command(sender, append(args, port, file)...)
			cmd.Env = append(os.Environ(), "LC_ALL=C")
			out, err := cmd.CombinedOutput()
			if code := cmd.ProcessState.ExitCode(); code != c.exit || !strings.Contains(string(out), c.says) {
				t.Errorf("exit status %d (%v), want %d; says %q, want %q", code, err, c.exit, out, c.says)
			}
			b.tell("")
			if diff := cmp.Diff(c.cells, b.cells()[:len(c.cells)], cmp.Comparer(bytes.Equal)); diff != "" {
				t.Error(diff)
			}
			b.kept()
		})
	}
}
