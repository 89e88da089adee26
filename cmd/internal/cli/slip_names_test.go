package cli_test

import (
	"fmt"
	"io/fs"
	"os"
	"runtime"
	"strings"
	"sync"
	"testing"

	"coilwright/examples"
)

// severalCauses are slips that may give more than one error, and why.
var severalCauses = map[string]string{
	"line 77: pc replaced by lnk": "pc_l works in the three jumps, so it is not suspected where it meets the other lines of lnk",
}

// TestSlipOfARealName replaces tokens of the examples by other tokens that
// stand in the same file, deletes them, doubles them, swaps them with their
// neighbours and breaks the line before them: each time there is one error, or none where the definition is
// still valid. COILWRIGHT_SLIPS=all tries every replacement and not a sample.
func TestSlipOfARealName(t *testing.T) {
	for _, c := range []struct {
		name   string
		stride int // of how many replacements one is tried
		fewest int // tries
	}{
		{"millrace", 61, 5000},
		{"textbook", 11, 2000},
		{"firststeps", 5, 1500},
	} {
		t.Run(c.name, func(t *testing.T) {
			raw, err := fs.ReadFile(examples.FS, c.name+"/"+c.name+".coil")
			if err != nil {
				t.Fatal(err)
			}
			if os.Getenv("COILWRIGHT_SLIPS") == "all" {
				c.stride = 1
			}
			tries := slipsOf(string(raw), c.stride)
			if len(tries) < c.fewest {
				t.Fatalf("only %d slips were made, there are %d at least", len(tries), c.fewest)
			}
			oneErrorEach(t, tries)
		})
	}
}

// slipTry is a slip and how to make it: all texts at once would be gigabytes.
type slipTry struct {
	what string
	text func() string
}

func slipsOf(text string, stride int) []slipTry {
	var all [][]int
	var words []string
	seen := map[string]bool{}
	for _, at := range piece.FindAllStringIndex(text, -1) {
		if text[at[0]] == ';' {
			continue
		}
		all = append(all, at)
		if w := text[at[0]:at[1]]; !seen[w] {
			seen[w] = true
			words = append(words, w)
		}
	}
	var out []slipTry
	// add replaces the text between two places.
	add := func(from, to int, what, by string) {
		out = append(out, slipTry{
			fmt.Sprintf("line %d: %s", 1+strings.Count(text[:from], "\n"), what),
			func() string { return text[:from] + by + text[to:] },
		})
	}
	n := 0
	for i, at := range all {
		from, to := at[0], at[1]
		word := text[from:to]
		for _, other := range words {
			if n++; other != word && n%stride == 0 {
				add(from, to, fmt.Sprintf("%s replaced by %s", word, other), other)
			}
		}
		add(from, to, word+" deleted", "")
		add(from, to, word+" doubled", word+" "+word)
		add(from, from, "a new line before "+word, "\n")
		if i+1 < len(all) {
			next, end := all[i+1][0], all[i+1][1]
			add(from, end, fmt.Sprintf("%s and %s swapped", word, text[next:end]), text[next:end]+text[to:next]+word)
		}
	}
	return out
}

func oneErrorEach(t *testing.T, tries []slipTry) {
	t.Helper()
	var mu sync.Mutex
	valid, failed := 0, 0
	next := make(chan slipTry)
	var wait sync.WaitGroup
	for range runtime.GOMAXPROCS(0) {
		wait.Go(func() {
			for try := range next {
				sources, list := diagnose("slip.coil", map[string]string{"slip.coil": try.text()})
				n := list.Errors()
				mu.Lock()
				switch {
				case n == 0:
					valid++
				case n > 1 && severalCauses[try.what] == "":
					if failed++; failed <= 20 {
						t.Errorf("%d errors, %s:\n%s", n, try.what, printed(t, sources, list))
					}
				}
				mu.Unlock()
			}
		})
	}
	for _, try := range tries {
		next <- try
	}
	close(next)
	wait.Wait()
	if failed > 0 {
		t.Errorf("%d of %d slips give more than one error", failed, len(tries))
	}
	if valid > len(tries)/3 {
		t.Errorf("%d of %d slips leave a valid definition: the test shows little", valid, len(tries))
	}
	t.Logf("%d slips: one error each, but for %d that leave a valid definition", len(tries), valid)
}
