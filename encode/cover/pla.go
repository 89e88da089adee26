package cover

import (
	"bufio"
	"context"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
)

// Limits of a PLA file.
const (
	maxPLABytes = 64 << 20
	maxPLAWords = 1 << 23 // of all cubes
	maxPLAPairs = 1 << 30 // of a term that is on and one that is off
	maxPLAWork  = 1 << 28 // to find the don't-cares of a file that lists what is off
)

// PLA is a function as a file in Berkeley PLA form gives it.
type PLA struct {
	On, Free *Cover
	// Names of the two-valued inputs in front and of the outputs; nil if the file
	// has none.
	Inputs, Outputs []string
}

// plaReader is what is known while a file is read.
type plaReader struct {
	pla     PLA
	line    int
	inputs  int // -1 while unknown, as outputs
	outputs int
	mv      bool
	binary  int // two-valued variables in front
	kind    string
	off     *Cover
	terms   int
	told    int    // .p, or -1
	ended   bool   // .e was there
	text    []byte // of the term that has begun
	began   int    // its line
	width   int    // its characters
}

// ReadPLA reads Berkeley PLA form: .i and .o or .mv, .p, .type f, fd (the default),
// fr or fdr, .ilb, .ob, .label, .e; `|` and blanks only separate. With fr and fdr
// what is neither on nor off is free. Files in circulation count their terms wrongly,
// so .p is held only against a file that breaks off without .e. Symbolic variables, output phases and paired
// decoders are refused. Errors begin with the line.
func ReadPLA(r io.Reader) (PLA, error) {
	p := &plaReader{inputs: -1, outputs: -1, told: -1, kind: "fd"}
	in := bufio.NewReaderSize(io.LimitReader(r, maxPLABytes+1), 1<<16)
	size := 0
	for end := false; !end; {
		text, err := in.ReadString('\n')
		if err != nil && err != io.EOF {
			return PLA{}, err
		}
		if err == io.EOF {
			end = true
			if text == "" {
				break
			}
		}
		p.line++
		if size += len(text); size > maxPLABytes {
			return PLA{}, p.errorf("the file is larger than %d MiB", maxPLABytes>>20)
		}
		text, _, _ = strings.Cut(text, "#")
		text = strings.TrimSpace(text)
		switch {
		case text == "":
		case text[0] == '.':
			if len(p.text) > 0 {
				return PLA{}, p.errorf("the term that begins in line %d is not complete", p.began)
			}
			last, err := p.directive(strings.Fields(text))
			if err != nil {
				return PLA{}, err
			}
			p.ended = last
			end = end || last
		default:
			if err := p.term(text); err != nil {
				return PLA{}, err
			}
		}
	}
	return p.finish()
}

func (p *plaReader) errorf(format string, args ...any) error {
	return fmt.Errorf("line %d: %s", p.line, fmt.Sprintf(format, args...))
}

