package cover

import (
	"encoding/binary"
	"slices"
)

// primes returns all primes of what the cubes of l cover, or false where a step
// would look at more than most pairs of cubes or be left with more than mostColumns.
//
// The primes of a function split on a variable are those of each half and the
// intersections across (Brayton et al. 1984). A multiple-valued variable is
// halved until its values are alike, so that it needs no other rule: a prime that
// accepts values of both halves is the meet of a prime of each.
func (k *worker) primes(l []uint64, most int) ([]uint64, bool) {
	if !k.spend(k.len(l) + 1) {
		return nil, false
	}
	for i := range k.len(l) {
		if k.isFull(k.at(l, i)) {
			return slices.Clone(k.full), true
		}
	}
	if k.len(l) < 2 {
		return slices.Clone(l), true
	}
	n := k.getCounts()
	f := k.mostCut(l, n)
	alike := k.alike(l, n)
	k.putCounts(n)
	if alike {
		return k.maximal(l), true
	}
	cl := k.classes(nil, l, f)
	m := k.fields[f].words
	sub := k.get()
	defer func() { k.put(sub) }()
	// Classes are joined in pairs, then these in pairs, and so on.
	var parts [][]uint64
	for j := range len(cl) / m {
		class := cl[j*m : j*m+m]
		sub = k.restrict(sub[:0], l, f, class)
		p, ok := k.primes(sub, most)
		if !ok {
			return nil, false
		}
		for i := range k.len(p) {
			k.setClass(k.at(p, i), f, class)
		}
		parts = append(parts, p)
	}
	for len(parts) > 1 {
		half := parts[:0]
		for i := 0; i < len(parts); i += 2 {
			if i+1 == len(parts) {
				half = append(half, parts[i])
				break
			}
			p, ok := k.crossed(parts[i], parts[i+1], f, most)
			if !ok {
				return nil, false
			}
			half = append(half, p)
		}
		parts = half
	}
	return parts[0], true
}

// alike reports whether each field that l cuts is cut in the same way by all cubes
// that cut it. The primes are then the maximal cubes: no consensus adds any.
func (k *worker) alike(l []uint64, n []int32) bool {
	first := make([]int, len(n))
	for f := range n {
		if n[f] == 0 {
			continue
		}
		first[f] = -1
		for i := range k.len(l) {
			c := k.at(l, i)
			if k.fullIn(c, f) {
				continue
			}
			if first[f] < 0 {
				first[f] = i
			} else if d := k.at(l, first[f]); !k.within(c, d, f) || !k.within(d, c, f) {
				return false
			}
		}
	}
	return true
}

// crossed returns the maximal cubes of a, of b, and of all meets of both outside
// field f, in which they accept what either does.
func (k *worker) crossed(a, b []uint64, f, most int) ([]uint64, bool) {
	if k.len(a)*k.len(b) > most {
		return nil, false
	}
	all := make([]uint64, 0, 2*(len(a)+len(b)))
	seen := map[string]bool{}
	key := make([]byte, 8*k.w)
	d := make([]uint64, k.w)
	// A cube that lies in one of the other side outside f needs no copy of its own.
	loneA := make([]bool, k.len(a))
	loneB := make([]bool, k.len(b))
	for i := range loneA {
		loneA[i] = true
	}
	for i := range loneB {
		loneB[i] = true
	}
	for i := range k.len(a) {
		p := k.at(a, i)
		if !k.spend(k.len(b)) {
			return nil, false
		}
		for j := range k.len(b) {
			q := k.at(b, j)
			for o := range d {
				d[o] = p[o] & q[o]
			}
			if k.containsBut(d, p, f) {
				loneA[i] = false
			}
			if k.containsBut(d, q, f) {
				loneB[j] = false
			}
			fd := &k.fields[f]
			if fd.words == 1 {
				d[fd.word] |= (p[fd.word] | q[fd.word]) & fd.mask
			} else {
				for o := fd.word; o < fd.word+fd.words; o++ {
					d[o] = p[o] | q[o]
				}
			}
			if k.isEmpty(d) {
				continue
			}
			for o, x := range d {
				binary.LittleEndian.PutUint64(key[8*o:], x)
			}
			if !seen[string(key)] {
				if len(seen) >= mostColumns {
					return nil, false
				}
				seen[string(key)] = true
				all = append(all, d...)
			}
		}
	}
	for i, lone := range loneA {
		if lone {
			all = append(all, k.at(a, i)...)
		}
	}
	for i, lone := range loneB {
		if lone {
			all = append(all, k.at(b, i)...)
		}
	}
	return k.maximal(all), !k.stopped
}
