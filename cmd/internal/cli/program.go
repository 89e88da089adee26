package cli

import (
	"maps"
	"path/filepath"
	"strings"

	"coilwright/encode/assemble"
	"coilwright/lang/diag"
	"coilwright/lang/program"
)

// programLimit is one byte more than a program may have.
const programLimit = 64<<20 + 1 // bytes

// assembled is a program as far as it can be understood.
type assembled struct {
	source  *program.Source // nil: it could not be read
	program *assemble.Program
	list    diag.List // settled
	extra   []assemble.Expect
	text    diag.Sources // of the program and of the definition, which notes point into
}

// assemble reads a program for a definition in order. wishes are lines of
// expectation from the command line, in the words of the program language.
func (a *app) assemble(l *loaded, path string, wishes []string) *assembled {
	root := ""
	files := &reader{app: a, limit: programLimit}
	read := func(name string) ([]byte, error) {
		if name != path {
			return files.file(name)
		}
		text, err := files.root(name)
		root = string(text)
		return text, err
	}
	p := &assembled{text: diag.Sources{}}
	maps.Copy(p.text, l.source.Text)
	p.source, p.list = program.Load(path, read)
	if p.source == nil {
		return p
	}
	maps.Copy(p.text, p.source.Text)
	var more diag.List
	p.program, more = assemble.Assemble(l.machine, p.source)
	p.list = append(p.list, more...)
	p.list = p.list.Settle(p.source.Paths())
	if path == "-" {
		p.program.Name = "stdin"
	}
	if len(wishes) > 0 && p.list.Errors() == 0 {
		a.wish(l, p, root, path, wishes)
	}
	return p
}

// wish adds expectations from the command line. They stand in a file of their
// own that includes the program, so that its labels are known to them.
func (a *app) wish(l *loaded, p *assembled, root, path string, wishes []string) {
	const file, rest = "--expect", "--program"
	var b strings.Builder
	for _, w := range wishes {
		b.WriteString("expect " + strings.ReplaceAll(w, "\n", " ") + "\n")
	}
	b.WriteString(`include "` + rest + "\"\n")
	dir := filepath.Dir(path)
	own := filepath.Join(dir, rest)
	files := &reader{app: a, limit: programLimit}
	src, list := program.Load(filepath.Join(dir, file), func(name string) ([]byte, error) {
		switch name {
		case filepath.Join(dir, file):
			return []byte(b.String()), nil
		case own:
			return []byte(root), nil
		}
		return files.file(name)
	})
	whole, more := assemble.Assemble(l.machine, src)
	list = append(list, more...)
	at := filepath.Join(dir, file)
	p.text[file] = b.String()
	for _, d := range list.Settle(src.Paths()) {
		if d.At.File == at && d.Severity == diag.Error {
			d.At.File = file
			p.list = append(p.list, d)
		}
	}
	for _, e := range whole.Expects {
		if e.At.File == at {
			e.At.File = file
			p.extra = append(p.extra, e)
		}
	}
}

// needProgram assembles for a command that wants words, and says what the
// diagnostics are.
func (a *app) needProgram(l *loaded, path string, wishes []string) (*assembled, error) {
	p := a.assemble(l, path, wishes)
	if err := a.print(p.text, p.list); err != nil {
		return nil, err
	}
	if status := (&loaded{list: p.list}).status(); status != statusFine {
		return nil, said(status)
	}
	return p, nil
}
