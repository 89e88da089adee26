package cli_test

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// bench returns a folder with the demo and a few programs in it.
func bench(t testing.TB) string {
	t.Helper()
	dir := demo(t)
	write(t, filepath.Join(dir, "good.prog"), "start: ldi 12\nagain: move brd, sw\n jz start\ndone: halt\nexpect acc = 12\nexpect brd = 9\n")
	write(t, filepath.Join(dir, "plain.prog"), "start: ldi 12\n move brd, sw\ndone: halt\n at 0x20\nkept: byte 1, 2\n")
	write(t, filepath.Join(dir, "wrong.prog"), "  ldi 12\n  halt\n  expect acc = 13\n  expect zero = 1\n")
	write(t, filepath.Join(dir, "bad.prog"), "  lid 12\n  move acc\n")
	write(t, filepath.Join(dir, "loop.prog"), "again: jump again\n")
	write(t, filepath.Join(dir, "empty.prog"), "; nothing\n")
	write(t, filepath.Join(dir, "part.prog"), "include \"plain.prog\"\n")
	write(t, filepath.Join(dir, "lost.prog"), "include \"nowhere.prog\"\n")
	write(t, filepath.Join(dir, "two.coil"), strings.Replace(read(t, filepath.Join(dir, "millrace.coil")), "\nbus data 8", "\nmemory table 16 x 12 little\nbus data 8", 1))
	write(t, filepath.Join(dir, "two.prog"), "  halt\nin table\n word 0xABC, 2\n")
	write(t, filepath.Join(dir, "words.hex"), ":02000000102AC4\n:00000001FF\n")
	write(t, filepath.Join(dir, "cut.hex"), ":02000000102AC4\n")
	return dir
}

