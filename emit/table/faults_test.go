package table

import (
	"bytes"
	"fmt"
	"math/rand/v2"
	"regexp"
	"slices"
	"strings"
	"testing"

	"coilwright/encode/cube"
	"coilwright/encode/network"
	"coilwright/encode/store"
)

// copied is a matrix that a fault may change without touching the first.
func copied(mx *network.Matrix) *network.Matrix {
	c := *mx
	c.Rows = slices.Clone(mx.Rows)
	for i := range c.Rows {
		c.Rows[i].Lines = slices.Clone(c.Rows[i].Lines)
		c.Rows[i].Opcodes = slices.Clone(c.Rows[i].Opcodes)
	}
	c.Pulses = slices.Clone(mx.Pulses)
	for i := range c.Pulses {
		c.Pulses[i].Phases = slices.Clone(c.Pulses[i].Phases)
	}
	c.Diodes = slices.Clone(mx.Diodes)
	return &c
}

// rebuilt brings the diodes and the phases of rows in line with rows and pulse
// wires, so that a page with a fault is consistent in itself and only the
// store can tell.
func rebuilt(mx *network.Matrix) *network.Matrix {
	phasePin := map[[2]int]int{}
	for _, d := range mx.Diodes {
		if d.Pulse >= 0 {
			phasePin[[2]int{d.Card, d.Phase}] = d.Pin
		}
	}
	var out []network.Diode
	add := func(d network.Diode) {
		d.Name = fmt.Sprintf("D%d", len(out)+1)
		out = append(out, d)
	}
	for card := range mx.Cards {
		for i, p := range mx.Pulses {
			for _, phase := range p.Phases {
				if p.Card == card {
					add(network.Diode{Card: card, Place: p.Place, Row: -1, Pulse: i, Phase: phase, Line: -1, Pin: phasePin[[2]int{card, phase}]})
				}
			}
		}
		for i, r := range mx.Rows {
			for _, l := range r.Lines {
				if r.Card == card && !r.Direct {
					column := slices.Index(mx.Cards[card].Columns, l)
					add(network.Diode{Card: card, Place: r.Place, Column: column + 1, Row: i, Pulse: -1, Line: l, Pin: mx.Cards[card].Leave[column]})
				}
			}
		}
	}
	mx.Diodes = out
	for i := range mx.Rows {
		if p := mx.Rows[i].Pulse; p >= 0 {
			mx.Rows[i].Phases = mx.Pulses[p].Phases
		}
	}
	return mx
}

// same is the obvious comparison: every opcode, flag combination and phase.
func same(mx *network.Matrix, s *store.Store) bool {
	for opcode := range uint64(1) << s.OpcodeBits {
		for flags := range uint64(1) << len(s.Flags) {
			for phase := 1; phase <= s.Phases; phase++ {
				on := store.NewSet(len(s.Columns))
				for _, r := range mx.Rows {
					closed := len(r.Opcodes) == 0
					for _, c := range r.Opcodes {
						closed = closed || c.Matches(opcode)
					}
					if closed && r.Flags.Matches(flags) && slices.Contains(r.Phases, phase) {
						for _, l := range r.Lines {
							on.Add(l)
						}
					}
				}
				want := s.At(opcode, flags, phase)
				for _, c := range s.Word.Bits {
					if on.Has(c) != want.Has(c) {
						return false
					}
				}
			}
		}
	}
	return true
}

