package cli

import (
	"errors"
	"fmt"
	"io"
	"math/bits"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"coilwright/emit/image"
	"coilwright/emit/listing"
	"coilwright/emit/readback"
	"coilwright/encode/assemble"
	"coilwright/lang/diag"
)

// assembleOptions are those of `assemble`.
type assembleOptions struct {
	out        string
	form       choice
	memory     string
	fill       whole
	base       whole
	record     whole
	addressing choice
	size       size
	set        func(flag string) bool // is it on the command line?
}

func newAssemble(a *app) *cobra.Command {
	cmd := command("assemble FILE PROGRAM [--form FORM] [-o FILE]", "A program as bytes for a loader, as a listing or as switches",
		`Assembles a program for the machine that FILE defines. The forms:

  hex      Intel HEX of the bytes that the program defines, and no others, so
           that a loader leaves the rest of the memory alone; no extended
           address record below 64 KiB
  srec     the same as S-records
  bin      binary from address 0 to the last byte that the program defines
  header   a C header with the bytes and their addresses, for a loader sketch
  listing  address, words, phases and time beside each source line; symbols
  toggles  what to set on the front panel, one line an address, to tick off

--fill gives every other byte of the memory a value, in hex, srec and bin. A
program may put words into several memories: --memory says which is written.
What is written is read back and compared with the program first.`,
		`coilwright assemble millrace.coil programs/sum.prog -o sum.hex
coilwright assemble millrace.coil programs/sum.prog --form listing
coilwright assemble millrace.coil programs/sum.prog --fill 0xFF -o sum.hex`, wants(2, 2, "the FILE with the definition or the PROGRAM"))
	o := assembleOptions{
		form:       newChoice("hex", "hex", "bin", "srec", "header", "listing", "toggles"),
		addressing: newChoice("linear", "linear", "segment"),
		fill:       whole{most: 0xFF}, base: whole{most: 1<<32 - 1},
		record: whole{value: image.DefaultRecord, most: largestCount},
		set:    func(flag string) bool { return cmd.Flags().Changed(flag) },
	}
	o.form.add(cmd, "form", "what to write")
	cmd.Flags().StringVar(&o.memory, "memory", "", "the memory to write, by `NAME` (default the program memory)")
	cmd.Flags().Var(&o.fill, "fill", "fill the rest of the memory with this `BYTE`: hex, srec, bin")
	cmd.Flags().Var(&o.base, "base", "add `ADDRESS` to every byte address: hex, srec, header")
	cmd.Flags().Var(&o.record, "record", "data `BYTES` a record: hex, srec")
	o.addressing.add(cmd, "addressing", "hex above 64 KiB: type 04 or type 02 records")
	cmd.Flags().Var(&o.size, "size", "fill up to so many `BYTES` instead of the memory's: hex, srec, bin")
	outFlag(cmd, &o.out)
	cmd.ValidArgsFunction = completePrograms
	if err := cmd.RegisterFlagCompletionFunc("memory", a.completeMemories); err != nil {
		panic(err) // a slip above
	}
	cmd.RunE = func(_ *cobra.Command, args []string) error {
		if err := o.check(); err != nil {
			return err
		}
		l, p, err := a.needBoth(args, nil)
		if err != nil {
			return err
		}
		art, err := o.artefact(a, l, p.program)
		if err != nil {
			return err
		}
		return a.deliver(o.out, art)
	}
	return cmd
}

// needBoth loads a definition and a program for it.
func (a *app) needBoth(args, wishes []string) (*loaded, *assembled, error) {
	if args[0] == "-" && args[1] == "-" {
		return nil, nil, usagef("standard input can be the definition or the program, not both")
	}
	switch first, second := filepath.Ext(args[0]), filepath.Ext(args[1]); {
	case first == ".prog" && second == ".coil":
		return nil, nil, usagef("the definition comes first, then the program: %s %s", args[1], args[0])
	case first == ".prog":
		return nil, nil, usagef("%s is a program: the definition comes first", args[0])
	case second == ".coil":
		return nil, nil, usagef("%s is a definition: the program comes second", args[1])
	}
	l, err := a.need(args[0])
	if err != nil {
		return nil, nil, err
	}
	p, err := a.needProgram(l, args[1], wishes)
	return l, p, err
}

