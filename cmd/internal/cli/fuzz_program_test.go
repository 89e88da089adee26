package cli

import (
	"bytes"
	"io"
	"io/fs"
	"os"
	"path"
	"strings"
	"testing"

	"coilwright/examples"
)

// FuzzProgram takes any text for a program of the demo machine through every
// form of assemble and rehearse, and reads each back: a difference is a bug.
func FuzzProgram(f *testing.F) {
	text, err := fs.ReadFile(examples.FS, "millrace/millrace.coil")
	if err != nil {
		f.Fatal(err)
	}
	// A second memory, little, with words that are no whole bytes.
	def := strings.Replace(string(text), "\nbus data 8", "\nmemory table 300 x 12 little\nbus data 8", 1)
	l := pipeline("fuzz.coil", func(string) ([]byte, error) { return []byte(def), nil })
	if l.store == nil {
		f.Fatal(l.list)
	}
	programs, err := fs.Glob(examples.FS, "millrace/programs/*.prog")
	if err != nil || len(programs) == 0 {
		f.Fatalf("%d programs, %v", len(programs), err)
	}
	for _, p := range programs {
		text, err := fs.ReadFile(examples.FS, path.Clean(p))
		if err != nil {
			f.Fatal(err)
		}
		f.Add(string(text), "acc = 1", uint8(0))
	}
	more, err := os.ReadFile("../../../testdata/lamps/tally.prog")
	if err != nil {
		f.Fatal(err)
	}
	f.Add(string(more), "ram[first] = 3", uint8(3))
	f.Add("in table\n at 290\nword 1, 2\nlabel: byte 'a' .. 'f'\ntext \"sack\"", "table[290] = 1", uint8(9))
	f.Fuzz(func(t *testing.T, text, wish string, shape uint8) {
		if len(text) > 1<<12 || len(wish) > 1<<8 {
			return
		}
		a := &app{in: strings.NewReader(text), out: &outlet{to: io.Discard}, err: io.Discard, scratch: newScratch()}
		p := a.assemble(l, "-", []string{wish})
		if p.program == nil || len(p.program.Memories) == 0 || p.list.Errors() > 0 {
			return
		}
		check := func(art artefact, err error) {
			if err != nil {
				return // the command line would say so
			}
			var b bytes.Buffer
			if err := art.write(&b); err != nil {
				t.Fatalf("%s: %v", art.name, err)
			}
			if err := art.verify(bytes.NewReader(b.Bytes())); err != nil {
				t.Fatalf("%s: %v\n%s", art.name, err, b.String())
			}
		}
		flags := map[string]bool{"fill": shape&1 != 0, "size": shape&2 != 0}
		for _, form := range []string{"hex", "srec", "bin", "header", "listing", "toggles"} {
			for _, memory := range []string{"", "table"} {
				o := assembleOptions{form: newChoice(form, form), addressing: newChoice("linear", "linear"), memory: memory,
					record: whole{value: 1 + uint64(shape>>4)}, set: func(flag string) bool { return flags[flag] }, size: 1024}
				o.fill.value, o.base.value = uint64(shape), uint64(shape)<<12
				if form == "bin" {
					o.base.value = 0
				}
				check(o.artefact(a, l, p.program))
			}
		}
		for _, form := range []string{"text", "csv", "vcd", "final"} {
			o := rehearseOptions{form: newChoice(form, form), final: form == "final", until: "halt", phases: whole{value: 150},
				input: []string{"sw=1,2,3"}, changed: func(string) bool { return false }}
			r, err := o.prepare(a, l, p.program)
			if err != nil {
				t.Fatal(err)
			}
			check(r.artefact(o), nil)
		}
	})
}
