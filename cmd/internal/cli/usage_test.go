package cli_test

import (
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

func TestStatusAndStreams(t *testing.T) {
	dir := demo(t)
	write(t, filepath.Join(dir, "wrong.coil"), "machine wrong\nbsu data 8\n")
	write(t, filepath.Join(dir, "spare.coil"), read(t, filepath.Join(dir, "millrace.coil"))+"\nregister spare 8\n")
	write(t, filepath.Join(dir, "full.coil"), `machine full
bus data 1
register sw 1 input
register ir 1 opcode
line sw_g : sw -> data
line ir_l : data -> ir
line rst : restart
fetch { step sw_g ir_l }
instruction off = 0
instruction on = 1
`)
	if err := os.Mkdir(filepath.Join(dir, "folder.coil"), 0o777); err != nil {
		t.Fatal(err)
	}
	tryAll(t, dir, []try{
		{"check", "check millrace.coil", 0, "millrace", ""},
		{"check of a bad definition", "check wrong.coil", 1, "", "wrong.coil:2:1: error: "},
		{"check with a warning", "check spare.coil", 0, "millrace", "spare.coil:"},
		{"check with a warning, as json", "check --form json spare.coil", 0, `"severity": "warning"`, ""},
		{"strict check with a warning", "check --strict spare.coil", 1, "millrace", "spare.coil:"},
		{"strict check without one", "check --strict millrace.coil", 0, "millrace", ""},
		{"check as json", "check --form json millrace.coil", 0, "[]", ""},
		{"errors as json", "check --form json wrong.coil", 1, `"severity": "error"`, ""},
		{"phases", "phases millrace.coil", 0, "add", ""},
		{"phases of one", "phases millrace.coil add", 0, "add", ""},
		{"phases of undefined opcodes", "phases millrace.coil undefined", 0, "undefined opcodes", ""},
		{"phases of undefined opcodes where there are none", "phases full.coil undefined", 2, "", "has no undefined opcodes"},
		{"phases of a misspelt one", "phases millrace.coil adb", 2, "", `did you mean "add"?`},
		{"hex is the default", "image millrace.coil", 0, ":00000001FF", ""},
		{"srec", "image millrace.coil --form srec", 0, "S0", ""},
		{"header", "image millrace.coil --form header", 0, "millrace_store", ""},
		{"memh", "image millrace.coil --form memh", 0, "@0", ""},
		{"bin", "image millrace.coil --form bin", 0, "\x00", ""},
		{"longer records", "image millrace.coil --record 32", 0, ":20", ""},
		{"exercise", "exercise millrace.coil", 0, ":00000001FF", ""},
		{"matrix", "matrix millrace.coil", 0, "Pulse wires", ""},
		{"matrix as csv", "matrix millrace.coil --form csv", 0, "acc_l", ""},
		{"diodes", "diodes millrace.coil", 0, "D1", ""},
		{"diodes as csv", "diodes millrace.coil --form csv", 0, "D1", ""},
		{"netlist", "netlist millrace.coil", 0, ".mv ", ""},
		{"netlist by phase wires", "netlist millrace.coil --phase onehot", 0, "phase_1 ", ""},
		{"netlist by phase numbers", "netlist millrace.coil --phase binary", 0, "phase_bit_0", ""},
		{"netlist of the network", "netlist millrace.coil --of network", 0, "plain style", ""},
		{"netlist in Verilog", "netlist millrace.coil --form verilog", 0, "module millrace_store", ""},
		{"netlist of the network in Verilog", "netlist millrace.coil --form verilog --of network", 0, "module millrace_network", ""},
		{"netlist as switches", "netlist millrace.coil --form verilog --of network --reading switches", 0, "tranif1", ""},
		{"netlist of the store as switches", "netlist millrace.coil --form verilog --reading switches", 2, "", "the network in verilog"},
		{"netlist with a phase that is a wire anyway", "netlist millrace.coil --form verilog --phase binary", 2, "", "one input a wire"},
		{"netlist masked", "netlist millrace.coil --form verilog --mask", 0, "_unmasked", ""},
		{"netlist of the network masked", "netlist millrace.coil --form verilog --of network --mask", 0, "_unmasked", ""},
		{"netlist as PLA masked", "netlist millrace.coil --mask", 2, "", "sums in verilog"},
		{"netlist as switches masked", "netlist millrace.coil --form verilog --of network --reading switches --mask", 2, "", "sums in verilog"},
		{"netlist of the store in a style", "netlist millrace.coil --style plain", 2, "", "it is about the network"},
		{"explain lists", "explain", 0, "file-unreadable", ""},
		{"explain", "explain file-unreadable", 0, "Wrong:", ""},
		{"explain what is not there", "explain file-unreadble", 2, "", `did you mean "file-unreadable"?`},
		{"version", "version", 0, "coilwright ", ""},
		{"version flag", "--version", 0, "coilwright ", ""},
		{"help", "help", 0, "Commands:", ""},
		{"help flag", "image --help", 0, "Usage:", ""},
		{"help about a command", "help image", 0, "Usage:", ""},
		{"help about the language", "help language", 0, "DECLARATIONS", ""},
		{"help about nothing known", "help biuld", 2, "", `did you mean "build"?`},
		{"completion", "completion bash", 0, "complete", ""},
		{"completion for no shell", "completion csh", 2, "", "one of bash, zsh"},

		{"no command", "", 2, "", "Commands:"},
		{"unknown command", "imge millrace.coil", 2, "", `did you mean "image"?`},
		{"unknown flag", "image millrace.coil --frm hex", 2, "", "unknown flag: --frm"},
		{"unknown form", "image millrace.coil --form hxe", 2, "", `did you mean "hex"?`},
		{"unknown colour", "check millrace.coil --colour sometimes", 2, "", "auto, always, never"},
		{"no file", "image", 2, "", "the FILE with the definition is missing"},
		{"two files", "image a.coil b.coil", 2, "", `"b.coil" is one argument too many`},
		{"chip of a word in one piece", "image millrace.coil --chip 99", 2, "", "no chip 99"},
		{"chip 0", "image millrace.coil --chip 0", 2, "", "without --chip the whole word"},
		{"chip that is none", "image millrace.coil --chip one", 2, "", "a whole number is wanted"},
		{"chip below 0", "image millrace.coil --chip -1", 2, "", "a whole number is wanted"},
		{"record that is none", "image millrace.coil --record x", 2, "", "a whole number is wanted"},
		{"record past all bounds", "image millrace.coil --record 99999999999999999999", 2, "", "a whole number is wanted"},
		{"record of nothing", "image millrace.coil --record 0", 2, "", "at least 1 byte"},
		{"record too long", "image millrace.coil --record 256", 2, "", "1 to 255"},
		{"record of a binary", "image millrace.coil --form bin --record 8", 2, "", "only hex and srec"},
		{"addressing of srec", "image millrace.coil --form srec --addressing segment", 2, "", "it is about hex"},
		{"size too small", "image millrace.coil --size 16", 2, "", "does not fit"},
		{"size that is none", "image millrace.coil --size big", 2, "", "a number of bytes is wanted"},
		{"size past all bounds", "image millrace.coil --size 4096M", 2, "", "at most 1073741824 bytes (1024M)"},
		{"size in a small letter", "image millrace.coil --form memh --size 128k", 0, "@0", ""},
		{"program's record", "assemble millrace.coil programs/sum.prog --record x", 2, "", "a whole number is wanted"},
		{"base that is none", "assemble millrace.coil programs/sum.prog --base here", 2, "", "a whole number is wanted"},
		{"base too large", "assemble millrace.coil programs/sum.prog --base 0x100000000", 2, "", "it is too large: at most 4294967295"},
		{"fill too large", "assemble millrace.coil programs/sum.prog --fill 256", 2, "", "it is too large: at most 255 (0xFF)"},
		{"two flags that mean nothing", "assemble millrace.coil programs/sum.prog --form listing --record 8 --fill 1 --base 2", 2, "", "--fill means nothing in form listing"},
		{"memory without a file", "rehearse millrace.coil programs/sum.prog --memory ram=", 2, "", "NAME=FILE is wanted"},
		{"phases that are none", "rehearse millrace.coil programs/sum.prog --phases few", 2, "", "a whole number is wanted"},
		{"instructions that are none", "rehearse millrace.coil programs/sum.prog --instructions 1.5", 2, "", "a whole number is wanted"},
		{"a style that is none", "wires millrace.coil --style minimum", 2, "", `did you mean "minimal"?`},
		{"build to standard output", "build millrace.coil --out -", 2, "", "a build is many files"},
		{"new example that is none", "new there --example milrace", 2, "", `did you mean "millrace"?`},
		{"over the input", "image millrace.coil -o millrace.coil", 2, "", "would destroy it"},
		{"format both ways", "format --check --replace millrace.coil", 2, "", "do not go together"},
		{"replace standard input", "format --replace -", 2, "", "cannot rewrite standard input"},

		{"no such file", "image nowhere.coil", 3, "", "nowhere.coil: error: "},
		{"a folder for a file", "image folder.coil", 3, "", "folder.coil: error: "},
		{"format of no such file", "format nowhere.coil", 3, "", "nowhere.coil"},
		{"onto a folder", "image millrace.coil -o folder.coil", 3, "", "is a folder"},
		{"below a file", "image millrace.coil -o millrace.coil/store.hex", 3, "", "not a directory"},
		{"into no folder", "image millrace.coil -o nowhere/store.hex", 3, "", "no such file or directory"},
		{"onto a full device", "image millrace.coil -o /dev/full", 3, "", "no space left on device"},
		{"not writable", "image millrace.coil -o /proc/store.hex", 3, "", "/proc/store.hex"},
		{"new over a file", "new .", 3, "", "exists already"},
		{"new where a file is", "new millrace.coil", 3, "", "millrace.coil is not a folder"},
		{"new to standard output", "new -", 2, "", "a machine is several files"},
	})
}

// TestEmptyWords: an empty word on the command line is a variable that was not
// set, and must not stand for the folder we are in or for standard output.
func TestEmptyWords(t *testing.T) {
	dir := demo(t)
	before := names(t, dir)
	prog := "programs/sum.prog"
	for want, lines := range map[string][][]string{
		"it is empty: name a file": {
			{"check", "millrace.coil"}, {"format", "millrace.coil"}, {"phases", "millrace.coil"}, {"image", "millrace.coil"},
			{"exercise", "millrace.coil"}, {"matrix", "millrace.coil"}, {"diodes", "millrace.coil"}, {"netlist", "millrace.coil"}, {"explain"}, {"version"},
			{"completion", "bash"}, {"assemble", "millrace.coil", prog}, {"rehearse", "millrace.coil", prog},
		},
		"--out is empty":       {{"build", "millrace.coil"}},
		"an argument is empty": {{"check", ""}, {"new", ""}, {"build", ""}, {"phases", "millrace.coil", ""}, {"rehearse", "millrace.coil", ""}, {"format", ""}},
	} {
		for _, args := range lines {
			ways := [][]string{args}
			if !strings.HasPrefix(want, "an argument") {
				ways = [][]string{append(args[:len(args):len(args)], "-o", ""), append(args[:len(args):len(args)], "--out=")}
			}
			for _, args := range ways {
				if got := run(t, dir, args...); got.status != 2 || got.out != "" || !strings.Contains(got.err, want) {
					t.Errorf("%q: status %d, out %.100q\n%s", args, got.status, got.out, got.err)
				}
			}
		}
	}
	for _, args := range [][]string{{"rehearse", "millrace.coil", prog, "--store", ""}, {"assemble", "millrace.coil", prog, "--memory", ""}} {
		if got := run(t, dir, args...); got.status != 2 || !strings.Contains(got.err, "is empty: it names") {
			t.Errorf("%q: status %d\n%s", args, got.status, got.err)
		}
	}
	if after := names(t, dir); !slices.Equal(after, before) {
		t.Errorf("the folder holds %v, before %v", after, before)
	}
}

// TestHelp holds what every command owes: an example, and lines that fit 80 characters.
func TestHelp(t *testing.T) {
	list := commands(t)
	if len(list) < 13 {
		t.Fatalf("only %d commands: %v", len(list), list)
	}
	for _, name := range append(list, "language") {
		t.Run(name, func(t *testing.T) {
			text := must(t, ".", "help", name)
			if name != "language" && !strings.Contains(text, "Examples:\n  ") {
				t.Error("no example")
			}
			for i, line := range strings.Split(text, "\n") {
				if len(line) > 80 {
					t.Errorf("line %d has %d characters: %s", i+1, len(line), line)
				}
			}
		})
	}
}

// TestExamples types every example of the help in the folder of the demo.
func TestExamples(t *testing.T) {
	dir := demo(t)
	for _, folder := range []string{".zfunc", ".config/fish/completions"} {
		if err := os.MkdirAll(filepath.Join(dir, folder), 0o777); err != nil {
			t.Fatal(err)
		}
	}
	write(t, filepath.Join(dir, "chip.hex"), must(t, dir, "image", "millrace.coil"))
	typed := 0
	for _, name := range commands(t) {
		_, after, _ := strings.Cut(must(t, ".", "help", name), "Examples:\n")
		block, _, _ := strings.Cut(after, "\n\n")
		for _, line := range strings.Split(block, "\n") {
			if strings.Contains(line, "<(") { // for a shell that has it
				continue
			}
			line = strings.NewReplacer("coilwright ", "'"+binary+"' ", "| lp", "| cat", "| less", "| cat").Replace(strings.TrimSpace(line))
			cmd := command(dir, "version")
			cmd.Path, cmd.Args = "/bin/sh", []string{"sh", "-c", line}
			cmd.Env = append(cmd.Env, "HOME="+dir)
			if got := finish(t, cmd); got.status != 0 || got.err != "" {
				t.Errorf("%s: status %d\n%s", line, got.status, got.err)
			}
			typed++
		}
	}
	if typed < 30 {
		t.Errorf("only %d examples", typed)
	}
}

// TestReadmeNamesEveryCommand keeps README.md and the program together.
func TestReadmeNamesEveryCommand(t *testing.T) {
	readme := read(t, filepath.Join("..", "..", "..", "README.md"))
	for _, name := range append(commands(t), "help language") {
		if !strings.Contains(readme, "coilwright "+name) {
			t.Errorf("README.md does not mention `coilwright %s`", name)
		}
	}
}

// commands reads the names of all commands from the help text.
func commands(t *testing.T) []string {
	t.Helper()
	_, after, ok := strings.Cut(must(t, ".", "help"), "Commands:\n")
	if !ok {
		t.Fatal("the help lists no commands")
	}
	block, _, _ := strings.Cut(after, "\n\n")
	var list []string
	for _, line := range strings.Split(block, "\n") {
		list = append(list, strings.Fields(line)[0])
	}
	return list
}

func TestCompletion(t *testing.T) {
	dir := demo(t)
	for args, want := range map[string]string{
		"__complete phases millrace.coil ad":  "add",
		"__complete image --form h":           "hex",
		"__complete explain file-un":          "file-unreadable",
		"__complete new x --example f":        "firststeps",
		"__complete check ":                   "coil",
		"__complete help lan":                 "language",
		"__complete completion f":             "fish",
		"__complete phases millrace.coil a b": ":4",
	} {
		fields := strings.Fields(args)
		if strings.HasSuffix(args, " ") {
			fields = append(fields, "")
		}
		got := run(t, dir, fields...)
		if got.status != 0 || !strings.Contains(got.out, want) {
			t.Errorf("%s: status %d, %q lacks %q", args, got.status, got.out, want)
		}
	}
}