func (p *plaReader) directive(f []string) (last bool, err error) {
	numbers := func(least int) ([]int, error) {
		if len(f) < least+1 {
			return nil, p.errorf("%s needs a number", f[0])
		}
		var l []int
		for _, t := range f[1:] {
			n, err := strconv.Atoi(t)
			if err != nil || n < 0 {
				return nil, p.errorf("%s: %q is not a number that can be used here", f[0], t)
			}
			l = append(l, n)
		}
		return l, nil
	}
	fixed := func() error {
		if p.pla.On != nil {
			return p.errorf("%s has to stand before the first term", f[0])
		}
		return nil
	}
	switch f[0] {
	case ".i", ".o", ".p":
		l, err := numbers(1)
		if err != nil {
			return false, err
		}
		if len(l) > 1 {
			return false, p.errorf("%s takes one number", f[0])
		}
		switch {
		case f[0] == ".p":
			p.told = l[0]
			return false, nil
		case p.mv:
			return false, p.errorf("%s cannot stand beside .mv", f[0])
		case f[0] == ".i":
			p.inputs, p.binary = l[0], l[0]
		default:
			p.outputs = l[0]
		}
		if err := fixed(); err != nil {
			return false, err
		}
		if p.inputs >= 0 && p.outputs >= 0 {
			return false, p.shape(slices.Repeat([]int{2}, min(p.inputs, MaxVars+1)), p.outputs)
		}
	case ".mv":
		l, err := numbers(3)
		if err != nil {
			return false, err
		}
		if p.inputs >= 0 || p.outputs >= 0 {
			return false, p.errorf(".mv cannot stand beside .i and .o")
		}
		if err := fixed(); err != nil {
			return false, err
		}
		n, b, rest := l[0], l[1], l[2:]
		if b >= n || n-b != len(rest) || n > MaxVars {
			return false, p.errorf(".mv: %d variables, %d of them two-valued, need %d sizes, the outputs last; found %d", n, b, n-b, len(rest))
		}
		p.mv, p.inputs, p.outputs, p.binary = true, n-1, rest[len(rest)-1], b
		sizes := append(slices.Repeat([]int{2}, b), rest[:len(rest)-1]...)
		return false, p.shape(sizes, p.outputs)
	case ".type":
		if len(f) != 2 || !slices.Contains([]string{"f", "fd", "fr", "fdr"}, f[1]) {
			return false, p.errorf(".type has to be f, fd, fr or fdr")
		}
		if p.terms > 0 {
			return false, p.errorf(".type has to stand before the first term")
		}
		p.kind = f[1]
	case ".ilb":
		p.pla.Inputs = slices.Clone(f[1:])
	case ".ob":
		p.pla.Outputs = slices.Clone(f[1:])
	case ".label":
	case ".e", ".end":
		return true, nil
	default:
		return false, p.errorf("%s is not known here", f[0])
	}
	return false, nil
}

func (p *plaReader) shape(sizes []int, outputs int) error {
	on, err := New(Shape{sizes, outputs})
	if err != nil {
		return p.errorf("%v", err)
	}
	p.pla.On, p.pla.Free, p.off = on, on.Empty(), on.Empty()
	p.width = outputs + p.binary
	for _, k := range sizes[p.binary:] {
		p.width += k
	}
	return nil
}

// term adds a line of text to the term that is being read, and ends it when it
// has all its characters.
func (p *plaReader) term(text string) error {
	if p.pla.On == nil {
		return p.errorf("a term before .i and .o, or .mv")
	}
	for i := range len(text) {
		ch := text[i]
		if ch == ' ' || ch == '\t' || ch == '|' {
			continue
		}
		if len(p.text) == 0 {
			p.began = p.line
		}
		p.text = append(p.text, ch)
		if len(p.text) == p.width {
			if err := p.cube(); err != nil {
				return err
			}
			p.text = p.text[:0]
		}
	}
	return nil
}

func (p *plaReader) cube() error {
	s := p.pla.On.s
	if p.terms++; p.terms*s.w > maxPLAWords {
		return p.errorf("too many terms")
	}
	c := make([]uint64, s.w)
	at := 0
	for f := range s.out() {
		if f < p.binary {
			switch p.text[at] {
			case '0':
				set(c, s.bit(f, 0))
			case '1':
				set(c, s.bit(f, 1))
			case '-', '2':
				s.fill(c, f)
			default:
				return p.errorf("%q in the inputs: 0, 1 and - can stand there", p.text[at])
			}
			at++
			continue
		}
		any := false
		for v := range s.fields[f].size {
			switch p.text[at] {
			case '1':
				set(c, s.bit(f, v))
				any = true
			case '0':
			default:
				return p.errorf("%q in a variable of %d values: 0 and 1 can stand there", p.text[at], s.fields[f].size)
			}
			at++
		}
		if !any {
			return p.errorf("a term that accepts no value of variable %d", f)
		}
	}
	var on, free, off bool
	out := func(list *Cover, any *bool, v int) {
		if !*any {
			list.w = append(list.w, c...)
			*any = true
		}
		set(list.w[len(list.w)-s.w:], s.bit(s.out(), v))
	}
	for v := range p.outputs {
		switch p.text[at] {
		case '1', '4':
			out(p.pla.On, &on, v)
		case '0':
			if p.kind == "fr" || p.kind == "fdr" {
				out(p.off, &off, v)
			}
		case '-', '2':
			if p.kind == "fd" || p.kind == "fdr" {
				out(p.pla.Free, &free, v)
			}
		case '~', '3':
		default:
			return p.errorf("%q in the outputs: 0, 1, - and ~ can stand there", p.text[at])
		}
		at++
	}
	return nil
}