// TestFaultsInTheMatrix plants what goes wrong at a bench into the matrix
// before the pages are written: each reader has to say what the obvious
// comparison says, and most faults have to matter.
func TestFaultsInTheMatrix(t *testing.T) {
	f := load(t, "hoist")
	kinds := []struct {
		name string
		make func(mx *network.Matrix, r *rand.Rand) bool
	}{
		{"diode missing", func(mx *network.Matrix, r *rand.Rand) bool {
			row := &mx.Rows[r.IntN(len(mx.Rows))]
			if len(row.Lines) < 2 {
				return false // a row without a diode is no row
			}
			i := r.IntN(len(row.Lines))
			row.Lines = slices.Delete(row.Lines, i, i+1)
			return true
		}},
		{"wrong column", func(mx *network.Matrix, r *rand.Rand) bool {
			row := &mx.Rows[r.IntN(len(mx.Rows))]
			columns := mx.Cards[row.Card].Columns
			l := columns[r.IntN(len(columns))]
			if slices.Contains(row.Lines, l) {
				return false
			}
			row.Lines[r.IntN(len(row.Lines))] = l
			slices.Sort(row.Lines)
			return true
		}},
		{"diode too many", func(mx *network.Matrix, r *rand.Rand) bool {
			row := &mx.Rows[r.IntN(len(mx.Rows))]
			columns := mx.Cards[row.Card].Columns
			l := columns[r.IntN(len(columns))]
			if row.Direct || slices.Contains(row.Lines, l) {
				return false
			}
			row.Lines = append(row.Lines, l)
			slices.Sort(row.Lines)
			return true
		}},
		{"rows swapped", func(mx *network.Matrix, r *rand.Rand) bool {
			a, b := &mx.Rows[r.IntN(len(mx.Rows))], &mx.Rows[r.IntN(len(mx.Rows))]
			if a.Card != b.Card || a == b || a.Direct || b.Direct {
				return false
			}
			a.Lines, b.Lines = b.Lines, a.Lines
			return true
		}},
		{"feeds swapped", func(mx *network.Matrix, r *rand.Rand) bool {
			a, b := &mx.Rows[r.IntN(len(mx.Rows))], &mx.Rows[r.IntN(len(mx.Rows))]
			a.Pulse, b.Pulse = b.Pulse, a.Pulse
			a.Phases, b.Phases = b.Phases, a.Phases
			return a != b
		}},
		{"pulse diode missing", func(mx *network.Matrix, r *rand.Rand) bool {
			p := &mx.Pulses[r.IntN(len(mx.Pulses))]
			i := r.IntN(len(p.Phases))
			p.Phases = slices.Delete(p.Phases, i, i+1)
			return true
		}},
		{"flag turned", func(mx *network.Matrix, r *rand.Rand) bool {
			row := &mx.Rows[r.IntN(len(mx.Rows))]
			row.Flags.Value ^= row.Flags.Care
			return row.Flags.Care != 0
		}},
		{"opcode bit turned", func(mx *network.Matrix, r *rand.Rand) bool {
			row := &mx.Rows[r.IntN(len(mx.Rows))]
			if len(row.Opcodes) == 0 {
				return false
			}
			row.Opcodes[0].Value ^= row.Opcodes[0].Care & 1
			return row.Opcodes[0].Care&1 == 1
		}},
		{"opcode bit forgotten", func(mx *network.Matrix, r *rand.Rand) bool {
			row := &mx.Rows[r.IntN(len(mx.Rows))]
			if len(row.Opcodes) == 0 || row.Opcodes[0].Care&2 == 0 {
				return false
			}
			c := row.Opcodes[0]
			row.Opcodes[0] = cube.Cube{Care: c.Care &^ 2, Value: c.Value &^ 2}
			return true
		}},
	}
	for _, k := range kinds {
		harmful := 0
		r := rand.New(rand.NewPCG(7, uint64(len(k.name))))
		for tried := 0; tried < 25; {
			mx := copied(f.Matrix)
			if !k.make(mx, r) {
				continue
			}
			tried++
			mx = rebuilt(mx)
			right := same(mx, f.Store)
			if !right {
				harmful++
			}
			for _, a := range artefacts {
				if a.name == "summary.txt" || strings.HasPrefix(a.name, "phases") || strings.HasPrefix(a.name, "wires") {
					continue
				}
				text := written(t, a, Facts{f.Machine, f.Plan, f.Store, mx, f.Network})
				err := a.read(bytes.NewReader([]byte(text)), f)
				if (err == nil) != right {
					t.Errorf("%s in %s: the reader says %v; the store is met: %t", k.name, a.name, err, right)
				}
				if err != nil && !strings.Contains(err.Error(), " should be ") {
					t.Errorf("%s in %s: not found by comparison: %v", k.name, a.name, err)
				}
			}
		}
		if harmful < 15 {
			t.Errorf("%s: only %d of 25 matter", k.name, harmful)
		}
	}
}

