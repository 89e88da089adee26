package cover

import (
	"context"
	"errors"
	"fmt"
	"math/bits"
	"slices"
)

// Problem is what to cover, and with what.
type Problem struct {
	On    *Cover
	Free  *Cover // don't-cares, nil for none
	Rules []Rule
	// Cost of a product, at least 1 and at most 1<<20; nil for 1 each. The same cube
	// has to cost the same each time, and a cube no more than one that it contains.
	Cost func(Cube) int64
}

// Options say how hard to try.
type Options struct {
	Exact    bool  // go on until the least cost is proved
	Literals bool  // with Exact: among the covers of least cost, the fewest literals
	Work     int64 // give up after so much work; 0 for no limit
}

// Result is a verified cover and what is known about it.
type Result struct {
	Cover    *Cover // admissible products; all of On, and only On and Free
	Cost     int64  // of all its products
	Bound    int64  // no cover costs less
	Optimal  bool   // Cost is Bound
	Literals int    // of all its products
	// FewestLiterals: it is proved that no cover of this cost has fewer.
	FewestLiterals bool
	Work           int64 // cubes looked at
	Stopped        bool  // by the limit of work or the context
}

// Minimise reduces the problem. The errors are bad input, *Impossible, or that it
// was stopped before it had a cover at all.
func Minimise(ctx context.Context, p Problem, o Options) (Result, error) {
	if p.On == nil {
		return Result{}, errors.New("cover: no on-set")
	}
	s := p.On.s
	if p.Free != nil && !p.Free.s.shape.Equal(s.shape) {
		return Result{}, errors.New("cover: On and Free are not of the same shape")
	}
	l, err := newLaw(s, p.Rules)
	if err != nil {
		return Result{}, fmt.Errorf("cover: %w", err)
	}
	k := &worker{space: s, law: l, ctx: ctx, limit: o.Work}
	on := k.proper(p.On)
	var free []uint64
	if p.Free != nil {
		free = k.proper(p.Free)
	}
	off, ok := k.offSet(append(slices.Clone(on), free...))
	if !ok {
		return Result{}, stoppedEarly(ctx)
	}
	start, err := k.admit(on, free, off)
	if err != nil {
		return Result{}, err
	}
	h := &heuristic{expander: newExpander(k, off), free: free, cost: func([]uint64) int64 { return 1 }, unit: p.Cost == nil}
	var bad error
	if p.Cost != nil {
		h.cost = func(c []uint64) int64 {
			n := p.Cost(Cube{s, c})
			if n < 1 || n > maxCost {
				bad = fmt.Errorf("cover: product %s costs %d: need 1 to %d", Cube{s, c}, n, maxCost)
				return maxCost
			}
			return n
		}
	}
	h.scale = 1 << bits.Len(uint((k.len(start)+1)*(len(s.fields)+1)))
	f := h.run(start)
	h.limitless(func() { f = h.sparse(f) })
	r := Result{Cover: &Cover{s: s, w: f}}
	if o.Exact && !k.stopped {
		g, bound, fewest := h.exact(on, f, o.Literals)
		r.Bound, r.FewestLiterals = bound, fewest
		h.limitless(func() { g = h.sparse(slices.Clone(g)) })
		if h.total(g) <= h.total(f) {
			r.Cover.w = g
		}
	}
	r.Cost = h.costOf(r.Cover.w)
	if r.Bound < r.Cost {
		h.limitless(func() { r.Bound = max(r.Bound, h.independent(r.Cover.w)) })
	}
	if bad != nil {
		return Result{}, bad
	}
	r.Optimal = r.Bound >= r.Cost
	r.Literals = r.Cover.Literals()
	r.Work = k.work
	r.Stopped = k.stopped
	k.order(r.Cover.w)
	if err := Verify(p.On, p.Free, r.Cover); err != nil {
		return Result{}, fmt.Errorf("cover: the result is wrong: %w", err)
	}
	if err := Admissible(r.Cover, p.Rules); err != nil {
		return Result{}, fmt.Errorf("cover: the result is wrong: %w", err)
	}
	return r, nil
}

func stoppedEarly(ctx context.Context) error {
	if err := ctx.Err(); err != nil {
		return fmt.Errorf("cover: stopped before there was a cover: %w", err)
	}
	return errors.New("cover: too much work before there was a cover")
}

