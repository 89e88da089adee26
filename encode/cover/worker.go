package cover

import (
	"context"
	"math/bits"
)

// worker carries what the recursions share: the layout, the limits, and buffers.
type worker struct {
	*space
	law     *law
	base    []uint64 // on and free
	off     []uint64 // the rest, unless it was too much
	hasOff  bool
	ctx     context.Context
	limit   int64 // of work, 0 for none
	work    int64 // cubes looked at, the same on every machine
	look    int64 // work at which to ask ctx again
	stopped bool
	pool    [][]uint64
	counts  [][]int32
}

const lookEvery = 1 << 17 // words of cubes

// spend adds n to the work and reports whether to go on.
func (k *worker) spend(n int) bool {
	k.work += int64(n)
	if k.stopped {
		return false
	}
	if k.limit > 0 && k.work > k.limit {
		k.stopped = true
	}
	if k.work >= k.look {
		k.look = k.work + lookEvery/int64(k.w)
		if k.ctx.Err() != nil {
			k.stopped = true
		}
	}
	return !k.stopped
}

// try runs do with at most so much work, after which what it began is left as it is. It
// reports whether do came to its end.
func (k *worker) try(most int64, do func()) bool {
	if k.stopped {
		return false
	}
	limit, end := k.limit, k.work+most
	if limit == 0 || end < limit {
		k.limit = end
	}
	do()
	ended := !k.stopped
	k.limit = limit
	if k.stopped && k.ctx.Err() == nil && (limit == 0 || k.work <= limit) {
		k.stopped = false
	}
	return ended
}

func (k *worker) get() []uint64 {
	if n := len(k.pool); n > 0 {
		b := k.pool[n-1]
		k.pool = k.pool[:n-1]
		return b[:0]
	}
	return make([]uint64, 0, 64*k.w)
}

func (k *worker) put(b []uint64) { k.pool = append(k.pool, b) }

func (k *worker) getCounts() []int32 {
	if n := len(k.counts); n > 0 {
		b := k.counts[n-1]
		k.counts = k.counts[:n-1]
		clear(b)
		return b
	}
	return make([]int32, len(k.fields))
}

func (k *worker) putCounts(b []int32) { k.counts = append(k.counts, b) }

// classes splits the values of field f into sets that no cube of l tells apart.
// They are appended to buf, fields[f].words words each.
func (k *worker) classes(buf, l []uint64, f int) []uint64 {
	fd := &k.fields[f]
	n := k.len(l)
	if fd.words == 1 {
		buf = append(buf, fd.mask)
		for i := 0; i < n && len(buf) < fd.size; i++ {
			x := l[i*k.w+fd.word] & fd.mask
			if x == fd.mask {
				continue
			}
			for j := range len(buf) {
				in := buf[j] & x
				if in != 0 && in != buf[j] {
					buf = append(buf, buf[j]&^x)
					buf[j] = in
				}
			}
		}
		return buf
	}
	m := fd.words
	buf = append(buf, k.full[fd.word:fd.word+m]...)
	for i := 0; i < n && len(buf) < fd.size*m; i++ {
		x := k.at(l, i)[fd.word : fd.word+m]
		for j := range len(buf) / m {
			c := buf[j*m : j*m+m]
			in, not := false, false
			for o := range c {
				in = in || c[o]&x[o] != 0
				not = not || c[o]&^x[o] != 0
			}
			if in && not {
				for o := range m {
					buf = append(buf, buf[j*m+o]&^x[o])
				}
				c = buf[j*m : j*m+m]
				for o := range c {
					c[o] &= x[o]
				}
			}
		}
	}
	return buf
}

// inClass reports whether c accepts class (of field f).
func (fd *field) inClass(c, class []uint64) bool {
	for o, x := range class {
		if c[fd.word+o]&x != 0 {
			return true
		}
	}
	return false
}

// restrict appends to buf the cubes of l that accept the class, full in f.
func (k *worker) restrict(buf, l []uint64, f int, class []uint64) []uint64 {
	fd := &k.fields[f]
	for i := range k.len(l) {
		c := k.at(l, i)
		if fd.inClass(c, class) {
			buf = append(buf, c...)
			k.fill(buf[len(buf)-k.w:], f)
		}
	}
	return buf
}

// cofactor appends to buf the cubes of l that meet p, with all that lies outside
// p added.
func (k *worker) cofactor(buf, l, p []uint64) []uint64 {
	for i := range k.len(l) {
		c := k.at(l, i)
		if !k.meets(c, p) {
			continue
		}
		for o, x := range c {
			buf = append(buf, x|k.full[o]&^p[o])
		}
	}
	return buf
}

// mostCut is the field that most cubes of l cut, -1 if none, the first of those
// with fewest values; and how many cut it.
func (k *worker) mostCut(l []uint64, n []int32) int {
	for i := range k.len(l) {
		k.countCut(k.at(l, i), n)
	}
	best := -1
	for f := range n {
		if n[f] > 0 && (best < 0 || n[f] > n[best] || n[f] == n[best] && k.fields[f].size < k.fields[best].size) {
			best = f
		}
	}
	return best
}

