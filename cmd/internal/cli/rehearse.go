package cli

import (
	"bufio"
	"bytes"
	"fmt"
	"io"
	"iter"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"coilwright/emit/lamps"
	"coilwright/emit/readback"
	"coilwright/encode/assemble"
	"coilwright/encode/expect"
	"coilwright/encode/machine"
	"coilwright/encode/rehearse"
	"coilwright/lang/number"
)

// rehearseOptions are those of `rehearse`.
type rehearseOptions struct {
	out          string
	form         choice
	final        bool
	set          []string
	memory       []string
	input        []string
	expect       []string
	store        string
	until        string
	phases       whole
	instructions whole
	changed      func(flag string) bool
}

func newRehearse(a *app) *cobra.Command {
	cmd := command("rehearse FILE PROGRAM [--form FORM] [--final] [-o FILE]", "What the lamps show, phase by phase, as a program runs",
		`Runs a program on the control store and the datapath together, from reset, and
writes down what every line, bus, register and flag shows in every phase: text
to tick off at the bench, csv, or vcd (value change dump, IEEE 1364) for a
waveform viewer. --final writes only how it ends.

It ends when the machine halts, before the instruction at --until, or after
--phases or --instructions (100,000 if nothing else is said). expect lines of
the program are checked where it halts or comes to --until, --expect wherever
the rehearsal stops: the first that is not met is said, with exit status 1.

--store rehearses a memory image of the whole control word, as a chip holds it,
instead of the store that is worked out. Files of --store and --memory may be
hex, srec, bin or memh; those of --memory are laid over what the program puts
there.`,
		`coilwright rehearse millrace.coil programs/smoke.prog
coilwright rehearse millrace.coil programs/smoke.prog --set pc=2 --set lnk=5
coilwright rehearse millrace.coil programs/sum.prog --final --expect acc=173
coilwright rehearse millrace.coil programs/flags.prog --final --input sw=3,1
coilwright rehearse millrace.coil programs/sum.prog --form vcd -o sum.vcd
coilwright rehearse millrace.coil programs/sum.prog --store out/store.hex`, wants(2, 2, "the FILE with the definition or the PROGRAM"))
	o := rehearseOptions{
		form:   newChoice("text", "text", "csv", "vcd"),
		phases: whole{most: largestCount}, instructions: whole{most: largestCount},
		changed: func(flag string) bool { return cmd.Flags().Changed(flag) },
	}
	o.form.add(cmd, "form", "how to write the phases down")
	f := cmd.Flags()
	f.BoolVar(&o.final, "final", false, "only the state at the end")
	f.StringArrayVar(&o.set, "set", nil, "a register or flag at reset, `NAME=VALUE`")
	f.StringArrayVar(&o.memory, "memory", nil, "words of a memory at reset, `NAME=FILE`")
	f.StringArrayVar(&o.input, "input", nil, "what switches are set to, one value after the other, `NAME=V,V,...`")
	f.StringVar(&o.store, "store", "", "take the lines from the memory image in `FILE`")
	f.StringVar(&o.until, "until", "halt", "where to stop: `halt|ADDRESS|LABEL`")
	f.Var(&o.phases, "phases", "stop after `N` phases")
	f.Var(&o.instructions, "instructions", "stop after `N` instructions")
	f.StringArrayVar(&o.expect, "expect", nil, "what has to be so in the end, `'acc = 12'`")
	outFlag(cmd, &o.out)
	cmd.ValidArgsFunction = completePrograms
	for flag, complete := range map[string]func(*cobra.Command, []string, string) ([]string, cobra.ShellCompDirective){
		"until": a.completeLabels,
		"set":   a.completeAssignments(isHolder), "input": a.completeAssignments(isInput), "memory": a.completeAssignments(isMemory),
	} {
		if err := cmd.RegisterFlagCompletionFunc(flag, complete); err != nil {
			panic(err) // a slip above
		}
	}
	cmd.RunE = func(_ *cobra.Command, args []string) error {
		if err := o.check(args); err != nil {
			return err
		}
		l, p, err := a.needBoth(args, o.expect)
		if err != nil {
			return err
		}
		r, err := o.prepare(a, l, p.program)
		if err != nil {
			return err
		}
		if err := a.deliver(o.out, r.artefact(o)); err != nil {
			return err
		}
		return o.judge(a, l, p, r)
	}
	return cmd
}