func TestProgramCommands(t *testing.T) {
	dir := bench(t)
	must(t, dir, "image", "millrace.coil", "--form", "hex", "-o", "store.hex")
	must(t, dir, "image", "millrace.coil", "--form", "bin", "-o", "chip")
	must(t, dir, "image", "millrace.coil", "--form", "memh", "-o", "store.memh")
	must(t, dir, "image", "millrace.coil", "--chip", "1", "-o", "quarter.hex")
	must(t, dir, "image", "millrace.coil", "--form", "hex", "--size", "128K", "-o", "larger.hex")
	write(t, filepath.Join(dir, "twice.bin"), strings.Repeat(read(t, filepath.Join(dir, "chip")), 2))
	tryAll(t, dir, []try{
		{"hex is the default", "assemble millrace.coil plain.prog", 0, ":02002000010", ""},
		{"only what is defined", "assemble millrace.coil plain.prog", 0, ":04000000100C680177\n:020020000102DB\n:00000001FF\n", ""},
		{"short records", "assemble millrace.coil plain.prog --record 1", 0, ":010000", ""},
		{"based", "assemble millrace.coil plain.prog --base 0x4000", 0, ":04400000100C6801", ""},
		{"above 64 KiB", "assemble millrace.coil plain.prog --base 0x10000 --addressing segment", 0, ":020000021000EC", ""},
		{"filled", "assemble millrace.coil plain.prog --form srec --fill 0xFF", 0, "S11300F0FFFF", ""},
		{"binary", "assemble millrace.coil plain.prog --form bin", 0, "\x10\x0c\x68\x01\x00", ""},
		{"header", "assemble millrace.coil plain.prog --form header", 0, "{0x20UL, 2UL},", ""},
		{"listing", "assemble millrace.coil plain.prog --form listing", 0, "label in ram", ""},
		{"toggles", "assemble millrace.coil plain.prog --form toggles", 0, "[ ]  21", ""},
		{"included", "assemble millrace.coil part.prog --form listing", 0, "-- file plain.prog", ""},
		{"two memories", "assemble two.coil two.prog", 0, ":00000001FF", "--memory table (2 words)"},
		{"the other memory", "assemble two.coil two.prog --memory table", 0, ":04000000BC0A0200", "--memory ram (1 word)"},
		{"unknown memory", "assemble two.coil two.prog --memory tabel", 2, "", `did you mean "table"?`},
		{"memory without words", "assemble two.coil plain.prog --memory table", 1, "", "puts nothing into memory table"},
		{"nothing to write", "assemble millrace.coil empty.prog", 1, "", "puts nothing into memory ram"},
		{"nothing to list", "assemble millrace.coil empty.prog --form listing", 0, "0 words of 256", ""},
		{"program with errors", "assemble millrace.coil bad.prog", 1, "", "did you mean ldi?"},
		{"no program", "assemble millrace.coil", 2, "", "PROGRAM is missing"},
		{"no such program", "assemble millrace.coil nowhere.prog", 3, "", "nowhere.prog: error: "},
		{"include that is not there", "assemble millrace.coil lost.prog", 1, "", "nowhere.prog"},
		{"standard input twice", "assemble - -", 2, "", "not both"},
		{"fill of a listing", "assemble millrace.coil plain.prog --form listing --fill 0", 2, "", "--fill means nothing in form listing"},
		{"fill that is no byte", "assemble millrace.coil plain.prog --fill 256", 2, "", "at most 255"},
		{"too small", "assemble millrace.coil plain.prog --form bin --size 8", 2, "", "does not fit into 8"},
		{"over the program", "assemble millrace.coil plain.prog -o plain.prog", 2, "", "would destroy it"},
		{"over an include", "assemble millrace.coil part.prog -o plain.prog", 2, "", "would destroy it"},

		{"rehearse", "rehearse millrace.coil good.prog --input sw=9", 0, "-- 1 at 00: start: ldi 12", ""},
		{"csv", "rehearse millrace.coil plain.prog --form csv", 0, "acc=0x0C by acc_l", ""},
		{"vcd", "rehearse millrace.coil plain.prog --form vcd", 0, "$enddefinitions $end", ""},
		{"final", "rehearse millrace.coil plain.prog --final", 0, "the machine has halted: 3 instructions", ""},
		{"expectation not met", "rehearse millrace.coil wrong.prog --final", 1, "halted", "wrong.prog:3:3: error: acc is 12 (0x0C), not 13 (0x0D)"},
		{"how many", "rehearse millrace.coil wrong.prog --final", 1, "halted", "2 of 2 expectations"},
		{"input missing", "rehearse millrace.coil good.prog --final", 1, "halted", "brd is 0, not 9"},
		{"unknown register", "rehearse millrace.coil good.prog --set ac=1", 2, "", `did you mean "acc"?`},
		{"set", "rehearse millrace.coil plain.prog --final --set tmp=-1", 0, "FF  #### ####", ""},
		{"set too large", "rehearse millrace.coil plain.prog --set tmp=256", 2, "", "the largest of 8 bits is 255"},
		{"set too small", "rehearse millrace.coil plain.prog --set tmp=-129", 2, "", "the least of 8 bits is -128"},
		{"set to nothing", "rehearse millrace.coil plain.prog --set tmp", 2, "", "NAME=VALUE"},
		{"input of what is none", "rehearse millrace.coil plain.prog --input acc=1", 2, "", "acc is a register, no input register or flag; --set"},
		{"several inputs", "rehearse millrace.coil loop.prog --input sw=1,2,x", 2, "", "a whole number is wanted"},
		{"memory from a file", "rehearse millrace.coil plain.prog --final --memory ram=words.hex --instructions 1", 0, "2A  ..#. #.#.", ""},
		{"memory from a cut file", "rehearse millrace.coil plain.prog --memory ram=cut.hex", 1, "", "no end record"},
		{"memory from nowhere", "rehearse millrace.coil plain.prog --memory ram=no.hex", 3, "", "no.hex: no such file"},
		{"memory that is none", "rehearse millrace.coil plain.prog --memory rma=words.hex", 2, "", `did you mean "ram"?`},
		{"until a label", "rehearse millrace.coil plain.prog --final --until done", 0, "the address is reached: 2 instructions", ""},
		{"until an address", "rehearse millrace.coil plain.prog --final --until 0x02", 0, "the address is reached: 1 instruction,", ""},
		{"until no label", "rehearse millrace.coil plain.prog --until doen", 2, "", `did you mean "done"?`},
		{"until never", "rehearse millrace.coil plain.prog --final --until 0x77 --instructions 2", 1, "instructions", "has not come to 0x77"},
		{"without end", "rehearse millrace.coil loop.prog --final", 0, "100000 instructions", "--instructions N sets another bound"},
		{"without end, asked to halt", "rehearse millrace.coil loop.prog --final --until halt", 1, "100000 instructions", "has not halted"},
		{"phases", "rehearse millrace.coil loop.prog --final --phases 30", 0, "30 phases", ""},
		{"no phases", "rehearse millrace.coil loop.prog --phases 0", 2, "", "at least 1"},
		{"not checked", "rehearse millrace.coil wrong.prog --final --phases 3", 0, "3 phases", "is not checked"},
		{"final in a form", "rehearse millrace.coil plain.prog --final --form csv", 2, "", "with --final none are"},
		{"store", "rehearse millrace.coil plain.prog --final --store store.hex", 0, "halted", ""},
		{"store without an ending", "rehearse millrace.coil plain.prog --final --store chip", 0, "halted", ""},
		{"store as memh", "rehearse millrace.coil plain.prog --final --store store.memh", 0, "halted", ""},
		{"store of one chip", "rehearse millrace.coil plain.prog --store quarter.hex", 1, "", "as hex: "},
		{"store that is none", "rehearse millrace.coil plain.prog --store words.hex", 1, "", "as hex: "},
		{"store from nowhere", "rehearse millrace.coil plain.prog --store no.hex", 3, "", "no such file"},
		{"over the store", "rehearse millrace.coil plain.prog --store store.hex -o store.hex", 2, "", "would destroy it"},
		{"onto a full device", "rehearse millrace.coil plain.prog -o /dev/full", 3, "", "no space left on device"},
		{"two files, the other way round", "assemble plain.prog millrace.coil", 2, "", "the definition comes first, then the program: millrace.coil plain.prog"},
		{"no definition", "rehearse plain.prog good.prog", 2, "", "plain.prog is a program"},
		{"two definitions", "rehearse millrace.coil two.coil", 2, "", "two.coil is a definition"},
		{"set a memory", "rehearse millrace.coil plain.prog --set ram=1", 2, "", "ram is a memory, no register or flag; --memory"},
		{"set a bus", "rehearse millrace.coil plain.prog --set data=1", 2, "", "data is a bus, no register or flag"},
		{"set a flag too large", "rehearse millrace.coil plain.prog --set zero=2", 2, "", "the largest of 1 bit is 1"},
		{"set twice", "rehearse millrace.coil plain.prog --set tmp=1 --set tmp=1", 2, "", "tmp: it is set twice"},
		{"memory without a file", "rehearse millrace.coil plain.prog --memory ram", 2, "", "NAME=FILE is wanted"},
		{"until an address that is none", "rehearse millrace.coil plain.prog --until 0x100", 2, "", "the last address of ram is 255 (0xFF)"},
		{"until what comes after the halt", "rehearse millrace.coil plain.prog --final --until 0x20", 0, "halted", "the machine halts before it comes to 0x20"},
		{"standard input for the store too", "rehearse - plain.prog --store -", 2, "", "one of the files only"},
		{"standard input for two memories", "rehearse two.coil plain.prog --memory ram=- --memory table=-", 2, "", "one of the files only"},
		{"store that is too short", "rehearse millrace.coil plain.prog --store quarter.hex", 1, "", "4096 words of 4 bytes; the store has 14 address bits, which takes 16384"},
		{"store on a larger chip", "rehearse millrace.coil plain.prog --final --store larger.hex", 0, "halted", ""},
		{"store and more", "rehearse millrace.coil plain.prog --final --store twice.bin", 0, "halted", "twice.bin: 32768 words, and the store has 16384: what follows is left aside"},
		{"help about the language", "help program", 0, "DIRECTIVES", ""},
	})
}

