package cover

import (
	"fmt"
	"math/bits"
	"slices"
	"strings"
)

// Limits of a Shape.
const (
	MaxVars    = 4096
	MaxValues  = 1 << 16 // of one variable, and of the outputs
	maxColumns = 1 << 20 // of all variables and outputs
)

// Shape is the signature of a function: how many values each input variable
// has (1 or more, nearly always 2 or more), and the number of outputs (1 or more).
type Shape struct {
	Sizes   []int
	Outputs int
}

// Equal reports whether covers of both shapes can be mixed.
func (s Shape) Equal(t Shape) bool {
	return s.Outputs == t.Outputs && slices.Equal(s.Sizes, t.Sizes)
}

// space is the layout of a cube in words. It depends on the Shape alone.
//
// A variable of k values takes k bits, bit v for value v. Up to 64 they lie
// in one word, so that all variables of a word can be tested at once: in
// x&low+low the carry reaches a variable's top bit if any bit below it is set.
type space struct {
	shape    Shape
	w        int // words of a cube
	fields   []field
	full     []uint64
	low, top []uint64 // of the fields in one word
	owner    []int    // field of each bit position, -1 for none
	wide     []int    // fields of more than 64 bits
}

type field struct {
	word, words int
	shift       uint
	mask        uint64 // if words is 1
	size        int
}

func newSpace(shape Shape) (*space, error) {
	if shape.Outputs < 1 || shape.Outputs > MaxValues {
		return nil, fmt.Errorf("%d outputs: need 1 to %d", shape.Outputs, MaxValues)
	}
	if len(shape.Sizes) > MaxVars {
		return nil, fmt.Errorf("%d variables: need at most %d", len(shape.Sizes), MaxVars)
	}
	total := shape.Outputs
	for i, k := range shape.Sizes {
		if k < 1 || k > MaxValues {
			return nil, fmt.Errorf("variable %d of %d values: need 1 to %d", i, k, MaxValues)
		}
		total += k
	}
	if total > maxColumns {
		return nil, fmt.Errorf("%d values in all: need at most %d", total, maxColumns)
	}
	s := &space{shape: Shape{slices.Clone(shape.Sizes), shape.Outputs}}
	var room []int // bits left in each word
	for i, k := range append(slices.Clone(shape.Sizes), shape.Outputs) {
		if k > 64 {
			n := (k + 63) / 64
			s.fields = append(s.fields, field{word: len(room), words: n, size: k})
			s.wide = append(s.wide, i)
			for range n {
				room = append(room, 0)
			}
			continue
		}
		at := slices.IndexFunc(room, func(r int) bool { return r >= k })
		if at < 0 {
			at = len(room)
			room = append(room, 64)
		}
		shift := uint(64 - room[at])
		room[at] -= k
		s.fields = append(s.fields, field{word: at, words: 1, shift: shift, mask: ^uint64(0) >> (64 - k) << shift, size: k})
	}
	s.w = len(room)
	s.full = make([]uint64, s.w)
	s.low = make([]uint64, s.w)
	s.top = make([]uint64, s.w)
	s.owner = make([]int, 64*s.w)
	for i := range s.owner {
		s.owner[i] = -1
	}
	for i, f := range s.fields {
		for v := range f.size {
			at := 64*f.word + int(f.shift) + v
			s.full[at/64] |= 1 << (at % 64)
			s.owner[at] = i
		}
		if f.words == 1 {
			t := uint64(1) << (f.shift + uint(f.size) - 1)
			s.top[f.word] |= t
			s.low[f.word] |= f.mask ^ t
		}
	}
	return s, nil
}

// out is the field of the outputs.
func (s *space) out() int { return len(s.fields) - 1 }

// bit is the position of a value.
func (s *space) bit(f, v int) int { return 64*s.fields[f].word + int(s.fields[f].shift) + v }

// at is cube i of a list.
func (s *space) at(l []uint64, i int) []uint64 { return l[i*s.w : (i+1)*s.w : (i+1)*s.w] }

func (s *space) len(l []uint64) int { return len(l) / s.w }

// meets reports whether a and b have a point in common.
func (s *space) meets(a, b []uint64) bool {
	low, top := s.low, s.top
	b = b[:len(a)]
	low, top = low[:len(a)], top[:len(a)]
	for i, x := range a {
		x &= b[i]
		if ((x&low[i])+low[i]|x)&top[i] != top[i] {
			return false
		}
	}
	for _, f := range s.wide {
		if !s.meetsIn(a, b, f) {
			return false
		}
	}
	return true
}

// meetsIn reports whether a and b share a value of field f.
func (s *space) meetsIn(a, b []uint64, f int) bool {
	fd := &s.fields[f]
	if fd.words == 1 {
		return a[fd.word]&b[fd.word]&fd.mask != 0
	}
	for i := fd.word; i < fd.word+fd.words; i++ {
		if a[i]&b[i] != 0 {
			return true
		}
	}
	return false
}

