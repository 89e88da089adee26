package cover

import (
	"context"
	"errors"
	"math/bits"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/google/go-cmp/cmp"
)

// small is a function of at most 64 points as sets of points: the slow reading that
// the minimiser is held to.
type small struct {
	shape Shape
	on    uint64 // to be covered: the free points are taken out
	free  uint64
	rules []Rule
	cubes []smallCube // every admissible cube that holds no point outside on and free
}

type smallCube struct {
	cube     Cube
	points   uint64
	literals int
}

// points lists the points of a cube as bits: mixed radix, outputs last.
func points(c Cube) uint64 {
	var set uint64
	sizes := append(slices.Clone(c.s.shape.Sizes), c.s.shape.Outputs)
	at := make([]int, len(sizes))
	for n := 0; ; n++ {
		in := true
		for f, v := range at {
			in = in && c.Has(f, v)
		}
		if in {
			set |= 1 << n
		}
		f := 0
		for f < len(sizes) {
			if at[f]++; at[f] < sizes[f] {
				break
			}
			at[f] = 0
			f++
		}
		if f == len(sizes) {
			return set
		}
	}
}

func listPoints(l *Cover) uint64 {
	var set uint64
	for i := range l.Len() {
		set |= points(l.At(i))
	}
	return set
}

// admissible is the rule as the page says it.
func admissible(c Cube, rules []Rule) bool {
	for _, r := range rules {
		for _, v := range r.Values {
			if !c.Has(r.Var, v) {
				continue
			}
			for _, f := range r.Frozen {
				if !c.All(f) {
					return false
				}
			}
		}
	}
	return true
}

func newSmall(on, free *Cover, rules []Rule) *small {
	b := &small{shape: on.Shape(), free: listPoints(free), rules: rules}
	b.on = listPoints(on) &^ b.free
	sizes := append(slices.Clone(b.shape.Sizes), b.shape.Outputs)
	sets := make([]int, len(sizes))
	for f := range sets {
		sets[f] = 1
	}
	for {
		c := on.Empty().Full()
		for f, k := range sizes {
			for v := range k {
				if sets[f]>>v&1 == 0 {
					c.Drop(f, v)
				}
			}
		}
		if p := points(c); p&^(listPoints(on)|b.free) == 0 && admissible(c, rules) {
			b.cubes = append(b.cubes, smallCube{c, p, c.Literals()})
		}
		f := 0
		for f < len(sizes) {
			if sets[f]++; sets[f] < 1<<sizes[f] {
				break
			}
			sets[f] = 1
			f++
		}
		if f == len(sizes) {
			return b
		}
	}
}

// cheapest is the least price by which cubes cover all of on, or -1: any order of
// points, any cube on each.
func (b *small) cheapest(price func(smallCube) int) int {
	best := -1
	byPoint := make([][]smallCube, 64)
	for _, c := range b.cubes {
		for n := range 64 {
			if c.points>>n&1 == 1 {
				byPoint[n] = append(byPoint[n], c)
			}
		}
	}
	for n := range byPoint {
		slices.SortStableFunc(byPoint[n], func(c, d smallCube) int {
			return bits.OnesCount64(d.points&b.on) - bits.OnesCount64(c.points&b.on)
		})
	}
	least := 1 << 30
	for _, c := range b.cubes {
		least = min(least, price(c))
	}
	seen := map[uint64]int{}
	var try func(left uint64, spent int)
	try = func(left uint64, spent int) {
		if left == 0 {
			if best < 0 || spent < best {
				best = spent
			}
			return
		}
		if best >= 0 && spent+least >= best {
			return
		}
		if old, ok := seen[left]; ok && old <= spent {
			return
		}
		seen[left] = spent
		for _, c := range byPoint[bits.TrailingZeros64(left)] {
			try(left&^c.points, spent+price(c))
		}
	}
	try(b.on, 0)
	return best
}

// randomCover draws cubes, some of them empty.
func randomCover(r *rand.Rand, shape Shape, n int) *Cover {
	l, err := New(shape)
	if err != nil {
		panic(err)
	}
	for range n {
		c := l.Full()
		for f, k := range append(slices.Clone(shape.Sizes), shape.Outputs) {
			if r.IntN(3) == 0 {
				continue
			}
			for v := range k {
				if r.IntN(2) == 0 {
					c.Drop(f, v)
				}
			}
		}
	}
	return l
}

var smallShapes = []Shape{
	{[]int{2, 2, 2}, 2},
	{[]int{2, 2, 2, 2}, 1},
	{[]int{3, 2, 2}, 2},
	{[]int{2, 5}, 3},
	{[]int{4, 3}, 2},
	{[]int{3, 3}, 3},
	{[]int{}, 4},
	{[]int{6}, 1},
	{[]int{1, 2, 2}, 2},
	{[]int{2, 2, 4}, 2},
}