// check finds options that contradict each other or args, before anything is read.
func (o *rehearseOptions) check(args []string) error {
	switch {
	case o.final && o.changed("form"):
		return usagef("--form says how phases are written down, and with --final none are")
	case o.changed("store") && o.store == "":
		return usagef("--store is empty: it names the file with a memory image")
	case o.changed("phases") && o.phases.value < 1:
		return usagef("--phases %d: at least 1", o.phases.value)
	case o.changed("instructions") && o.instructions.value < 1:
		return usagef("--instructions %d: at least 1", o.instructions.value)
	}
	files := append(slices.Clone(args), o.store)
	for _, text := range o.memory {
		_, path, _ := strings.Cut(text, "=")
		files = append(files, strings.TrimSpace(path))
	}
	if first := slices.Index(files, "-"); first >= 0 && slices.Contains(files[first+1:], "-") {
		return usagef("standard input can be one of the files only")
	}
	return nil
}

// performance is a rehearsal that can be run again.
type performance struct {
	subject lamps.Subject
	control rehearse.Control
	setup   rehearse.Setup
	stop    rehearse.Stop
	final   rehearse.Final // once it has run
}

func (r *performance) start() *rehearse.Rehearsal {
	return rehearse.New(r.subject.Machine, r.subject.Store, r.control, r.setup)
}

// artefact is what is written down of a rehearsal. To check it, the rehearsal
// is run once more, beside the reader: views are never held.
func (r *performance) artefact(o rehearseOptions) artefact {
	if o.final {
		return artefact{"the final state",
			func(w io.Writer) error {
				r.final = r.start().Fast(r.stop)
				return lamps.FinalText(w, r.subject, r.final)
			},
			func(in io.Reader) error {
				x := r.again(nil)
				x.Final = func() rehearse.Final { return r.slow() }
				return readback.FinalText(in, x)
			}}
	}
	record := map[string]func(io.Writer, lamps.Subject) lamps.Recorder{"text": lamps.NewText, "csv": lamps.NewCSV, "vcd": lamps.NewVCD}[o.form.value]
	read := map[string]func(io.Reader, readback.Rehearsed) error{"text": readback.LampsText, "csv": readback.LampsCSV, "vcd": readback.LampsVCD}[o.form.value]
	return artefact{"the rehearsal as " + o.form.value,
		func(w io.Writer) error {
			rec := record(w, r.subject)
			r.final = r.start().Run(r.stop, rec.View)
			return rec.Close(r.final)
		},
		func(in io.Reader) error {
			var final rehearse.Final
			next, stop := iter.Pull(func(yield func(*rehearse.View) bool) {
				wanted := true
				final = r.start().Run(r.stop, func(v *rehearse.View) { wanted = wanted && yield(v) })
			})
			defer stop()
			x := r.again(func() *rehearse.View { v, _ := next(); return v })
			x.Final = func() rehearse.Final { return final }
			return read(in, x)
		}}
}

func (r *performance) again(next func() *rehearse.View) readback.Rehearsed {
	return readback.Rehearsed{Machine: r.subject.Machine, Store: r.subject.Store, Program: r.subject.Program, Next: next}
}

// slowPhases is how many phases a final state is checked over one by one:
// about a second. A longer run is checked by a second one of the same kind.
const slowPhases = 1 << 20

func (r *performance) slow() rehearse.Final {
	if r.final.Phases > slowPhases {
		return r.start().Fast(r.stop)
	}
	return r.start().Run(r.stop, nil)
}

