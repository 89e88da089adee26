package image_test

import (
	"bytes"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"coilwright/emit/image"
	"coilwright/emit/readback"
)

var sacks = image.About{Machine: "mill", Hash: strings.Repeat("ab", 32), Program: "sack-count", Source: strings.Repeat("cd", 32), Memory: "ram", Bits: 12, BytesPerWord: 2}

// TestHeaderSegments: what is written is what is read, in address order.
func TestHeaderSegments(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 5))
	for range 100 {
		var in []image.Segment
		var want []readback.Segment
		at := r.Uint32N(1 << 20)
		for range 1 + r.IntN(5) {
			data := random(r, 1+r.IntN(40))
			in = append(in, image.Segment{Address: at, Data: data})
			want = append(want, readback.Segment{Address: at, Data: data})
			at += uint32(len(data)) + 1 + r.Uint32N(1<<16)
		}
		r.Shuffle(len(in), func(i, j int) { in[i], in[j] = in[j], in[i] })
		var b bytes.Buffer
		if err := image.HeaderSegments(&b, sacks, in); err != nil {
			t.Fatal(err)
		}
		got, err := readback.HeaderSegments(bytes.NewReader(b.Bytes()))
		if err != nil {
			t.Fatalf("%v\n%s", err, b.String())
		}
		if d := cmp.Diff(want, got.Segments); d != "" {
			t.Fatal(d)
		}
	}
}

func TestHeaderSegmentsRefuses(t *testing.T) {
	for _, in := range [][]image.Segment{nil, {{Address: 0, Data: nil}}, {{Address: 0, Data: []byte{1, 2}}, {Address: 1, Data: []byte{3}}}, {{Address: 0xFFFFFFFF, Data: []byte{1, 2}}}} {
		var b bytes.Buffer
		if err := image.HeaderSegments(&b, sacks, in); err == nil || b.Len() > 0 {
			t.Errorf("%v: %v, %d bytes written", in, err, b.Len())
		}
	}
}

// TestHeaderSegmentsCompiles in C99 and in C++11, without a warning, whatever
// the program is called.
func TestHeaderSegmentsCompiles(t *testing.T) {
	for _, compiler := range [][]string{{tool(t, "cc"), "-std=c99", "-x", "c"}, {tool(t, "c++"), "-std=c++11", "-x", "c++"}} {
		for _, name := range []string{"sack-count", "2nd", "", "*/ evil", "größe"} {
			about := sacks
			about.Program = name
			var b bytes.Buffer
			if err := image.HeaderSegments(&b, about, []image.Segment{{Address: 3, Data: []byte{1, 2, 3}}, {Address: 70000, Data: []byte{4}}}); err != nil {
				t.Fatal(err)
			}
			dir := t.TempDir()
			if err := os.WriteFile(filepath.Join(dir, "p.h"), b.Bytes(), 0o644); err != nil {
				t.Fatal(err)
			}
			if err := os.WriteFile(filepath.Join(dir, "p.c"), []byte("#include \"p.h\"\n#include \"p.h\"\nint main(void) { return 0; }\n"), 0o644); err != nil {
				t.Fatal(err)
			}
			args := append(append([]string{}, compiler[1:]...), "-Wall", "-Wextra", "-Wno-unused-const-variable", "-Wno-unused-variable", "-pedantic", "-Werror", "-fsyntax-only", "p.c")
			cmd := exec.Command(compiler[0], args...)
			cmd.Dir = dir
			if out, err := cmd.CombinedOutput(); err != nil {
				t.Errorf("%s, program %q: %v\n%s", compiler[0], name, err, out)
			}
		}
	}
}