// proper copies the cubes of f that are not empty.
func (k *worker) proper(f *Cover) []uint64 {
	l := make([]uint64, 0, len(f.w))
	for i := range k.len(f.w) {
		if c := k.at(f.w, i); !k.isEmpty(c) {
			l = append(l, c...)
		}
	}
	return l
}

// offSet is the complement, by whichever way of splitting gives few cubes.
func (k *worker) offSet(l []uint64) ([]uint64, bool) {
	small := k.maximal(l)
	first, ok := k.complement(small, true, 2*k.len(small)+2000)
	if !ok && !k.stopped {
		first, ok = k.complement(small, false, mostOff)
		if ok {
			first = k.merge(first, k.out())
		}
	}
	return first, ok
}

// admit splits on into parts whose closure misses off, and returns the closures.
func (k *worker) admit(on, free, off []uint64) ([]uint64, error) {
	if len(k.law.rules) == 0 {
		return on, nil
	}
	var out []uint64
	var split func(c []uint64) error
	split = func(c []uint64) error {
		d := slices.Clone(c)
		k.law.close(d)
		if k.misses(d, off) {
			out = append(out, d...)
			return nil
		}
		if !k.spend(1) {
			return stoppedEarly(k.ctx)
		}
		if k.covers(free, c) {
			return nil
		}
		a, b := k.halves(c)
		if a == nil {
			e := &Impossible{Point: Cube{k.space, c}, Product: Cube{k.space, d}}
			for i := range k.len(off) {
				if k.meets(d, k.at(off, i)) {
					e.Off = Cube{k.space, slices.Clone(k.at(off, i))}
					and(e.Off.w, d)
					break
				}
			}
			return e
		}
		if err := split(a); err != nil {
			return err
		}
		return split(b)
	}
	for i := range k.len(on) {
		if err := split(k.at(on, i)); err != nil {
			return nil, err
		}
	}
	return k.maximal(out), nil
}

// halves splits c where the rules bite: by the values that a broken rule is
// about, then within these, then by outputs, then anywhere. It returns nil for a point.
func (k *worker) halves(c []uint64) (a, b []uint64) {
	in := func(f int, part []uint64) bool {
		a, b = slices.Clone(c), slices.Clone(c)
		for o := range part {
			a[o] &= part[o]
		}
		k.clear(b, f)
		rest := slices.Clone(c)
		for o := range rest {
			rest[o] &^= part[o]
		}
		k.move(b, rest, f)
		// part has values of f alone; a keeps c elsewhere.
		for g := range k.fields {
			if g != f {
				k.move(a, c, g)
			}
		}
		return !k.isEmpty(a) && !k.isEmpty(b)
	}
	half := func(f int) bool {
		n := k.count(c, f)
		if n < 2 {
			return false
		}
		part := make([]uint64, k.w)
		for v := 0; v < k.fields[f].size && k.count(part, f) < n/2; v++ {
			if has(c, k.bit(f, v)) {
				set(part, k.bit(f, v))
			}
		}
		return in(f, part)
	}
	for i := range k.law.rules {
		if r := &k.law.rules[i]; !r.obeyed(k.space, c) && in(r.f, r.when) {
			return a, b
		}
	}
	for i := range k.law.rules {
		if r := &k.law.rules[i]; !r.obeyed(k.space, c) && half(r.f) {
			return a, b
		}
	}
	for f := k.out(); f >= 0; f-- {
		if half(f) {
			return a, b
		}
	}
	return nil, nil
}

// limitless runs do without a limit of work: short steps that end a run in order.
func (k *worker) limitless(do func()) {
	stopped, limit := k.stopped, k.limit
	if stopped {
		return
	}
	k.limit = 0
	do()
	k.limit = limit
}

// order sorts cubes as a person would list them: by value from the first variable on,
// the small values first, then what accepts fewer.
func (k *worker) order(l []uint64) {
	n := k.len(l)
	cubes := make([][]uint64, n)
	for i := range cubes {
		cubes[i] = slices.Clone(k.at(l, i))
	}
	slices.SortStableFunc(cubes, func(a, b []uint64) int {
		for o := range a {
			if x := a[o] ^ b[o]; x != 0 {
				if a[o]>>bits.TrailingZeros64(x)&1 == 1 {
					return -1
				}
				return 1
			}
		}
		return 0
	})
	for i, c := range cubes {
		copy(k.at(l, i), c)
	}
}