// prepare makes a rehearsal of what the command line says.
func (o *rehearseOptions) prepare(a *app, l *loaded, p *assemble.Program) (*performance, error) {
	m := l.machine
	r := &performance{
		subject: lamps.Subject{Machine: m, Store: l.store, Program: p},
		control: rehearse.FromStore(l.store),
		setup:   rehearse.Setup{Values: map[int]uint64{}, Memories: map[int]map[uint64]uint64{}, Inputs: map[int][]uint64{}},
		stop:    rehearse.Stop{Phases: int(o.phases.value), Instructions: int(o.instructions.value)},
	}
	if r.stop.Phases > 0 && r.stop.Instructions == 0 {
		r.stop.Instructions = r.stop.Phases // no instruction is shorter than a phase
	}
	for _, memory := range p.Memories {
		words := map[uint64]uint64{}
		for _, s := range memory.Segments {
			for i, w := range s.Words {
				words[s.Address+uint64(i)] = w
			}
		}
		r.setup.Memories[memory.Signal] = words
	}
	for _, text := range o.set {
		i, value, err := assignment(m, "set", text, isHolder, "register or flag")
		if err != nil {
			return nil, err
		}
		if _, twice := r.setup.Values[i]; twice {
			return nil, usagef("--set %s: it is set twice", m.Signals[i].Name)
		}
		if r.setup.Values[i], err = fitting(m, "set", i, value); err != nil {
			return nil, err
		}
	}
	for _, text := range o.input {
		i, values, err := assignment(m, "input", text, isInput, "input register or flag")
		if err != nil {
			return nil, err
		}
		for _, value := range strings.Split(values, ",") {
			v, err := fitting(m, "input", i, strings.TrimSpace(value))
			if err != nil {
				return nil, err
			}
			r.setup.Inputs[i] = append(r.setup.Inputs[i], v)
		}
	}
	for _, text := range o.memory {
		i, path, err := assignment(m, "memory", text, isMemory, "memory")
		if err != nil {
			return nil, err
		}
		if err := a.overlay(m.Signals[i], path, r.setup.Memories, i); err != nil {
			return nil, err
		}
	}
	if o.store != "" {
		control, err := a.chip(l, o.store)
		if err != nil {
			return nil, err
		}
		r.control = control
	}
	return r, o.stopAt(m, p, &r.stop)
}

// stopAt works out --until.
func (o *rehearseOptions) stopAt(m *machine.Machine, p *assemble.Program, stop *rehearse.Stop) error {
	if o.until == "halt" {
		if o.changed("until") && m.Halt < 0 {
			return usagef("machine %s has no halt line: --until takes an address or a label", m.Name)
		}
		return nil
	}
	stop.UseAt = true
	if v, err := wholeNumber(o.until); err == nil {
		for _, s := range m.Signals {
			if s.Program && s.Kind == machine.Memory && v >= s.Words {
				return usagef("--until %s: the last address of %s is %d (0x%X)", o.until, s.Name, s.Words-1, s.Words-1)
			}
		}
		stop.At = v
		return nil
	}
	names := []string{"halt"}
	for _, s := range p.Symbols {
		if s.Label && s.Memory >= 0 && m.Signals[p.Memories[s.Memory].Signal].Program || !s.Label {
			if s.Name == o.until {
				stop.At = uint64(s.Value)
				return nil
			}
			names = append(names, s.Name)
		}
	}
	return usagef("program %s has no label %q%s", p.Name, o.until, meant(o.until, names))
}

// judge says what the end of the rehearsal means: whether it ended where it
// should, and whether what was expected is so.
func (o *rehearseOptions) judge(a *app, l *loaded, p *assembled, r *performance) error {
	f := r.final
	bounded := f.Reason == rehearse.PhaseBound || f.Reason == rehearse.InstructionBound
	asked := o.changed("phases") || o.changed("instructions")
	expects := slices.Clone(p.extra)
	if !bounded {
		expects = append(slices.Clone(p.program.Expects), expects...)
	}
	if bounded {
		where := "halted"
		if o.until != "halt" {
			where = "come to " + o.until
		}
		switch said := fmt.Sprintf("after %s the machine has not %s", counted(f.Instructions, "instruction"), where); {
		case o.changed("until"):
			return inputf("%s", said)
		case !asked && (len(p.program.Expects) > 0 || len(p.extra) > 0):
			return inputf("%s; --instructions N lets it go on", said)
		case !asked:
			fmt.Fprintf(a.err, "coilwright: %s; --instructions N sets another bound\n", said)
		case len(p.program.Expects) > 0:
			fmt.Fprintf(a.err, "coilwright: %s: what the program expects in the end is not checked\n", said)
		}
	}
	if f.Reason == rehearse.Halted && r.stop.UseAt {
		fmt.Fprintf(a.err, "coilwright: the machine halts before it comes to %s\n", o.until)
	}
	list := expect.Check(l.machine, expects, r.setup, f)
	if err := a.print(p.text, list); err != nil {
		return err
	}
	if list.Errors() > 0 {
		return said(statusInput)
	}
	return nil
}