// distance is the number of fields in which a and b share nothing, counted up to
// 2, and one of these fields.
func (s *space) distance(a, b []uint64) (d, f int) {
	f = -1
	b = b[:len(a)]
	for i, x := range a {
		x &= b[i]
		miss := s.top[i] &^ ((x & s.low[i]) + s.low[i] | x)
		if miss != 0 {
			d += bits.OnesCount64(miss)
			if d > 1 {
				return 2, f
			}
			f = s.owner[64*i+bits.TrailingZeros64(miss)]
		}
	}
	for _, g := range s.wide {
		if !s.meetsIn(a, b, g) {
			d, f = d+1, g
			if d > 1 {
				return 2, f
			}
		}
	}
	return d, f
}

// contains reports whether every point of b lies in a.
func contains(a, b []uint64) bool {
	b = b[:len(a)]
	for i, x := range a {
		if b[i]&^x != 0 {
			return false
		}
	}
	return true
}

func equal(a, b []uint64) bool {
	b = b[:len(a)]
	for i, x := range a {
		if x != b[i] {
			return false
		}
	}
	return true
}

// isEmpty reports whether some field of a has no value.
func (s *space) isEmpty(a []uint64) bool { return !s.meets(a, a) }

func (s *space) isFull(a []uint64) bool { return equal(a, s.full) }

func (s *space) fullIn(a []uint64, f int) bool {
	fd := &s.fields[f]
	if fd.words == 1 {
		return a[fd.word]&fd.mask == fd.mask
	}
	for i := fd.word; i < fd.word+fd.words; i++ {
		if a[i] != s.full[i] {
			return false
		}
	}
	return true
}

// cut calls do for each field in which a is not full.
func (s *space) cut(a []uint64, do func(f int)) {
	for i, x := range a {
		x = s.full[i] &^ x
		miss := ((x & s.low[i]) + s.low[i] | x) & s.top[i]
		for ; miss != 0; miss &= miss - 1 {
			do(s.owner[64*i+bits.TrailingZeros64(miss)])
		}
	}
	for _, f := range s.wide {
		if !s.fullIn(a, f) {
			do(f)
		}
	}
}

// countCut adds 1 to n[f] for each field f in which a is not full.
func (s *space) countCut(a []uint64, n []int32) {
	for i, x := range a {
		x = s.full[i] &^ x
		miss := ((x & s.low[i]) + s.low[i] | x) & s.top[i]
		for ; miss != 0; miss &= miss - 1 {
			n[s.owner[64*i+bits.TrailingZeros64(miss)]]++
		}
	}
	for _, f := range s.wide {
		if !s.fullIn(a, f) {
			n[f]++
		}
	}
}

// cuts is the number of fields in which a is not full.
func (s *space) cuts(a []uint64) int {
	n := 0
	for i, x := range a {
		x = s.full[i] &^ x
		n += bits.OnesCount64(((x & s.low[i]) + s.low[i] | x) & s.top[i])
	}
	for _, f := range s.wide {
		if !s.fullIn(a, f) {
			n++
		}
	}
	return n
}

// literals is the number of input variables that do not accept every value.
func (s *space) literals(a []uint64) int {
	n := s.cuts(a)
	if !s.fullIn(a, s.out()) {
		n--
	}
	return n
}

// fill makes a accept every value of field f.
func (s *space) fill(a []uint64, f int) {
	fd := &s.fields[f]
	if fd.words == 1 {
		a[fd.word] |= fd.mask
		return
	}
	copy(a[fd.word:fd.word+fd.words], s.full[fd.word:])
}

// clear empties field f of a.
func (s *space) clear(a []uint64, f int) {
	fd := &s.fields[f]
	if fd.words == 1 {
		a[fd.word] &^= fd.mask
		return
	}
	clear(a[fd.word : fd.word+fd.words])
}

// move copies field f of b into a.
func (s *space) move(a, b []uint64, f int) {
	fd := &s.fields[f]
	if fd.words == 1 {
		a[fd.word] = a[fd.word]&^fd.mask | b[fd.word]&fd.mask
		return
	}
	copy(a[fd.word:fd.word+fd.words], b[fd.word:])
}

// within reports whether field f of b is part of field f of a.
func (s *space) within(a, b []uint64, f int) bool {
	fd := &s.fields[f]
	if fd.words == 1 {
		return b[fd.word]&^a[fd.word]&fd.mask == 0
	}
	for i := fd.word; i < fd.word+fd.words; i++ {
		if b[i]&^a[i] != 0 {
			return false
		}
	}
	return true
}

func (s *space) count(a []uint64, f int) int {
	fd := &s.fields[f]
	if fd.words == 1 {
		return bits.OnesCount64(a[fd.word] & fd.mask)
	}
	return ones(a[fd.word : fd.word+fd.words])
}

func ones(a []uint64) int {
	n := 0
	for _, x := range a {
		n += bits.OnesCount64(x)
	}
	return n
}

func has(a []uint64, bit int) bool { return a[bit>>6]>>(bit&63)&1 != 0 }

func set(a []uint64, bit int) { a[bit>>6] |= 1 << (bit & 63) }

