package reference

import (
	"fmt"
	"math/rand/v2"
	"os"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"coilwright/lang/definition"
)

func parse(t *testing.T, text string) *definition.Source {
	t.Helper()
	src, said := load(text)
	if said != "" {
		t.Fatalf("does not parse: %s\n%s", said, text)
	}
	return src
}

func evaluate(t *testing.T, text string) *Meaning {
	t.Helper()
	m, err := Evaluate(parse(t, text))
	if err != nil {
		t.Fatalf("rejected: %v\n%s", err, text)
	}
	return m
}

// drawn writes a path as "line from..to from..to, ...; last n", lines as declared.
func drawn(m *Meaning, p Path) string {
	var out []string
	for _, line := range m.Lines {
		on := p.On[line]
		if len(on) == 0 {
			continue
		}
		s := line
		for i := 0; i < len(on); {
			j := i
			for j+1 < len(on) && on[j+1] == on[j]+1 {
				j++
			}
			if s += fmt.Sprintf(" %d", on[i]); j > i {
				s += fmt.Sprintf("..%d", on[j])
			}
			i = j + 1
		}
		out = append(out, s)
	}
	return strings.Join(out, ", ") + fmt.Sprintf("; last %d", p.Last)
}

// charts lists the charts of an owner: "flag=true: chart".
func charts(m *Meaning, owner string) []string {
	var out []string
	for _, p := range m.Paths {
		if p.Owner != owner {
			continue
		}
		s := ""
		for _, f := range m.Flags {
			if on, ok := p.Flags[f]; ok {
				s += fmt.Sprintf("%s=%t ", f, on)
			}
		}
		out = append(out, s+drawn(m, p))
	}
	return out
}

// The fetch of the page's example. Step 1: ram_g feeds data, which ir_l reads
// without settling: on from s-1. pc_g feeds addr, which ram_g reads (0, and D
// of ram_g is 0) and nxt_l reads through inc (2): D = 2, on from s-3. No window
// before phase 1: s = 4. Trail 1: both end in 5. Step 2: addr is free from 6,
// so nxt_g 6..8 and pc_l 7.
func TestPage(t *testing.T) {
	text, err := os.ReadFile("../../../testdata/reference/page.coil")
	if err != nil {
		t.Fatal(err)
	}
	m := evaluate(t, string(text))
	want := map[string][]string{
		// Nothing after fetch: the trail of nxt_g is the last phase.
		"nop":       {"ram_g 3..5, pc_g 1..5, pc_l 7, nxt_g 6..8, nxt_l 4, ir_l 4, rst 8; last 8"},
		"undefined": {"ram_g 3..5, pc_g 1..5, pc_l 7, nxt_g 6..8, nxt_l 4, ir_l 4, rst 8; last 8"},
		// The next strobe after pc_l is 8; the halt line has no trail.
		"halt": {"ram_g 3..5, pc_g 1..5, pc_l 7, nxt_g 6..8, nxt_l 4, ir_l 4, rst 8, hlt 8; last 8"},
		// Pulse 3 without lead and trail: 8..10.
		"ring": {"ram_g 3..5, pc_g 1..5, pc_l 7, nxt_g 6..8, nxt_l 4, ir_l 4, bell 8..10, rst 10; last 10"},
		// addr is busy to 8, pc_g has lead 1 and D 2: s-3 >= 9, s = 12; ram_g
		// from 11. Then as in fetch: nxt_g 14..16, pc_l 15.
		"ldi": {"acc_l 12, ram_g 3..5 11..13, pc_g 1..5 9..13, pc_l 7 15, nxt_g 6..8 14..16, nxt_l 4 12, ir_l 4, rst 16; last 16"},
		// res_l at 8 (nothing latched acc or tmp before). res settles in 9, so
		// res_g from 9, strobe 10, trail 11.
		"add": {"acc_l 10, res_g 9..11, res_l 8, ram_g 3..5, pc_g 1..5, pc_l 7, nxt_g 6..8, nxt_l 4, ir_l 4, rst 11; last 11"},
		// sub leads by 1 + the 3 phases of the alu and may not be on before the
		// opcode (4) is decoded, in 5: s-4 >= 5, s = 9. Trail to 10.
		"take": {"acc_l 11, res_g 10..12, res_l 9, sub 5..10, ram_g 3..5, pc_g 1..5, pc_l 7, nxt_g 6..8, nxt_l 4, ir_l 4, rst 12; last 12"},
		// Up to the test as ldi with arg for acc; then either gate onto addr
		// from 14, pc_l 15.
		"jz": {
			"zero=false arg_l 12, ram_g 3..5 11..13, pc_g 1..5 9..13, pc_l 7 15, nxt_g 6..8 14..16, nxt_l 4 12, ir_l 4, rst 16; last 16",
			"zero=true arg_g 14..16, arg_l 12, ram_g 3..5 11..13, pc_g 1..5 9..13, pc_l 7 15, nxt_g 6..8, nxt_l 4 12, ir_l 4, rst 16; last 16",
		},
		// As ldi, then addr is busy to 16: arg_g and acc_g 17..19, ram_l 18.
		"sta": {"acc_g 17..19, arg_g 17..19, arg_l 12, ram_g 3..5 11..13, ram_l 18, pc_g 1..5 9..13, pc_l 7 15, nxt_g 6..8 14..16, nxt_l 4 12, ir_l 4, rst 19; last 19"},
		// data has been free since 6: strobe 8, gate 7..9.
		"move d=tmp s=acc": {"acc_g 7..9, tmp_l 8, ram_g 3..5, pc_g 1..5, pc_l 7, nxt_g 6..8, nxt_l 4, ir_l 4, rst 9; last 9"},
		"move d=acc s=res": {"acc_l 8, res_g 7..9, ram_g 3..5, pc_g 1..5, pc_l 7, nxt_g 6..8, nxt_l 4, ir_l 4, rst 9; last 9"},
		"move d=arg s=sw":  {"arg_l 8, ram_g 3..5, pc_g 1..5, pc_l 7, nxt_g 6..8, nxt_l 4, ir_l 4, sw_g 7..9, rst 9; last 9"},
		"move d=acc s=acc": nil,
	}
	for owner, charts_ := range want {
		if diff := cmp.Diff(charts_, charts(m, owner)); diff != "" {
			t.Errorf("%s (-by hand +evaluated):\n%s", owner, diff)
		}
	}
	if m.Phases != 19 || m.OpcodeBits != 8 || !slices.Equal(m.Flags, []string{"zero"}) {
		t.Errorf("phases %d, opcode bits %d, flags %v; by hand 19, 8, zero", m.Phases, m.OpcodeBits, m.Flags)
	}
	on := func(opcode, flags uint64, phase int) string {
		var out []string
		for i, yes := range m.On(opcode, flags, phase) {
			if yes {
				out = append(out, m.Lines[i])
			}
		}
		return strings.Join(out, " ")
	}
	for _, c := range []struct {
		opcode, flags uint64
		phase         int
		want          string
	}{
		{0x80, 0, 4, "ram_g pc_g nxt_l ir_l"},
		{0x30, 0, 15, "pc_l nxt_g"},
		{0x30, 1, 15, "arg_g pc_l"},
		{0x40, 0, 8, "nxt_g rst"},         // move acc acc is no instruction
		{0x50, 0, 8, "acc_g tmp_l nxt_g"}, // 01 d=01 s=00 00
		{0xff, 1, 19, ""},
		{0xff, 1, 20, ""},
	} {
		if got := on(c.opcode, c.flags, c.phase); got != c.want {
			t.Errorf("opcode %#x flags %d phase %d: %q, by hand %q", c.opcode, c.flags, c.phase, got, c.want)
		}
	}
}

