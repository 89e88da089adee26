package readback

import (
	"bytes"
	"errors"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"coilwright/encode/cube"
	"coilwright/encode/store"
)

func TestMemh(t *testing.T) {
	tests := []struct {
		name, file string
		want       Words
	}{
		{"ours", "// machine x\n@0\n5E3\nBE3\n", Words{BytesPerWord: 2, Count: 2, Data: []byte{0x05, 0xE3, 0x0B, 0xE3}}},
		{"no address, one line, comments of both kinds", "0f /* a\nb */ a_5//c", Words{BytesPerWord: 1, Count: 2, Data: []byte{0x0F, 0xA5}}},
		{"any order, one twice", "@2 03 04 @0 01 02 03", Words{BytesPerWord: 1, Count: 4, Data: []byte{1, 2, 3, 4}}},
		{"a shorter word", "0102 3", Words{BytesPerWord: 2, Count: 2, Data: []byte{1, 2, 0, 3}}},
		{"a longer word with zeros on top", "01 0002", Words{BytesPerWord: 1, Count: 2, Data: []byte{1, 2}}},
		{"nothing", "// empty", Words{}},
	}
	for _, test := range tests {
		w, err := Memh(strings.NewReader(test.file))
		if err != nil {
			t.Errorf("%s: %v", test.name, err)
		} else if diff := cmp.Diff(&test.want, w); diff != "" {
			t.Errorf("%s (-want +got):\n%s", test.name, diff)
		}
	}
}

func TestMemhRefuses(t *testing.T) {
	tests := []struct {
		name, file string
		line       int
		reason     string
	}{
		{"an unknown digit", "@0\n0x1\n", 2, "an unknown digit"},
		{"high impedance", "z", 1, "an unknown digit"},
		{"no digit", "00\n\n0g", 3, "'g' is no hex digit"},
		{"an address alone", "@ 00", 1, "a number without digits"},
		{"a hole", "00\n@2 00", 2, "no word at @1: the words go on at @2"},
		{"not from 0", "\n@1\n00", 3, "no word at @0: the words go on at @1"},
		{"an address beyond all", "@100000000 00", 1, "beyond 32 bits"},
		{"far away", "@FFFFFFFF 00", 1, "no word at @0"},
		{"twice, differently", "01 02\n@1 03", 2, "the word at @1 is given twice, differently"},
		{"a wider word", "01\n102", 2, "wider than the 1 bytes of the first"},
		{"a comment without an end", "01\n/* \n", 2, "a comment without an end"},
		{"half a comment", "01 / 02", 1, "a slash that begins no comment"},
		{"an endless number", strings.Repeat("1", 1000), 1, "more than 256 digits"},
	}
	for _, test := range tests {
		_, err := Memh(strings.NewReader(test.file))
		refused(t, test.name, err, test.line, test.reason)
	}
}

func TestHeader(t *testing.T) {
	tests := []struct {
		name, file string
		want       Words
	}{
		{"plain", "static const uint16_t a[] = { 0x05E3, 12, 017 };", Words{BytesPerWord: 2, Count: 3, Data: []byte{0x05, 0xE3, 0, 12, 0, 15}}},
		{"macros", "#define A_WORDS 1UL // one\n#define A_BITS 60\n#include <stdint.h>\nconst uint64_t a[A_WORDS] = {\n0x0102030405060708ULL,}; /* end */",
			Words{Bits: 60, BytesPerWord: 8, Count: 1, Data: []byte{1, 2, 3, 4, 5, 6, 7, 8}}},
		{"bytes", "#define A_BYTES 2\n#define A_LITTLE 1\nuint8_t a[] = {1,2,3,4};", Words{BytesPerWord: 2, Count: 2, Data: []byte{2, 1, 4, 3}}},
	}
	for _, test := range tests {
		w, err := Header(strings.NewReader(test.file))
		if err != nil {
			t.Errorf("%s: %v", test.name, err)
		} else if diff := cmp.Diff(&test.want, w); diff != "" {
			t.Errorf("%s (-want +got):\n%s", test.name, diff)
		}
	}
}

func TestHeaderRefuses(t *testing.T) {
	tests := []struct {
		name, file string
		line       int
		reason     string
	}{
		{"empty", "", 1, "no array"},
		{"no array", "int a = 1;\n", 2, "no array"},
		{"no end", "uint8_t a[] = {\n1,", 2, "the array has no end"},
		{"no brace", "uint8_t a;", 1, "the array has no end"},
		{"no comma", "uint8_t a[] = {1\n2};", 2, "no comma before 2"},
		{"two commas", "uint8_t a[] = {1,,2};", 1, ", is no number"},
		{"no number", "uint8_t a[] = {x};", 1, "x is no number"},
		{"too large", "uint8_t a[] = {256};", 1, "256 does not fit into 1 bytes"},
		{"a wrong count", "#define A_WORDS 3\nuint8_t a[] = {1,2};", 2, "3 words announced, the array has 2"},
		{"half a word", "#define A_BYTES 2\nuint8_t a[] = {1,2,3};", 2, "ends within a word"},
		{"absurd words", "#define A_BYTES 0xFFFFFFFFFFFFFFFF\nuint8_t a[] = {1};", 2, "a word of"},
		{"two arrays", "uint8_t a[] = {1};\nuint8_t b[] = {1};", 2, "a second array"},
		{"a comment without an end", "\n/* *", 2, "a comment without an end"},
	}
	for _, test := range tests {
		_, err := Header(strings.NewReader(test.file))
		refused(t, test.name, err, test.line, test.reason)
	}
}

