package cover

import (
	"context"
	"errors"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
)

// square is a function whose exact answer takes some search: the square of a word.
func square(t testing.TB, bits int) Problem {
	return whole(bits, 2*bits, func(x int) int { return x * x }).problem(t)
}

// TestWorkLimit stops at every size of limit: the answer is a cover, its bound
// holds, and it is the same each time.
func TestWorkLimit(t *testing.T) {
	for name, p := range map[string]Problem{
		"square": square(t, 6),
		"store":  controlStore(12, 16, 20, 4, 2, 13),
	} {
		best, err := Minimise(context.Background(), p, Options{Exact: true})
		if err != nil || !best.Optimal {
			t.Fatalf("%s: %v, bound %d of %d", name, err, best.Bound, best.Cost)
		}
		stopped := 0
		for limit := int64(1); limit < 2*best.Work; limit = limit*3/2 + 1 {
			o := Options{Exact: true, Work: limit}
			a, err := Minimise(context.Background(), p, o)
			if err != nil {
				if len(p.Rules) == 0 || limit > best.Work/10 {
					t.Fatalf("%s, work %d: %v", name, limit, err)
				}
				continue
			}
			if a.Bound > best.Cost || a.Cost < best.Cost || a.Optimal != (a.Bound == a.Cost) {
				t.Fatalf("%s, work %d: cost %d, bound %d, the least is %d", name, limit, a.Cost, a.Bound, best.Cost)
			}
			if a.Stopped {
				stopped++
			}
			b, err := Minimise(context.Background(), p, o)
			if err != nil {
				t.Fatal(err)
			}
			if d := cmp.Diff(text(a.Cover), text(b.Cover)); d != "" || a.Bound != b.Bound || a.Work != b.Work {
				t.Fatalf("%s, work %d: not the same twice: %s", name, limit, d)
			}
		}
		if stopped < 5 {
			t.Errorf("%s: stopped %d times only", name, stopped)
		}
	}
}

// TestDeadline ends a hard problem by time.
func TestDeadline(t *testing.T) {
	p := square(t, 9)
	ctx, stop := context.WithTimeout(context.Background(), 300*time.Millisecond)
	defer stop()
	start := time.Now()
	r, err := Minimise(ctx, p, Options{Exact: true, Literals: true})
	if err != nil {
		t.Fatal(err)
	}
	if !r.Stopped || r.Optimal || r.Cover.Len() == 0 {
		t.Errorf("stopped %v, optimal %v, %d terms", r.Stopped, r.Optimal, r.Cover.Len())
	}
	if d := time.Since(start); d > 20*time.Second {
		t.Errorf("took %v", d)
	}
	done, stop := context.WithCancel(context.Background())
	stop()
	if r, err := Minimise(done, p, Options{}); err != nil || !r.Stopped {
		t.Errorf("without any time: %v, stopped %v", err, r.Stopped)
	}
}

// TestNoTimeAtAll gives a large function no time: it comes back as it is, without a
// look at all pairs of cubes.
func TestNoTimeAtAll(t *testing.T) {
	p := square(t, 13)
	ctx, stop := context.WithCancel(context.Background())
	stop()
	for _, exact := range []bool{false, true} {
		r, err := Minimise(ctx, p, Options{Exact: exact})
		if err != nil {
			t.Fatal(err)
		}
		if n := p.On.Len(); !r.Stopped || r.Cover.Len() > n || r.Work > int64(10*n) {
			t.Errorf("exact %v: stopped %v, %d terms of %d cubes, work %d", exact, r.Stopped, r.Cover.Len(), n, r.Work)
		}
	}
}

// TestWithoutOffSet takes the road for functions whose off-set is too large.
func TestWithoutOffSet(t *testing.T) {
	r := rand.New(rand.NewPCG(51, 53))
	for n := range 300 {
		shape := smallShapes[r.IntN(len(smallShapes))]
		on, free := randomCover(r, shape, 1+r.IntN(7)), randomCover(r, shape, r.IntN(4))
		rules := randomRules(r, shape)
		var bad error
		h, list, start, err := prepare(context.Background(), Problem{On: on, Free: free, Rules: rules}, Options{}, &bad)
		if err != nil {
			continue
		}
		h.off, h.hasOff = nil, false
		f := &Cover{on.s, h.run(slices.Clone(start))}
		if err := Verify(on, free, f); err != nil {
			t.Fatal(err)
		}
		if err := Admissible(f, rules); err != nil {
			t.Fatal(err)
		}
		b := newSmall(on, free, rules)
		want := b.cheapest(func(smallCube) int { return 1 })
		if bound := h.independent(f.w); bound > int64(want) || f.Len() < want {
			t.Fatalf("%d: %d terms, bound %d, the fewest are %d", n, f.Len(), bound, want)
		}
		if g, bound, _ := h.byPoints(list, slices.Clone(f.w)); h.len(g) != want || bound != int64(want) {
			t.Fatalf("%d: by points %d terms, bound %d, the fewest are %d", n, h.len(g), bound, want)
		}
	}
}

