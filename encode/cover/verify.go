package cover

import "fmt"

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
	for i := range list.Len() {
		if p := gap(s, list.At(i).w, allowed); p != nil {
			return fmt.Errorf("product %s covers %s, which is neither on nor free", list.At(i), Cube{s, p})
		}
	}
	covered := append(append([]uint64{}, list.w...), free.w...)
	for i := range on.Len() {
		if p := gap(s, on.At(i).w, covered); p != nil {
			return fmt.Errorf("%s is on but no product covers it", Cube{s, p})
		}
	}
	return nil
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
	for v := range fd.size {
		b := s.bit(best, v)
		if has(by, b) {
			unset(outside, b)
		} else {
			unset(inside, b)
		}
	}
	if p := gap(s, inside, near); p != nil {
		return p
	}
	return gap(s, outside, near)
}