func unset(a []uint64, bit int) { a[bit>>6] &^= 1 << (bit & 63) }

// eachBit calls do for each bit of a, in ascending order.
func eachBit(a []uint64, do func(bit int)) {
	for i, x := range a {
		for ; x != 0; x &= x - 1 {
			do(64*i + bits.TrailingZeros64(x))
		}
	}
}

// Cover is a list of cubes of one shape. Make one with New.
type Cover struct {
	s *space
	w []uint64
}

// New returns an empty cover. The error says what is wrong with the shape.
func New(shape Shape) (*Cover, error) {
	s, err := newSpace(shape)
	if err != nil {
		return nil, err
	}
	return &Cover{s: s}, nil
}

// Empty returns an empty cover of the same shape as f.
func (f *Cover) Empty() *Cover { return &Cover{s: f.s} }

// Shape returns the shape; it may not be changed.
func (f *Cover) Shape() Shape { return f.s.shape }

// OutputVar is the variable whose values are the outputs.
func (f *Cover) OutputVar() int { return f.s.out() }

// Len is the number of cubes.
func (f *Cover) Len() int { return f.s.len(f.w) }

// At returns cube i, not a copy: changes go into the cover. It is good until
// the next cube is appended.
func (f *Cover) At(i int) Cube { return Cube{f.s, f.s.at(f.w, i)} }

// Full appends a cube that accepts everything and feeds every output, and returns
// it to be narrowed. It is good until the next cube is appended.
func (f *Cover) Full() Cube {
	f.w = append(f.w, f.s.full...)
	return f.At(f.Len() - 1)
}

// Append appends a copy of c, which has to be of the same shape.
func (f *Cover) Append(c Cube) {
	if f.s != c.s && !f.s.shape.Equal(c.s.shape) {
		panic("cover: cube of another shape")
	}
	f.w = append(f.w, c.w...)
}

// Clone returns a copy that shares nothing with f.
func (f *Cover) Clone() *Cover { return &Cover{f.s, slices.Clone(f.w)} }

// Literals is the sum of the literals of all cubes.
func (f *Cover) Literals() int {
	n := 0
	for i := range f.Len() {
		n += f.At(i).Literals()
	}
	return n
}

// Cube is a product and the outputs that it feeds. A cube with a variable that
// accepts no value, or that feeds no output, is empty.
type Cube struct {
	s *space
	w []uint64
}

// Has reports whether c accepts the value of the variable.
func (c Cube) Has(variable, value int) bool { return has(c.w, c.bit(variable, value)) }

// bit is the position of a value. Past the last value lies another variable.
func (c Cube) bit(variable, value int) int {
	if k := c.s.fields[variable].size; value < 0 || value >= k {
		panic(fmt.Sprintf("cover: value %d of variable %d, which has %d", value, variable, k))
	}
	return c.s.bit(variable, value)
}

// Keep makes c accept exactly the given values of those it accepts.
func (c Cube) Keep(variable int, values ...int) {
	var kept []int
	for _, v := range values {
		if c.Has(variable, v) {
			kept = append(kept, v)
		}
	}
	c.s.clear(c.w, variable)
	for _, v := range kept {
		c.Add(variable, v)
	}
}

// Add makes c accept the value as well.
func (c Cube) Add(variable, value int) { set(c.w, c.bit(variable, value)) }

// Drop makes c not accept the value.
func (c Cube) Drop(variable, value int) { unset(c.w, c.bit(variable, value)) }

// All reports whether c accepts every value of the variable.
func (c Cube) All(variable int) bool { return c.s.fullIn(c.w, variable) }

// Count is the number of values of the variable that c accepts.
func (c Cube) Count(variable int) int { return c.s.count(c.w, variable) }

// Values returns the values that c accepts, in ascending order.
func (c Cube) Values(variable int) []int {
	list := make([]int, 0, c.Count(variable))
	for v := range c.s.fields[variable].size {
		if c.Has(variable, v) {
			list = append(list, v)
		}
	}
	return list
}

// Outputs returns the outputs that c feeds, in ascending order.
func (c Cube) Outputs() []int { return c.Values(c.s.out()) }

// Literals is the number of input variables of which c does not accept every value.
func (c Cube) Literals() int { return c.s.literals(c.w) }

// IsEmpty reports whether c has no point.
func (c Cube) IsEmpty() bool { return c.s.isEmpty(c.w) }

// Contains reports whether every point of d lies in c.
func (c Cube) Contains(d Cube) bool { return contains(c.w, d.w) }

// Meets reports whether a point lies in both.
func (c Cube) Meets(d Cube) bool { return c.s.meets(c.w, d.w) }

// String writes the cube as in a PLA file with every variable as a set of values.
func (c Cube) String() string {
	var b strings.Builder
	for i, f := range c.s.fields {
		if i > 0 {
			b.WriteByte(' ')
		}
		for v := range f.size {
			b.WriteByte("01"[c.w[(c.s.bit(i, v))>>6]>>(c.s.bit(i, v)&63)&1])
		}
	}
	return b.String()
}
