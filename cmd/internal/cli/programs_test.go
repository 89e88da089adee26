package cli_test

import (
	"fmt"
	"io/fs"
	"maps"
	"slices"
	"strings"

	"coilwright/encode/assemble"
	"coilwright/encode/expect"
	"coilwright/encode/machine"
	"coilwright/encode/rehearse"
	"coilwright/encode/schedule"
	"coilwright/lang/definition"
	"coilwright/lang/diag"
	"coilwright/lang/diag/catalogue"
	"coilwright/lang/program"
)

// largeMachine is the file that a generated program's machine is in, if it is
// not the catalogue's.
const largeMachine = "machine.coil"

// diagnoseEntry does what diagnose does, for programs too.
func diagnoseEntry(e catalogue.Entry, files map[string]string) (diag.Sources, diag.List) {
	if !e.Program {
		return diagnose(catalogue.Root, files)
	}
	text := e.Base
	if own, ok := files[largeMachine]; ok {
		text = own
	}
	def, list := definition.Load(largeMachine, func(string) ([]byte, error) { return []byte(text), nil })
	m, more := machine.Resolve(def)
	if list = append(list, more...); len(list) > 0 {
		return def.Text, list
	}
	src, list := program.Load(catalogue.RootProgram, func(path string) ([]byte, error) {
		text, ok := files[path]
		if !ok {
			return nil, fs.ErrNotExist
		}
		return []byte(text), nil
	})
	if src == nil {
		return nil, list
	}
	p, more := assemble.Assemble(m, src)
	if list.Errors()+more.Errors() == 0 {
		more = append(more, expectations(m, p)...)
	}
	sources := maps.Clone(def.Text) // notes point into the definition
	maps.Copy(sources, src.Text)
	list = append(list, more...).Settle(src.Paths())
	if e.Name == "program-errors" {
		// It takes a thousand others to get there.
		list = slices.DeleteFunc(list, func(d diag.Diagnostic) bool { return d.Name != e.Name })
	}
	return sources, list
}

// expectations runs as many instructions as the program has and says which
// expectation is not met: the catalogue's machine does not halt.
func expectations(m *machine.Machine, p *assemble.Program) diag.List {
	plan, list := schedule.Encode(m)
	if list.Errors() > 0 {
		return list
	}
	s := schedule.Weave(m, plan)
	setup, stop := rehearse.Setup{Memories: map[int]map[uint64]uint64{}}, rehearse.Stop{}
	for _, memory := range p.Memories {
		setup.Memories[memory.Signal] = map[uint64]uint64{}
		for _, seg := range memory.Segments {
			for i, w := range seg.Words {
				setup.Memories[memory.Signal][seg.Address+uint64(i)] = w
			}
		}
	}
	for _, l := range p.Lines {
		if l.Instruction >= 0 {
			stop.Instructions++
		}
	}
	if stop.Instructions == 0 {
		return nil
	}
	f := rehearse.New(m, s, rehearse.FromStore(s), setup).Run(stop, nil)
	return expect.Check(m, p.Expects, setup, f)
}

func init() {
	maps.Copy(generators, map[string]func() (map[string]string, []mark){
		"program-errors": func() (map[string]string, []mark) {
			const most = 1000
			var b strings.Builder
			var want []mark
			for i := range most + 1 {
				fmt.Fprintf(&b, "mnemonic%d\n", i)
			}
			want = append(want, mark{fmt.Sprintf("%s:%d", catalogue.RootProgram, most+1), diag.Error, "1000 errors"})
			return map[string]string{catalogue.RootProgram: b.String()}, want
		},
		"program-lines": func() (map[string]string, []mark) {
			const most = 1 << 22
			return map[string]string{catalogue.RootProgram: strings.Repeat("\n", most-1) + "\nbyte 1"},
				[]mark{{catalogue.RootProgram + ":1", diag.Error, "at most 4194304 lines"}}
		},
		"program-too-large": func() (map[string]string, []mark) {
			large := strings.ReplaceAll(catalogue.ProgramBase(), "256 x 8", "33554432 x 8")
			text := "byte 1\nword " + strings.Repeat("0 .. 255, ", 255) + "0 .. 255\n"
			text += strings.Repeat("word "+strings.Repeat("0 .. 255, ", 255)+"0 .. 255\n", 255)
			return map[string]string{catalogue.RootProgram: text, largeMachine: large},
				[]mark{{fmt.Sprintf("%s:%d", catalogue.RootProgram, 257), diag.Error, "16777216 words at most"}}
		},
	})
}