// completePrograms completes a definition and then a program.
func completePrograms(c *cobra.Command, args []string, word string) ([]string, cobra.ShellCompDirective) {
	if len(args) == 1 {
		return []string{"prog"}, cobra.ShellCompDirectiveFilterFileExt
	}
	return completeDefinitions(c, args, word)
}

// completeMemories completes the names of memories of the definition on the line.
func (a *app) completeMemories(_ *cobra.Command, args []string, _ string) ([]string, cobra.ShellCompDirective) {
	var names []string
	if len(args) > 0 {
		if l := a.load(args[0]); l.machine != nil {
			names = signals(l.machine, isMemory)
		}
	}
	return names, cobra.ShellCompDirectiveNoFileComp
}

// check finds options that would have no effect, before anything is read.
func (o *assembleOptions) check() error {
	form := o.form.value
	for _, f := range []struct {
		flag  string
		forms []string
	}{
		{"fill", []string{"hex", "srec", "bin"}},
		{"size", []string{"hex", "srec", "bin"}},
		{"base", []string{"hex", "srec", "header"}},
		{"record", []string{"hex", "srec"}},
		{"addressing", []string{"hex"}},
		{"memory", []string{"hex", "srec", "bin", "header", "toggles"}},
	} {
		if o.set(f.flag) && !slices.Contains(f.forms, form) {
			return usagef("--%s means nothing in form %s: it is for %s", f.flag, form, strings.Join(f.forms, ", "))
		}
	}
	if o.set("memory") && o.memory == "" {
		return usagef("--memory is empty: it names a memory of the machine")
	}
	return oneByte(o.record)
}

// oneByte refuses records without data.
func oneByte(record whole) error {
	if record.value < 1 {
		return usagef("--record %d: a record has at least 1 byte", record.value)
	}
	return nil
}

// artefact is the program in the form that is asked for.
func (o *assembleOptions) artefact(a *app, l *loaded, p *assemble.Program) (artefact, error) {
	name := p.Name + " as " + o.form.value
	if o.form.value == "listing" {
		return artefact{name,
			func(w io.Writer) error { return listing.Listing(w, l.machine, l.plan, p) },
			func(r io.Reader) error { return readback.Listing(r, l.machine, l.plan, p) }}, nil
	}
	k, err := o.pick(a, l, p)
	if err != nil {
		return artefact{}, err
	}
	if o.form.value == "toggles" {
		return artefact{name,
			func(w io.Writer) error { return listing.Toggles(w, l.machine, p, k) },
			func(r io.Reader) error { return readback.Toggles(r, p, k) }}, nil
	}
	segments, spread, err := o.image(p.Memories[k])
	if err != nil {
		return artefact{}, err
	}
	options := image.Options{Record: int(o.record.value)}
	if o.addressing.value == "segment" {
		options.Addressing = image.Segmented
	}
	write := map[string]func(io.Writer) error{
		"hex":  func(w io.Writer) error { return image.HexSegments(w, segments, options) },
		"srec": func(w io.Writer) error { return image.SrecSegments(w, p.Name, segments, options) },
		"bin": func(w io.Writer) error {
			_, err := w.Write(segments[0].Data)
			return err
		},
		"header": func(w io.Writer) error {
			m := p.Memories[k]
			return image.HeaderSegments(w, image.About{Machine: p.Machine, Hash: p.Hash, Program: p.Name, Source: p.Source,
				Memory: m.Name, Bits: m.Width, BytesPerWord: m.Bytes, Little: m.Little}, segments)
		},
	}[o.form.value]
	return artefact{name, write, func(r io.Reader) error { return readback.Program(r, o.form.value, p, k, spread) }}, nil
}

// pick finds the memory to write, and says which others there are.
func (o *assembleOptions) pick(a *app, l *loaded, p *assemble.Program) (int, error) {
	var names, others []string
	k := -1
	for i, m := range p.Memories {
		names = append(names, m.Name)
		if m.Name == o.memory || o.memory == "" && l.machine.Signals[m.Signal].Program {
			k = i
		}
	}
	switch {
	case k < 0 && o.memory == "":
		return 0, usagef("machine %s has no program memory: name one with --memory", l.machine.Name)
	case k < 0:
		all := signals(l.machine, isMemory)
		for _, name := range all {
			if name == o.memory {
				return 0, inputf("program %s puts nothing into memory %s", p.Name, name)
			}
		}
		return 0, usagef("machine %s has no memory %q%s", l.machine.Name, o.memory, meant(o.memory, all))
	}
	for i, m := range p.Memories {
		if i != k && len(m.Segments) > 0 {
			others = append(others, fmt.Sprintf("--memory %s (%s)", m.Name, counted(wordsOf(m), "word")))
		}
	}
	if len(others) > 0 {
		fmt.Fprintf(a.err, "coilwright: this is memory %s; the program also fills %s\n", names[k], strings.Join(others, ", "))
	}
	if len(p.Memories[k].Segments) == 0 {
		return 0, inputf("program %s puts nothing into memory %s", p.Name, names[k])
	}
	return k, nil
}

