package assemble

import (
	"path/filepath"
	"slices"
	"strings"

	"coilwright/encode/machine"
	"coilwright/lang/diag"
	"coilwright/lang/program"
)

const (
	// maxWords bounds what one program puts into its memories, in words: as
	// many as an image may have.
	maxWords = 1 << 24
	// maxErrors bounds the errors of a run; more than that nobody reads.
	maxErrors = 1000
	// maxHints bounds the search for names that were meant, in names looked
	// at: each search looks at all there are.
	maxHints = 1 << 20
)

// Assemble works out what src puts into the memories of m, which must be free
// of errors. The program is never nil; with errors in the list it holds what
// could be understood, and no image should be made of it.
//
// Memories[0] is the program memory, if the machine has one; the others
// follow in the order in which `in` names them. A constant over 2^63-1 is kept
// in Symbol.Value modulo 2^64.
//
// `byte` and `text` put as many bytes as fit into a memory word, in the byte
// order of the memory; the bits above them, and what is left of a
// statement's last word, are 0. A word under 8 bits takes part of a byte, the
// most significant part first, or last in a little memory.
func Assemble(m *machine.Machine, src *program.Source) (*Program, diag.List) {
	a := &assembler{m: m, src: src, cur: -1}
	a.out = &Program{Machine: m.Name, Hash: m.Hash, Source: src.Hash}
	if len(src.Files) > 0 {
		name := filepath.Base(filepath.ToSlash(src.Files[0].Path))
		a.out.Name = strings.TrimSuffix(name, filepath.Ext(name))
	}
	a.vocabulary()
	for i := range m.Signals {
		if m.Signals[i].Program && m.Signals[i].Kind == machine.Memory {
			a.enter(i)
			break
		}
	}
	a.declare()
	a.out.Lines = make([]Line, len(src.Lines))
	a.layOut()
	a.constants()
	a.emit()
	a.segments()
	a.symbols()
	a.unite()
	a.foreign()
	return a.out, a.list
}

type assembler struct {
	m    *machine.Machine
	src  *program.Source
	list diag.List
	out  *Program

	word  []int32 // by name: index into words, 0 if the machine has none of that name
	words []word
	sym   []symbol // by name
	mute  []bool   // by name: what it means is unknown because of an error that was reported
	// excuses counts the errors each of which may have cost the program the
	// declaration of a name that nobody can tell: so many undefined names are
	// not reported.
	excuses int

	mems []memory // as out.Memories
	cur  int      // index into mems, -1 without
	lost bool     // which memory is meant is unknown
	// missed is true if a line since the last `in` may have been meant as one.
	missed bool
	total  uint64  // words put down so far
	stack  []num   // of eval
	hints  int     // names looked at for hints so far
	chain  []int32 // constants being worked out, each needed by the one before
	// nowhere is set when the absence of a memory was reported.
	nowhere bool
	stopped bool

	strange, familiar int // lines with a mnemonic that the machine has not, that it has

	declared []string // names of labels and constants, for hints
	// blamed is, by the root of an error, the constant that is at fault.
	blamed map[string]int32
	odd    *program.Line // the last on which a name of the machine stood as a value
}

// word is a name that the machine knows: a mnemonic, a value of fields, or both.
type word struct {
	forms  []*form
	choice []int16 // by field: index of the choice, -1; nil without any
}

type symbolKind uint8

const (
	unknown symbolKind = iota
	label
	constant
)

type symbolState uint8

const (
	waiting  symbolState = iota // a label not reached yet, a constant not worked out
	working                     // a constant being worked out
	ready                       //
	doubtful                    // its value is a guess because of an error that was reported
)

type symbol struct {
	value num
	line  int32 // index into src.Lines
	mem   int16
	kind  symbolKind
	state symbolState
}

// memory is one that the program puts something into.
type memory struct {
	signal  int
	width   int
	size    uint64
	little  bool
	next    uint64 // where the next word goes
	doubt   bool   // next is a guess
	placed  int    // the last line with an at or a space, -1 without
	count   int    // words put into it
	data    []uint64
	runs    []span
	open    bool // the last run goes on
	perWord int  // bytes a word, 0 if a byte takes several
	perByte int  // words a byte
}

// has reports whether an address, or a count, is within the memory.
func (m *memory) has(v num) bool { return !v.neg && v.mag < m.size }

// span is a run of words put down one after the other.
type span struct {
	address     uint64
	count       uint64
	from        int // index of the first word in data
	first, last int // lines
	by          int // as memory.placed
	doubt       bool
}