func (p *plaReader) finish() (PLA, error) {
	if len(p.text) > 0 {
		return PLA{}, p.errorf("the term that begins in line %d is not complete", p.began)
	}
	if p.pla.On == nil {
		return PLA{}, p.errorf("no .i and .o, and no .mv")
	}
	if p.told > p.terms && !p.ended {
		return PLA{}, p.errorf(".p says %d terms, there are %d", p.told, p.terms)
	}
	if p.kind == "f" || p.kind == "fd" {
		return p.pla, nil
	}
	s := p.pla.On.s
	if p.off.Len() > 0 && p.pla.On.Len() > maxPLAPairs/p.off.Len() {
		return PLA{}, p.errorf("too many terms")
	}
	for i := range p.off.Len() {
		for j := range p.pla.On.Len() {
			if a, b := p.off.At(i), p.pla.On.At(j); a.Meets(b) {
				return PLA{}, p.errorf("%s is on and %s is off, and they meet", b, a)
			}
		}
	}
	k := &worker{space: s, law: &law{s: s}, ctx: context.Background(), limit: maxPLAWork}
	free, ok := k.offSet(k.maximal(append(slices.Clone(p.pla.On.w), p.off.w...)))
	if !ok {
		return PLA{}, p.errorf("the don't-cares are too many to list")
	}
	p.pla.Free.w = free
	return p.pla, nil
}

// WritePLA writes the function in the fd form, which ReadPLA reads back as the
// same cubes (empty ones are left out). If the variables that follow the first
// two-valued ones have more values, it is written with .mv. Free may be nil.
func WritePLA(w io.Writer, p PLA) error {
	b := bufio.NewWriter(w)
	s := p.On.s
	binary := 0
	for binary < s.out() && s.fields[binary].size == 2 {
		binary++
	}
	if binary == s.out() {
		fmt.Fprintf(b, ".i %d\n.o %d\n", binary, s.shape.Outputs)
	} else {
		fmt.Fprintf(b, ".mv %d %d", len(s.fields), binary)
		for _, f := range s.fields[binary:] {
			fmt.Fprintf(b, " %d", f.size)
		}
		b.WriteByte('\n')
	}
	b.WriteString(".type fd\n")
	if len(p.Inputs) > 0 {
		fmt.Fprintf(b, ".ilb %s\n", strings.Join(p.Inputs, " "))
	}
	if len(p.Outputs) > 0 {
		fmt.Fprintf(b, ".ob %s\n", strings.Join(p.Outputs, " "))
	}
	lists := []*Cover{p.On}
	if p.Free != nil {
		lists = append(lists, p.Free)
	}
	terms := 0
	for _, l := range lists {
		for i := range l.Len() {
			if !l.At(i).IsEmpty() {
				terms++
			}
		}
	}
	fmt.Fprintf(b, ".p %d\n", terms)
	for n, l := range lists {
		for i := range l.Len() {
			if c := l.At(i); !c.IsEmpty() {
				writeTerm(b, c, binary, "1-"[n])
			}
		}
	}
	b.WriteString(".e\n")
	return b.Flush()
}

func writeTerm(b *bufio.Writer, c Cube, binary int, one byte) {
	out := c.s.out()
	for f := range c.s.fields {
		if f == binary && f > 0 || f > binary {
			if binary == out {
				b.WriteByte(' ')
			} else {
				b.WriteByte('|')
			}
		}
		switch {
		case f < binary && c.All(f):
			b.WriteByte('-')
		case f < binary && c.Has(f, 1):
			b.WriteByte('1')
		case f < binary:
			b.WriteByte('0')
		default:
			yes, no := byte('1'), byte('0')
			if f == out {
				yes, no = one, '~'
			}
			for v := range c.s.fields[f].size {
				if c.Has(f, v) {
					b.WriteByte(yes)
				} else {
					b.WriteByte(no)
				}
			}
		}
	}
	b.WriteByte('\n')
}