// TestFaultsInTheChart turns every single mark of a chart.
func TestFaultsInTheChart(t *testing.T) {
	for _, name := range []string{"hoist", "quern"} {
		f := load(t, name)
		for _, a := range artefacts[:2] {
			lines := strings.Split(written(t, a, f), "\n")
			turned := 0
			for i, line := range lines {
				if !strings.HasSuffix(line, "|") || strings.Contains(line, "(or)") {
					continue
				}
				for at := strings.Index(line, "|") + 1; at < len(line); at += 3 {
					mark := "##"
					if line[at] != ' ' {
						mark = "  "
					}
					lines[i] = line[:at] + mark + line[at+2:]
					err := a.read(strings.NewReader(strings.Join(lines, "\n")), f)
					if err == nil || !strings.Contains(err.Error(), " should be ") {
						t.Fatalf("%s %s: %q for %q: %v", name, a.name, lines[i], line, err)
					}
					turned++
				}
				lines[i] = line
			}
			if turned < 100 {
				t.Errorf("%s %s: only %d marks", name, a.name, turned)
			}
		}
	}
}

// TestEditedGong is TestEditedPages for what only a long ring has.
func TestEditedGong(t *testing.T) {
	f := load(t, "gong")
	for _, tt := range []struct{ artefact, from, to, want string }{
		{"phases.txt", "phases 19-198: no", "phases 19-197: no", "phase 199 where 198 is due"},
		{"phases.txt", "phases 19-198: no", "phases 18-198: no", "phases 18-198 do not follow"},
		{"phases.txt", "phases 19-198: no", "phases 19-99999999999: no", "in a ring of 256"},
		{"phases.txt", "phases 19-198: no line is on\n", "", "phase 199 where 19 is due"},
		{"phases.txt", "  206 phases", "  209 phases", "209 phases, and 206 are drawn"},
		{"matrix.txt", "12-13, 15-16", "12-13, 15-17", "is said to be of phases"},
		{"diodes.txt", "12-13 15-16", "12-13 15-17", "is said to be of phases"},
	} {
		a := pages()[tt.artefact]
		text := written(t, a, f)
		edited := strings.ReplaceAll(text, tt.from, tt.to)
		if edited == text {
			t.Errorf("%s has no %q", tt.artefact, tt.from)
			continue
		}
		if err := a.read(strings.NewReader(edited), f); err == nil || !strings.Contains(err.Error(), tt.want) {
			t.Errorf("%s with %q: %v; want %q", tt.artefact, tt.to, err, tt.want)
		}
	}
}

// replaced puts to in the place of the first from; "re:" begins an expression,
// for what depends on where the search has placed things.
func replaced(text, from, to string) string {
	pattern, ok := strings.CutPrefix(from, "re:")
	if !ok {
		return strings.Replace(text, from, to, 1)
	}
	re := regexp.MustCompile(pattern)
	at := re.FindStringSubmatchIndex(text)
	if at == nil {
		return text
	}
	return text[:at[0]] + string(re.ExpandString(nil, to, text, at)) + text[at[1]:]
}

// pages finds an artefact by its name.
func pages() map[string]artefact {
	byName := map[string]artefact{}
	for _, a := range artefacts {
		byName[a.name] = a
	}
	return byName
}