// TestExpectOption: expectations of the command line know the program's labels,
// and are pointed at like those of the program.
func TestExpectOption(t *testing.T) {
	dir := bench(t)
	for _, test := range []struct {
		expect string
		status int
		err    string
	}{
		{"acc = 12", 0, ""},
		{"ram[kept + 1] = 2", 0, ""},
		{"pc = done + 1", 0, ""},
		{"acc = 13", 1, "--expect:1:1: error: acc is 12 (0x0C), not 13 (0x0D)"},
		{"acd = 13", 1, "did you mean acc?"},
		{"acc =", 1, "--expect:1:"},
		{"ram[nowhere] = 1", 1, "nowhere"},
	} {
		got := run(t, dir, "rehearse", "millrace.coil", "plain.prog", "--final", "--expect", test.expect)
		if got.status != test.status || !strings.Contains(got.err, test.err) || test.err == "" && got.err != "" {
			t.Errorf("--expect %q: status %d, not %d\n%s", test.expect, got.status, test.status, got.err)
		}
	}
	two := run(t, dir, "rehearse", "millrace.coil", "-", "--final", "--expect", "acc = 1", "--expect", "acc = 3")
	if two.status != 1 {
		t.Errorf("an empty program from standard input: status %d\n%s", two.status, two.err)
	}
}

