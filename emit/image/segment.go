package image

import (
	"fmt"
	"slices"
)

// Segment is a run of bytes at a byte address.
type Segment struct {
	Address uint32
	Data    []byte
}

// last returns the address of the last byte of a segment that has one.
func (s Segment) last() uint64 { return uint64(s.Address) + uint64(len(s.Data)) - 1 }

// ordered returns the segments in address order, those that touch joined, so
// that the same bytes make the same records however they were gathered. It
// fails if two define the same byte or one runs past 4 GiB.
func ordered(segments []Segment) ([]Segment, error) {
	var out []Segment
	for _, s := range segments {
		if len(s.Data) > 0 {
			out = append(out, s)
		}
	}
	slices.SortStableFunc(out, func(a, b Segment) int {
		switch {
		case a.Address < b.Address:
			return -1
		case a.Address > b.Address:
			return 1
		}
		return 0
	})
	kept, ours := 0, false
	for i, s := range out {
		if s.last() > 0xFFFFFFFF {
			return nil, fmt.Errorf("%d bytes at 0x%X run past the last address 0xFFFFFFFF", len(s.Data), s.Address)
		}
		if i > 0 {
			before := &out[kept-1]
			switch end := before.last() + 1; {
			case uint64(s.Address) < end:
				return nil, fmt.Errorf("the byte at 0x%X is defined twice", s.Address)
			case uint64(s.Address) == end:
				if !ours {
					// The caller's array may go on behind the slice.
					before.Data, ours = slices.Clip(before.Data), true
				}
				before.Data = append(before.Data, s.Data...)
				continue
			}
		}
		out[kept], ours = s, false
		kept++
	}
	return out[:kept], nil
}
