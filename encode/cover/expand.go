package cover

import (
	"math/bits"
	"slices"
)

// expander grows products against the off-set.
type expander struct {
	*worker
	trigger []int // values whose acceptance makes the rules ask for more
}

func newExpander(k *worker) *expander {
	e := &expander{worker: k}
	for _, r := range k.law.rules {
		eachBit(r.when, func(b int) { e.trigger = append(e.trigger, b) })
	}
	slices.Sort(e.trigger)
	e.trigger = slices.Compact(e.trigger)
	return e
}

// misses reports whether c meets no cube of l.
func (k *worker) misses(c, l []uint64) bool {
	for i := 0; i < len(l); i += k.w {
		if k.meets(c, l[i:i+k.w]) {
			k.work += int64(i / k.w)
			return false
		}
	}
	k.work += int64(len(l) / k.w)
	return true
}

// expand makes each product of f a prime and drops those that an earlier one then
// contains (EXPAND of Rudell and Sangiovanni-Vincentelli 1987). prime marks
// the products known to be prime; it may be nil. Products have to be admissible.
func (e *expander) expand(f []uint64, prime []bool) []uint64 {
	n := e.len(f)
	// Products that have least in common with the others first: they are
	// least likely to be covered on the way.
	weight := make([]int64, 64*e.w)
	for i := range n {
		eachBit(e.at(f, i), func(b int) { weight[b]++ })
	}
	key := make([]int64, n)
	order := make([]int, n)
	for i := range n {
		order[i] = i
		eachBit(e.at(f, i), func(b int) { key[i] += weight[b] })
	}
	slices.SortStableFunc(order, func(a, b int) int {
		switch {
		case key[a] < key[b]:
			return -1
		case key[a] > key[b]:
			return 1
		}
		return 0
	})
	covered := make([]bool, n)
	out := make([]uint64, 0, len(f))
	for _, i := range order {
		if covered[i] {
			continue
		}
		covered[i] = true
		c := slices.Clone(e.at(f, i))
		if !e.stopped && (prime == nil || !prime[i]) {
			if e.hasOff {
				e.grow(c, f, covered)
			} else {
				e.creep(c)
			}
		}
		out = append(out, c...)
		if e.stopped && equal(c, e.at(f, i)) {
			continue
		}
		for j := range n {
			covered[j] = covered[j] || contains(c, e.at(f, j))
		}
		e.spend(n)
	}
	return out
}

// grow makes c a prime that contains as many as possible of the products of f that
// are not covered yet.
func (e *expander) grow(c, f []uint64, covered []bool) {
	free := make([]uint64, e.w) // values that may still be added
	for o := range free {
		free[o] = e.full[o] &^ c[o]
	}
	oc := make([]uint64, e.w) // c with all of them
	sup := make([]uint64, e.w)
	act := e.get()
	defer func() { e.put(act) }()
	from := e.off
	settle := func() {
		for {
			if !e.spend(2 * e.len(from)) {
				return
			}
			act = e.block(act[:0], c, free, from)
			for o := range oc {
				oc[o] = c[o] | free[o]
			}
			kept := act[:0]
			for i := 0; i < len(act); i += e.w {
				if e.meets(oc, act[i:i+e.w]) {
					kept = append(kept, act[i:i+e.w]...)
				}
			}
			act = kept
			from = act
			again := false
			for _, b := range e.trigger {
				if !has(free, b) {
					continue
				}
				copy(sup, c)
				set(sup, b)
				e.law.close(sup)
				if !contains(oc, sup) || !e.misses(sup, act) {
					unset(free, b)
					unset(oc, b)
					again = true
				}
			}
			if !again {
				return
			}
		}
	}
	raise := func(to []uint64) {
		copy(c, to)
		for o := range free {
			free[o] &^= c[o]
		}
		settle()
	}
	settle()
	var near []int // products that may yet come in
	for j := range covered {
		if !covered[j] && contains(oc, e.at(f, j)) && !contains(c, e.at(f, j)) {
			near = append(near, j)
		}
	}
	e.spend(len(covered))
	best := make([]uint64, e.w)
	for len(near) > 0 && !e.stopped {
		most, size := 0, 0
		kept := near[:0]
		for _, j := range near {
			d := e.at(f, j)
			if !contains(oc, d) || contains(c, d) {
				continue
			}
			for o := range sup {
				sup[o] = c[o] | d[o]
			}
			e.law.close(sup)
			if !contains(oc, sup) || !e.misses(sup, act) {
				continue
			}
			kept = append(kept, j)
		}
		near = kept
		for _, j := range near {
			d := e.at(f, j)
			for o := range sup {
				sup[o] = c[o] | d[o]
			}
			e.law.close(sup)
			n := 0
			for _, h := range near {
				if contains(sup, e.at(f, h)) {
					n++
				}
			}
			if z := ones(sup); n > most || n == most && z < size {
				most, size = n, z
				copy(best, sup)
			}
		}
		e.spend(len(near) * len(near))
		if most > 0 {
			raise(best)
		}
	}
	// No whole product can come in any more. Add what the rest of f and the
	// off-set leave most room for, one value at a time.
	var frequency []int32
	for !e.stopped && ones(free) > 0 {
		if len(act) == 0 {
			copy(c, oc)
			return
		}
		danger := make([]int32, 64*e.w)
		e.endanger(danger, c, act, free)
		copy(sup, c)
		safe := false
		eachBit(free, func(b int) {
			if danger[b] == 0 && !slices.Contains(e.trigger, b) {
				set(sup, b)
				safe = true
			}
		})
		if safe {
			raise(sup)
			continue
		}
		if frequency == nil {
			frequency = make([]int32, 64*e.w)
			for j := range covered {
				if covered[j] {
					continue
				}
				if d := e.at(f, j); e.meets(oc, d) {
					eachBit(d, func(b int) { frequency[b]++ })
				}
			}
		}
		pick := -1
		better := func(a, b int) bool {
			fa, fb := e.fullIn(oc, e.owner[a]), e.fullIn(oc, e.owner[b])
			switch {
			case fa != fb:
				return fa
			case frequency[a] != frequency[b]:
				return frequency[a] > frequency[b]
			case danger[a] != danger[b]:
				return danger[a] < danger[b]
			}
			return false
		}
		eachBit(free, func(b int) {
			if pick < 0 || better(b, pick) {
				pick = b
			}
		})
		copy(sup, c)
		set(sup, pick)
		e.law.close(sup)
		raise(sup)
	}
}