func isMemory(s machine.Signal) bool { return s.Kind == machine.Memory }
func isHolder(s machine.Signal) bool { return s.Kind == machine.Register || s.Kind == machine.Flag }
func isInput(s machine.Signal) bool  { return isHolder(s) && s.Input }

// signals lists the names of the signals that are wanted.
func signals(m *machine.Machine, wanted func(machine.Signal) bool) []string {
	var out []string
	for _, s := range m.Signals {
		if wanted(s) {
			out = append(out, s.Name)
		}
	}
	return out
}

// assignment cuts NAME=VALUE and finds the signal.
func assignment(m *machine.Machine, flag, text string, wanted func(machine.Signal) bool, what string) (signal int, value string, err error) {
	name, value, ok := strings.Cut(text, "=")
	name = strings.TrimSpace(name)
	if !ok || strings.TrimSpace(value) == "" {
		form := map[string]string{"set": "NAME=VALUE", "input": "NAME=V,V,...", "memory": "NAME=FILE"}[flag]
		return 0, "", usagef("--%s %q: %s is wanted", flag, text, form)
	}
	for i, s := range m.Signals {
		switch {
		case s.Name != name:
		case wanted(s):
			return i, strings.TrimSpace(value), nil
		case isHolder(s):
			return 0, "", usagef("--%s: %s is a %s, no %s; --set gives it a value", flag, name, s.Kind, what)
		case isMemory(s):
			return 0, "", usagef("--%s: %s is a memory, no %s; --memory fills it", flag, name, what)
		default:
			return 0, "", usagef("--%s: %s is a %s, no %s", flag, name, s.Kind, what)
		}
	}
	return 0, "", usagef("--%s: machine %s has no %s %q%s", flag, m.Name, what, name, meant(name, signals(m, wanted)))
}

// wholeNumber reads a number as programs write it.
func wholeNumber(text string) (uint64, error) {
	v, err := number.Value(text)
	if err != nil {
		return 0, errNoNumber
	}
	return v, nil
}

// fitting reads a value for a signal; a negative one as two's complement.
func fitting(m *machine.Machine, flag string, signal int, text string) (uint64, error) {
	s := m.Signals[signal]
	all := ^uint64(0) >> (64 - s.Width)
	digits, negative := strings.CutPrefix(text, "-")
	v, err := wholeNumber(digits)
	switch {
	case err != nil:
		return 0, usagef("--%s %s: %q: %w", flag, s.Name, text, err)
	case negative && v > all/2+1:
		return 0, usagef("--%s %s: %s does not fit: the least of %s is -%d", flag, s.Name, text, counted(s.Width, "bit"), all/2+1)
	case negative:
		return -v & all, nil
	case v > all:
		return 0, usagef("--%s %s: %s does not fit: the largest of %s is %d", flag, s.Name, text, counted(s.Width, "bit"), all)
	}
	return v, nil
}

// completeAssignments completes the name before the equals sign.
func (a *app) completeAssignments(wanted func(machine.Signal) bool) func(*cobra.Command, []string, string) ([]string, cobra.ShellCompDirective) {
	return func(_ *cobra.Command, args []string, word string) ([]string, cobra.ShellCompDirective) {
		if strings.Contains(word, "=") {
			return nil, cobra.ShellCompDirectiveDefault
		}
		var names []string
		if len(args) > 0 {
			if l := a.load(args[0]); l.machine != nil {
				for _, name := range signals(l.machine, wanted) {
					names = append(names, name+"=")
				}
			}
		}
		return names, cobra.ShellCompDirectiveNoSpace | cobra.ShellCompDirectiveNoFileComp
	}
}

// completeLabels completes where to stop.
func (a *app) completeLabels(_ *cobra.Command, args []string, _ string) ([]string, cobra.ShellCompDirective) {
	names := []string{"halt"}
	if len(args) > 1 {
		if l := a.load(args[0]); l.machine != nil && l.store != nil {
			if p := a.assemble(l, args[1], nil); p.program != nil {
				for _, s := range p.program.Symbols {
					if s.Label {
						names = append(names, s.Name)
					}
				}
			}
		}
	}
	return names, cobra.ShellCompDirectiveNoFileComp
}

