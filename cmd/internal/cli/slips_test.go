package cli_test

import (
	"fmt"
	"io/fs"
	"regexp"
	"runtime"
	"slices"
	"strings"
	"sync"
	"testing"

	"coilwright/encode/machine"
	"coilwright/encode/network"
	"coilwright/encode/schedule"
	"coilwright/examples"
	"coilwright/lang/definition"
	"coilwright/lang/diag"
)

// diagnose takes a definition through every stage and returns what they have
// to say as it is printed. The files stand in memory.
func diagnose(root string, files map[string]string) (diag.Sources, diag.List) {
	src, list := definition.Load(root, func(path string) ([]byte, error) {
		text, ok := files[path]
		if !ok {
			return nil, fs.ErrNotExist
		}
		return []byte(text), nil
	})
	if src == nil {
		return nil, list
	}
	m, more := machine.Resolve(src)
	list = append(list, more...)
	plan, more := schedule.Encode(m)
	list = append(list, more...)
	if list.Errors() == 0 {
		s := schedule.Weave(m, plan)
		c, err := network.Build(s, schedule.Changes(m, plan), m.Hardware, "plain")
		if err != nil {
			panic(err)
		}
		_, more = network.Place(c, s, m.Hardware)
		list = append(list, more...)
	}
	return src.Text, list.Settle(src.Paths())
}

// piece cuts a definition into tokens (language.md, Tokens), written anew here.
var piece = regexp.MustCompile(`;[^\n]*|"[^"\n]*"|[A-Za-z][A-Za-z0-9_]*|[0-9?][A-Za-z0-9_?.]*|->|[^\s]`)

// TestOneSlip deletes every token of the examples and replaces it by others:
// each time there is one error, or none where the definition is still valid.
func TestOneSlip(t *testing.T) {
	for name, tokens := range map[string]int{"millrace": 700, "textbook": 250, "firststeps": 100} {
		t.Run(name, func(t *testing.T) {
			raw, err := fs.ReadFile(examples.FS, name+"/"+name+".coil")
			if err != nil {
				t.Fatal(err)
			}
			slips(t, string(raw), tokens)
		})
	}
}

// slips tries the slips of one definition, which has at least so many tokens.
func slips(t *testing.T, text string, tokens int) {
	type slip struct{ from, to int }
	var all []slip
	for _, at := range piece.FindAllStringIndex(text, -1) {
		if text[at[0]] != ';' {
			all = append(all, slip{at[0], at[1]})
		}
	}
	if len(all) < tokens {
		t.Fatalf("only %d tokens were found, there are more than %d", len(all), tokens)
	}
	others := []string{"", "zzz", "@", "7", "{", "}"}
	var mu sync.Mutex
	runs, valid, failed := 0, 0, 0
	next := make(chan slip)
	var wait sync.WaitGroup
	for range runtime.GOMAXPROCS(0) {
		wait.Go(func() {
			for s := range next {
				for _, other := range others {
					sources, list := diagnose("slip.coil", map[string]string{"slip.coil": text[:s.from] + other + text[s.to:]})
					n := list.Errors()
					mu.Lock()
					runs++
					switch {
					case n == 0:
						valid++
					case n > 1:
						if failed++; failed <= 20 {
							line := 1 + strings.Count(text[:s.from], "\n")
							t.Errorf("%d errors after line %d, %q replaced by %q:\n%s", n, line, text[s.from:s.to], other, printed(t, sources, list))
						}
					}
					mu.Unlock()
				}
			}
		})
	}
	for _, s := range all {
		next <- s
	}
	close(next)
	wait.Wait()
	if failed > 0 {
		t.Errorf("%d of %d slips give more than one error", failed, runs)
	}
	if valid > runs/4 {
		t.Errorf("%d of %d slips leave a valid definition: the test shows little", valid, runs)
	}
	t.Logf("%d slips: one error each, but for %d that leave a valid definition", runs, valid)
}