func counted(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return strconv.Itoa(n) + " " + what + "s"
}

func wordsOf(m assemble.Memory) int {
	n := 0
	for _, s := range m.Segments {
		n += len(s.Words)
	}
	return n
}

// largestImage bounds an image that is filled up, in bytes.
const largestImage = image.LargestWords * 8

// image lays the words of a memory out as bytes.
func (o *assembleOptions) image(m assemble.Memory) ([]image.Segment, readback.Spread, error) {
	spread := readback.Spread{Base: uint32(o.base.value), Fill: byte(o.fill.value)}
	high, whole := bits.Mul64(m.Words, uint64(m.Bytes))
	last := m.Segments[len(m.Segments)-1]
	over, end := bits.Mul64(last.Address+uint64(len(last.Words)), uint64(m.Bytes))
	if over != 0 || end+o.base.value > 1<<32 || end+o.base.value < end {
		return nil, spread, inputf("memory %s: the program reaches past byte address 0x%X, the last that form %s has", m.Name, uint32(1<<32-1), o.form.value)
	}
	total := uint64(0) // bytes of a filled image, from 0
	switch {
	case o.set("size"):
		if total = uint64(o.size); end > total {
			return nil, spread, usagef("the program has bytes up to 0x%X and does not fit into %d", end-1, total)
		}
	case o.set("fill"):
		if total = whole; high != 0 || whole > largestImage {
			return nil, spread, usagef("memory %s has %d words: too many to fill; --size says how many bytes to write", m.Name, m.Words)
		}
	case o.form.value == "bin":
		if total = end; end > largestImage {
			return nil, spread, inputf("a binary would reach from 0 to 0x%X: too long; hex and srec leave out what is not defined", end-1)
		}
	}
	if total+o.base.value > 1<<32 {
		return nil, spread, usagef("%d bytes from 0x%X on reach past the last byte address", total, o.base.value)
	}
	put := func(to []byte, word uint64) {
		for i := range to {
			if m.Little {
				to[i] = byte(word >> (8 * i))
			} else {
				to[len(to)-1-i] = byte(word >> (8 * i))
			}
		}
	}
	if total > 0 {
		spread.Size = int64(total)
		data := make([]byte, total)
		for i := range data {
			data[i] = spread.Fill
		}
		for _, s := range m.Segments {
			for i, w := range s.Words {
				put(data[(s.Address+uint64(i))*uint64(m.Bytes):][:m.Bytes], w)
			}
		}
		return []image.Segment{{Address: spread.Base, Data: data}}, spread, nil
	}
	var out []image.Segment
	for _, s := range m.Segments {
		data := make([]byte, len(s.Words)*m.Bytes)
		for i, w := range s.Words {
			put(data[i*m.Bytes:][:m.Bytes], w)
		}
		out = append(out, image.Segment{Address: spread.Base + uint32(s.Address)*uint32(m.Bytes), Data: data})
	}
	return out, spread, nil
}

// largestCount bounds counts that have no bound of their own: any int holds it.
const largestCount = 1<<31 - 1

// whole is a flag whose value is a whole number as programs write it.
type whole struct{ value, most uint64 }

func (n *whole) String() string { return strconv.FormatUint(n.value, 10) }
func (n *whole) Type() string   { return "NUMBER" }

func (n *whole) Set(text string) error {
	v, err := wholeNumber(text)
	if err != nil {
		return err
	}
	if v > n.most {
		return fmt.Errorf("it is too large: at most %d (0x%X)", n.most, n.most)
	}
	n.value = v
	return nil
}

var errNoNumber = errors.New("a whole number is wanted, such as 12, 0x1F or 0b101")

// meant is what an unknown name was probably meant to be, for the end of a message.
func meant(name string, candidates []string) string {
	if near := diag.Nearest(name, candidates); near != "" {
		return fmt.Sprintf("; did you mean %q?", near)
	}
	return ""
}