// enter makes the memory the current one.
func (a *assembler) enter(signal int) {
	for i := range a.mems {
		a.mems[i].open = false
	}
	for i := range a.mems {
		if a.mems[i].signal == signal {
			a.cur = i
			return
		}
	}
	s := &a.m.Signals[signal]
	mem := memory{signal: signal, width: s.Width, size: s.Words, little: s.Little, placed: -1, perWord: s.Width / 8, perByte: 1}
	if s.Width < 8 {
		mem.perByte = (8 + s.Width - 1) / s.Width
	}
	a.mems = append(a.mems, mem)
	a.out.Memories = append(a.out.Memories, Memory{
		Signal: signal, Name: s.Name, Width: s.Width, Words: s.Words, Bytes: (s.Width + 7) / 8, Little: s.Little,
	})
	a.cur = len(a.mems) - 1
}

// vocabulary looks up each name of the program once among those of the machine.
func (a *assembler) vocabulary() {
	names := a.src.Names
	a.words = make([]word, 1)
	index := map[string]int32{}
	get := func(name string) *word {
		i, ok := index[name]
		if !ok {
			i = int32(len(a.words))
			a.words = append(a.words, word{})
			index[name] = i
		}
		return &a.words[i]
	}
	for f := range a.m.Fields {
		for c, choice := range a.m.Fields[f].Choices {
			w := get(choice.Name)
			if w.choice == nil {
				w.choice = make([]int16, len(a.m.Fields))
				for i := range w.choice {
					w.choice[i] = -1
				}
			}
			w.choice[f] = int16(c)
		}
	}
	program := a.programMemory()
	for i := range a.m.Instructions {
		w := get(a.m.Instructions[i].Name)
		if a.m.Instructions[i].Broken {
			continue
		}
		w.forms = append(w.forms, newForm(a.m, i, program))
	}
	a.word = make([]int32, len(names))
	for id, name := range names {
		a.word[id] = index[name]
	}
	a.sym = make([]symbol, len(names))
	a.mute = make([]bool, len(names))
	for _, id := range a.src.Lost {
		a.mute[id] = true
	}
}

func (a *assembler) programMemory() *machine.Signal {
	for i := range a.m.Signals {
		if s := &a.m.Signals[i]; s.Program && s.Kind == machine.Memory {
			return s
		}
	}
	return nil
}

// full reports whether there are too many errors to go on.
func (a *assembler) full(line int) bool {
	if len(a.list) < maxErrors || a.stopped {
		return a.stopped
	}
	a.stopped = true
	a.list.Errorf("program-errors", a.at(line), "there are %d errors: what follows was not looked at", maxErrors)
	return true
}

// at is the place of a line's statement.
func (a *assembler) at(line int) diag.Place {
	l := &a.src.Lines[line]
	return a.src.Place(l, l.Code, l.End)
}

// named is the place of the name that a line has.
func (a *assembler) named(l *program.Line) diag.Place {
	return a.src.Place(l, l.NameAt, l.NameAt+uint32(len(a.src.Names[l.Name])))
}

func (a *assembler) labelled(l *program.Line) diag.Place {
	return a.src.Place(l, l.LabelAt, l.LabelAt+uint32(len(a.src.Names[l.Label])))
}

func (a *assembler) argAt(l *program.Line, arg *program.Arg) diag.Place {
	return a.src.Place(l, arg.From, arg.To)
}

func (a *assembler) nodeAt(l *program.Line, n *program.Node) diag.Place {
	return a.src.Place(l, n.From, n.To)
}

// declare notes every label and constant, so that each can be used before its line.
func (a *assembler) declare() {
	for i := range a.src.Lines {
		l := &a.src.Lines[i]
		if l.Label >= 0 {
			a.name(i, l.Label, label)
		}
		if l.Kind == program.Assign {
			a.name(i, l.Name, constant)
		}
		if l.Kind == program.Broken && l.Label < 0 && a.mayDeclare(l) {
			a.excuses++
		}
		if a.full(i) {
			return
		}
	}
}

// mayDeclare reports whether a broken line without a label may have been
// meant to declare a name.
func (a *assembler) mayDeclare(l *program.Line) bool {
	if l.Name < 0 || int(l.Name) >= len(program.Directives()) && a.word[l.Name] == 0 {
		return true
	}
	code, _, _ := strings.Cut(a.src.Files[l.File].Text[l.From:l.To], ";")
	return strings.ContainsAny(code, ":=")
}

// where is the place of a symbol's name.
func (a *assembler) where(s *symbol) diag.Place {
	if s.kind == label {
		return a.labelled(&a.src.Lines[s.line])
	}
	return a.named(&a.src.Lines[s.line])
}

func (k symbolKind) String() string {
	if k == constant {
		return "constant"
	}
	return "label"
}