func randomRules(r *rand.Rand, shape Shape) []Rule {
	var rules []Rule
	for range r.IntN(4) {
		f := r.IntN(len(shape.Sizes) + 1)
		k := shape.Outputs
		if f < len(shape.Sizes) {
			k = shape.Sizes[f]
		}
		rule := Rule{Var: f}
		for v := range k {
			if r.IntN(2) == 0 {
				rule.Values = append(rule.Values, v)
			}
		}
		for g := range len(shape.Sizes) + 1 {
			if g != f && r.IntN(3) == 0 {
				rule.Frozen = append(rule.Frozen, g)
			}
		}
		rules = append(rules, rule)
	}
	return rules
}

// TestBrute holds both modes, on random small functions with and without rules, to
// every cover there is.
func TestBrute(t *testing.T) {
	tries := 4000
	if testing.Short() {
		tries = 400
	}
	r := rand.New(rand.NewPCG(7, 11))
	feasible, impossible, loose := 0, 0, 0
	for n := range tries {
		shape := smallShapes[r.IntN(len(smallShapes))]
		on := randomCover(r, shape, 1+r.IntN(7))
		free := randomCover(r, shape, r.IntN(4))
		var rules []Rule
		if n%2 == 1 {
			rules = randomRules(r, shape)
		}
		b := newSmall(on, free, rules)
		p := Problem{On: on, Free: free, Rules: rules}
		want := b.cheapest(func(smallCube) int { return 1 })
		for _, exact := range []bool{false, true} {
			got, err := Minimise(context.Background(), p, Options{Exact: exact})
			if want < 0 {
				var e *Impossible
				if !errors.As(err, &e) {
					t.Fatalf("%d: no cover exists, but Minimise says %v", n, err)
				}
				if pt := points(e.Point); bits.OnesCount64(pt) != 1 || pt&b.on == 0 {
					t.Fatalf("%d: %s is not a point that has to be covered", n, e.Point)
				}
				for _, c := range b.cubes {
					if c.points&points(e.Point) != 0 {
						t.Fatalf("%d: %s is covered by %s", n, e.Point, c.cube)
					}
				}
				impossible++
				continue
			}
			if err != nil {
				t.Fatalf("%d: %v\n%v\n%v %v", n, err, on, free, rules)
			}
			feasible++
			set := listPoints(got.Cover)
			if b.on&^set != 0 || set&^(listPoints(on)|b.free) != 0 {
				t.Fatalf("%d: wrong points", n)
			}
			for i := range got.Cover.Len() {
				if !admissible(got.Cover.At(i), rules) {
					t.Fatalf("%d: %s is not admissible", n, got.Cover.At(i))
				}
			}
			if int(got.Bound) > want || got.Cover.Len() < want {
				t.Fatalf("%d: %d terms, bound %d, the fewest are %d", n, got.Cover.Len(), got.Bound, want)
			}
			if exact && (got.Cover.Len() != want || !got.Optimal) {
				t.Fatalf("%d: %d terms, bound %d, want %d", n, got.Cover.Len(), got.Bound, want)
			}
			if !exact && got.Cover.Len() > want {
				loose++
			}
		}
	}
	t.Logf("%d covers, %d of them heuristic and above the fewest; %d impossible", feasible, loose, impossible)
	if impossible < tries/50 || loose > feasible/40 {
		t.Errorf("the draw is not what the test is for, or the heuristic has become poor")
	}
}