// endings are the forms that the names of files promise.
var endings = map[string]string{".bin": "bin", ".rom": "bin", ".hex": "hex", ".ihx": "hex", ".ihex": "hex",
	".srec": "srec", ".s19": "srec", ".s28": "srec", ".s37": "srec", ".mot": "srec", ".memh": "memh", ".mem": "memh"}

// formOf tells the form of an object file by the end of its name, and by how
// it begins where that says nothing.
func formOf(path string, begin []byte) string {
	if form := endings[strings.ToLower(filepath.Ext(path))]; form != "" {
		return form
	}
	begin = bytes.TrimLeft(begin, " \t\r\n")
	switch {
	case bytes.HasPrefix(begin, []byte(":")):
		return "hex"
	case len(begin) > 1 && begin[0] == 'S' && begin[1] >= '0' && begin[1] <= '9':
		return "srec"
	case bytes.HasPrefix(begin, []byte("@")), bytes.HasPrefix(begin, []byte("//")), bytes.HasPrefix(begin, []byte("/*")):
		return "memh"
	}
	return "bin"
}

// object opens an object file, tells its form and has it read.
func (a *app) object(path string, read func(r io.Reader, form string) error) error {
	var from io.Reader = a.in
	if path != "-" {
		f, err := os.Open(path)
		if err != nil {
			return filef("%s: %w", path, cause(err))
		}
		defer f.Close()
		if info, err := f.Stat(); err != nil {
			return filef("%s: %w", path, cause(err))
		} else if info.IsDir() {
			return filef("%s is a folder", path)
		} else if info.Mode().IsRegular() {
			a.inputs = append(a.inputs, info)
		}
		from = f
	}
	s := &source{from: from}
	in := bufio.NewReaderSize(s, 64<<10)
	begin, _ := in.Peek(512) // what is wrong with it shows when it is read
	if err := read(in, formOf(path, begin)); err != nil {
		if s.err != nil {
			return filef("%s: %w", path, cause(s.err))
		}
		return inputf("%s: %w", path, err)
	}
	return nil
}

// overlay puts the words of a file into a memory.
func (a *app) overlay(s machine.Signal, path string, memories map[int]map[uint64]uint64, signal int) error {
	return a.object(path, func(r io.Reader, form string) error {
		words, err := readback.MemoryWords(r, form, s.Width, s.Words, s.Little)
		if err != nil {
			return fmt.Errorf("as %s for memory %s: %w", form, s.Name, err)
		}
		if memories[signal] == nil {
			memories[signal] = map[uint64]uint64{}
		}
		for at, w := range words {
			memories[signal][at] = w
		}
		return nil
	})
}

// chip reads a memory image of the control store.
func (a *app) chip(l *loaded, path string) (rehearse.Control, error) {
	var control rehearse.Control
	err := a.object(path, func(r io.Reader, form string) error {
		words, err := readback.StoreWords(r, form, max((len(l.store.Word.Bits)+7)/8, 1), l.store.Word.Little)
		if err != nil {
			return fmt.Errorf("as %s: %w", form, err)
		}
		if l.store.AddressBits() >= 62 || words.Count < 1<<l.store.AddressBits() {
			return fmt.Errorf("as %s: %s of %s; the store has %d address bits, which takes %d", form,
				counted(words.Count, "word"), counted(words.BytesPerWord, "byte"), l.store.AddressBits(), uint64(1)<<l.store.AddressBits())
		}
		// A chip that is larger is filled up with one value.
		for i := 1<<l.store.AddressBits() + 1; i < words.Count; i++ {
			if !bytes.Equal(words.Word(i), words.Word(i-1)) {
				fmt.Fprintf(a.err, "coilwright: %s: %s, and the store has %d: what follows is left aside\n", path, counted(words.Count, "word"), 1<<l.store.AddressBits())
				break
			}
		}
		control = rehearse.FromWords(l.store, func(address uint64) []byte { return words.Word(int(address)) })
		return nil
	})
	return control, err
}
