package cover

import (
	"encoding/binary"
	"slices"
)

// complement returns what the cubes of l leave out: unate recursion with
// merging and lifting (Brayton, Hachtel, McMullen and Sangiovanni-Vincentelli
// 1984; Rudell and Sangiovanni-Vincentelli 1987). At more than most cubes it
// gives up. outputsLast splits on the outputs only when nothing else is left, which
// gives fewer cubes where many outputs depend on the same inputs.
func (k *worker) complement(l []uint64, outputsLast bool, most int) (rest []uint64, ok bool) {
	if !k.spend(k.len(l) + 1) {
		return nil, false
	}
	for i := range k.len(l) {
		if k.isFull(k.at(l, i)) {
			return nil, true
		}
	}
	if len(l) == 0 {
		return slices.Clone(k.full), true
	}
	// A value that no cube accepts leaves out a whole cube.
	sup := make([]uint64, k.w)
	for i := range k.len(l) {
		or(sup, k.at(l, i))
	}
	inner := l
	if !k.isFull(sup) {
		box := slices.Clone(k.full)
		for f := range k.fields {
			if k.fullIn(sup, f) {
				continue
			}
			at := len(rest)
			rest = append(rest, box...)
			k.without(rest[at:], sup, f)
			k.move(box, sup, f)
		}
		if k.len(l) == 1 {
			return rest, true
		}
		inner = k.cofactor(nil, l, sup)
		for i := range k.len(inner) {
			if k.isFull(k.at(inner, i)) {
				return rest, true
			}
		}
	}
	n := k.getCounts()
	f := k.mostCut(inner, n)
	if outputsLast && f == k.out() {
		n[f] = 0
		for g := range n {
			if n[g] > n[f] || n[g] == n[f] && n[g] > 0 && k.fields[g].size < k.fields[f].size {
				f = g
			}
		}
	}
	k.putCounts(n)
	cl := k.classes(nil, inner, f)
	m := k.fields[f].words
	var parts [][]uint64
	sub := k.get()
	total := 0
	for j := range len(cl) / m {
		class := cl[j*m : j*m+m]
		sub = k.restrict(sub[:0], inner, f, class)
		part, ok := k.complement(sub, outputsLast, most)
		if !ok {
			k.put(sub)
			return nil, false
		}
		total += k.len(part)
		parts = append(parts, part)
	}
	k.put(sub)
	part := k.join(parts, cl, f)
	if k.len(part)+k.len(rest) > most {
		return nil, false
	}
	if !k.isFull(sup) {
		for i := range k.len(part) {
			and(k.at(part, i), sup)
		}
	}
	return append(rest, part...), true
}

// without takes the values of b in field f from a.
func (k *worker) without(a, b []uint64, f int) {
	fd := &k.fields[f]
	if fd.words == 1 {
		a[fd.word] &^= b[fd.word] & fd.mask
		return
	}
	for o := fd.word; o < fd.word+fd.words; o++ {
		a[o] &^= b[o]
	}
}

// join puts the parts of the classes of f together: cubes that are alike outside f
// become one, and a cube that another class's cubes contain reaches into it.
func (k *worker) join(parts [][]uint64, cl []uint64, f int) []uint64 {
	fd := &k.fields[f]
	m := fd.words
	var all []uint64
	from := make([]int, 0, len(parts)+1)
	for j, p := range parts {
		from = append(from, k.len(all))
		for i := range k.len(p) {
			c := k.at(p, i)
			k.setClass(c, f, cl[j*m:j*m+m])
		}
		all = append(all, p...)
	}
	from = append(from, k.len(all))
	if n := k.len(all); n <= 300 || len(parts) == 2 && (from[1])*(n-from[1]) <= 40000 {
		for j := range parts {
			for i := from[j]; i < from[j+1]; i++ {
				c := k.at(all, i)
				for g := range parts {
					if g == j {
						continue
					}
					for h := from[g]; h < from[g+1]; h++ {
						if k.containsBut(k.at(all, h), c, f) {
							for o := range m {
								c[fd.word+o] |= cl[g*m+o]
							}
							break
						}
					}
				}
			}
		}
		k.spend(n)
	}
	return k.merge(all, f)
}

func (k *worker) setClass(c []uint64, f int, class []uint64) {
	k.clear(c, f)
	for o, x := range class {
		c[k.fields[f].word+o] |= x
	}
}

// containsBut is contains outside field f.
func (k *worker) containsBut(a, b []uint64, f int) bool {
	fd := &k.fields[f]
	for o, x := range b {
		x &^= a[o]
		if x == 0 {
			continue
		}
		if fd.words == 1 {
			if o == fd.word {
				x &^= fd.mask
			}
		} else if o >= fd.word && o < fd.word+fd.words {
			x = 0
		}
		if x != 0 {
			return false
		}
	}
	return true
}

// merge makes one cube of those that are alike outside field f, in the order of
// the first of each.
func (k *worker) merge(l []uint64, f int) []uint64 {
	if k.len(l) < 2 {
		return l
	}
	seen := make(map[string]int, k.len(l))
	key := make([]byte, 8*k.w)
	tmp := make([]uint64, k.w)
	n := 0
	for i := range k.len(l) {
		c := k.at(l, i)
		copy(tmp, c)
		k.clear(tmp, f)
		for o, x := range tmp {
			binary.LittleEndian.PutUint64(key[8*o:], x)
		}
		if at, ok := seen[string(key)]; ok {
			or(k.at(l, at), c)
			continue
		}
		seen[string(key)] = n
		copy(k.at(l, n), c)
		n++
	}
	return l[:n*k.w]
}

// maximal removes the cubes of l that another contains, in place, larger ones first.
func (k *worker) maximal(l []uint64) []uint64 {
	type sized struct{ n, i int }
	order := make([]sized, k.len(l))
	for i := range order {
		order[i] = sized{ones(k.at(l, i)), i}
	}
	slices.SortStableFunc(order, func(a, b sized) int { return b.n - a.n })
	out := make([]uint64, 0, len(l))
next:
	for _, o := range order {
		c := k.at(l, o.i)
		if k.stopped || !k.spend(k.len(out)/4+1) {
			out = append(out, c...)
			continue
		}
		for i := 0; i < len(out); i += k.w {
			if contains(out[i:i+k.w], c) {
				continue next
			}
		}
		out = append(out, c...)
	}
	return out
}
