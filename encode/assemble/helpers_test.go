package assemble_test

import (
	"io/fs"
	"strings"
	"testing"

	"coilwright/encode/assemble"
	"coilwright/encode/machine"
	"coilwright/lang/definition"
	"coilwright/lang/diag"
	"coilwright/lang/program"
)

// resolve reads a machine that has no errors.
func resolve(t testing.TB, text string) *machine.Machine {
	t.Helper()
	src, list := definition.Load("m.coil", func(string) ([]byte, error) { return []byte(text), nil })
	m, more := machine.Resolve(src)
	list = append(list, more...)
	if list.Errors() > 0 {
		t.Fatal(printed(t, src.Text, list))
	}
	return m
}

func printed(t testing.TB, sources diag.Sources, list diag.List) string {
	t.Helper()
	var b strings.Builder
	if err := (diag.Printer{Sources: sources}).Print(&b, list); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

// reader reads from files in memory.
func reader(files map[string]string) func(string) ([]byte, error) {
	return func(path string) ([]byte, error) {
		text, ok := files[path]
		if !ok {
			return nil, fs.ErrNotExist
		}
		return []byte(text), nil
	}
}

// run assembles files, of which a.prog is the root.
func run(t testing.TB, m *machine.Machine, files map[string]string) (*program.Source, *assemble.Program, diag.List) {
	t.Helper()
	src, list := program.Load("a.prog", reader(files))
	if src == nil {
		return nil, nil, list
	}
	p, more := assemble.Assemble(m, src)
	return src, p, append(list, more...).Settle(src.Paths())
}