// TestProgramFromStandardInput: "-" is either file.
func TestProgramFromStandardInput(t *testing.T) {
	dir := bench(t)
	for _, args := range []string{"assemble millrace.coil - --form listing", "rehearse millrace.coil - --final --expect acc=12"} {
		cmd := command(dir, strings.Fields(args)...)
		cmd.Stdin = strings.NewReader(read(t, filepath.Join(dir, "plain.prog")))
		if got := finish(t, cmd); got.status != 0 || !strings.Contains(got.out, "stdin, sha256") {
			t.Errorf("%s: status %d\n%s%s", args, got.status, got.out, got.err)
		}
	}
	cmd := command(dir, "assemble", "-", "plain.prog")
	cmd.Stdin = strings.NewReader(read(t, filepath.Join(dir, "millrace.coil")))
	if got := finish(t, cmd); got.status != 0 || got.out != must(t, dir, "assemble", "millrace.coil", "plain.prog") {
		t.Errorf("definition from standard input: status %d\n%s", got.status, got.err)
	}
}

// TestStoreOption: what a chip really holds is what runs.
func TestStoreOption(t *testing.T) {
	dir := bench(t)
	must(t, dir, "image", "millrace.coil", "--form", "bin", "-o", "chip.bin")
	same := must(t, dir, "rehearse", "millrace.coil", "plain.prog")
	if got := must(t, dir, "rehearse", "millrace.coil", "plain.prog", "--store", "chip.bin"); got != same {
		t.Error("the image of the store is rehearsed otherwise than the store")
	}
	data := []byte(read(t, filepath.Join(dir, "chip.bin")))
	for i := range data {
		data[i] ^= 1 << 1 // of the first byte that is acc_l, declared second
	}
	write(t, filepath.Join(dir, "chip.bin"), string(data))
	got := run(t, dir, "rehearse", "millrace.coil", "plain.prog", "--store", "chip.bin", "--final", "--phases", "20")
	if got.status != 0 {
		t.Fatalf("status %d\n%s", got.status, got.err)
	}
	if got.out == must(t, dir, "rehearse", "millrace.coil", "plain.prog", "--final", "--phases", "20") {
		t.Error("lines turned over in every word change nothing")
	}
}

// demos lists the programs that come with the demo.
func demos(t *testing.T, dir string) []string {
	t.Helper()
	list, err := filepath.Glob(filepath.Join(dir, "programs", "*.prog"))
	if err != nil || len(list) < 4 {
		t.Fatalf("%d demo programs, %v", len(list), err)
	}
	return list
}

func need(t *testing.T, tool string) string {
	t.Helper()
	path, err := exec.LookPath(tool)
	if err != nil {
		required(t, "%s is not installed", tool)
	}
	return path
}