// sackStore has 1 opcode bit, the flag full, 3 phases and four lines, one of
// them low, in two chips of 3 bits; bit 2 is spare.
func sackStore() *store.Store {
	lines := func(columns ...int) store.Set {
		s := store.NewSet(4)
		for _, c := range columns {
			s.Add(c)
		}
		return s
	}
	return &store.Store{
		Machine: "sacks", OpcodeBits: 1, Flags: []string{"full"}, Phases: 3,
		Columns: []store.Column{{Name: "chute", Kind: store.Gate}, {Name: "bell", Kind: store.Output, Low: true}, {Name: "rst", Kind: store.Restart}, {Name: "count", Kind: store.Latch}},
		Rows: []store.Row{
			{Phase: 1, Lines: lines(0)},
			{Phase: 2, Lines: lines(1, 3), Opcode: cube.Cube{Care: 1, Value: 1}},
			{Phase: 3, Lines: lines(2), Flags: cube.Cube{Care: 1, Value: 1}},
		},
		Word: store.Word{
			Address: []store.AddressPart{{Kind: store.PhasePart, Bits: 2}, {Kind: store.OpcodePart, Bits: 1}, {Kind: store.FlagPart, Bits: 1}},
			Bits:    []int{0, 1, -1, 2, 3}, Split: 3, Fill: 0xEE,
		},
	}
}

func TestCompare(t *testing.T) {
	s := sackStore()
	// By hand: bit 0 chute, 1 bell (low, so 1 at rest), 3 rst, 4 count.
	// Addresses: phase in bits 0 and 1, opcode in 2, full in 3.
	whole := []byte{
		0x03, 0x02, 0x02, 0x02, 0x03, 0x10, 0x02, 0x02,
		0x03, 0x02, 0x0A, 0x02, 0x03, 0x10, 0x0A, 0x02,
	}
	first := make([]byte, 16)
	second := make([]byte, 16)
	for i, b := range whole {
		first[i], second[i] = b&7, b>>3
	}
	words := func(data []byte) *Words { return &Words{BytesPerWord: 1, Count: len(data), Data: data} }
	for chip, data := range [][]byte{whole, first, second} {
		if err := Compare(s, chip, words(data)); err != nil {
			t.Errorf("chip %d: %v", chip, err)
		}
		for at := range data {
			for bit := range 8 {
				flipped := bytes.Clone(data)
				flipped[at] ^= 1 << bit
				var d *Difference
				if err := Compare(s, chip, words(flipped)); !errors.As(err, &d) || d.Address != uint64(at) {
					t.Errorf("chip %d, bit %d of word %X flipped: %v", chip, bit, at, err)
				}
			}
		}
	}

	change := func(at int, to byte) *Words {
		data := bytes.Clone(whole)
		data[at] = to
		return words(data)
	}
	texts := []struct {
		w    *Words
		want string
	}{
		{change(5, 0x12), "address 0x5 (opcode 1, full 0, phase 2): expected 10, found 12; bell is off and should be on"},
		{change(14, 0x03), "address 0xE (opcode 1, full 1, phase 3): expected 0A, found 03; chute is on and should be off; rst is off and should be on"},
		{change(3, 0x06), "address 0x3 (opcode 0, full 0, phase 4, past the ring): expected 02, found 06; spare bit 2 is 1"},
		{change(0, 0x83), "address 0x0 (opcode 0, full 0, phase 1): expected 03, found 83; pad bits are not 0"},
		{words(whole[:15]), "15 words, the store has 16"},
		{words(append(bytes.Clone(whole), 0xEE, 0xED)), "address 0x11, past the last word: found ED, the fill is EE"},
		{&Words{BytesPerWord: 1, Count: 16, Data: whole, Rest: []byte{0xEE, 1}}, "past the last word: found 01, the fill is EE"},
		{&Words{BytesPerWord: 1, Bits: 6, Count: 16, Data: whole}, "words of 6 bits, the store's have 5"},
	}
	for _, test := range texts {
		if err := Compare(s, 0, test.w); err == nil || err.Error() != test.want {
			t.Errorf("%v\nwant %s", err, test.want)
		}
	}
	if err := Compare(s, 0, words(append(bytes.Clone(whole), 0xEE, 0xEE))); err != nil {
		t.Errorf("filled up: %v", err)
	}
	for _, chip := range []int{-1, 3} {
		if err := Compare(s, chip, words(whole)); err == nil {
			t.Errorf("chip %d: no error", chip)
		}
	}
}

func TestCompareExercise(t *testing.T) {
	s := sackStore()
	// Lines in turn: chute, bell, count; opcode 1 begins with line 3 mod 3 = chute again.
	data := []byte{3, 0, 0x12, 2, 3, 0, 0x12, 2, 3, 0, 0x12, 2, 3, 0, 0x12, 2}
	w := &Words{BytesPerWord: 1, Count: 16, Data: data}
	if err := CompareExercise(s, 0, w); err != nil {
		t.Error(err)
	}
	data[9] = 2
	var d *Difference
	if err := CompareExercise(s, 0, w); !errors.As(err, &d) || d.Address != 9 || !strings.Contains(d.Text, "bell is off and should be on") {
		t.Error(err)
	}
}