// TestSlipsStayApart makes slips that have nothing to do with each other, all
// in one definition: each has an error of its own, and none hides another.
func TestSlipsStayApart(t *testing.T) {
	stayApart(t, []apartSlip{
		{"change gap 1 ms", "change gap 1 mm", "change: the gap between two phases is not in mm"},
		{"register sw  8 input", "register sw  8 inputt", "a register cannot be inputt"},
		{"line ram_g : ram[addr] -> data", "line ram_g : ram[adr] -> data", "nothing is named adr here"},
		{"line bell  pulse 3", "line bell  puls 3", "a line has no attribute puls"},
		{"line lnk_g : lnk -> addr", "line lnk_g : lnk = addr", "expected -> and a destination, found ="},
		{"= 0010_0001, place {", "= 0010_001, place {", "the first word of sta is 7 bits"},
		{"when carry {", "when acc {", "register acc is no flag"},
		{"except d = s  ;", "except d = tmpp  ;", "tmpp is neither an operand of move nor a value"},
		{"    step logic alt res_l", "    step logic alt res_l res_l2", "nothing is named res_l2 here"},
		{"= 1000_0000 {\n    step res_l", "= 1000_0000 {\n    step tmp_g res_l acc_g", "tmp_g and acc_g both drive bus data"},
		{"instruction shr = 1000_1000 {\n    step shr_l\n    step out_l", "instruction shr = 1000_1000 {\n    step shr_l acc_l\n    step out_l", "shr_l reads acc while acc_l latches it"},
		{"undefined restart", "undefined restrat", "not restrat"},
		{"diode { drop 0.7 V", "diode { drop 0.7", "drop: the forward drop needs a unit"},
		{"95 = ground", "94 = ground", "pin 94 is used twice"},
	})
}

// TestSlipsInStepsStayApart does the same where the definition is whole and its
// steps are wrong: that two of them share a line, a bus or a register makes one
// cause of them only where that is wrong itself.
func TestSlipsInStepsStayApart(t *testing.T) {
	stayApart(t, []apartSlip{
		{"    do operand\n    step arg_g ram_g acc_l", "    do operand\n    step acc_l", "acc_l reads bus data, on which no source is on"},
		{"step arg_g acc_g ram_l", "step arg_g acc_g tmp_g ram_l", "acc_g and tmp_g both drive bus data"},
		{"step arg_g pc_l lnk_l", "step pc_l lnk_l", "pc_l reads bus addr, on which no source is on"},
		{"step logic res_l\n    step res_g acc_l", "step logic res_l\n    step acc_l", "acc_l reads bus data, on which no source is on"},
		{"instruction cmp = 1000_0101 {  ; a difference that nobody takes back: flags only\n    step alt res_l", "instruction cmp = 1000_0101 {  ; a difference that nobody takes back: flags only\n    step alt res_l acc_l", "res_l reads acc while acc_l latches it"},
		{"    step shr_l\n    step out_l", "    step shr_l\n    step out_l res_l", "out_l and res_l both set carry"},
	})
}

type apartSlip struct{ from, to, part string }

func stayApart(t *testing.T, slips []apartSlip) {
	t.Helper()
	raw, err := fs.ReadFile(examples.FS, "millrace/millrace.coil")
	if err != nil {
		t.Fatal(err)
	}
	text := string(raw)
	var want []mark
	for _, slip := range slips {
		at := strings.Index(text, slip.from)
		if at < 0 {
			t.Fatalf("the demo has no %q", slip.from)
		}
		differs := 0
		for differs < min(len(slip.from), len(slip.to)) && slip.from[differs] == slip.to[differs] {
			differs++
		}
		text = text[:at] + slip.to + text[at+len(slip.from):]
		want = append(want, mark{fmt.Sprintf("slip.coil:%d", 1+strings.Count(text[:at+differs], "\n")), diag.Error, slip.part})
	}
	sources, list := diagnose("slip.coil", map[string]string{"slip.coil": text})
	for _, d := range list {
		i := slices.IndexFunc(want, func(m mark) bool {
			return m.line == fmt.Sprintf("%s:%d", d.At.File, d.At.Line) && strings.Contains(d.Text, m.part)
		})
		if i < 0 {
			t.Errorf("not expected: %s: %s [%s]", d.At, d.Text, d.Name)
			continue
		}
		want = slices.Delete(want, i, i+1)
	}
	for _, m := range want {
		t.Errorf("hidden by the others: %s: %q", m.line, m.part)
	}
	if t.Failed() {
		t.Logf("%s", printed(t, sources, list))
	}
}