func runTool(t *testing.T, dir, tool string, args ...string) string {
	t.Helper()
	cmd := exec.Command(tool, args...)
	cmd.Dir = dir
	out, err := cmd.CombinedOutput()
	if err != nil {
		t.Fatalf("%s %s: %v\n%s", tool, strings.Join(args, " "), err, out)
	}
	return string(out)
}

var listed = regexp.MustCompile(`(?m)^ *([0-9A-F]{2})  ((?:[0-9A-F]{2} ?)+?) {2,}`)

// listedBytes reads the bytes of a memory of 256 by the eye: what stands in
// the columns of the listing.
func listedBytes(t *testing.T, text string) map[int]byte {
	t.Helper()
	text, _, _ = strings.Cut(text, "\n-- memory")
	out := map[int]byte{}
	for _, line := range strings.Split(text, "\n") {
		m := listed.FindStringSubmatch(line + "   ")
		if m == nil {
			continue
		}
		at, err := strconv.ParseUint(m[1], 16, 8)
		if err != nil {
			t.Fatal(err)
		}
		for i, word := range strings.Fields(m[2]) {
			b, err := strconv.ParseUint(word, 16, 8)
			if err != nil {
				t.Fatal(err)
			}
			out[int(at)+i] = byte(b)
		}
	}
	return out
}

// TestDemosByOtherTools: of every demo program, general tools read the same
// bytes out of each form as a person reads in the listing.
func TestDemosByOtherTools(t *testing.T) {
	objcopy, srecCat, cc := need(t, "objcopy"), need(t, "srec_cat"), need(t, "cc")
	dir := bench(t)
	for _, path := range demos(t, dir) {
		name := strings.TrimSuffix(filepath.Base(path), ".prog")
		want := listedBytes(t, must(t, dir, "assemble", "millrace.coil", path, "--form", "listing"))
		if len(want) < 10 {
			t.Fatalf("%s: the listing has %d bytes", name, len(want))
		}
		// A pattern where nothing is defined tells holes from zeros.
		full := make([]byte, 256)
		for i := range full {
			full[i] = 0xA5
			if b, ok := want[i]; ok {
				full[i] = b
			}
		}
		end := 0
		for i := range want {
			end = max(end, i+1)
		}
		check := func(how, file string) {
			t.Helper()
			got := read(t, filepath.Join(dir, file))
			if len(got) < end || got[:end] != string(full[:end]) {
				t.Errorf("%s by %s: % X, not % X", name, how, got, full[:end])
			}
		}
		for _, form := range []string{"hex", "srec"} {
			must(t, dir, "assemble", "millrace.coil", path, "--form", form, "-o", "p."+form)
			runTool(t, dir, objcopy, "-I", map[string]string{"hex": "ihex", "srec": "srec"}[form], "-O", "binary", "--gap-fill", "0xA5", "p."+form, "objcopy.bin")
			check("objcopy, "+form, "objcopy.bin")
			kind := map[string]string{"hex": "-intel", "srec": "-motorola"}[form]
			runTool(t, dir, srecCat, "p."+form, kind, "-fill", "0xA5", "0", fmt.Sprint(end), "-o", "srec.bin", "-binary")
			check("srec_cat, "+form, "srec.bin")
		}
		must(t, dir, "assemble", "millrace.coil", path, "--form", "bin", "--fill", "0xA5", "-o", "filled.bin")
		check("bin, filled", "filled.bin")
		if got := read(t, filepath.Join(dir, "filled.bin")); got != string(full) {
			t.Errorf("%s: filled, %d bytes", name, len(got))
		}
		must(t, dir, "assemble", "millrace.coil", path, "--form", "header", "-o", "p.h")
		id := "millrace_" + name
		write(t, filepath.Join(dir, "p.c"), fmt.Sprintf(`#include "p.h"
#include <stdio.h>
#include <string.h>
int main(void) {
    unsigned char memory[256];
    const uint8_t *from = %[1]s;
    memset(memory, 0xA5, sizeof memory);
    for (int i = 0; i < %[2]s_SEGMENTS; i++) {
        memcpy(memory + %[1]s_segments[i][0], from, %[1]s_segments[i][1]);
        from += %[1]s_segments[i][1];
    }
    if (from != %[1]s + %[2]s_SIZE || %[1]s_segments[0][0] != %[2]s_BASE) return 1;
    return fwrite(memory, 1, sizeof memory, stdout) != sizeof memory;
}
`, id, strings.ToUpper(id)))
		runTool(t, dir, cc, "-std=c99", "-Wall", "-Wextra", "-Werror", "-o", "p", "p.c")
		write(t, filepath.Join(dir, "header.bin"), runTool(t, dir, filepath.Join(dir, "p")))
		check("header, cc", "header.bin")
	}
}

