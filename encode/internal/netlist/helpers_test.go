package netlist_test

import (
	"bytes"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"coilwright/encode/internal/reference"
	"coilwright/encode/machine"
	"coilwright/encode/network"
	"coilwright/encode/network/wiring"
	"coilwright/encode/schedule"
	"coilwright/encode/store"
	"coilwright/lang/definition"
)

// tool finds a reference program. Without it the test is skipped, unless
// COILWRIGHT_REFERENCES=required says that it has to be there.
func tool(t testing.TB, name string) string {
	t.Helper()
	path, err := exec.LookPath(name)
	if err != nil {
		if os.Getenv("COILWRIGHT_REFERENCES") == "required" {
			t.Fatalf("%s is required: %v", name, err)
		}
		t.Skipf("%s is not installed", name)
	}
	return path
}

// subject is a machine with all that is made of it before it is written.
type subject struct {
	name    string
	store   *store.Store
	changes store.Changes
	machine *machine.Machine
}

// load takes a definition to its store; nil if it has errors.
func load(t testing.TB, name, text string) *subject {
	t.Helper()
	src, list := definition.Load(name, func(string) ([]byte, error) { return []byte(text), nil })
	if list.Errors() > 0 {
		t.Fatalf("%s does not parse: %v", name, list)
	}
	m, list := machine.Resolve(src)
	if list.Errors() > 0 {
		return nil
	}
	plan, list := schedule.Encode(m)
	if list.Errors() > 0 {
		return nil
	}
	return &subject{name, schedule.Weave(m, plan), schedule.Changes(m, plan), m}
}

func examples(t testing.TB) []*subject {
	t.Helper()
	var out []*subject
	files, err := filepath.Glob("../../../examples/*/*.coil")
	if err != nil || len(files) < 3 {
		t.Fatalf("examples: %v %v", files, err)
	}
	for _, f := range files {
		text, err := os.ReadFile(f)
		if err != nil {
			t.Fatal(err)
		}
		out = append(out, load(t, filepath.Base(f), string(text)))
	}
	return out
}

// randoms makes n machines by chance that are right and small enough to be
// tried out in every state.
func randoms(t testing.TB, n int, seed uint64) []*subject {
	t.Helper()
	r := rand.New(rand.NewPCG(seed, 1209))
	var out []*subject
	for len(out) < n {
		x := load(t, fmt.Sprintf("random %d", len(out)), reference.Random(r))
		if x == nil || (x.store.Phases+1)<<(x.store.OpcodeBits+len(x.store.Flags)) > 1500 {
			continue
		}
		x.store.Machine = fmt.Sprintf("random_%d", len(out))
		out = append(out, x)
	}
	return out
}

// build draws a network and places it, on cards that have room for it.
func build(t testing.TB, x *subject, style string) (*network.Circuit, *wiring.List) {
	t.Helper()
	hw := x.machine.Hardware
	c, err := network.Build(x.store, x.changes, hw, style)
	if err != nil {
		t.Fatalf("%s: %v", x.name, err)
	}
	hw.Cards = slices.Clone(hw.Cards)
	hw.Cards[0].Pins, hw.Cards[0].Columns = max(hw.Cards[0].Pins, 300), max(hw.Cards[0].Columns, 100)
	n, list := network.Place(c, x.store, hw)
	if list.Errors() > 0 {
		t.Fatalf("%s: %v", x.name, list)
	}
	return c, n.List
}

// written is what a writer writes.
func written(t testing.TB, write func(b *bytes.Buffer) error) string {
	t.Helper()
	var b bytes.Buffer
	if err := write(&b); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

func save(t testing.TB, path, text string) string {
	t.Helper()
	if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
	return path
}

func run(t testing.TB, name string, args ...string) string {
	t.Helper()
	out, err := exec.Command(name, args...).CombinedOutput()
	if err != nil {
		t.Fatalf("%s %s: %v\n%s", name, strings.Join(args, " "), err, out)
	}
	return string(out)
}
