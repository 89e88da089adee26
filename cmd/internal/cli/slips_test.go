package cli_test

import (
	"io/fs"
	"regexp"
	"runtime"
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
		_, more = network.Plain(schedule.Weave(m, plan), m.Hardware)
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
