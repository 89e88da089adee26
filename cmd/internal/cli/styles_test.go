package cli_test

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"coilwright/encode/machine"
	"coilwright/encode/network"
	"coilwright/encode/schedule"
	"coilwright/examples"
	"coilwright/lang/definition"

	"github.com/google/go-cmp/cmp"
)

// TestStylesTable works out what each example takes in each style, and compares
// it with the table in README.md; -update-readme writes it.
func TestStylesTable(t *testing.T) {
	costs := map[string]network.Cost{}
	lines := []string{
		"| machine | style | relays | poles in use | diodes | joints | cost | lower bound | cards |",
		"|---|---|---|---|---|---|---|---|---|",
	}
	for _, name := range examples.Names() {
		src, list := definition.Load(name+".coil", func(string) ([]byte, error) {
			return examples.FS.ReadFile(name + "/" + name + ".coil")
		})
		m, more := machine.Resolve(src)
		plan, last := schedule.Encode(m)
		if n := list.Errors() + more.Errors() + last.Errors(); n > 0 {
			t.Fatalf("%s has %d errors", name, n)
		}
		s := schedule.Weave(m, plan)
		for _, style := range network.Styles {
			c, err := network.Build(s, schedule.Changes(m, plan), m.Hardware, style)
			if err != nil {
				t.Fatal(err)
			}
			n, wrong := network.Place(c, s, m.Hardware)
			if wrong.Errors() > 0 {
				t.Fatal(name, style, wrong)
			}
			costs[name+" "+style] = c.Cost
			lines = append(lines, fmt.Sprintf("| %s | %s | %d | %d | %d | %d | %.2f | %.2f | %d (at least %d) |",
				name, style, c.Cost.Relays, c.Cost.Contacts, c.Cost.Diodes+c.Cost.Coils, c.Cost.Joints, c.Cost.Total, c.Bound, len(n.Matrix.Cards), n.LeastCards))
		}
	}
	if plain, minimal := costs["millrace plain"].Total, costs["millrace minimal"].Total; minimal > plain/2 {
		t.Errorf("millrace costs %.2f in style minimal, more than half of %.2f", minimal, plain)
	}
	if n := costs["firststeps minimal"].Relays; n > 4 {
		t.Errorf("firststeps decodes with %d relays", n)
	}

	path := filepath.Join("..", "..", "..", "README.md")
	page := read(t, path)
	before, rest, ok := strings.Cut(page, "<!-- styles -->\n")
	table, after, closed := strings.Cut(rest, "<!-- /styles -->")
	if !ok || !closed {
		t.Fatal("README.md has no place for the table of styles")
	}
	want := strings.Join(lines, "\n") + "\n"
	if *updateReadme || os.Getenv("UPDATE_GOLDEN") == "1" {
		if err := os.WriteFile(path, []byte(before+"<!-- styles -->\n"+want+"<!-- /styles -->"+after), 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	if d := cmp.Diff(table, want); d != "" {
		t.Errorf("README.md (-) and the program (+); -update-readme writes it:\n%s", d)
	}
}
