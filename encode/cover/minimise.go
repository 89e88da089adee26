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
	// Cost of a product, 1 to 1<<20 (see the package); nil for 1 each. The same cube
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
	var bad error
	h, on, start, err := prepare(ctx, p, o, &bad)
	if err != nil {
		return Result{}, err
	}
	f := h.run(start)
	if h.hasOff {
		h.finish(func() { f = h.sparse(f) })
	}
	r := Result{Cover: &Cover{s: h.space, w: f}}
	if !h.stopped {
		g := f
		if o.Exact {
			g, r.Bound, r.FewestLiterals = h.exact(on, f, o.Literals)
		} else {
			// Half of what the loop took finds most of what it missed.
			h.try(max(h.work/2, leastWork), func() { g, r.Bound, _ = h.byPoints(on, f) })
		}
		if h.hasOff {
			h.finish(func() { g = h.sparse(slices.Clone(g)) })
		}
		if !h.less(f, g) {
			r.Cover.w = g
		}
	}
	r.Cost = h.costOf(r.Cover.w)
	if r.Bound == 0 {
		bound := func() { r.Bound = max(r.Bound, h.independent(r.Cover.w)) }
		if h.hasOff {
			h.finish(bound)
		} else {
			h.try(someWork, bound)
		}
	}
	if bad != nil {
		return Result{}, bad
	}
	if r.Bound > r.Cost {
		return Result{}, fmt.Errorf("cover: bound %d is above cost %d: some product costs more than one within it", r.Bound, r.Cost)
	}
	r.Optimal = r.Bound == r.Cost
	r.Literals = r.Cover.Literals()
	r.Work = h.work
	r.Stopped = h.stopped
	h.order(r.Cover.w)
	if err := Verify(p.On, p.Free, r.Cover); err != nil {
		return Result{}, fmt.Errorf("cover: the result is wrong: %w", err)
	}
	if err := Admissible(r.Cover, p.Rules); err != nil {
		return Result{}, fmt.Errorf("cover: the result is wrong: %w", err)
	}
	return r, nil
}

// prepare checks the problem and returns what the steps work on: the on-set without
// empty cubes, and an admissible cover to start from. A cost out of range, which
// only shows later, goes into bad.
func prepare(ctx context.Context, p Problem, o Options, bad *error) (h *heuristic, on, start []uint64, err error) {
	if p.On == nil {
		return nil, nil, nil, errors.New("cover: no on-set")
	}
	s := p.On.s
	if p.Free != nil && !p.Free.s.shape.Equal(s.shape) {
		return nil, nil, nil, errors.New("cover: On and Free are not of the same shape")
	}
	l, err := newLaw(s, p.Rules)
	if err != nil {
		return nil, nil, nil, fmt.Errorf("cover: %w", err)
	}
	k := &worker{space: s, law: l, ctx: ctx, limit: o.Work}
	on = k.condense(k.proper(p.On))
	var free []uint64
	if p.Free != nil {
		free = k.condense(k.proper(p.Free))
	}
	k.base = k.condense(append(slices.Clone(on), free...))
	k.off, k.hasOff = k.offSet(k.base)
	if start, err = k.admit(on, free); err != nil {
		return nil, nil, nil, err
	}
	h = &heuristic{expander: newExpander(k), free: free, unit: p.Cost == nil}
	h.scale = 1 << bits.Len(uint((k.len(start)+1)*(len(s.fields)+1)))
	h.cost = func([]uint64) int64 { return 1 }
	most := min(maxCost, maxPrice/h.scale)
	if p.Cost != nil {
		h.cost = func(c []uint64) int64 {
			n := p.Cost(Cube{s, c})
			if n < 1 || n > most {
				*bad = fmt.Errorf("cover: product %s costs %d: need 1 to %d", Cube{s, c}, n, most)
				return most
			}
			return n
		}
	}
	return h, on, start, nil
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

// condense says the same with fewer cubes. Long lists are mostly points: these are
// joined first, since looking at all pairs of them takes too long.
func (k *worker) condense(l []uint64) []uint64 {
	if k.len(l) > longList {
		for f := range k.fields {
			if !k.spend(k.len(l)) {
				return l
			}
			l = k.merge(l, f)
		}
	}
	return k.maximal(l)
}

// offSet is the complement, by whichever way of splitting gives few cubes.
func (k *worker) offSet(l []uint64) ([]uint64, bool) {
	most := min(mostOff, offWords/k.w)
	var off []uint64
	ok := false
	k.try(offWork/4, func() { off, ok = k.complement(l, true, min(most, 2*k.len(l)+2000)) })
	if !ok {
		k.try(offWork, func() { off, ok = k.complement(l, false, most) })
		if ok {
			off = k.merge(off, k.out())
		}
	}
	return off, ok
}

// admit splits on into parts whose closure is an implicant, and returns the closures.
func (k *worker) admit(on, free []uint64) ([]uint64, error) {
	if len(k.law.rules) == 0 {
		return on, nil
	}
	var out []uint64
	var split func(c []uint64) error
	split = func(c []uint64) error {
		d := slices.Clone(c)
		k.law.close(d)
		if k.implicant(d) {
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
			off := gap(k.space, d, k.base)
			return &Impossible{Point: Cube{k.space, c}, Product: Cube{k.space, d}, Off: Cube{k.space, off}}
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
	return k.condense(out), nil
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

// finish runs a short step that ends a run in order, without a limit of work, unless
// the run is over already.
func (k *worker) finish(do func()) {
	if k.stopped {
		return
	}
	limit := k.limit
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
