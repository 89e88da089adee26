package cli_test

import (
	"flag"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

var updateReadme = flag.Bool("update-readme", false, "write the output of the tour's commands into README.md")

// proofTime is how long a proof took: what the page says is as good as any.
var proofTime = regexp.MustCompile(`\bin \d+(\.\d)? m?s$`)

// TestReadmeTour runs every command of the tour, in order and in one folder,
// and compares what it prints with the page. A line "..." stands for any lines
// that follow, to the end of the block.
func TestReadmeTour(t *testing.T) {
	path := filepath.Join("..", "..", "..", "README.md")
	page := read(t, path)
	dir := t.TempDir()
	lines := strings.Split(page, "\n")
	var out []string
	ran := 0
	for i := 0; i < len(lines); i++ {
		out = append(out, lines[i])
		if lines[i] != "```console" {
			continue
		}
		command, ok := strings.CutPrefix(lines[i+1], "$ coilwright ")
		if !ok {
			t.Fatalf("README.md:%d: a console block begins with $ coilwright", i+2)
		}
		end := i + 2
		for lines[end] != "```" {
			end++
		}
		want := lines[i+2 : end]
		cmd := exec.Command(binary, strings.Fields(command)...)
		cmd.Dir = dir
		text, err := cmd.CombinedOutput()
		if err != nil {
			t.Fatalf("coilwright %s: %v\n%s", command, err, text)
		}
		ran++
		got := strings.Split(strings.TrimRight(strings.ReplaceAll(string(text), "\f", ""), "\n"), "\n")
		for k := range got {
			got[k] = proofTime.ReplaceAllString(strings.TrimRight(got[k], " "), "in 0.3 ms")
		}
		if n := len(want); n > 0 && want[n-1] == "..." {
			keep := 24
			if len(got) > keep {
				got = append(got[:keep:keep], "...")
			}
		}
		out = append(out, lines[i+1])
		out = append(out, got...)
		i = end - 1
		if !*updateReadme {
			if diff := cmp.Diff(want, got); diff != "" {
				t.Errorf("README.md, coilwright %s: the page (-) and the program (+); -update-readme writes it:\n%s", command, diff)
			}
		}
	}
	if ran < 8 {
		t.Errorf("the tour runs %d commands", ran)
	}
	if *updateReadme || os.Getenv("UPDATE_GOLDEN") == "1" {
		if err := os.WriteFile(path, []byte(strings.Join(out, "\n")), 0o644); err != nil {
			t.Fatal(err)
		}
	}
}
