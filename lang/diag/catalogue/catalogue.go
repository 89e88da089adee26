// Package catalogue is every diagnostic by name: what it means, with a wrong and a right example.
//
// The table is the folder entries, one file a diagnostic, NAME.txt:
//
//	one line that sums the diagnostic up
//
//	Paragraphs that say what the rule is, why it hurts at the bench and how
//	to fix it.
//
//	# base
//	# wrong
//	register big 16
//	line big_g : big -> data      ; ERROR "part of the message"
//	# right
//	register big 16
//	line big_g : big[7:0] -> data
//
// A line that begins with # is a heading; the lines below it belong to it.
//
//	# base             the examples stand below the base machine (base.coil)
//	# program          the examples are programs for the base machine with a few
//	                   instructions more (program.coil)
//	# wrong [FILE]     the wrong example, or a file that it includes
//	# right [FILE]     the right example, or a file that it includes
//	# generate         the wrong example describes an input that is made by a test
//
// In the wrong example each line that is diagnosed ends with a comment
// ; ERROR "part" or ; WARNING "part", where part is in the message; several
// parts on one line are several diagnostics. The tests of the command line
// hold the program to it: a mark that is not met and a diagnostic that is not
// marked both fail.
package catalogue

import (
	"embed"
	"fmt"
	"maps"
	"slices"
	"strings"
	"sync"
)

//go:embed entries base.coil program.coil
var files embed.FS

// Entry is one diagnostic.
type Entry struct {
	Name    string
	Summary string // one line without a full stop
	Text    string // paragraphs
	Wrong   string // an example that is diagnosed, as it is shown
	Right   string // the same put right
	// Base is the machine below which both examples stand, empty if they
	// stand alone. Of programs it is the machine that they are for.
	Base string
	// Program is true if the examples are programs, not definitions.
	Program bool
	// Generated is true if Wrong only describes the wrong input, which is too
	// large to show, or no text, or not to be written at all.
	Generated bool

	wrong, right map[string]string
}

// Root is the name that an example's own file has among WrongFiles and
// RightFiles; RootProgram is that of a program.
const (
	Root        = "example.coil"
	RootProgram = "example.prog"
)

// Root is the name of the example's own file.
func (e Entry) Root() string {
	if e.Program {
		return RootProgram
	}
	return Root
}

// WrongFiles is the wrong example as a whole definition or program, text by file name;
// nil if it is generated.
func (e Entry) WrongFiles() map[string]string {
	if e.Generated {
		return nil
	}
	return e.whole(e.wrong)
}

// RightFiles is the right example as a whole definition or program, text by file name.
func (e Entry) RightFiles() map[string]string { return e.whole(e.right) }

func (e Entry) whole(example map[string]string) map[string]string {
	out := make(map[string]string, len(example))
	for name, text := range example {
		if name == Root && e.Base != "" { // a program stands beside its machine
			text = e.Base + "\n" + text
		}
		out[name] = text
	}
	return out
}

var table = sync.OnceValue(func() map[string]Entry {
	list, err := files.ReadDir("entries")
	if err != nil {
		panic(err) // embedded: it is there
	}
	out := make(map[string]Entry, len(list))
	for _, f := range list {
		text, err := files.ReadFile("entries/" + f.Name())
		if err != nil {
			panic(err)
		}
		e, err := parse(strings.TrimSuffix(f.Name(), ".txt"), string(text))
		if err != nil {
			panic(err) // the test of this package parses every entry
		}
		out[e.Name] = e
	}
	return out
})

// Find returns the entry of a diagnostic.
func Find(name string) (Entry, bool) {
	e, ok := table()[name]
	return e, ok
}

// Names lists the diagnostics in alphabetical order.
func Names() []string { return slices.Sorted(maps.Keys(table())) }

// Base is the machine below which the examples of many entries stand. It is a
// whole definition that gives no diagnostic.
func Base() string { return read("base.coil") }

// ProgramBase is the machine that the examples of programs are for. It is a
// whole definition that gives no diagnostic.
func ProgramBase() string { return Base() + "\n" + read("program.coil") }

func read(name string) string {
	text, err := files.ReadFile(name)
	if err != nil {
		panic(err) // embedded: it is there
	}
	return string(text)
}

// parse reads one entry. Every error names the entry and the line.
func parse(name, text string) (Entry, error) {
	e := Entry{Name: name, wrong: map[string]string{}, right: map[string]string{}}
	head, rest, found := strings.Cut(text, "\n")
	e.Summary = strings.TrimSpace(head)
	switch {
	case e.Summary == "" || strings.HasPrefix(e.Summary, "#"):
		return e, fmt.Errorf("%s:1: the first line sums the diagnostic up", name)
	case strings.HasSuffix(e.Summary, "."):
		return e, fmt.Errorf("%s:1: the summary ends with a full stop", name)
	case !found:
		return e, fmt.Errorf("%s:1: there is nothing below the summary", name)
	}
	var body strings.Builder
	section := func(part *strings.Builder) string {
		text := strings.Trim(part.String(), "\n")
		part.Reset()
		if text != "" {
			text += "\n"
		}
		return text
	}
	store := func(s string) error {
		e.Text = s
		return nil
	}
	into := func(example map[string]string, shown *string, file string) func(string) error {
		return func(s string) error {
			if _, dup := example[file]; dup {
				return fmt.Errorf("%s is given twice", file)
			}
			if s == "" {
				return fmt.Errorf("%s is empty", file)
			}
			example[file] = s
			if file != e.Root() {
				*shown += "\n; " + file + "\n"
			}
			*shown += s
			return nil
		}
	}
	for i, line := range strings.Split(rest, "\n") {
		if !strings.HasPrefix(line, "#") {
			body.WriteString(line + "\n")
			continue
		}
		if err := store(section(&body)); err != nil {
			return e, fmt.Errorf("%s:%d: the example above: %w", name, i+2, err)
		}
		words := strings.Fields(line)
		store = func(s string) error {
			if s != "" {
				return fmt.Errorf("nothing belongs to it")
			}
			return nil
		}
		file := e.Root()
		if len(words) == 3 {
			file = words[2]
		}
		switch {
		case line == "# base":
			e.Base = Base()
		case line == "# program":
			e.Base, e.Program = ProgramBase(), true
		case line == "# generate":
			e.Generated = true
		case (len(words) == 2 || len(words) == 3) && words[0] == "#" && words[1] == "wrong":
			store = into(e.wrong, &e.Wrong, file)
		case (len(words) == 2 || len(words) == 3) && words[0] == "#" && words[1] == "right":
			store = into(e.right, &e.Right, file)
		default:
			return e, fmt.Errorf("%s:%d: no such heading: %s", name, i+2, line)
		}
	}
	if err := store(section(&body)); err != nil {
		return e, fmt.Errorf("%s: the last example: %w", name, err)
	}
	switch {
	case e.Text == "":
		return e, fmt.Errorf("%s: there is no text", name)
	case e.wrong[e.Root()] == "":
		return e, fmt.Errorf("%s: there is no wrong example", name)
	case e.right[e.Root()] == "":
		return e, fmt.Errorf("%s: there is no right example", name)
	}
	return e, nil
}