// tautology reports whether the cubes of l leave nothing out. It answers false
// when stopped.
//
// Unate recursion for multiple-valued variables (Rudell and
// Sangiovanni-Vincentelli 1987, after Brayton et al. 1984): if some value of a
// variable is accepted only by cubes that accept all of its values, the other
// cubes cannot help.
func (k *worker) tautology(l []uint64) bool {
	cur := k.get()
	defer func() { k.put(cur) }()
	cur = append(cur, l...)
	or := k.get()
	cut := k.get()
	n := k.getCounts()
	defer func() { k.put(or); k.put(cut); k.putCounts(n) }()
	for {
		if !k.spend(k.len(cur) + 1) {
			return false
		}
		or = append(or[:0], make([]uint64, k.w)...)
		cut = append(cut[:0], make([]uint64, k.w)...) // what the cubes that cut a field accept in it
		for i := range k.len(cur) {
			c := k.at(cur, i)
			whole := true
			for o, x := range c {
				or[o] |= x
				x = k.full[o] &^ x
				if x == 0 {
					continue
				}
				whole = false
				miss := ((x & k.low[o]) + k.low[o] | x) & k.top[o]
				for ; miss != 0; miss &= miss - 1 {
					fd := &k.fields[k.owner[64*o+bits.TrailingZeros64(miss)]]
					cut[o] |= c[o] & fd.mask
				}
			}
			if whole {
				return true
			}
			for _, f := range k.wide {
				if !k.fullIn(c, f) {
					fd := &k.fields[f]
					for o := fd.word; o < fd.word+fd.words; o++ {
						cut[o] |= c[o]
					}
				}
			}
		}
		if !equal(or, k.full) {
			return false
		}
		clear(n)
		best := k.mostCut(cur, n)
		unate := false
		for f := range k.fields {
			if n[f] > 0 && !k.fullIn(cut, f) {
				unate = true
				break
			}
		}
		if !unate {
			only := true
			for f := range n {
				if f != best && n[f] > 0 {
					only = false
				}
			}
			if only {
				return true // the union of one field is full
			}
			return k.splitTautology(cur, best)
		}
		kept := cur[:0]
		for i := range k.len(cur) {
			c := k.at(cur, i)
			keep := true
			k.cut(c, func(f int) { keep = keep && k.fullIn(cut, f) })
			if keep {
				kept = append(kept, c...)
			}
		}
		cur = kept
	}
}

func (k *worker) splitTautology(l []uint64, f int) bool {
	cl := k.classes(k.get(), l, f)
	sub := k.get()
	defer func() { k.put(cl); k.put(sub) }()
	m := k.fields[f].words
	for j := range len(cl) / m {
		sub = k.restrict(sub[:0], l, f, cl[j*m:j*m+m])
		if !k.tautology(sub) {
			return false
		}
	}
	return true
}

// covers reports whether the cubes of l together contain c.
func (k *worker) covers(l, c []uint64) bool {
	near := k.cofactor(k.get(), l, c)
	k.work += int64(k.len(l) / 4)
	ok := k.tautology(near)
	k.put(near)
	return ok
}

// implicant reports whether c holds no point that has to be off.
func (k *worker) implicant(c []uint64) bool {
	if k.hasOff {
		return k.misses(c, k.off)
	}
	return k.covers(k.base, c)
}

// missing adds to acc the smallest cube around what the cubes of l leave out of
// region. Split fields of region have to be full in l. When stopped it adds all.
func (k *worker) missing(acc, region, l []uint64) {
	if contains(acc, region) {
		return
	}
	if !k.spend(k.len(l) + 1) {
		or(acc, region)
		return
	}
	n := k.getCounts()
	defer k.putCounts(n)
	for i := range k.len(l) {
		if k.isFull(k.at(l, i)) {
			return
		}
	}
	best := k.mostCut(l, n)
	if best < 0 {
		or(acc, region)
		return
	}
	if k.len(l) == 1 {
		cuts := 0
		for f := range n {
			cuts += int(n[f])
		}
		if cuts > 1 {
			or(acc, region)
			return
		}
	}
	cl := k.classes(k.get(), l, best)
	sub := k.get()
	r := k.get()
	defer func() { k.put(cl); k.put(sub); k.put(r) }()
	fd := &k.fields[best]
	for j := range len(cl) / fd.words {
		class := cl[j*fd.words : (j+1)*fd.words]
		r = append(r[:0], region...)
		for o, x := range class {
			if fd.words == 1 {
				r[fd.word] = r[fd.word]&^fd.mask | x
			} else {
				r[fd.word+o] = x
			}
		}
		sub = k.restrict(sub[:0], l, best, class)
		k.missing(acc, r, sub)
	}
}

func or(a, b []uint64) {
	b = b[:len(a)]
	for i := range a {
		a[i] |= b[i]
	}
}

func and(a, b []uint64) {
	b = b[:len(a)]
	for i := range a {
		a[i] &= b[i]
	}
}
