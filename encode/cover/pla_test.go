package cover

import (
	"bytes"
	"context"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

// text lists the cubes of a cover, sorted.
func text(l *Cover) []string {
	list := []string{}
	for i := range l.Len() {
		list = append(list, l.At(i).String())
	}
	slices.Sort(list)
	return list
}

func TestReadPLA(t *testing.T) {
	cases := []struct {
		name, in string
		on, free []string // variables as sets of values, the outputs last
	}{
		{"fd, the default", ".i 2\n.o 3\n01 1-0\n-1 ~~1 # a note\n.e\nnot read\n",
			[]string{"10 01 100", "11 01 001"}, []string{"10 01 010"}},
		{"type f has no don't-cares", ".i 1\n.o 2\n.type f\n0 1-\n", []string{"10 10"}, []string{}},
		{"fr: what is neither is free", ".i 2\n.o 1\n.type fr\n.p 2\n00 1\n11 0\n",
			[]string{"10 10 1"}, []string{"01 10 1", "10 01 1"}},
		{"fdr", ".i 1\n.o 3\n.type fdr\n1 10-\n0 000\n", []string{"01 100"}, []string{"01 001"}},
		{"separators and terms over lines", ".i 4\n.o 2\n0 1|- 1\n| 1 0 1 1 1 1 0 1\n",
			[]string{"01 01 01 01 01", "10 01 11 01 10"}, []string{}},
		{"old signs", ".i 3\n.o 4\n012 4231\n", []string{"10 01 11 1001"}, []string{"10 01 11 0100"}},
		{"many values", ".mv 4 2 3 2\n.label var=2 a b c\n0-|101|1-\n", []string{"10 11 101 10"}, []string{"10 11 101 01"}},
		{"too few terms, but an end", ".i 1\n.o 1\n.p 2\n1 1\n.end\n", []string{"01 1"}, []string{}},
		{"no inputs", ".i 0\n.o 2\n10\n", []string{"10"}, []string{}},
		{"no terms", ".i 1\n.o 1\n.e\n", []string{}, []string{}},
	}
	for _, c := range cases {
		p, err := ReadPLA(strings.NewReader(c.in))
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		if d := cmp.Diff(c.on, text(p.On)); d != "" {
			t.Errorf("%s: on %s", c.name, d)
		}
		if d := cmp.Diff(c.free, text(p.Free)); d != "" {
			t.Errorf("%s: free %s", c.name, d)
		}
	}
}

func TestReadPLAErrors(t *testing.T) {
	cases := []struct{ in, want string }{
		{"", "line 0: no .i and .o, and no .mv"},
		{".i 2\n", "line 1: no .i and .o, and no .mv"},
		{"01 1\n", "line 1: a term before .i and .o, or .mv"},
		{".i x\n", `line 1: .i: "x" is not a number that can be used here`},
		{".i\n", "line 1: .i needs a number"},
		{".i 1 2\n", "line 1: .i takes one number"},
		{".i -1\n", `line 1: .i: "-1" is not a number that can be used here`},
		{".i 2\n.o 0\n", "line 2: 0 outputs: need 1 to 65536"},
		{".i 99999999\n.o 1\n", "line 2: 4097 variables: need at most 4096"},
		{".i 1\n.o 1\n.i 2\n", "line 3: .i has to stand before the first term"},
		{".i 1\n.o 1\n.mv 3 1 2 2\n", "line 3: .mv cannot stand beside .i and .o"},
		{".mv 3 1 2 2\n.o 2\n", "line 2: .o cannot stand beside .mv"},
		{".mv 3 3 2\n", "line 1: .mv: 3 variables, 3 of them two-valued, need 0 sizes, the outputs last; found 1"},
		{".mv 3 1\n", "line 1: .mv needs a number"},
		{".mv 3 1 2\n", "line 1: .mv: 3 variables, 1 of them two-valued, need 2 sizes, the outputs last; found 1"},
		{".mv 3 1 0 2\n", "line 1: variable 1 of 0 values: need 1 to 65536"},
		{".mv 3 1 -4 2\n", `line 1: .mv: "-4" is not a number that can be used here`},
		{".i 1\n.o 1\n.type fq\n", "line 3: .type has to be f, fd, fr or fdr"},
		{".i 1\n.o 1\n1 1\n.type fr\n", "line 4: .type has to stand before the first term"},
		{".phase 11\n", "line 1: .phase is not known here"},
		{".i 2\n.o 1\n0", "line 3: the term that begins in line 3 is not complete"},
		{".i 2\n.o 1\n0\n.e\n", "line 4: the term that begins in line 3 is not complete"},
		{".i 2\n.o 1\n0x1\n", `line 3: 'x' in the inputs: 0, 1 and - can stand there`},
		{".i 1\n.o 1\n0z\n", `line 3: 'z' in the outputs: 0, 1, - and ~ can stand there`},
		{".mv 2 0 3 1\n1-01\n", `line 2: '-' in a variable of 3 values: 0 and 1 can stand there`},
		{".mv 2 0 3 1\n0001\n", "line 2: a term that accepts no value of variable 0"},
		{".i 1\n.o 1\n.p 2\n0 1\n", "line 4: .p says 2 terms, there are 1"},
		{".i 2\n.o 1\n.type fr\n0- 1\n-0 0\n", "line 5: 10 11 1 is on and 11 10 1 is off, and they meet"},
	}
	for _, c := range cases {
		_, err := ReadPLA(strings.NewReader(c.in))
		if err == nil || err.Error() != c.want {
			t.Errorf("%q:\n got %v\nwant %s", c.in, err, c.want)
		}
	}
}

// TestWritePLA writes random covers and reads the same cubes back.
func TestWritePLA(t *testing.T) {
	r := rand.New(rand.NewPCG(41, 43))
	shapes := append(slices.Clone(smallShapes), Shape{[]int{2, 3, 2, 70}, 130}, Shape{[]int{2, 2}, 65})
	for n := range 600 {
		shape := shapes[n%len(shapes)]
		p := PLA{On: randomCover(r, shape, r.IntN(6)), Free: randomCover(r, shape, r.IntN(3))}
		if n%2 == 0 {
			p.Inputs, p.Outputs = []string{"a", "b"}, []string{"x"}
		}
		var b bytes.Buffer
		if err := WritePLA(&b, p); err != nil {
			t.Fatal(err)
		}
		back, err := ReadPLA(bytes.NewReader(b.Bytes()))
		if err != nil {
			t.Fatalf("%v\n%s", err, b.String())
		}
		k := &worker{space: p.On.s}
		for _, l := range []struct{ got, sent *Cover }{{back.On, p.On}, {back.Free, p.Free}} {
			if d := cmp.Diff(text(&Cover{p.On.s, k.proper(l.sent)}), text(l.got)); d != "" {
				t.Fatalf("%s\n%s", d, b.String())
			}
		}
		if d := cmp.Diff([][]string{p.Inputs, p.Outputs}, [][]string{back.Inputs, back.Outputs}); d != "" {
			t.Fatal(d)
		}
	}
}

func TestWritePLAText(t *testing.T) {
	p, err := ReadPLA(strings.NewReader(".mv 3 1 3 2\n1|110|1-\n"))
	if err != nil {
		t.Fatal(err)
	}
	var b bytes.Buffer
	if err := WritePLA(&b, p); err != nil {
		t.Fatal(err)
	}
	want := ".mv 3 1 3 2\n.type fd\n.p 2\n1|110|1~\n1|110|~-\n.e\n"
	if d := cmp.Diff(want, b.String()); d != "" {
		t.Error(d)
	}
}

// FuzzPLA reads whatever comes. What can be read is written and read again, and,
// if it is small, reduced and held to its points.
func FuzzPLA(f *testing.F) {
	for _, s := range []string{
		".i 2\n.o 3\n01 1-0\n-1 ~~1\n.e\n", ".i 2\n.o 1\n.type fr\n00 1\n11 0\n", ".mv 4 2 3 2\n0-|101|1-\n",
		".i 3\n.o 4\n012 4231\n", ".mv 3 1 4 2\n.type fdr\n.p 2\n1|0110|1-\n0|1111|00\n", ".i 0\n.o 2\n10\n",
		".ilb a b\n.ob c\n.i 2\n.o 1\n11 1\n", ".mv 2 0 5 3\n10011 101\n01110 1-0\n",
	} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, in []byte) {
		if len(in) > 1<<14 {
			return
		}
		p, err := ReadPLA(bytes.NewReader(in))
		if err != nil {
			return
		}
		if p.On.s.w > 64 || p.On.Len()+p.Free.Len() > 200 {
			return
		}
		var b bytes.Buffer
		if err := WritePLA(&b, p); err != nil {
			t.Fatal(err)
		}
		back, err := ReadPLA(&b)
		if err != nil {
			t.Fatal(err)
		}
		if d := cmp.Diff(text(p.On), text(back.On)); d != "" {
			t.Fatal(d)
		}
		size := p.On.Shape().Outputs
		for _, k := range p.On.Shape().Sizes {
			if size *= k; size > 64 {
				return
			}
		}
		for _, exact := range []bool{false, true} {
			r, err := Minimise(context.Background(), Problem{On: p.On, Free: p.Free}, Options{Exact: exact})
			if err != nil {
				t.Fatal(err)
			}
			on, free, got := listPoints(p.On), listPoints(p.Free), listPoints(r.Cover)
			if on&^free&^got != 0 || got&^on&^free != 0 || r.Bound > r.Cost {
				t.Fatalf("wrong cover %v, bound %d", text(r.Cover), r.Bound)
			}
		}
	})
}