func (a *assembler) name(line int, id int32, kind symbolKind) {
	s := &a.sym[id]
	next := symbol{kind: kind, line: int32(line), mem: -1}
	if s.kind == unknown && a.word[id] == 0 && int(id) >= len(program.Directives()) {
		*s = next
		return
	}
	if a.src.Lines[line].Kind == program.Broken {
		a.mute[id] = true // one error a line
		a.excuses++
		return
	}
	text, at := a.src.Names[id], a.where(&next)
	a.excuses++ // another name may have been meant
	if s.kind != unknown {
		a.list.Errorf("program-name-repeated", at, "%s is declared twice", short(text)).
			Note(a.where(s), "%s %s is declared here", s.kind, short(text)).Hintf("give one of them another name")
		return
	}
	// It is taken, or what it means where it is used would be told twice.
	a.mute[id] = true
	switch w := &a.words[a.word[id]]; {
	case int(id) < len(program.Directives()):
		a.list.Errorf("program-name-taken", at, "a %s cannot have the name of the directive %s", kind, text)
	case w.forms != nil:
		a.list.Errorf("program-name-taken", at, "a %s cannot have the name of the instruction %s", kind, short(text)).
			Note(a.m.Instructions[w.forms[0].ins].At, "%s is declared here", short(text))
	default:
		for f, c := range w.choice {
			if c >= 0 {
				a.list.Errorf("program-name-taken", at, "a %s cannot have the name of %s, a value of field %s", kind, short(text), a.m.Fields[f].Name).
					Note(a.m.Fields[f].Choices[c].At, "%s is declared here", short(text))
				break
			}
		}
	}
}

// symbols lists labels and constants as they stand in the source.
func (a *assembler) symbols() {
	for i := range a.src.Lines {
		l := &a.src.Lines[i]
		ids := [2]int32{l.Label, -1}
		if l.Kind == program.Assign {
			ids[1] = l.Name
		}
		for _, id := range ids {
			if id < 0 {
				continue
			}
			s := &a.sym[id]
			if s.kind == unknown || int(s.line) != i {
				continue
			}
			a.out.Symbols = append(a.out.Symbols, Symbol{
				Name: a.src.Names[id], Value: int64(s.value.bits()), Label: s.kind == label, Memory: int(s.mem), At: a.where(s),
			})
		}
	}
}

// segments joins the runs of each memory and reports those that overlap.
func (a *assembler) segments() {
	for i := range a.mems {
		mem := &a.mems[i]
		runs := slices.Clone(mem.runs)
		slices.SortStableFunc(runs, func(x, y span) int {
			if x.address < y.address {
				return -1
			}
			if x.address > y.address {
				return 1
			}
			return 0
		})
		var out []Segment
		var far *span // of those so far, the one that reaches furthest
		end := 0      // in data, of the last segment
		for k := range runs {
			r := &runs[k]
			if r.count == 0 {
				continue
			}
			words := mem.data[r.from : r.from+int(r.count) : r.from+int(r.count)]
			switch {
			case far != nil && r.address < far.address+far.count:
				if !r.doubt && !far.doubt && !a.full(r.first) {
					a.overlap(i, far, r)
				}
			case far != nil && r.address == far.address+far.count:
				s := &out[len(out)-1]
				if r.from == end {
					s.Words = mem.data[end-len(s.Words) : end+len(words) : end+len(words)]
					end += len(words)
				} else {
					s.Words = append(s.Words, words...)
					end = -1
				}
			default:
				out = append(out, Segment{Address: r.address, Words: words})
				end = r.from + len(words)
			}
			if far == nil || r.address+r.count > far.address+far.count {
				far = r
			}
		}
		a.out.Memories[i].Segments = out
	}
}

// overlap reports that two runs put something into the same words, at the one
// that comes later in the source.
func (a *assembler) overlap(mem int, x, y *span) {
	from, to := max(x.address, y.address), min(x.address+x.count, y.address+y.count)-1
	if x.first > y.first {
		x, y = y, x
	}
	first, second := a.lineAt(x, from), a.lineAt(y, from)
	name := a.out.Memories[mem].Name
	d := a.list.Errorf("program-overlap", a.at(second), "%s is filled twice: %s", name, addresses(from, to))
	d.Note(a.at(first), "this is there already")
	d.Hintf("is an `at` missing, or wrong?")
	// What an `at` puts somewhere may be in the way of much else.
	d.Because("overlap by line %d", max(x.by, y.by))
}

// lineAt returns the line of a run that puts the word at an address.
func (a *assembler) lineAt(r *span, address uint64) int {
	lines := a.out.Lines[r.first : r.last+1]
	// Lines without words have the address that follows.
	n, _ := slices.BinarySearchFunc(lines, address, func(l Line, address uint64) int {
		if l.Address+uint64(len(l.Words)) <= address {
			return -1
		}
		return 1
	})
	return r.first + min(n, len(lines)-1)
}
