package cli

import (
	"io"
	"os"

	"coilwright/encode/machine"
	"coilwright/encode/network"
	"coilwright/encode/schedule"
	"coilwright/encode/store"
	"coilwright/lang/definition"
	"coilwright/lang/diag"
	"coilwright/lang/include"
)

// readLimit is one byte more than a definition may have (language.md N.5), so
// that what is too long is seen to be, and nothing is read without bound.
const readLimit = 1<<20 + 1 // bytes

// read returns the text of one file named on the command line; "-" is standard input.
func (a *app) read(path string) ([]byte, error) {
	return (&reader{app: a, limit: readLimit}).root(path)
}

// reader reads the files of one definition or program, each regular file once
// whatever the names by which it is reached.
type reader struct {
	app   *app
	limit int64 // bytes of a file
	names []string
	files []os.FileInfo
}

// root returns the text of a file named on the command line; "-" is standard input.
func (r *reader) root(path string) ([]byte, error) {
	if path == "-" {
		return io.ReadAll(io.LimitReader(r.app.in, r.limit))
	}
	return r.file(path)
}

// file returns the text of a file, or a *include.Same if it was read before.
func (r *reader) file(path string) ([]byte, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, cause(err)
	}
	defer f.Close()
	info, err := f.Stat()
	if err != nil {
		return nil, cause(err)
	}
	for i, known := range r.files {
		if os.SameFile(known, info) {
			return nil, &include.Same{As: r.names[i]}
		}
	}
	text, err := io.ReadAll(io.LimitReader(f, r.limit))
	if err != nil {
		return nil, cause(err)
	}
	if info.Mode().IsRegular() {
		r.names, r.files = append(r.names, path), append(r.files, info)
		r.app.inputs = append(r.app.inputs, info)
	}
	return text, nil
}

// loaded is a definition as far as it can be understood.
type loaded struct {
	source  *definition.Source // nil: it could not be read
	machine *machine.Machine   // nil: nothing can go on
	plan    *schedule.Plan
	store   *store.Store      // nil: there are errors
	list    diag.List         // of all stages, settled
	large   *network.TooLarge // there is a store, and no network for it
}

// load takes a definition through every stage that can still say something.
func (a *app) load(path string) *loaded {
	r := &reader{app: a, limit: readLimit}
	// An include never means standard input, whatever its name.
	return pipeline(path, func(name string) ([]byte, error) {
		if name == path {
			return r.root(name)
		}
		return r.file(name)
	})
}

// pipeline runs the stages on what read returns.
func pipeline(path string, read func(string) ([]byte, error)) *loaded {
	l := &loaded{}
	l.source, l.list = definition.Load(path, read)
	if l.source == nil {
		return l
	}
	var more diag.List
	l.machine, more = machine.Resolve(l.source)
	l.list = append(l.list, more...)
	if l.machine != nil {
		l.plan, more = schedule.Encode(l.machine)
		l.list = append(l.list, more...)
		if l.list.Errors() == 0 {
			l.store = schedule.Weave(l.machine, l.plan)
		}
	}
	l.list = l.list.Settle(l.source.Paths())
	return l
}

// status is the exit status that the diagnostics ask for.
func (l *loaded) status() int {
	for _, d := range l.list {
		if d.Name == "file-unreadable" {
			return statusFile
		}
	}
	if l.list.Errors() > 0 {
		return statusInput
	}
	return statusFine
}

// need loads a definition for a command that wants a store, and says what the
// diagnostics are.
func (a *app) need(path string) (*loaded, error) {
	l := a.load(path)
	if err := a.say(l); err != nil {
		return nil, err
	}
	if status := l.status(); status != statusFine {
		return nil, said(status)
	}
	return l, nil
}

// say prints diagnostics for a person, on standard error.
func (a *app) say(l *loaded) error {
	var text diag.Sources
	if l.source != nil {
		text = l.source.Text
	}
	return a.print(text, l.list)
}

func (a *app) print(text diag.Sources, list diag.List) error {
	p := diag.Printer{Sources: text, Colour: a.coloured(a.err)}
	if err := p.Print(a.err, list); err != nil {
		return filef("standard error: %w", cause(err))
	}
	return nil
}
