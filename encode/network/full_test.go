package network

import (
	"fmt"
	"testing"

	"coilwright/encode/cube"
	"coilwright/encode/machine"
	"coilwright/encode/network/fold"
	"coilwright/encode/store"
)

// decoder is a store in which each of 2^n opcodes has a line of its own.
func decoder(n int) *store.Store {
	s := &store.Store{Machine: "decoder", OpcodeBits: n, Phases: 3}
	for v := range 1 << n {
		s.Columns = append(s.Columns, store.Column{Name: fmt.Sprint("line", v)})
		s.Word.Bits = append(s.Word.Bits, v)
	}
	for v := range uint64(1) << n {
		c := cube.Cube{Care: 1<<n - 1, Value: v}
		s.Owners = append(s.Owners, store.Owner{Name: fmt.Sprint("op", v), Kind: "instruction", Opcodes: []cube.Cube{c}})
		s.Rows = append(s.Rows, store.Row{Owner: int(v), Opcode: c, Phase: 3, Lines: set(1<<n, int(v))})
	}
	return s
}

// TestDecoderIsFolded: the tree of a decoder has the loads of some full tree, and
// up to five variables none has fewer relay bodies: those of all admissible
// loads are tried (Burks and others 1955; see fold.Admissible), and a pole
// drives the repeaters.
func TestDecoderIsFolded(t *testing.T) {
	for n := 2; n <= 6; n++ {
		for _, poles := range []int{2, 4, 6} {
			hw := hardware(machine.Card{Name: "control", Rows: 40, Columns: 24, Pins: 64})
			hw.Relay.Poles = poles
			c, err := Build(decoder(n), store.Changes{}, hw, "minimal")
			if err != nil {
				t.Fatal(err)
			}
			loads := make([]int, n)
			for _, k := range c.Contacts {
				loads[c.Signals[k.Signal].N]++
			}
			if !fold.Admissible(loads) || len(c.Diodes) > 0 {
				t.Errorf("%d variables: loads %v and %d diodes", n, loads, len(c.Diodes))
			}
			if n > 5 {
				continue
			}
			if want := fewestBodies(n, poles); c.Cost.Relays != want {
				t.Errorf("%d variables, %d poles: loads %v take %d relays, %d would do", n, poles, loads, c.Cost.Relays, want)
			}
		}
	}
}

// fewestBodies goes through all admissible loads, ascending.
func fewestBodies(n, poles int) int {
	best := 1 << 30
	loads := make([]int, 0, n)
	var try func(sum int)
	try = func(sum int) {
		if len(loads) == n {
			if fold.Admissible(loads) {
				total := 0
				for _, a := range loads {
					b, _ := OpcodeSignal.bodies(a, poles)
					total += b
				}
				best = min(best, total)
			}
			return
		}
		least := 1
		if len(loads) > 0 {
			least = loads[len(loads)-1]
		}
		for a := least; sum+a*(n-len(loads)) <= 1<<n-1; a++ {
			loads = append(loads, a)
			try(sum + a)
			loads = loads[:len(loads)-1]
		}
	}
	try(0)
	return best
}
