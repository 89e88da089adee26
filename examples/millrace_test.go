package examples_test

import (
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"coilwright/encode/assemble"
	"coilwright/lang/program"
)

func TestMillraceInstructions(t *testing.T) {
	e := load(t, "millrace")
	want := strings.Fields("nop halt ring ret ldi lda sta jump jz jc call move add sub and xor cmp shr")
	var got []string
	for _, i := range e.machine.Instructions {
		got = append(got, i.Name)
	}
	if !slices.Equal(got, want) {
		t.Errorf("instructions %v, want %v", got, want)
	}
	if len(want) != 18 || e.plan.Phases != 12 {
		t.Errorf("%d instructions in a ring of %d phases: the page and the definition say 18 in 12", len(want), e.plan.Phases)
	}
}

// Each instruction is run alone, from the words of the image, and must change
// what its line says and nothing else. The values are worked out by hand.
func TestMillraceInstructionsDoWhatTheySay(t *testing.T) {
	e := load(t, "millrace")
	type state = map[string]uint64
	for _, c := range []struct {
		name  string
		code  []uint64 // at 40
		from  state
		to    state  // what is not named stays
		ram90 uint64 // afterwards, if not 33 as before
		bell  int    // phases
	}{
		{name: "nop", code: []uint64{0x00}, to: state{"pc": 0x41}},
		{name: "halt", code: []uint64{0x01}, to: state{"pc": 0x41}},
		{name: "ring", code: []uint64{0x02}, to: state{"pc": 0x41}, bell: 3},
		{name: "ret", code: []uint64{0x04}, from: state{"lnk": 0x77}, to: state{"pc": 0x77}},
		{name: "ldi 5A", code: []uint64{0x10, 0x5A}, to: state{"acc": 0x5A, "pc": 0x42}},
		{name: "lda 90", code: []uint64{0x20, 0x90}, to: state{"acc": 0x33, "pc": 0x42}},
		{name: "sta 90", code: []uint64{0x21, 0x90}, from: state{"acc": 0xC4}, to: state{"pc": 0x42}, ram90: 0xC4},
		{name: "jump 80", code: []uint64{0x30, 0x80}, to: state{"pc": 0x80}},
		{name: "jz 80, off", code: []uint64{0x31, 0x80}, from: state{"carry": 1}, to: state{"pc": 0x42}},
		{name: "jz 80, on", code: []uint64{0x31, 0x80}, from: state{"zero": 1}, to: state{"pc": 0x80}},
		{name: "jc 80, off", code: []uint64{0x32, 0x80}, from: state{"zero": 1}, to: state{"pc": 0x42}},
		{name: "jc 80, on", code: []uint64{0x32, 0x80}, from: state{"carry": 1}, to: state{"pc": 0x80}},
		{name: "call 80", code: []uint64{0x34, 0x80}, to: state{"pc": 0x80, "lnk": 0x42}},
		{name: "move acc, tmp", code: []uint64{0x44}, from: state{"tmp": 9}, to: state{"acc": 9, "pc": 0x41}},
		{name: "move acc, sw", code: []uint64{0x48}, from: state{"sw": 0x81}, to: state{"acc": 0x81, "pc": 0x41}},
		{name: "move tmp, acc", code: []uint64{0x50}, from: state{"acc": 9}, to: state{"tmp": 9, "pc": 0x41}},
		{name: "move tmp, sw", code: []uint64{0x5B}, from: state{"sw": 0x81}, to: state{"tmp": 0x81, "pc": 0x41}},
		{name: "move brd, acc", code: []uint64{0x60}, from: state{"acc": 7}, to: state{"brd": 7, "pc": 0x41}},
		{name: "move brd, tmp", code: []uint64{0x64}, from: state{"tmp": 7}, to: state{"brd": 7, "pc": 0x41}},
		{name: "move brd, sw", code: []uint64{0x68}, from: state{"sw": 7}, to: state{"brd": 7, "pc": 0x41}},
		{name: "move acc, acc does not exist", code: []uint64{0x40}, from: state{"acc": 7}, to: state{"pc": 0x41}},
		{name: "add", code: []uint64{0x80}, from: state{"acc": 3, "tmp": 4, "zero": 1, "carry": 1},
			to: state{"acc": 7, "zero": 0, "carry": 0, "pc": 0x41}},
		{name: "add, over the top", code: []uint64{0x80}, from: state{"acc": 0xFF, "tmp": 1},
			to: state{"acc": 0, "zero": 1, "carry": 1, "pc": 0x41}},
		{name: "sub", code: []uint64{0x81}, from: state{"acc": 9, "tmp": 4, "carry": 1},
			to: state{"acc": 5, "carry": 0, "pc": 0x41}},
		{name: "sub, below zero", code: []uint64{0x81}, from: state{"acc": 4, "tmp": 9},
			to: state{"acc": 0xFB, "carry": 1, "pc": 0x41}},
		{name: "and", code: []uint64{0x82}, from: state{"acc": 0b1100, "tmp": 0b1010, "carry": 1},
			to: state{"acc": 0b1000, "carry": 0, "pc": 0x41}},
		{name: "xor", code: []uint64{0x83}, from: state{"acc": 0b1100, "tmp": 0b1010},
			to: state{"acc": 0b0110, "pc": 0x41}},
		{name: "cmp, equal", code: []uint64{0x85}, from: state{"acc": 9, "tmp": 9, "carry": 1},
			to: state{"zero": 1, "carry": 0, "pc": 0x41}},
		{name: "cmp, less", code: []uint64{0x85}, from: state{"acc": 4, "tmp": 9, "zero": 1},
			to: state{"zero": 0, "carry": 1, "pc": 0x41}},
		{name: "shr, carry in", code: []uint64{0x88}, from: state{"acc": 0b0110, "carry": 1, "zero": 1},
			to: state{"acc": 0b1000_0011, "carry": 0, "pc": 0x41}},
		{name: "shr, carry out", code: []uint64{0x88}, from: state{"acc": 0b0111},
			to: state{"acc": 0b0011, "carry": 1, "pc": 0x41}},
		{name: "undefined", code: []uint64{0xFF}, to: state{"pc": 0x41}},
	} {
		t.Run(c.name, func(t *testing.T) {
			b := newBench(t, e)
			copy(b.memory["ram"][0x40:], c.code)
			b.memory["ram"][0x90] = 0x33
			want := state{"pc": 0x40, "acc": 0x11, "tmp": 0x22, "brd": 0x44, "lnk": 0x55, "sw": 0x66, "zero": 0, "carry": 0}
			for name, v := range c.from {
				want[name] = v
			}
			for name, v := range want {
				b.value[name] = v
			}
			b.run(1)
			for name, v := range c.to {
				want[name] = v
			}
			for name, v := range want {
				b.want("afterwards", []string{name}, v)
			}
			if c.ram90 == 0 {
				c.ram90 = 0x33
			}
			if got := b.memory["ram"][0x90]; got != c.ram90 {
				t.Errorf("ram[90] is %02X, want %02X", got, c.ram90)
			}
			if b.bell != c.bell || b.drivers > 1 {
				t.Errorf("the bell rang for %d phases, want %d; up to %d sources on a bus", b.bell, c.bell, b.drivers)
			}
		})
	}
}

