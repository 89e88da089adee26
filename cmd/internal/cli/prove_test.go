package cli_test

import (
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

func TestProve(t *testing.T) {
	dir := demo(t)
	got := run(t, dir, "wires", "millrace.coil", "--form", "csv")
	if got.status != 0 {
		t.Fatal(got.err)
	}
	list := strings.ReplaceAll(got.out, "\r\n", "\n")
	write(t, filepath.Join(dir, "wires.csv"), list)

	// A diode the wrong way round: its ends are swapped in every wire.
	turned := strings.NewReplacer(",D20:A,", ",D20:K,", ",D20:K,", ",D20:A,").Replace(list)
	write(t, filepath.Join(dir, "turned.csv"), turned)
	// A wire is not there.
	wire := regexp.MustCompile(`(?m)^wire,.*,line acc_l,.*\n`).FindString(list)
	if wire == "" {
		t.Fatal("no wire of the line acc_l in the list")
	}
	write(t, filepath.Join(dir, "short.csv"), strings.Replace(list, wire, "", 1))
	// The list of another version: of one with a comment more.
	write(t, filepath.Join(dir, "later.coil"), read(t, filepath.Join(dir, "millrace.coil"))+"; later\n")
	write(t, filepath.Join(dir, "text.csv"), "this is no list\n")

	tryAll(t, dir, []try{
		{"prove", "prove millrace.coil", 0, "millrace, style plain: proved", ""},
		{"what it does not show", "prove millrace.coil", 0, "Not shown", ""},
		{"prove with its time", "prove millrace.coil --time", 0, ": proved", " ms"},
		{"prove a list", "prove millrace.coil --wires wires.csv", 0, "256 opcodes, 4 combinations of flags, 12 phases", ""},
		{"prove a list of another version", "prove later.coil --wires wires.csv", 0, ": proved", "another version of the definition"},
		{"a diode the wrong way round", "prove millrace.coil --wires turned.csv", 1, "not proved", ""},
		{"a wire is missing", "prove millrace.coil --wires short.csv", 1, "is off and should be on", ""},
		{"where the definition asks", "prove millrace.coil --wires short.csv", 1, "asked for at millrace.coil:", ""},
		{"no list", "prove millrace.coil --wires text.csv", 1, "", "text.csv: "},
		{"no such file", "prove millrace.coil --wires nothing.csv", 3, "", "nothing.csv"},
		{"no name", "prove millrace.coil --wires=", 2, "", "--wires is empty"},
		{"wires and style", "prove millrace.coil --wires wires.csv --style shared", 2, "", "--style says how"},
		{"both from standard input", "prove - --wires -", 2, "", "both come from standard input"},
		{"no definition", "prove", 2, "", "the FILE with the definition is missing"},
		{"a style that is none", "prove millrace.coil --style tidy", 2, "", "one of plain, shared, minimal is wanted"},
	})
}

// TestProofFitsPaper: the page has 80 columns, whatever is found.
func TestProofFitsPaper(t *testing.T) {
	dir := demo(t)
	list := run(t, dir, "wires", "millrace.coil", "--form", "csv").out
	write(t, filepath.Join(dir, "turned.csv"), strings.NewReplacer(",D9:A,", ",D9:K,", ",D9:K,", ",D9:A,", ",K2:A1,", ",K3:A1,", ",K3:A1,", ",K2:A1,").Replace(list))
	for _, args := range [][]string{{"prove", "millrace.coil"}, {"prove", "millrace.coil", "--wires", "turned.csv"}} {
		for n, line := range strings.Split(run(t, dir, args...).out, "\n") {
			if len(line) > 80 {
				t.Errorf("%v, line %d has %d columns: %s", args, n+1, len(line), line)
			}
		}
	}
}
