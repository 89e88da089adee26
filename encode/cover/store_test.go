package cover

import (
	"context"
	"fmt"
	"math/rand/v2"
	"testing"
)

// controlStore draws a problem of the shape of a machine's store: opcode bits,
// flags, the phase as one variable, the control lines as outputs. Each instruction
// goes through a path of phases and has lines on from one phase to another, some
// only under a flag; many share pieces of their paths. Free are the opcodes that are
// not given away and the phases after the end of a path. While the opcode
// changes nothing may depend on it. busy is about how many lines a path has on.
func controlStore(instructions, phases, lines, opcodeBits, flagBits, busy int) Problem {
	r := rand.New(rand.NewPCG(uint64(instructions), uint64(lines)))
	shape := Shape{Outputs: lines}
	for range opcodeBits + flagBits {
		shape.Sizes = append(shape.Sizes, 2)
	}
	phase := len(shape.Sizes)
	shape.Sizes = append(shape.Sizes, phases)
	on, err := New(shape)
	if err != nil {
		panic(err)
	}
	free := on.Empty()
	opcode := func(c Cube, op int) {
		for b := range opcodeBits {
			c.Keep(b, op>>b&1)
		}
	}
	during := func(c Cube, from, to int) {
		for p := range phases {
			if p < from || p >= to {
				c.Drop(phase, p)
			}
		}
	}
	type piece struct{ from, to, line int }
	draw := func(fetched, end int) piece {
		from := fetched + r.IntN(end-fetched)
		return piece{from, min(end, from+1+r.IntN(6)), r.IntN(lines)}
	}
	fetched := phases / 4
	for range 8 {
		p := draw(0, fetched)
		c := on.Full()
		during(c, p.from, p.to)
		c.Keep(on.OutputVar(), p.line)
	}
	shared := make([]piece, 40)
	for i := range shared {
		shared[i] = draw(fetched, phases)
	}
	for op := range 1 << opcodeBits {
		if op >= instructions {
			c := free.Full()
			opcode(c, op)
			during(c, fetched, phases)
			continue
		}
		end := fetched + 4 + r.IntN(phases-fetched-3)
		if end < phases {
			c := free.Full()
			opcode(c, op)
			during(c, end, phases)
		}
		family := op / 8
		for n := range busy/2 + r.IntN(busy) {
			p := shared[(family*7+n*3)%len(shared)]
			if r.IntN(3) == 0 {
				p = draw(fetched, end)
			}
			if p.from >= end {
				continue
			}
			c := on.Full()
			opcode(c, op)
			during(c, p.from, min(p.to, end))
			c.Keep(on.OutputVar(), p.line, (p.line+r.IntN(3))%lines)
			if flagBits > 0 && r.IntN(6) == 0 {
				c.Keep(opcodeBits+r.IntN(flagBits), r.IntN(2))
			}
		}
	}
	rule := Rule{Var: phase}
	for p := range fetched {
		rule.Values = append(rule.Values, p)
	}
	for b := range opcodeBits {
		rule.Frozen = append(rule.Frozen, b)
	}
	return Problem{On: on, Free: free, Rules: []Rule{rule}}
}

func BenchmarkControlStore(b *testing.B) {
	for _, c := range []struct{ instructions, busy int }{{25, 13}, {100, 13}, {200, 13}, {200, 25}} {
		p := controlStore(c.instructions, 32, 128, 8, 8, c.busy)
		b.Run(fmt.Sprintf("%dinstructions%dcubes", c.instructions, p.On.Len()), func(b *testing.B) {
			var r Result
			start := processor()
			for range b.N {
				var err error
				if r, err = Minimise(context.Background(), p, Options{}); err != nil {
					b.Fatal(err)
				}
			}
			b.ReportMetric((processor()-start).Seconds()/float64(b.N), "cpu-s/op")
			b.ReportMetric(float64(r.Cover.Len()), "terms")
			b.ReportMetric(float64(r.Bound), "bound")
			b.ReportMetric(float64(r.Work)/1e6, "Mwork")
		})
	}
}

func benchmarkData(b *testing.B, o Options) {
	dir := dataFolder(b)
	for _, k := range tables(b, dir) {
		p := readFile(b, k.file)
		b.Run(k.file[len(dir)+1:], func(b *testing.B) {
			var r Result
			for range b.N {
				var err error
				if r, err = Minimise(context.Background(), Problem{On: p.On, Free: p.Free}, o); err != nil {
					b.Fatal(err)
				}
			}
			b.ReportMetric(float64(r.Cover.Len()), "terms")
		})
	}
}

func BenchmarkHeuristic(b *testing.B) { benchmarkData(b, Options{}) }

func BenchmarkExact(b *testing.B) { benchmarkData(b, Options{Exact: true}) }