// TestRoads holds the primes and the points to the same answer.
func TestRoads(t *testing.T) {
	r := rand.New(rand.NewPCG(61, 67))
	for n := range 60 {
		shape := Shape{[]int{2, 2, 2, 2, 2, 5}, 3}
		p := Problem{On: randomCover(r, shape, 10+r.IntN(30)), Free: randomCover(r, shape, r.IntN(6))}
		if n%2 == 0 {
			p.Rules = []Rule{{Var: 5, Values: []int{1, 3}, Frozen: []int{0, 1}}}
		}
		var bad error
		h, on, start, err := prepare(context.Background(), p, Options{}, &bad)
		if err != nil {
			continue
		}
		f := h.run(start)
		g, bound, _ := h.byPoints(on, slices.Clone(f))
		all, rows, ok := h.primeTable(on)
		if !ok {
			t.Fatal("given up")
		}
		c, low := h.solvePrimes(all, rows, h.cost)
		if h.costOf(c) != low || bound != low || h.costOf(g) != low {
			t.Fatalf("%d: by points %d, bound %d; by primes %d, bound %d", n, h.costOf(g), bound, h.costOf(c), low)
		}
	}
}

// TestManyCheapProducts has a cover of few products that costs more than one of many,
// and than all of their literals can make up for.
func TestManyCheapProducts(t *testing.T) {
	const k = 8
	on, err := New(Shape{append([]int{k}, slices.Repeat([]int{2}, k)...), 1})
	if err != nil {
		t.Fatal(err)
	}
	free := on.Empty()
	c := on.Full()
	for f := 1; f <= k; f++ {
		c.Keep(f, 0)
	}
	// Each value of the first variable may leave another variable alone.
	for f := 1; f <= k; f++ {
		d := free.Full()
		d.Keep(0, f-1)
		for g := 1; g <= k; g++ {
			d.Keep(g, b2i(g == f))
		}
	}
	cost := func(c Cube) int64 {
		for f := 1; f <= k; f++ {
			if c.All(f) {
				return 5
			}
		}
		return 5*k + 1
	}
	for _, literals := range []bool{false, true} {
		r, err := Minimise(context.Background(), Problem{On: on, Free: free, Cost: cost}, Options{Exact: true, Literals: literals})
		if err != nil {
			t.Fatal(err)
		}
		if r.Cost != 5*k || r.Bound != 5*k || r.FewestLiterals != literals {
			t.Errorf("literals %v: cost %d, bound %d, fewest literals %v", literals, r.Cost, r.Bound, r.FewestLiterals)
		}
	}
}

// TestCheapPart has points for which one product is dearer than what some of them
// cost alone, by products that reach elsewhere.
func TestCheapPart(t *testing.T) {
	p, err := ReadPLA(strings.NewReader(`.mv 3 0 5 4 2
10101 0101 11
00010 1001 10
11111 0011 01
11111 1101 10
01001 1111 10
10110 0100 11
`))
	if err != nil {
		t.Fatal(err)
	}
	cost := func(c Cube) int64 { return int64(10 + 3*(5-c.Count(0)) + 2 - c.Count(2)) }
	least := newSmall(p.On, p.Free, nil).cheapest(func(c smallCube) int { return int(cost(c.cube)) })
	for _, exact := range []bool{false, true} {
		r, err := Minimise(context.Background(), Problem{On: p.On, Cost: cost}, Options{Exact: exact})
		if err != nil {
			t.Fatal(err)
		}
		if r.Bound > int64(least) || r.Cost < int64(least) || exact && !r.Optimal {
			t.Errorf("exact %v: cost %d, bound %d, the least is %d", exact, r.Cost, r.Bound, least)
		}
	}
}

// TestClosureOutOfReach has points that go together but for what a rule then asks for.
func TestClosureOutOfReach(t *testing.T) {
	for _, c := range []struct {
		pla  string
		rule Rule
	}{
		{".mv 3 0 4 3 3\n0101 111 001\n0101 111 111\n1010 010 011\n1111 001 111\n", Rule{Var: 1, Values: []int{2}, Frozen: []int{0}}},
		{".mv 3 0 6 5 2\n000010 11111 10\n111100 11111 11\n111111 01111 01\n", Rule{Var: 0, Values: []int{0, 1, 2, 3}, Frozen: []int{2}}},
	} {
		p, err := ReadPLA(strings.NewReader(c.pla))
		if err != nil {
			t.Fatal(err)
		}
		rules := []Rule{c.rule}
		want := newSmall(p.On, p.Free, rules).cheapest(func(smallCube) int { return 1 })
		for _, exact := range []bool{false, true} {
			r, err := Minimise(context.Background(), Problem{On: p.On, Rules: rules}, Options{Exact: exact})
			if err != nil {
				t.Errorf("exact %v: %v", exact, err)
				continue
			}
			if r.Cover.Len() != want || r.Bound > int64(want) || exact && !r.Optimal {
				t.Errorf("exact %v: %d terms, bound %d, the fewest are %d", exact, r.Cover.Len(), r.Bound, want)
			}
		}
	}
}

