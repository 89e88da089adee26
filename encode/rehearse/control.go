package rehearse

import "coilwright/encode/store"

// FromStore takes the lines from the computed store.
func FromStore(s *store.Store) Control {
	c := &computed{s: s, phases: make([][]int, s.Phases+1)}
	for i := range s.Rows {
		if p := s.Rows[i].Phase; p >= 1 && p <= s.Phases {
			c.phases[p] = append(c.phases[p], i)
		}
	}
	return c
}

type computed struct {
	s      *store.Store
	phases [][]int // rows by phase
}

func (c *computed) Lines(opcode, flags uint64, phase int) store.Set {
	out := store.NewSet(len(c.s.Columns))
	if phase < 1 || phase >= len(c.phases) {
		return out
	}
	for _, i := range c.phases[phase] {
		if r := &c.s.Rows[i]; r.Opcode.Matches(opcode) && r.Flags.Matches(flags) {
			out.Or(r.Lines)
		}
	}
	return out
}

// FromWords takes the lines from the words that memory chips really hold.
// words returns the bytes of the word at a word address, all chips together,
// in the store's byte order (language.md S.3); bytes that are missing at the
// end read as the store's fill, and words has to answer alike each time.
// Lines that are active low are on where the word holds 0. Lines that
// `omit` names are in no word and are driven by other hardware: what that does
// is not known here, so they are taken from the computed store.
func FromWords(s *store.Store, words func(address uint64) []byte) Control {
	c := &chips{computed: FromStore(s).(*computed), words: words, present: store.NewSet(len(s.Columns))}
	for _, column := range s.Word.Bits {
		if column >= 0 {
			c.present.Add(column)
		}
	}
	return c
}

type chips struct {
	*computed
	words   func(address uint64) []byte
	present store.Set // columns that are in the word
}

func (c *chips) Lines(opcode, flags uint64, phase int) store.Set {
	out := c.computed.Lines(opcode, flags, phase)
	for i := range out {
		out[i] &^= c.present[i]
	}
	word := c.words(c.s.Encode(opcode, flags, phase))
	bytes := max(1, (len(c.s.Word.Bits)+7)/8)
	for bit, column := range c.s.Word.Bits {
		if column < 0 {
			continue
		}
		at := bit / 8
		if !c.s.Word.Little {
			at = bytes - 1 - at
		}
		b := c.s.Word.Fill
		if at < len(word) {
			b = word[at]
		}
		if (b>>(bit%8)&1 == 1) != c.s.Columns[column].Low {
			out.Add(column)
		}
	}
	return out
}
