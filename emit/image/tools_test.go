package image_test

import (
	"bytes"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"coilwright/emit/image"
	"coilwright/emit/readback"
	"coilwright/encode/store"
)

// tool finds a reference program. Without it the test is skipped, unless
// COILWRIGHT_REFERENCES=required says that it has to be there.
func tool(t testing.TB, name string) string {
	t.Helper()
	path, err := exec.LookPath(name)
	if err != nil {
		if os.Getenv("COILWRIGHT_REFERENCES") == "required" {
			t.Fatalf("%s is required: %v", name, err)
		}
		t.Skipf("%s is not installed", name)
	}
	return path
}

func run(t testing.TB, name string, args ...string) {
	t.Helper()
	if out, err := exec.Command(name, args...).CombinedOutput(); err != nil {
		t.Fatalf("%s %s: %v\n%s", name, strings.Join(args, " "), err, out)
	}
}

func save(t testing.TB, path string, data []byte) {
	t.Helper()
	if err := os.WriteFile(path, data, 0o644); err != nil {
		t.Fatal(err)
	}
}

func load(t testing.TB, path string) []byte {
	t.Helper()
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return data
}

func random(r *rand.Rand, n int) []byte {
	out := make([]byte, n)
	for i := range out {
		out[i] = byte(r.Uint32())
	}
	return out
}

// TestToolsReadOurFiles lets general tools turn files of ours, of random
// lengths, bases and record lengths, back into the bytes they were made from.
func TestToolsReadOurFiles(t *testing.T) {
	objcopy, srecCat := tool(t, "objcopy"), tool(t, "srec_cat")
	dir := t.TempDir()
	in, out := filepath.Join(dir, "in"), filepath.Join(dir, "out")
	r := rand.New(rand.NewPCG(3, 4))
	for i := range 40 {
		data := random(r, 1+r.IntN(1<<uint(4+i%14)))
		// objcopy writes a binary from its first byte on; srec_cat gets an offset.
		base := r.Uint32N(1 << uint(1+i%30))
		o := image.Options{Record: 1 + r.IntN(250)}
		if base < 1<<19 && i%2 == 0 {
			o.Addressing = image.Segmented
		}
		forms := []struct {
			name, objcopy, srecCat string
			write                  func(*bytes.Buffer) error
		}{
			{"hex", "ihex", "-Intel", func(b *bytes.Buffer) error { return image.Hex(b, data, base, o) }},
			{"srec", "srec", "-Motorola", func(b *bytes.Buffer) error { return image.Srec(b, "test", data, base, o) }},
		}
		for _, form := range forms {
			var b bytes.Buffer
			if err := form.write(&b); err != nil {
				t.Fatal(err)
			}
			save(t, in, b.Bytes())
			run(t, objcopy, "-I", form.objcopy, "-O", "binary", in, out)
			if !bytes.Equal(load(t, out), data) {
				t.Errorf("objcopy reads other bytes from %s: %d at 0x%X, %+v", form.name, len(data), base, o)
			}
			// Without -Disable_Sequence_Warnings or the like: a warning would be a fault of ours.
			said, err := exec.Command(srecCat, in, form.srecCat, "-offset", fmt.Sprintf("-0x%X", base), "-o", out, "-Binary").CombinedOutput()
			if err != nil || len(said) > 0 {
				t.Fatalf("srec_cat on %s: %v\n%s", form.name, err, said)
			}
			if !bytes.Equal(load(t, out), data) {
				t.Errorf("srec_cat reads other bytes from %s: %d at 0x%X, %+v", form.name, len(data), base, o)
			}
		}
	}
}

// TestWeReadFilesOfTools is the other way.
func TestWeReadFilesOfTools(t *testing.T) {
	objcopy, srecCat := tool(t, "objcopy"), tool(t, "srec_cat")
	dir := t.TempDir()
	in, out := filepath.Join(dir, "in"), filepath.Join(dir, "out")
	r := rand.New(rand.NewPCG(5, 6))
	check := func(form string, base uint32, data []byte) {
		t.Helper()
		var m *readback.Memory
		var err error
		if form == "hex" {
			m, err = readback.Hex(bytes.NewReader(load(t, out)))
		} else {
			m, err = readback.Srec(bytes.NewReader(load(t, out)))
		}
		if err != nil {
			t.Errorf("%s of %d bytes at 0x%X: %v", form, len(data), base, err)
			return
		}
		address, got, ok := m.Contiguous()
		if !ok || address != base || !bytes.Equal(got, data) {
			t.Errorf("%s of %d bytes at 0x%X: other bytes, at 0x%X", form, len(data), base, address)
		}
	}
	for i := range 40 {
		data := random(r, 1+r.IntN(1<<uint(4+i%14)))
		save(t, in, data)
		base := r.Uint32N(1 << 19)
		address := fmt.Sprintf("0x%X", base)
		for _, form := range []string{"ihex", "srec"} {
			run(t, objcopy, "-I", "binary", "-O", form, "--change-addresses", address, in, out)
			check(strings.TrimPrefix(form, "i"), base, data)
		}
		base = r.Uint32N(1 << uint(1+i%31))
		address = fmt.Sprintf("0x%X", base)
		for form, args := range map[string][]string{
			"hex":  {"-Intel", "-address-length=4"},
			"srec": {"-Motorola"},
		} {
			run(t, srecCat, append([]string{in, "-Binary", "-offset", address, "-o", out}, args...)...)
			check(form, base, data)
		}
	}
}

