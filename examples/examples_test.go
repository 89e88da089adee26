package examples_test

import (
	"fmt"
	"io/fs"
	"path"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"coilwright/emit/image"
	"coilwright/encode/machine"
	"coilwright/encode/network"
	"coilwright/encode/schedule"
	"coilwright/examples"
	"coilwright/lang/definition"
	"coilwright/lang/diag"
)

// definitionOf is the path of an example's definition in FS.
func definitionOf(name string) string { return path.Join(name, name+".coil") }

func page(t *testing.T, name string) string {
	t.Helper()
	text, err := examples.FS.ReadFile(path.Join(name, "README.md"))
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}

// load takes an example through every stage; any word that a stage has to say
// fails the test.
func load(t *testing.T, name string) *example {
	t.Helper()
	src, list := definition.Load(definitionOf(name), examples.FS.ReadFile)
	silent := func(stage string, list diag.List) {
		t.Helper()
		for _, d := range list {
			t.Errorf("%s: %v: %v: %s [%s]", stage, d.At, d.Severity, d.Text, d.Name)
		}
		if t.Failed() {
			t.FailNow()
		}
	}
	silent("load", list)
	e := &example{}
	e.machine, list = machine.Resolve(src)
	silent("resolve", list)
	e.plan, list = schedule.Encode(e.machine)
	silent("schedule", list)
	e.store = schedule.Weave(e.machine, e.plan)
	c, err := network.Build(e.store, schedule.Changes(e.machine, e.plan), e.machine.Hardware, "plain")
	if err != nil {
		t.Fatal(err)
	}
	n, list := network.Place(c, e.store, e.machine.Hardware)
	silent("place", list)
	e.matrix, e.diodes = n.Matrix, len(n.List.Diodes)
	if e.image, err = image.Whole(e.store); err != nil {
		t.Fatal(err)
	}
	if e.image.Little {
		t.Fatal("this test reads words high byte first")
	}
	return e
}

func TestFoldersAreNames(t *testing.T) {
	entries, err := fs.ReadDir(examples.FS, ".")
	if err != nil {
		t.Fatal(err)
	}
	var folders []string
	for _, e := range entries {
		folders = append(folders, e.Name())
	}
	want := map[string]bool{}
	for _, name := range examples.Names() {
		want[name] = true
	}
	for _, f := range folders {
		if !want[f] {
			t.Errorf("folder %s is not among Names", f)
		}
	}
	if len(folders) != len(examples.Names()) {
		t.Errorf("folders %v, names %v", folders, examples.Names())
	}
	if examples.Names()[0] != "millrace" {
		t.Errorf("the machine to begin from is %s", examples.Names()[0])
	}
}

func TestExamplesBuildWithoutAWord(t *testing.T) {
	for _, name := range examples.Names() {
		t.Run(name, func(t *testing.T) {
			if e := load(t, name); e.machine.Name != name {
				t.Errorf("folder %s holds machine %s", name, e.machine.Name)
			}
		})
	}
}

func TestExamplesAreLaidOut(t *testing.T) {
	for _, name := range examples.Names() {
		text, err := examples.FS.ReadFile(definitionOf(name))
		if err != nil {
			t.Fatal(err)
		}
		got, list := definition.Format(definitionOf(name), string(text))
		if len(list) > 0 {
			t.Errorf("%s: %v", name, list)
		}
		if diff := cmp.Diff(string(text), got); diff != "" {
			t.Errorf("%s is not laid out as `coilwright format` lays it out (-file +format):\n%s", name, diff)
		}
	}
}

func TestExamplesReadAtABench(t *testing.T) {
	for _, name := range examples.Names() {
		text, err := examples.FS.ReadFile(definitionOf(name))
		if err != nil {
			t.Fatal(err)
		}
		for file, text := range map[string]string{definitionOf(name): string(text), name + "/README.md": page(t, name)} {
			for i, line := range strings.Split(text, "\n") {
				if n := len([]rune(line)); n > 100 {
					t.Errorf("%s:%d: %d characters", file, i+1, n)
				}
			}
		}
	}
}

func TestFirststepsDecodesWithFewRelays(t *testing.T) {
	e := load(t, "firststeps")
	if got := len(e.machine.Instructions); got != 2 {
		t.Errorf("%d instructions, want 2", got)
	}
	care := uint64(0)
	for _, r := range e.store.Rows {
		if e.store.Owners[r.Owner].Kind == "instruction" {
			care |= r.Opcode.Care
		}
	}
	if care != 0b1100 {
		t.Errorf("opcode bits that matter are %04b, want 1100", care)
	}
	if want := fmt.Sprintf("%d diodes", e.diodes); !strings.Contains(page(t, "firststeps"), want) {
		t.Errorf("the page does not say %q", want)
	}
	if got := len(e.matrix.Cards); got != 1 || e.plan.Phases != 7 {
		t.Errorf("%d cards, %d phases: the page says one card and seven phases", got, e.plan.Phases)
	}
	if len(e.store.Free) == 0 {
		t.Error("no opcode is free")
	}

	// 0: show 5, 1: show 10, 2: jump 0.
	b := newBench(t, e)
	copy(b.memory["board"], []uint64{0x45, 0x4A, 0x80})
	for _, want := range []uint64{5, 10, 10, 5, 10, 10} {
		b.run(1)
		b.want("lamps", []string{"lamps"}, want)
	}
	b.want("back at the start", []string{"pc"}, 0)
}
