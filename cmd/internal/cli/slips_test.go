package cli_test

import (
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"runtime"
	"strings"
	"sync"
	"testing"

	"coilwright/encode/machine"
	"coilwright/encode/network"
	"coilwright/encode/schedule"
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

// TestOneSlip deletes every token of the demo and replaces it by others: each
// time there is one error, or none where the definition is still valid.
func TestOneSlip(t *testing.T) {
	path := filepath.Join("..", "..", "..", "examples", "millrace", "millrace.coil")
	raw, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	text := string(raw)
	type slip struct{ from, to int }
	var slips []slip
	for _, at := range piece.FindAllStringIndex(text, -1) {
		if text[at[0]] != ';' {
			slips = append(slips, slip{at[0], at[1]})
		}
	}
	if len(slips) < 500 {
		t.Fatalf("only %d tokens were found: the demo has more", len(slips))
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
					sources, list := diagnose("millrace.coil", map[string]string{"millrace.coil": text[:s.from] + other + text[s.to:]})
					n := list.Errors()
					mu.Lock()
					runs++
					if n == 0 {
						valid++
					}
					if n > 1 {
						failed++
						if failed <= 20 || os.Getenv("SLIPS") == "all" {
							var b strings.Builder
							if err := (diag.Printer{Sources: sources}).Print(&b, list); err != nil {
								t.Error(err)
							}
							line := 1 + strings.Count(text[:s.from], "\n")
							t.Errorf("%d errors after line %d, %q replaced by %q:\n%s", n, line, text[s.from:s.to], other, b.String())
						}
					}
					mu.Unlock()
				}
			}
		})
	}
	for _, s := range slips {
		next <- s
	}
	close(next)
	wait.Wait()
	if failed > 0 {
		t.Errorf("%d of %d slips give more than one error", failed, runs)
	}
	t.Logf("%d slips: one error each, but for %d that leave a valid definition", runs, valid)
}