// TestHexWrap holds what a record does that passes the end of its 64 KiB
// against the goldens of checks.md 1.1 [D]: by the specification it wraps under
// type 02 and carries on under type 04. objcopy 2.40 carries on under type 02
// too, so srec_cat is the referee there. With no base record the specification
// settles nothing; both tools carry on.
func TestHexWrap(t *testing.T) {
	const record, end = ":04FFFE00AABBCCDDF1\n", ":00000001FF\n"
	segment := func(address uint32, data ...byte) readback.Segment {
		return readback.Segment{Address: address, Data: data}
	}
	tests := []struct {
		name, base string
		want       []readback.Segment
		objcopy    bool
	}{
		{"02", ":020000021000EC\n", []readback.Segment{segment(0x10000, 0xCC, 0xDD), segment(0x1FFFE, 0xAA, 0xBB)}, false},
		{"04", ":020000040001F9\n", []readback.Segment{segment(0x1FFFE, 0xAA, 0xBB, 0xCC, 0xDD)}, true},
		{"none", "", []readback.Segment{segment(0xFFFE, 0xAA, 0xBB, 0xCC, 0xDD)}, true},
		{"04 at the last address", ":02000004FFFFFC\n", []readback.Segment{segment(0, 0xCC, 0xDD), segment(0xFFFFFFFE, 0xAA, 0xBB)}, false},
	}
	dir := t.TempDir()
	in, out := filepath.Join(dir, "in.hex"), filepath.Join(dir, "out")
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			file := []byte(test.base + record + end)
			m, err := readback.Hex(bytes.NewReader(file))
			if err != nil {
				t.Fatal(err)
			}
			if got, want := fmt.Sprintf("%X", m.Segments), fmt.Sprintf("%X", test.want); got != want {
				t.Errorf("read as %s, want %s", got, want)
			}
			if test.name == "04 at the last address" {
				return // srec_cat has no way to write what wraps at 4 GiB into a binary
			}
			// The lowest address first, holes as FF.
			low, high := test.want[0].Address, test.want[len(test.want)-1]
			binary := bytes.Repeat([]byte{0xFF}, int(high.Address-low)+len(high.Data))
			for _, s := range test.want {
				copy(binary[s.Address-low:], s.Data)
			}
			save(t, in, file)
			run(t, tool(t, "srec_cat"), in, "-Intel", "-offset", "-"+strconv.Itoa(int(low)),
				"-fill", "0xFF", "0", strconv.Itoa(len(binary)), "-o", out, "-Binary")
			if !bytes.Equal(load(t, out), binary) {
				t.Error("srec_cat reads it otherwise")
			}
			run(t, tool(t, "objcopy"), "-I", "ihex", "-O", "binary", "--gap-fill", "0xFF", in, out)
			if agrees := bytes.Equal(load(t, out), binary); agrees != test.objcopy {
				t.Errorf("objcopy agrees: %v, checks.md says %v", agrees, test.objcopy)
			}
		})
	}
}

// TestHeaderCompiles lets a C and a C++ compiler read our headers, without a
// warning, and write the words out again.
func TestHeaderCompiles(t *testing.T) {
	compilers := [][]string{
		{tool(t, "cc"), "-std=c99"},
		{tool(t, "c++"), "-std=c++11", "-x", "c++"},
	}
	stores := map[string]*store.Store{"textbook": textbook(), "wide": wideStore()}
	for _, bits := range []int{5, 24, 33, 64} {
		s := wideStore()
		s.Word.Bits = s.Word.Bits[70-bits:]
		s.Word.Little = bits%2 == 0
		stores[fmt.Sprint(bits)] = s
	}
	for name, s := range stores {
		for _, compiler := range compilers {
			t.Run(name+compiler[1], func(t *testing.T) {
				dir := t.TempDir()
				im := whole(t, s)
				header := written(t, im, image.FormHeader, image.Options{})
				save(t, filepath.Join(dir, "store.h"), header)
				array := "textbook_store"
				if name != "textbook" {
					array = "machine_wide_store"
				}
				// Twice, for the guard; the store kept in a section of its own, for the macro.
				save(t, filepath.Join(dir, "dump.c"), []byte(fmt.Sprintf(`
#define COILWRIGHT_STORAGE __attribute__((section("words")))
#include "store.h"
#include "store.h"
#include <stdio.h>
int main(void) {
    unsigned long i; int j; int size = (int)sizeof %[1]s[0];
    if (sizeof %[1]s / sizeof %[1]s[0] %% %[2]s_WORDS != 0) return 1;
    for (i = 0; i < sizeof %[1]s / sizeof %[1]s[0]; i++)
        for (j = size - 1; j >= 0; j--)
            putchar((int)((uint64_t)%[1]s[i] >> (8 * j) & 0xFF));
    return 0;
}
`, array, strings.ToUpper(array))))
				program := filepath.Join(dir, "dump")
				args := append(compiler[1:len(compiler):len(compiler)], "-Wall", "-Wextra", "-pedantic", "-Werror", "-o", program, filepath.Join(dir, "dump.c"))
				run(t, compiler[0], args...)
				got, err := exec.Command(program).Output()
				if err != nil {
					t.Fatal(err)
				}
				if im.Bits > 64 {
					if !bytes.Equal(got, im.Data) {
						t.Errorf("the program holds %X, not %X", got, im.Data)
					}
					return
				}
				size := len(got) / im.Words
				for w := range im.Words {
					want := make([]byte, size)
					for i, b := range im.Data[w*im.BytesPerWord:][:im.BytesPerWord] {
						if im.Little {
							want[size-1-i] = b
						} else {
							want[size-im.BytesPerWord+i] = b
						}
					}
					if !bytes.Equal(got[w*size:][:size], want) {
						t.Errorf("word %d is %X, not %X", w, got[w*size:][:size], want)
					}
				}
			})
		}
	}
}