// TestEditedPages changes pages as a slip of the pen or of the printer would.
func TestEditedPages(t *testing.T) {
	f := load(t, "hoist")
	hash := f.Store.Hash[:12]
	tests := []struct {
		artefact, from, to string
		want               string
	}{
		{"phases.txt", "hoist:", "host:", "line 1: the page is not of machine hoist"},
		{"phases.txt", hash, "000000000000", "line 1: the page does not carry the hash"},
		{"phases.txt", "opcode 0011", "opcode 00011", "has 5 bits, not 4"},
		{"phases.txt", "opcode 0011", "opcode 0001", "sort: "},
		{"phases.txt", "s=half 0101, ", "", "lift s=half is not drawn for opcode 0101"},
		{"phases.txt", "path 2 of 3: full=1 top=0", "path 2 of 3: full=1 top=1", "should be"},
		{"phases.txt", "path 2 of 3: full=1 top=0", "path 2 of 3: fill=1", "no condition on a flag"},
		{"phases.txt", "  1  2  3  4  5", "  1  2  3  5  4", "phase 5 where 4 is due"},
		{"phases.txt", "ir_l   |", "il_r   |", `no line "il_r"`},
		{"phases.txt", "|##|", "|#?|", `"#?" in phase`},
		{"phases.txt", "|##|", "|###", "cells under"},
		{"matrix.txt", hash, "000000000000", "line 1: the page does not carry the hash"},
		{"matrix.txt", "re:x x", "x .", " marks here, the count says "},
		{"matrix.txt", "re:x x", "x *", `"*" in the column of`},
		{"matrix.txt", "P7=8-10", "P7=8-11", "pulse wire P7 is "},
		{"matrix.txt", "P1=1-5", "P1=1-4", "pulse wire P1 is said to be of phases 1-4"},
		{"matrix.txt", "stop: opcode 0000", "stop: opcode 000x", "is no pattern"},
		{"matrix.txt", "re:(\n +)(\\d+) (R\\d+[^\n]*\n {5,6})\\d+ R", "${1}${2} ${3}${2} R", "both on card control"},
		{"matrix.csv", "sha256:" + hash, "sha256:000000000000", "line 2: the record is of machine hoist"},
		{"matrix.csv", "re:,P7,(K\\d+:\\d+),,8 9 10,1,1,", ",P7,$1,,8 9 10,1,,", "1 marks, and 2 diodes in the count"},
		{"matrix.csv", "re:R23(.*),P7,", "R23$1,P9,", "row R23 is said to be fed in phases 8 9 10"},
		{"matrix.csv", "\ntotal,,,,total,", "\nR99,,,,total,", "totals"},
		{"diodes.txt", "[ ] D45 ", "[ ] D46 ", "diode D46 where D45 is due"},
		{"diodes.txt", "R23  from P7 (phases 8-10) through", "R23  from P9 (phases 8-10) through", "row R23 is said to be fed in phases 8-10"},
		{"diodes.txt", "re:(R28 .*), 2 diodes\n", "$1, 3 diodes\n", "lacks 1 diodes"},
		{"diodes.txt", "sink_set", "sink", `no line "sink"`},
		{"diodes.txt", " row    fetch, phase 8", " column fetch, phase 8", "turned the other way"},
		{"diodes.txt", "    41 rows", "    42 rows", "the totals say 42"},
		{"diodes.txt", "    in all ", "    in al ", "the end is missing"},
		{"diodes.csv", ",pc_g,R1,", ",acc_g,R1,", "lies between"},
		{"diodes.csv", "re:1 2 3 4 5,,phase 1,(\\d*),,,P1,phase 1,", "1 2 3 4 5,,phase 1,$1,,,phase 1,P1,", "turned the other way"},
		{"diodes.csv", "sha256:" + hash, "sha256:000000000000", "line 2: the record is of machine hoist"},
		{"matrix.txt", "  -     R27", "     12 R27", "lies on full_l and has a place"},
		{"matrix.txt", "re:\\. o \\. \\. ", ". . o . ", "should be"},
		{"matrix.csv", "re:R27,control (\\d),,", "R27,control $1,12,", "lies on a column and has a place"},
		{"matrix.csv", ",direct,", ",,", "lies on a column and has a place"},
		{"diodes.txt", "straight onto full_l", "straight onto aux_l", "should be"},
		{"diodes.csv", ",12,,full_l,", ",12,,aux_l,", "should be"},
		{"diodes.csv", ",9,,sink_set,,,,", ",9,,sink_set,7,,,", "row R24 has diodes"},
		{"wires.txt", hash, "000000000000", "line 1: the page does not carry the hash"},
		{"wires.txt", " relays, ", " relais, ", "does not say how much"},
		{"wires.txt", "page 2 of", "page 3 of", "page 2 in plain style is due"},
		{"wires.txt", "re:(J\\d+:\\d+) - (K\\d+):11", "$1 - $2:14", "should not be"},
		{"wires.txt", "re:  (pulse P|tree T)(\\d+), link ", "  ${1}9$2, link ", "should not be"},
		{"wires.txt", "re:11 feed; 12 line acc_l", "11 feed; 14 line acc_l", ":12 is on \"\" by part"},
		{"wires.txt", "re:link 1, [^:]+:", "link 1, none:", "pins are not joined"},
		{"wires.txt", "re:K9 site \\d+", "K9 site 99", " 99 4} is listed and should not be"},
		{"wires.txt", "A1 on column acc_l", "A1 on line acc_l", "in the schedule of relays"},
		{"wires.txt", "    in all ", "    in al ", "the end is missing"},
		{"wires.txt", "[ ] card control 1 ", "[ ] card control 9 ", "the counts of relays"},
		{"wires.txt", "re:    (\\d+) diodes of", "   9$1 diodes of", "the parts list has 9"},
		{"wires.csv", "sha256:" + hash + "\n", "sha256:000000000000\n", "line 3: the record is of machine hoist"},
		{"wires.csv", "re:,(J\\d+:\\d+),K\\d+:11,", ",$1,K3:13,", "K3:13\" is no terminal: a relay has A1, A2"},
		{"wires.csv", "re:,(J\\d+:\\d+),K\\d+:11,", ",$1,K3:51,", "K3 has 4 poles"},
		{"wires.csv", "re:,(J\\d+:\\d+),(K\\d+):11,", ",$1,$2:12,", "should not be"},
		{"wires.csv", "re:,(J\\d+:\\d+),K\\d+:11,", ",$1,K99:11,", "nothing of this name"},
		{"wires.csv", "relay,K2,", "relay,K1,", "K1 is listed twice, first on line 3"},
		{"wires.csv", "diode,D2,", "diode,J2,", "J2 is a part on line 26"},
		{"wires.csv", "list,plain", "lost,plain", "no kind of record"},
		{"wires.csv", ",negative,", ",minus,", "positive or the negative side"},
		{"wires.csv", ",phase,8,", ",phase,0,", "no number from 1"},
		{"wires.csv", ",phase,8,", ",face,8,", "no use of a pin"},
		{"summary.txt", hash, "000000000000", "line 1: the page does not carry the hash"},
		{"summary.txt", "lines         20", "lines         20 ", `says nothing of lines`},
		{"summary.txt", "phases        24", "phrases       24", "is no entry of a summary"},
		{"summary.txt", "phases        24", "chips         24", "line 6: nothing is to be said of \"chips\""},
		{"summary.txt", "flags tested  full top", "flags tested  full", `flags is said to be "full", and is "full top"`},
		{"summary.txt", "lift s=slow\n", "lift s=half\n", ""},
		{"summary.txt", "lift s=slow\n", "sort\n", "sort takes no 24 phases"},
		{"summary.txt", "others halt", "others restart", `others is said to be "restart", and is "halt"`},
		{"summary.txt", "7 gates, 9 latches", "9 gates, 7 latches", "kinds is said to be"},
		{"summary.txt", "19 bits in 3", "19 bits in 4", `bytes is said to be "4", and is "3"`},
		{"summary.txt", "plain style", "shared style", `style is said to be "shared"`},
	}
	for _, tt := range tests {
		a := pages()[tt.artefact]
		text := written(t, a, f)
		edited := replaced(text, tt.from, tt.to)
		if edited == text {
			t.Errorf("%s has no %q", tt.artefact, tt.from)
			continue
		}
		err := a.read(strings.NewReader(edited), f)
		if tt.want == "" && err == nil {
			continue // as good a name for the same length
		}
		if err == nil || tt.want == "" || !strings.Contains(err.Error(), tt.want) {
			t.Errorf("%s with %q: %v; want %q", tt.artefact, tt.to, err, tt.want)
		}
	}
}

