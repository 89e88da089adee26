package examples_test

import (
	"fmt"
	"slices"
	"testing"

	"github.com/google/go-cmp/cmp"

	"coilwright/emit/image"
	"coilwright/encode/store"
)

// published is the control ROM of A. P. Malvino and J. A. Brown, "Digital
// Computer Electronics", 3rd edition 1993, chapter 10 (checks.md 2.1; the
// section is cited from memory [M]). Every word is [F], found in a public file
// that reproduces the book's ROM, and [D], encoded again from its active lines.
// The words of opcodes without a routine are [D]: the idle word 3E3.
var published = []struct {
	name   string
	opcode uint64
	words  [6]uint64 // T1 to T6
}{
	{"load", 0x0, [6]uint64{0x5E3, 0xBE3, 0x263, 0x1A3, 0x2C3, 0x3E3}},     // [F]
	{"add", 0x1, [6]uint64{0x5E3, 0xBE3, 0x263, 0x1A3, 0x2E1, 0x3C7}},      // [F]
	{"subtract", 0x2, [6]uint64{0x5E3, 0xBE3, 0x263, 0x1A3, 0x2E1, 0x3CF}}, // [F]
	{"output", 0xE, [6]uint64{0x5E3, 0xBE3, 0x263, 0x3F2, 0x3E3, 0x3E3}},   // [F]
	{"stop", 0xF, [6]uint64{0x5E3, 0xBE3, 0x263, 0x3E3, 0x3E3, 0x3E3}},     // T1-T3 [F], T4-T6 [D]
	{"undefined", 0x7, [6]uint64{0x5E3, 0xBE3, 0x263, 0x3E3, 0x3E3, 0x3E3}},
}

// idle is the word with every line inactive [D].
const idle = 0x3E3

// difference is a word of an image that is not the published one.
type difference struct {
	Name      string
	Phase     int
	Got, Want string
}

// unlike lists the words of an image that are not the published ones.
func unlike(s *store.Store, im *image.Image) []difference {
	var out []difference
	for _, p := range published {
		for i, want := range p.words {
			if got := word(s, im, p.opcode, 0, i+1); got != want {
				out = append(out, difference{p.name, i + 1, fmt.Sprintf("%03X", got), fmt.Sprintf("%03X", want)})
			}
		}
	}
	return out
}

func TestTextbookWordsAreThePublishedOnes(t *testing.T) {
	e := load(t, "textbook")
	if e.image.Bits != 12 || e.store.Phases != 6 {
		t.Fatalf("%d bits, %d phases: want 12 and 6", e.image.Bits, e.store.Phases)
	}
	if diff := cmp.Diff([]difference(nil), unlike(e.store, e.image)); diff != "" {
		t.Error(diff)
	}
	for opcode := range uint64(16) {
		for _, phase := range []int{7, 8} {
			if got := word(e.store, e.image, opcode, 0, phase); got != idle {
				t.Errorf("opcode %X, past the ring at phase %d: %03X, want %03X", opcode, phase, got, idle)
			}
		}
	}
	if got := len(e.machine.Instructions); got != 5 {
		t.Errorf("%d instructions, want 5", got)
	}
}

// With a row for each word that is not idle, the published ROM has 24 active
// bits, hence diodes, in 12 rows; lm is on in words 0, 3, 6 and 9, and so on
// (checks.md 2.1, matrix facts [D]).
func TestTextbookMatrixHasThePublishedBits(t *testing.T) {
	m := load(t, "textbook").matrix
	want := map[string]int{"cp": 1, "ep": 1, "lm": 4, "ce": 4, "li": 1, "ei": 3, "la": 3, "ea": 1, "su": 1, "eu": 2, "lb": 2, "lo": 1}
	got := map[string]int{}
	for _, d := range m.Diodes {
		if d.Line >= 0 {
			got[m.Columns[d.Line].Name]++
		}
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("diodes a column (-want +got):\n%s", diff)
	}
	if len(m.Diodes) != 24 || len(m.Rows) != 12 {
		t.Errorf("%d diodes in %d rows, want 24 in 12", len(m.Diodes), len(m.Rows))
	}
}

// A public copy of the ROM has 3EF for the last state of subtract [F]: su and
// eu without la, so that the accumulator never gets the difference. With the
// program below it shows 3C where 1C is right [D].
func TestTextbookWrongWordIsCaught(t *testing.T) {
	e := load(t, "textbook")
	la := slices.IndexFunc(e.store.Columns, func(c store.Column) bool { return c.Name == "la" })
	for i := range e.store.Rows {
		if r := &e.store.Rows[i]; e.store.Owners[r.Owner].Name == "subtract" && r.Phase == 6 {
			lines := store.NewSet(len(e.store.Columns))
			for _, c := range r.Lines.Columns() {
				if c != la {
					lines.Add(c)
				}
			}
			r.Lines = lines
		}
	}
	var err error
	if e.image, err = image.Whole(e.store); err != nil {
		t.Fatal(err)
	}
	want := []difference{{"subtract", 6, "3EF", "3CF"}}
	if diff := cmp.Diff(want, unlike(e.store, e.image)); diff != "" {
		t.Errorf("(-want +got):\n%s", diff)
	}
	if got := runTextbook(t, e).value["out"]; got != 0x3C {
		t.Errorf("the wrong ROM shows %02X, want 3C", got)
	}
}

// The test program of the same source: 16 + 20 + 24 - 32 = 28 ([F] in the
// public file, [M] as the book's example), shown after 33 states with at most
// one source on the bus in each [D].
func TestTextbookRunsThePublishedProgram(t *testing.T) {
	b := runTextbook(t, load(t, "textbook"))
	b.want("after the program", []string{"out", "acc", "pc"}, 0x1C, 0x1C, 6)
	if b.phases != 33 || b.drivers != 1 {
		t.Errorf("%d states with up to %d sources on the bus, want 33 and 1", b.phases, b.drivers)
	}
}

func runTextbook(t *testing.T, e *example) *bench {
	b := newBench(t, e)
	copy(b.memory["ram"], []uint64{0x09, 0x1A, 0x1B, 0x2C, 0xE0, 0xF0})
	copy(b.memory["ram"][9:], []uint64{0x10, 0x14, 0x18, 0x20})
	b.run(0)
	return b
}