// TestVerify takes products and values from right covers and adds them: each that
// matters has to be seen.
func TestVerify(t *testing.T) {
	r := rand.New(rand.NewPCG(71, 73))
	wrong := 0
	for range 2000 {
		shape := smallShapes[r.IntN(len(smallShapes))]
		on, free := randomCover(r, shape, 1+r.IntN(6)), randomCover(r, shape, r.IntN(3))
		list := on.Clone()
		if list.Len() > 0 {
			c := list.At(r.IntN(list.Len()))
			f := r.IntN(len(shape.Sizes) + 1)
			v := r.IntN(c.s.fields[f].size)
			if c.Has(f, v) {
				c.Drop(f, v)
			} else {
				c.Add(f, v)
			}
		}
		o, f, l := listPoints(on), listPoints(free), listPoints(list)
		right := o&^f&^l == 0 && l&^o&^f == 0
		if !right {
			wrong++
		}
		if err := Verify(on, free, list); (err == nil) != right {
			t.Fatalf("%v, want right: %v", err, right)
		}
	}
	if wrong < 300 {
		t.Errorf("only %d covers were wrong", wrong)
	}
}

func TestBadProblems(t *testing.T) {
	on, err := New(Shape{[]int{2, 3}, 2})
	if err != nil {
		t.Fatal(err)
	}
	on.Full().Keep(0, 1)
	other, _ := New(Shape{[]int{2}, 1})
	one, rest := on.Empty(), on.Empty()
	one.Full().Keep(2, 0)
	rest.Full().Keep(2, 1)
	for _, c := range []struct {
		p    Problem
		want string
	}{
		{Problem{}, "no on-set"},
		{Problem{On: on, Free: other}, "not of the same shape"},
		{Problem{On: on, Rules: []Rule{{Var: 3}}}, "no variable 3"},
		{Problem{On: on, Rules: []Rule{{Var: 1, Values: []int{3}}}}, "variable 1 has no value 3"},
		{Problem{On: on, Rules: []Rule{{Var: 1, Values: []int{0}, Frozen: []int{1}}}}, "cannot be frozen"},
		{Problem{On: on, Cost: func(Cube) int64 { return 0 }}, "costs 0"},
		{Problem{On: on, Cost: func(Cube) int64 { return maxCost + 1 }}, "need 1 to"},
		{Problem{On: one, Free: rest, Cost: func(c Cube) int64 { return int64(c.Count(2)) }}, "costs more than one within it"},
	} {
		if _, err := Minimise(context.Background(), c.p, Options{}); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%v, want %q", err, c.want)
		}
	}
	if err := Verify(on, nil, other); err == nil {
		t.Error("covers of two shapes pass")
	}
	_, err = Minimise(context.Background(), Problem{On: on, Rules: []Rule{{Var: 1, Values: []int{2}, Frozen: []int{0}}}}, Options{})
	var e *Impossible
	want := "no admissible product covers 01 001 10: the least is 11 001 10, and 10 001 10 has to be off"
	if !errors.As(err, &e) || e.Error() != want {
		t.Errorf("got %v\nwant %s", err, want)
	}
}

func TestCube(t *testing.T) {
	l, err := New(Shape{[]int{2, 100, 64}, 70})
	if err != nil {
		t.Fatal(err)
	}
	c := l.Full()
	if c.Literals() != 0 || c.IsEmpty() || !c.All(1) || c.Count(3) != 70 {
		t.Errorf("the full cube: %s", c)
	}
	c.Keep(1, 99, 3, 64)
	c.Keep(l.OutputVar(), 69)
	c.Drop(2, 63)
	if d := cmp.Diff([]int{3, 64, 99}, c.Values(1)); d != "" {
		t.Error(d)
	}
	if d := cmp.Diff([]int{69}, c.Outputs()); d != "" {
		t.Error(d)
	}
	if c.Literals() != 2 || c.Has(2, 63) || !c.Has(2, 0) {
		t.Errorf("%d literals", c.Literals())
	}
	l.Append(c)
	d := l.At(1)
	d.Drop(1, 64)
	if !l.At(0).Contains(d) || d.Contains(l.At(0)) || !d.Meets(l.At(0)) {
		t.Error("a cube with one value less is not within")
	}
	d.Keep(1)
	if !d.IsEmpty() || d.Meets(l.At(0)) || !l.At(0).Contains(d) {
		t.Error("a cube without a value is not empty")
	}
	for name, do := range map[string]func(){
		"has": func() { d.Has(2, 64) }, "keep": func() { d.Keep(0, 2) }, "add": func() { d.Add(0, -1) }, "drop": func() { d.Drop(1, 100) },
	} {
		func() {
			defer func() {
				if recover() == nil {
					t.Errorf("%s: a value that the variable has not goes through", name)
				}
			}()
			do()
		}()
	}
	for _, s := range []Shape{{nil, 0}, {[]int{0}, 1}, {[]int{MaxValues + 1}, 1}, {make([]int, MaxVars+1), 1}, {slices.Repeat([]int{MaxValues}, 20), 1}} {
		if _, err := New(s); err == nil {
			t.Errorf("%d variables, %d outputs: no error", len(s.Sizes), s.Outputs)
		}
	}
}
