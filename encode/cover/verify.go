package cover

import (
	"encoding/binary"
	"fmt"
)

// Verify reports whether list is a cover of on with the don't-cares free (nil
// for none): the first point set of on that neither list nor free holds, or of
// list that neither on nor free holds, is in the error. It shares no code with the
// minimiser beyond the cubes: it halves a cube until single cubes settle it.
func Verify(on, free, list *Cover) error {
	s := list.s
	if !on.s.shape.Equal(s.shape) || free != nil && !free.s.shape.Equal(s.shape) {
		return fmt.Errorf("the covers are not of the same shape")
	}
	var none Cover
	if free == nil {
		free = &none
	}
	allowed := append(append([]uint64{}, on.w...), free.w...)
	if i, p := outside(s, list.w, allowed); p != nil {
		return fmt.Errorf("product %s covers %s, which is neither on nor free", list.At(i), Cube{s, p})
	}
	covered := append(append([]uint64{}, list.w...), free.w...)
	if _, p := outside(s, on.w, covered); p != nil {
		return fmt.Errorf("%s is on but no product covers it", Cube{s, p})
	}
	return nil
}

// fewPairs of cubes are compared one by one.
const fewPairs = 1 << 12

// outside returns a cube of l and a part of it that meets no cube of m, or nil. Long
// lists are dealt out by halves of one field, so that each cube is held only against
// those near it.
func outside(s *space, l, m []uint64) (i int, part []uint64) {
	var look func(box []uint64, a, b []int32) (int, []uint64)
	look = func(box []uint64, a, b []int32) (int, []uint64) {
		if len(a) == 0 {
			return 0, nil
		}
		pairs := int64(len(a)) * int64(len(b))
		if pairs > fewPairs {
			best, least := []uint64(nil), pairs-pairs/16
			for f := range s.fields {
				half := s.half(box, f)
				if half == nil {
					continue
				}
				inA, outA := s.sides(l, a, box, half, f)
				inB, outB := s.sides(m, b, box, half, f)
				if n := int64(inA)*int64(inB) + int64(outA)*int64(outB); n < least {
					best, least = half, n
				}
			}
			if best != nil {
				for range 2 {
					i, p := look(best, s.meeting(l, a, best), s.meeting(m, b, best))
					if p != nil {
						return i, p
					}
					best = s.otherHalf(box, best)
				}
				return 0, nil
			}
		}
		near := make([]uint64, 0, len(b)*s.w)
		for _, j := range b {
			near = append(near, s.at(m, int(j))...)
		}
		for _, i := range a {
			region := append([]uint64{}, s.at(l, int(i))...)
			for o := range region {
				region[o] &= box[o]
			}
			if p := gap(s, region, near); p != nil {
				return int(i), p
			}
		}
		return 0, nil
	}
	// What both lists hold needs no look.
	key := make([]byte, 0, 8*s.w)
	text := func(c []uint64) []byte {
		key = key[:0]
		for _, x := range c {
			key = binary.LittleEndian.AppendUint64(key, x)
		}
		return key
	}
	known := make(map[string]bool, s.len(m))
	every := make([]int32, s.len(m))
	for j := range every {
		every[j] = int32(j)
		known[string(text(s.at(m, j)))] = true
	}
	var open []int32
	for i := range s.len(l) {
		if !known[string(text(s.at(l, i)))] {
			open = append(open, int32(i))
		}
	}
	return look(s.full, open, every)
}

// half is box with the lower half of its values in field f, or nil if it has only one.
func (s *space) half(box []uint64, f int) []uint64 {
	n := s.count(box, f)
	if n < 2 {
		return nil
	}
	part := append([]uint64{}, box...)
	half := n / 2
	for v := s.fields[f].size - 1; n > half; v-- {
		if b := s.bit(f, v); has(part, b) {
			unset(part, b)
			n--
		}
	}
	return part
}

// otherHalf is what half leaves of box.
func (s *space) otherHalf(box, half []uint64) []uint64 {
	part := append([]uint64{}, box...)
	for f := range s.fields {
		if s.within(half, box, f) {
			continue
		}
		fd := s.fields[f]
		for o := fd.word; o < fd.word+fd.words; o++ {
			part[o] &^= half[o] & s.maskIn(f, o)
		}
	}
	return part
}

// sides counts the cubes of ids that accept values of half in field f, and of the rest
// of box.
func (s *space) sides(l []uint64, ids []int32, box, half []uint64, f int) (in, out int) {
	fd := s.fields[f]
	for _, i := range ids {
		c := s.at(l, int(i))
		var a, b uint64
		for o := fd.word; o < fd.word+fd.words; o++ {
			mask := s.maskIn(f, o)
			a |= c[o] & half[o] & mask
			b |= c[o] & box[o] &^ half[o] & mask
		}
		if a != 0 {
			in++
		}
		if b != 0 {
			out++
		}
	}
	return in, out
}

// maskIn is the bits of field f in a word of it.
func (s *space) maskIn(f, word int) uint64 {
	if s.fields[f].words == 1 {
		return s.fields[f].mask
	}
	return s.full[word]
}

// meeting returns those of ids whose cubes meet box.
func (s *space) meeting(l []uint64, ids []int32, box []uint64) []int32 {
	var kept []int32
	for _, i := range ids {
		if s.meets(s.at(l, int(i)), box) {
			kept = append(kept, i)
		}
	}
	return kept
}

// gap returns a part of region that meets no cube of list, or nil.
func gap(s *space, region, list []uint64) []uint64 {
	if s.isEmpty(region) {
		return nil
	}
	near := make([]uint64, 0, 256)
	for i := range s.len(list) {
		c := s.at(list, i)
		if contains(c, region) {
			return nil
		}
		if s.meets(c, region) {
			near = append(near, c...)
		}
	}
	if len(near) == 0 {
		return region
	}
	// The field that most of the cubes cut, and of these cubes one that cuts
	// least elsewhere: the half inside it is settled soonest.
	count := make([]int, len(s.fields))
	for i := range s.len(near) {
		for f := range s.fields {
			if !s.within(s.at(near, i), region, f) {
				count[f]++
			}
		}
	}
	best := 0
	for f, n := range count {
		if n > count[best] {
			best = f
		}
	}
	var by []uint64
	least := 0
	for i := range s.len(near) {
		c := s.at(near, i)
		if s.within(c, region, best) {
			continue
		}
		n := 0
		for f := range s.fields {
			if !s.within(c, region, f) {
				n++
			}
		}
		if by == nil || n < least {
			by, least = c, n
		}
	}
	inside := append([]uint64{}, region...)
	outside := append([]uint64{}, region...)
	fd := s.fields[best]
	for o := fd.word; o < fd.word+fd.words; o++ {
		mask := s.maskIn(best, o)
		outside[o] &^= by[o] & mask
		inside[o] &^= mask &^ by[o]
	}
	if p := gap(s, inside, near); p != nil {
		return p
	}
	return gap(s, outside, near)
}