// TestDemosMeetTheirExpectations, by every road through the command line.
func TestDemosMeetTheirExpectations(t *testing.T) {
	dir := bench(t)
	for _, path := range demos(t, dir) {
		if !strings.Contains(read(t, path), "\nexpect ") {
			t.Errorf("%s expects nothing", path)
		}
		must(t, dir, "rehearse", "millrace.coil", path, "--final")
		for _, form := range []string{"text", "csv", "vcd"} {
			must(t, dir, "rehearse", "millrace.coil", path, "--form", form)
		}
	}
}

// TestWaveformTool: a general tool reads the dumps, and
// finds as many variables as there are and the time at the end.
func TestWaveformTool(t *testing.T) {
	convert, back := need(t, "vcd2fst"), need(t, "fst2vcd")
	dir := bench(t)
	for _, path := range append(demos(t, dir), "plain.prog") {
		must(t, dir, "rehearse", "millrace.coil", path, "--form", "vcd", "-o", "p.vcd")
		if said := runTool(t, dir, convert, "p.vcd", "p.fst"); strings.Contains(strings.ToLower(said), "error") || strings.Contains(said, "Unknown") {
			t.Errorf("%s: vcd2fst says %s", path, said)
		}
		got := runTool(t, dir, back, "-f", "p.fst")
		ours := read(t, filepath.Join(dir, "p.vcd"))
		if a, b := strings.Count(got, "$var "), strings.Count(ours, "$var "); a != b || b < 40 {
			t.Errorf("%s: the tool has %d variables of %d", path, a, b)
		}
		times := regexp.MustCompile(`(?m)^#\d+$`)
		a, b := times.FindAllString(got, -1), times.FindAllString(ours, -1)
		if !slices.Equal(a, b) {
			t.Errorf("%s: the tool has %d times of %d", path, len(a), len(b))
		}
	}
}

func TestProgramCompletion(t *testing.T) {
	dir := bench(t)
	for args, want := range map[string]string{
		"__complete assemble millrace.coil ":                    "prog",
		"__complete assemble two.coil two.prog --memory ":       "table",
		"__complete assemble --form t":                          "toggles",
		"__complete rehearse millrace.coil plain.prog --until ": "done",
		"__complete rehearse millrace.coil plain.prog --set t":  "tmp=",
		"__complete rehearse millrace.coil plain.prog --input ": "sw=",
		"__complete rehearse two.coil two.prog --memory ta":     "table=",
		"__complete help pro":                                   "program",
	} {
		fields := strings.Fields(args)
		if strings.HasSuffix(args, " ") {
			fields = append(fields, "")
		}
		if got := run(t, dir, fields...); got.status != 0 || !strings.Contains(got.out, want) {
			t.Errorf("%s: status %d, %q lacks %q", args, got.status, got.out, want)
		}
	}
}

// TestRehearsalIntoAClosedPipe is quiet.
func TestRehearsalIntoAClosedPipe(t *testing.T) {
	dir := bench(t)
	r, w, err := os.Pipe()
	if err != nil {
		t.Fatal(err)
	}
	cmd := command(dir, "rehearse", "millrace.coil", filepath.Join("programs", "flags.prog"), "--form", "csv")
	cmd.Stdout = w
	r.Close()
	got := finish(t, cmd)
	w.Close()
	if got.status != 0 || got.err != "" {
		t.Errorf("status %d\n%s", got.status, got.err)
	}
}