// TestEditedBellows is TestEditedPages for what only relays behind the diodes
// and Zener diodes have: what the pages say of them has to be what is wired.
func TestEditedBellows(t *testing.T) {
	f := load(t, "bellows")
	for _, tt := range []struct{ artefact, from, to, want string }{
		{"matrix.txt", "re:P1( +)K\\d+:A1", "P1${1}K7:A1", "pulse wire P1 is said to have coil"},
		{"matrix.txt", "re:(P1 +K\\d+:A1 +K\\d+:)14", "${1}24", "pulse wire P1 is said to have coil"},
		{"matrix.txt", "re:chest_l: column to coil K(\\d+):A1", "chest_l: column to coil K${1}:A2", "line chest_l is said to have an inverter"},
		{"matrix.txt", "re: +chest_l: column to coil [^\n]+\n", "", "nothing is said of the inverter of chest_l"},
		{"matrix.csv", "re:(\nP1,.*),K(\\d+):14,", "$1,K7:14,", "pulse wire P1 is said to have coil"},
		{"matrix.csv", "re:(\nP1,.*),K(\\d+):A1,", "$1,,", "pulse wire P1 is said to have coil"},
		{"matrix.csv", "re:(\ncoil,.*?),K(\\d+):A1,", "$1,K7:A1,", "is said to have an inverter"},
		{"matrix.csv", "re:(\ncontact,.*?),K(\\d+):12,", "$1,K7:12,", "is said to have an inverter"},
		{"matrix.csv", "re:\ncoil,.*", "", "nothing is said of the inverter"},
		{"diodes.txt", "re:diodes to coil K\\d+:A1", "diodes to coil K7:A1", "is said to have coil"},
		{"diodes.txt", "re:phases 1-3 from K\\d+:14", "phases 1-3", "is said to have coil"},
		{"diodes.txt", "re:chest_l +K\\d+:A1 column", "chest_l  K7:A1 column", "the column of chest_l is said to end on coil"},
		{"diodes.txt", "re:\\[ \\] Z3 [^\n]+\n", "", "at coils; the "},
		{"diodes.txt", "re:(Z3 .*)K3:A2", "${1}K3:A1", "Z3:K is said to be on K3:A1"},
		{"diodes.txt", "re:(Z3 .* )across the", "${1}into the", "Z3 is no diode at a coil, not such a one"},
		{"diodes.txt", "re:(D\\d+ +\\d+ K3 +)\\d+", "${1}9", "no relay K3 at site"},
		{"diodes.txt", "re:(\\d+) diodes on", "9$1 diodes on", "on the page before"},
		{"diodes.csv", "re:,K\\d+,K\\d+:A1,(phase 1),coil of K\\d+", ",,,$1,P1", "is said to have coil"},
		{"diodes.csv", "re:chest_l,,K\\d+,K\\d+:A1,", "chest_l,,,,", "the column of chest_l is said to end on coil"},
		{"diodes.csv", "re:(\nZ3,.*),K3:A2,", "$1,K3:A1,", "Z3:K is said to be on K3:A1"},
		{"diodes.csv", "re:\nZ3,.*", "", "Z3 at a coil is not listed"},
		{"wires.txt", "re:J1: 1 feed", "J1: 1 return", "J1:1 is on \"return\" by part"},
		{"wires.csv", "re:(relay,K\\d+,.*,)pulse,", "${1}condition,", " is said to be a relay of kind condition"},
		{"wires.csv", "re:(relay,K\\d+,.*,condition),2,", "${1},1,", " is said to be a relay of kind condition with 1 poles"},
		{"wires.csv", "re:(relay,K1,.*),coil of K1,", "$1,coil of K2,", "A1 on \"coil of K2\""},
		{"wires.csv", "re:diode,Z1,(.*),suppression,,K1", "diode,Z1,$1,suppression,,K2", "Z1 is said to be at relay K2"},
		{"wires.csv", "re:diode,Z1,(.*),suppression,,K1", "diode,Z1,$1,matrix,,", "Z1 is said to be a diode of matrix"},
		{"wires.txt", "re:opcode 001/1\\?", "opcode 001/0?", "is said to be pulled in by 001/0?; the wires do not"},
		{"wires.txt", "re:draw: opcode 000", "draw: opcode 00?", "is said to be pulled in by 00?; the wires do not"},
		{"wires.txt", "re:draw: opcode 000", "draw", "is said to follow \"draw\""},
		{"wires.csv", "re:hold: opcode 01\\?/10", "hold: opcode 011/10", "the wires do at"},
		{"summary.txt", "in style plain or shared", "in any style", "where is said to be"},
	} {
		a := pages()[tt.artefact]
		text := written(t, a, f)
		edited := replaced(text, tt.from, tt.to)
		if edited == text {
			t.Errorf("%s has no %q", tt.artefact, tt.from)
			continue
		}
		if err := a.read(strings.NewReader(edited), f); err == nil || !strings.Contains(err.Error(), tt.want) {
			t.Errorf("%s with %q: %v; want %q", tt.artefact, tt.to, err, tt.want)
		}
	}
}