// TestBruteCost is TestBrute for terms first and literals second, and for costs
// that depend on the product: by its literals, and by the values that it leaves out.
func TestBruteCost(t *testing.T) {
	tries := 1500
	if testing.Short() {
		tries = 200
	}
	r := rand.New(rand.NewPCG(3, 5))
	for n := range tries {
		shape := smallShapes[r.IntN(len(smallShapes))]
		on := randomCover(r, shape, 1+r.IntN(7))
		free := randomCover(r, shape, r.IntN(4))
		var rules []Rule
		if n%3 == 0 {
			rules = randomRules(r, shape)
		}
		b := newSmall(on, free, rules)
		want := b.cheapest(func(c smallCube) int { return 1000 + c.literals })
		if want < 0 {
			continue
		}
		got, err := Minimise(context.Background(), Problem{On: on, Free: free, Rules: rules}, Options{Exact: true, Literals: true})
		if err != nil {
			t.Fatalf("%d: %v", n, err)
		}
		if got.Cover.Len() != want/1000 || got.Literals != want%1000 || !got.FewestLiterals || got.Bound != got.Cost {
			t.Fatalf("%d: %d terms (bound %d), %d literals (proved %v), want %d and %d", n, got.Cover.Len(), got.Bound, got.Literals, got.FewestLiterals, want/1000, want%1000)
		}
		cost := func(c Cube) int64 {
			z := int64(3)
			for f := range len(shape.Sizes) + 1 {
				switch {
				case n%4 > 1:
					z += int64((2 + f) * (c.s.fields[f].size - c.Count(f)))
				case !c.All(f):
					z += int64(2 + f)
				}
			}
			if n%2 == 1 {
				z = z*12345 + 1 // large, with no common divisor
			}
			return z
		}
		least := b.cheapest(func(c smallCube) int { return int(cost(c.cube)) })
		got, err = Minimise(context.Background(), Problem{On: on, Free: free, Rules: rules, Cost: cost}, Options{Exact: true})
		if err != nil {
			t.Fatalf("%d: %v", n, err)
		}
		if got.Cost != int64(least) || got.Bound != got.Cost {
			t.Fatalf("%d: cost %d, bound %d, want %d", n, got.Cost, got.Bound, least)
		}
		if h, err := Minimise(context.Background(), Problem{On: on, Free: free, Rules: rules, Cost: cost}, Options{}); err != nil || h.Bound > int64(least) || h.Cost < int64(least) {
			t.Fatalf("%d: heuristic cost %d, bound %d, the least is %d (%v)", n, h.Cost, h.Bound, least, err)
		}
	}
}

// TestPrimes compares the primes under rules with the maximal admissible cubes.
func TestPrimes(t *testing.T) {
	r := rand.New(rand.NewPCG(19, 23))
	for n := range 1500 {
		shape := smallShapes[r.IntN(len(smallShapes))]
		on := randomCover(r, shape, 1+r.IntN(8))
		rules := randomRules(r, shape)
		b := newSmall(on, on.Empty(), rules)
		var want []string
		for _, c := range b.cubes {
			top := true
			for _, d := range b.cubes {
				top = top && (c.points == d.points || c.points&^d.points != 0)
			}
			if top {
				want = append(want, c.cube.String())
			}
		}
		l, err := newLaw(on.s, rules)
		if err != nil {
			t.Fatal(err)
		}
		k := &worker{space: on.s, law: l, ctx: context.Background()}
		list, ok := k.admissiblePrimes(k.proper(on))
		if !ok {
			t.Fatal("given up")
		}
		var got []string
		for i := range k.len(list) {
			got = append(got, Cube{on.s, k.at(list, i)}.String())
		}
		slices.Sort(want)
		slices.Sort(got)
		if d := cmp.Diff(want, got); d != "" {
			t.Fatalf("%d: %s", n, d)
		}
	}
}

// TestRecursions holds complement, tautology and what is missing to the points.
func TestRecursions(t *testing.T) {
	r := rand.New(rand.NewPCG(29, 31))
	for n := range 3000 {
		shape := smallShapes[r.IntN(len(smallShapes))]
		on := randomCover(r, shape, r.IntN(9))
		k := &worker{space: on.s, law: &law{s: on.s}, ctx: context.Background()}
		l := k.proper(on)
		all := points(on.Empty().Full())
		set := listPoints(on)
		for _, last := range []bool{false, true} {
			rest, ok := k.complement(l, last, 1000)
			if got := listPoints(&Cover{on.s, rest}); !ok || got != all&^set {
				t.Fatalf("%d: complement %b, want %b", n, got, all&^set)
			}
		}
		if got := k.tautology(l); got != (set == all) {
			t.Fatalf("%d: tautology %v", n, got)
		}
		c := randomCover(r, shape, 1).At(0)
		if c.IsEmpty() {
			continue
		}
		if got := k.covers(l, c.w); got != (points(c)&^set == 0) {
			t.Fatalf("%d: covers %v", n, got)
		}
		acc := make([]uint64, k.w)
		k.missing(acc, k.full, k.cofactor(nil, l, c.w))
		and(acc, c.w)
		var want uint64
		for v := range 64 {
			if left := points(c) &^ set; left>>v&1 == 1 {
				want |= 1 << v
			}
		}
		if got := points(Cube{on.s, acc}); want&^got != 0 || (want == 0) != k.isEmpty(acc) {
			t.Fatalf("%d: missing %b, want around %b", n, got, want)
		}
		for f := range k.fields {
			for v := range k.fields[f].size {
				if !has(acc, k.bit(f, v)) || want == 0 {
					continue
				}
				one := Cube{on.s, slices.Clone(acc)}
				one.Keep(f, v)
				if points(one)&want == 0 {
					t.Fatalf("%d: missing is not the smallest", n)
				}
			}
		}
	}
}