// TestByHand: testdata/reference/hand.txt says how it is written.
func TestByHand(t *testing.T) {
	raw, err := os.ReadFile("../../../testdata/reference/hand.txt")
	if err != nil {
		t.Fatal(err)
	}
	sections := strings.Split(string(raw), "\n== ")[1:]
	_, common, _ := strings.Cut(sections[0], "\n")
	for _, section := range sections[1:] {
		name, rest, _ := strings.Cut(section, "\n")
		t.Run(name, func(t *testing.T) {
			var text string
			var want []string
			for line := range strings.Lines(rest) {
				if w, ok := strings.CutPrefix(line, "=> "); ok {
					want = append(want, strings.TrimSpace(w))
				} else {
					text += line
				}
			}
			m, err := Evaluate(parse(t, common+text))
			if rule, refused := strings.CutPrefix(want[0], "refused "); refused {
				if err == nil || !strings.HasPrefix(err.Error(), rule+":") {
					t.Errorf("%v, by hand %s", err, want[0])
				}
				return
			}
			if err != nil {
				t.Fatal(err)
			}
			got := charts(m, "x")
			for _, w := range want {
				if strings.HasPrefix(w, "undefined ") {
					got = []string{"undefined " + charts(m, "undefined")[0]}
				}
				if strings.HasPrefix(w, "phases ") {
					got = append(got, fmt.Sprint("phases ", m.Phases))
				}
			}
			if diff := cmp.Diff(want, got); diff != "" {
				t.Errorf("-by hand +evaluated:\n%s", diff)
			}
		})
	}
}

// TestRandom: the generator repeats itself for the same seed, what it writes
// parses, and much of it is sound.
func TestRandom(t *testing.T) {
	sound := 0
	for seed := range uint64(200) {
		text := Random(rand.New(rand.NewPCG(seed, 1)))
		if text != Random(rand.New(rand.NewPCG(seed, 1))) {
			t.Fatalf("seed %d gives two machines", seed)
		}
		if _, err := Evaluate(parse(t, text)); err == nil {
			sound++
		}
	}
	if sound < 60 {
		t.Errorf("%d of 200 random machines are sound", sound)
	}
}

// load reads one text; said is what the parser has against it.
func load(text string) (src *definition.Source, said string) {
	src, list := definition.Load("random.coil", func(string) ([]byte, error) { return []byte(text), nil })
	for _, d := range list {
		said += d.Text + "; "
	}
	return src, said
}