// The program in the page, as it is printed there, tallies three carts of
// sacks and rings when the tally no longer fits.
func TestMillraceTallies(t *testing.T) {
	b := newBench(t, load(t, "millrace"))
	line := regexp.MustCompile(`(?m)^ {4}([0-9A-F]{2})  ([0-9A-F]{2})(?: ([0-9A-F]{2}))?  +(.+)`)
	next := uint64(0)
	var text strings.Builder
	for _, m := range line.FindAllStringSubmatch(page(t, "millrace"), -1) {
		at, err := strconv.ParseUint(m[1], 16, 8)
		if err != nil || at != next {
			t.Fatalf("the program in the page goes on at %s, want %02X", m[1], next)
		}
		fmt.Fprintln(&text, m[4])
		for _, digits := range m[2:4] {
			if digits == "" {
				continue
			}
			v, err := strconv.ParseUint(digits, 16, 8)
			if err != nil {
				t.Fatal(err)
			}
			b.memory["ram"][next] = v
			next++
		}
	}
	if next == 0 {
		t.Fatal("the page holds no program")
	}
	src, list := program.Load("page.prog", func(string) ([]byte, error) { return []byte(text.String()), nil })
	p, more := assemble.Assemble(b.machine, src)
	if list = append(list, more...); len(list) > 0 {
		t.Fatalf("the program in the page: %v", list)
	}
	if diff := cmp.Diff(b.memory["ram"][:next], p.Memories[0].Segments[0].Words); diff != "" {
		t.Errorf("the bytes in the page and its program (-bytes +program):\n%s", diff)
	}
	b.run(0)
	b.want("a new day", []string{"pc", "brd"}, 5, 0)
	for _, cart := range []struct {
		sacks, board uint64
		bell         int
	}{{120, 120, 0}, {0, 120, 0}, {135, 255, 0}, {1, 255, 3}} {
		b.value["sw"] = cart.sacks
		b.run(0)
		b.want("after a cart", []string{"brd"}, cart.board)
		if b.bell != cart.bell {
			t.Errorf("after %d sacks more the bell has rung for %d phases, want %d", cart.sacks, b.bell, cart.bell)
		}
	}
}