// creep makes c a prime where there is no off-set to look at: it fills one variable
// after the other, or adds the values that it can, asking each time whether the
// function covers the result.
func (e *expander) creep(c []uint64) {
	sup := make([]uint64, e.w)
	try := func() bool {
		e.law.close(sup)
		ok := !e.stopped && e.implicant(sup) && !e.stopped
		if ok {
			copy(c, sup)
		}
		return ok
	}
	for f := range e.fields {
		if e.fullIn(c, f) {
			continue
		}
		copy(sup, c)
		e.fill(sup, f)
		if try() || e.fields[f].size == 2 {
			continue
		}
		for v := range e.fields[f].size {
			if b := e.bit(f, v); !has(c, b) {
				copy(sup, c)
				set(sup, b)
				try()
			}
		}
	}
}

// block takes from free the values that would let c meet a cube of off at once, and
// appends to kept, which may share its memory with off, the cubes that may still be
// met. A cube at distance 1 is kept off for good by taking its values in that one field.
func (e *expander) block(kept, c, free, off []uint64) []uint64 {
	w := e.w
	c, low, top := c[:w], e.low[:w], e.top[:w]
next:
	for ; len(off) >= w; off = off[w:] {
		o := off[:w:w]
		one := uint64(0) // the field apart, if in one word
		at := 0
		for j := range c {
			x := c[j] & o[j]
			miss := top[j] &^ ((x & low[j]) + low[j] | x)
			if miss == 0 {
				continue
			}
			if one != 0 || miss&(miss-1) != 0 {
				kept = append(kept, o...)
				continue next
			}
			one, at = miss, j
		}
		f := -1
		if one != 0 {
			f = e.owner[64*at+bits.TrailingZeros64(one)]
		}
		for _, g := range e.wide {
			if !e.meetsIn(c, o, g) {
				if f >= 0 {
					kept = append(kept, o...)
					continue next
				}
				f = g
			}
		}
		if f >= 0 {
			e.without(free, o, f)
		} else {
			kept = append(kept, o...)
		}
	}
	return kept
}

// endanger counts, for each free value, the off cubes that would have one field
// fewer apart from c if it were added.
func (e *expander) endanger(n []int32, c, act, free []uint64) {
	for i := 0; i < len(act); i += e.w {
		o := act[i : i+e.w]
		for w, x := range c {
			x &= o[w]
			miss := e.top[w] &^ ((x & e.low[w]) + e.low[w] | x)
			for ; miss != 0; miss &= miss - 1 {
				fd := &e.fields[e.owner[64*w+bits.TrailingZeros64(miss)]]
				for y := o[w] & fd.mask & free[w]; y != 0; y &= y - 1 {
					n[64*w+bits.TrailingZeros64(y)]++
				}
			}
		}
		for _, f := range e.wide {
			if e.meetsIn(c, o, f) {
				continue
			}
			fd := &e.fields[f]
			for w := fd.word; w < fd.word+fd.words; w++ {
				for y := o[w] & free[w]; y != 0; y &= y - 1 {
					n[64*w+bits.TrailingZeros64(y)]++
				}
			}
		}
	}
	e.spend(e.len(act))
}
