package rehearse_test

import (
	"testing"

	"coilwright/encode/rehearse"
	"coilwright/encode/store"
)

// wordOf writes the lines of a phase as a word, bit by bit (language.md S.3).
func wordOf(s *store.Store, lines store.Set) []byte {
	word := make([]byte, max(1, (len(s.Word.Bits)+7)/8))
	for bit, column := range s.Word.Bits {
		if column < 0 || lines.Has(column) == s.Columns[column].Low {
			continue
		}
		at := bit / 8
		if !s.Word.Little {
			at = len(word) - 1 - at
		}
		word[at] |= 1 << (bit % 8)
	}
	return word
}

func TestWordsGiveTheLines(t *testing.T) {
	for _, name := range []string{"millrace", "firststeps", "textbook"} {
		b := example(t, name)
		for _, little := range []bool{false, true} {
			s := *b.store
			s.Word.Little = little
			right := rehearse.FromStore(&s)
			c := rehearse.FromWords(&s, func(address uint64) []byte {
				opcode, flags, phase := s.Decode(address)
				return wordOf(&s, right.Lines(opcode, flags, phase))
			})
			for opcode := range uint64(1) << s.OpcodeBits {
				for flags := range uint64(1) << len(s.Flags) {
					for phase := 1; phase <= s.Phases; phase++ {
						if got, want := c.Lines(opcode, flags, phase), s.At(opcode, flags, phase); !got.Equal(want) {
							t.Fatalf("%s: opcode %X, flags %X, phase %d: %v, want %v", name, opcode, flags, phase, got.Columns(), want.Columns())
						}
					}
				}
			}
		}
	}
}

// A file that is shorter than the chip leaves the fill in the rest.
func TestMissingBytesAreTheFill(t *testing.T) {
	s := &store.Store{Phases: 1, Columns: []store.Column{{Name: "a"}, {Name: "b", Low: true}, {Name: "c"}},
		Word: store.Word{Bits: []int{0, 1, -1, -1, -1, -1, -1, -1, 2}, Little: true, Fill: 0x01}}
	c := rehearse.FromWords(s, func(address uint64) []byte { return []byte{0x02}[:1-address] })
	s.Word.Address = []store.AddressPart{{Kind: store.OpcodePart, Bits: 1}}
	for address, want := range []string{"c", "abc"} {
		got := ""
		for _, i := range c.Lines(uint64(address), 0, 1).Columns() {
			got += s.Columns[i].Name
		}
		if got != want {
			t.Errorf("the word at %d lights %q, want %q", address, got, want)
		}
	}
}
