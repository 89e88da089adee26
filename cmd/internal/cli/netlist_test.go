package cli_test

import (
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

// TestNetlistForOthers types what the help says about comparing store and
// network, on what its examples write, and then on files with one contact or
// one output of a row turned over.
func TestNetlistForOthers(t *testing.T) {
	need(t, "berkeley-abc")
	need(t, "yosys")
	iverilog := need(t, "iverilog")
	dir := demo(t)
	write(t, filepath.Join(dir, "firststeps.coil"), read(t, filepath.Join("..", "..", "..", "examples", "firststeps", "firststeps.coil")))
	help := must(t, dir, "help", "netlist")
	lines := regexp.MustCompile(`(?m)^  (?:berkeley-abc|yosys) (?:.*\\\n)*.*$`).FindAllString(help, -1)
	if len(lines) != 3 {
		t.Fatalf("the help has %d lines for others: %q", len(lines), lines)
	}
	_, examples, _ := strings.Cut(help, "Examples:\n")
	examples, _, _ = strings.Cut(examples, "\n\n")
	// The builder takes its time for other styles of millrace.
	for _, machine := range []string{"millrace plain", "firststeps plain", "firststeps shared", "firststeps minimal"} {
		name, style, _ := strings.Cut(machine, " ")
		for _, example := range strings.Split(strings.ReplaceAll(examples, "millrace", name), "\n") {
			args := strings.Fields(example)[1:]
			if strings.Contains(example, "--of network") {
				args = append(args, "--style", style)
			}
			must(t, dir, args...)
		}
		must(t, dir, "netlist", name+".coil", "--form", "verilog", "--of", "network", "--style", style, "--reading", "switches", "-o", "switches.v")
		for _, file := range []string{"store.v", "net.v", "switches.v"} {
			if said := runTool(t, dir, iverilog, "-Wall", "-tnull", file); said != "" {
				t.Errorf("%s, %s: %s", machine, file, said)
			}
		}
		for _, line := range lines {
			if said := typed(dir, strings.ReplaceAll(line, "millrace", name)); !saysEqual(said) {
				t.Errorf("%s, %s: %s", machine, line, said)
			}
		}
		for file, turn := range map[string][2]string{"net.v": {" & ~K", " & K"}, "rows.pla": {" 1~", " ~1"}} {
			text := read(t, filepath.Join(dir, file))
			write(t, filepath.Join(dir, file), strings.Replace(text, turn[0], turn[1], 1))
		}
		for _, line := range lines {
			said := typed(dir, strings.ReplaceAll(line, "millrace", name))
			if saysEqual(said) || !strings.Contains(said, "Networks are NOT EQUIVALENT") && !strings.Contains(said, "model found: FAIL!") {
				t.Errorf("%s, a fault is not found by %s: %s", machine, line, said)
			}
		}
	}
}

// TestReadmeCompares types what the tour says about the same.
func TestReadmeCompares(t *testing.T) {
	need(t, "berkeley-abc")
	dir := t.TempDir()
	must(t, dir, "new", "mill", "--example", "firststeps")
	_, block, ok := strings.Cut(read(t, filepath.Join("..", "..", "..", "README.md")), "```sh\ncoilwright netlist ")
	block, _, closed := strings.Cut("coilwright netlist "+block, "```")
	if !ok || !closed {
		t.Fatal("README.md compares nothing")
	}
	if said := typed(dir, strings.ReplaceAll(block, "coilwright ", "'"+binary+"' ")); !saysEqual(said) {
		t.Errorf("%s%s", block, said)
	}
}

// typed is what a shell says to lines. That files differ may be a status too.
func typed(dir, lines string) string {
	cmd := exec.Command("/bin/sh", "-c", lines)
	cmd.Dir = dir
	out, _ := cmd.CombinedOutput()
	return string(out)
}

func saysEqual(said string) bool {
	return strings.Contains(said, "Networks are equivalent") || strings.Contains(said, "no model found: SUCCESS!")
}