// TestFaultsInTheSummary changes every figure of a summary.
func TestFaultsInTheSummary(t *testing.T) {
	for _, name := range machines {
		f := load(t, name)
		text := written(t, artefact{"summary", Summary, nil}, f)
		_, body, _ := strings.Cut(text, "\n\n")
		head := len(text) - len(body)
		changed := 0
		for i := head; i < len(text); i++ {
			if text[i] < '0' || text[i] > '9' || text[i-1] == '=' || text[i-1] >= 'a' && text[i-1] <= 'z' {
				continue // no figure, but part of a name or a condition
			}
			edited := text[:i] + string('0'+(text[i]-'0'+1)%10) + text[i+1:]
			if err := readSummary(strings.NewReader(edited), f); err == nil {
				t.Errorf("%s: passes with\n%s", name, edited)
			}
			changed++
		}
		if changed < 30 {
			t.Errorf("%s: only %d figures", name, changed)
		}
	}
}

// TestCutPages: no page whose end is missing passes.
func TestCutPages(t *testing.T) {
	f := load(t, "quern")
	for _, a := range artefacts {
		lines := strings.SplitAfter(written(t, a, f), "\n")
		end := len(lines) - 1
		if strings.HasPrefix(a.name, "phases") {
			// The chain of the last path is not read: it says nothing of lines.
			for !strings.HasPrefix(lines[end], "  12 phases") {
				end--
			}
		}
		for n := range end {
			if err := a.read(strings.NewReader(strings.Join(lines[:n], "")), f); err == nil {
				t.Errorf("%s passes with %d of %d lines", a.name, n, len(lines)-1)
			}
		}
	}
}
