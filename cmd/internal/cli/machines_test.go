package cli_test

import (
	"fmt"
	"path/filepath"
	"strings"
	"testing"
)

// TestNothingToStore: with every line omitted there is no word to store. What
// is said of it is no bug in the program.
func TestNothingToStore(t *testing.T) {
	dir := t.TempDir()
	write(t, filepath.Join(dir, "m.coil"), frame("", "line rst : restart\nstore { omit sw_g ir_l acc_l bell rst }\n"))
	for _, args := range []string{"image m.coil", "exercise m.coil", "image m.coil --chip 1", "image m.coil --form memh"} {
		if got := run(t, dir, strings.Fields(args)...); got.status != 1 || got.out != "" || got.err == "" {
			t.Errorf("%s: status %d, out %.100q\n%s", args, got.status, got.out, got.err)
		}
	}
	for _, args := range []string{"build m.coil", "matrix m.coil", "diodes m.coil", "check m.coil"} {
		if got := run(t, dir, strings.Fields(args)...); got.status > 1 {
			t.Errorf("%s: status %d\n%s", args, got.status, got.err)
		}
	}
	if list, _ := filepath.Glob(filepath.Join(dir, "out", "store.*")); len(list) > 0 {
		t.Errorf("images of nothing: %v", list)
	}
}

// TestTooManyRowsToSolder: above the limit there is no matrix, and build goes
// on with all that there is.
func TestTooManyRowsToSolder(t *testing.T) {
	var b strings.Builder
	b.WriteString("machine m\nbus d 16\nregister ir 16 opcode\nregister sw 16 input\nline sg : sw -> d\nline il : d -> ir\nline rst : restart\nline o0\nline o1\n")
	for _, f := range []string{"a", "b"} {
		fmt.Fprintf(&b, "field %s 7 {\n", f)
		for i := range 96 {
			fmt.Fprintf(&b, "    %s%d = %07b : o%d\n", f, i, i, i%2)
		}
		b.WriteString("}\n")
	}
	b.WriteString("fetch { step sg il }\ninstruction go x:a, y:b = 01 x y { step x y }\n")
	dir := t.TempDir()
	write(t, filepath.Join(dir, "m.coil"), b.String())
	const why = "no network of relays and diodes is drawn"
	for args, status := range map[string]int{"check m.coil": 0, "build m.coil": 0, "matrix m.coil": 1, "diodes m.coil": 1, "wires m.coil": 1, "prove m.coil": 1} {
		got := run(t, dir, strings.Fields(args)...)
		if got.status != status || !strings.Contains(got.err, why) {
			t.Errorf("%s: status %d, not %d\n%s", args, got.status, status, got.err)
		}
		if status == 1 && got.out != "" {
			t.Errorf("%s: data in spite of the error", args)
		}
	}
	if len(glob(t, dir, "out/store.bin", "out/phases.txt", "out/manifest.txt")) != 3 || len(glob(t, dir, "out/matrix.*", "out/wires.*")) != 0 {
		t.Errorf("in out: %v", glob(t, dir, "out/*"))
	}
}

func glob(t *testing.T, dir string, patterns ...string) []string {
	t.Helper()
	var out []string
	for _, p := range patterns {
		list, err := filepath.Glob(filepath.Join(dir, p))
		if err != nil {
			t.Fatal(err)
		}
		out = append(out, list...)
	}
	return out
}

// frame is a small machine without instructions; sequencer and more are put in.
func frame(sequencer, more string) string {
	return "machine m\nsequencer { " + sequencer + ` }
bus data 8
register sw 8 input
register ir 8 opcode
register acc 8
line sw_g : sw -> data
line ir_l : data -> ir
line acc_l : data -> acc
line bell
fetch { step sw_g ir_l }
instruction take = 0000_1011 { step sw_g acc_l }
` + more
}

// TestOddMachines builds sound definitions of unusual shape: every artefact is
// read back, so a status of 0 says that the readers agree with the writers.
func TestOddMachines(t *testing.T) {
	const rst, pick = "line rst : restart\n", "field pick 1 { yes = 1 : bell, no = 0 }\n"
	for name, test := range map[string]struct {
		text string
		file string // an artefact, in which
		part string // this stands
	}{
		"none at the end":            {frame("", rst+"instruction a = 0000_0001 { step bell\n step none }\n"), "phases.txt", "step 3 turns nothing on"},
		"none alone":                 {frame("", rst+"instruction a = 0000_0001 { step none }\n"), "phases.txt", "-- a --"},
		"a value without lines":      {frame("", rst+pick+"instruction a p:pick = 0000_001 p { step bell\n step p }\n"), "phases.txt", "  3 phases, 60 ms"},
		"and a wait before it":       {frame("", rst+pick+"instruction a p:pick = 0000_001 p { step bell\n wait 4\n step p }\n"), "phases.txt", "  8 phases, 160 ms"},
		"before a restart that cuts": {frame("restart cuts", rst+pick+"instruction a p:pick = 0000_001 p { step bell\n wait 2\n step p }\n"), "phases.txt", "  4 phases, 80 ms"},
		"in a ring without restart":  {frame("phases 12", pick+"instruction a p:pick = 0000_001 p { step bell\n wait 4\n step p }\n"), "phases.txt", "  12 phases, 240 ms"},
		"two after the end":          {frame("", rst+pick+"instruction a p:pick, q:pick = 0000_01 p q { step bell\n step p\n step q }\n"), "phases.txt", "step 4 turns nothing on"},
		"in one arm":                 {frame("", rst+pick+"flag f input\ninstruction a p:pick = 0000_001 p { step bell\n when f { step p } else { step bell } }\n"), "phases.txt", "path 1 of 2: f=0"},
		"a name wider than paper":    {strings.Replace(frame("", rst), "machine m", "machine "+strings.Repeat("mill_", 40)+" \"Mill\"", 1), "diodes.txt", strings.Repeat("mill_", 40) + "  sha256 "},
		"lines wider than paper":     {strings.ReplaceAll(frame("", rst+"instruction a = 0000_0001 { step bell }\n"), "bell", strings.Repeat("bell_", 40)), "phases.txt", strings.Repeat("bell_", 40)},
	} {
		t.Run(name, func(t *testing.T) {
			dir := t.TempDir()
			write(t, filepath.Join(dir, "m.coil"), test.text)
			got := run(t, dir, "build", "m.coil")
			if got.status != 0 {
				t.Fatalf("status %d\n%s", got.status, got.err)
			}
			if text := read(t, filepath.Join(dir, "out", test.file)); !strings.Contains(text, test.part) {
				t.Errorf("%s lacks %q:\n%s", test.file, test.part, text)
			}
		})
	}
}
