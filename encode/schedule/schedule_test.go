package schedule_test

import (
	"fmt"
	"strings"
	"testing"

	"coilwright/encode/machine"
	"coilwright/encode/schedule"
	"coilwright/lang/definition"
	"coilwright/lang/diag"

	"github.com/google/go-cmp/cmp"
)

// bench is a datapath for charts that can be worked by hand: lead and trail
// are 1 and decode is 1 unless a case says otherwise. Fetch latches the opcode
// in phase 2 (ram_g leads from phase 1 and trails in 3), so nothing of a body
// is on before phase 3.
const bench = `
bus data 8
register ir 8 opcode
register a 8
register b 8
register c 8 buffered
register r 8
flag zero
memory ram 4 x 8 program
unit alu 8 settle 2 by sub { 0 = a + b, 1 = a - b }
line ram_g : ram[0] -> data
line ir_l : data -> ir
line a_g : a -> data
line a_l : data -> a
line b_g : b -> data
line b_l : data -> b
line c_g : c -> data
line c_l : data -> c
line r_g : r -> data
line r_l : alu -> r
line z_l : zero(alu) -> zero
line sub
line bell pulse 3
line rst : restart
fetch { step ram_g ir_l }
`

func place(t *testing.T, text string) (*machine.Machine, *schedule.Plan, diag.List) {
	t.Helper()
	src, list := definition.Load("case.coil", func(string) ([]byte, error) { return []byte(text), nil })
	m, more := machine.Resolve(src)
	list = append(list, more...)
	p, more := schedule.Encode(m)
	return m, p, append(list, more...).Settle(src.Paths())
}

// rows writes each path as "flags last: line from-to ...", fetch left out.
func rows(m *machine.Machine, o *schedule.Owner) []string {
	var out []string
	for _, path := range o.Paths {
		var b strings.Builder
		fmt.Fprintf(&b, "%s%d:", map[bool]string{true: path.Flags.Text(len(m.Tested)) + " ", false: ""}[path.Flags.Care != 0], path.Last)
		for _, s := range path.Steps[path.Fetch:] {
			for _, w := range s.On {
				fmt.Fprintf(&b, " %s %d-%d", m.Lines[w.Line].Name, w.From, w.To)
			}
			b.WriteString(";")
		}
		out = append(out, strings.TrimSuffix(b.String(), ";"))
	}
	return out
}

// TestCharts compares charts with ones worked by hand from language.md,
// section P; the comment of each case is the working.
func TestCharts(t *testing.T) {
	for _, c := range []struct {
		name, settings, body string
		want                 []string
	}{{
		// ram_g trails in 3; strobe + decode = 3.
		"no body", "", "", []string{"3:"},
	}, {
		// P.4: a_g may lead from 4 on, when ram_g is off: strobe 5, trail 6.
		"one source after another", "", "step a_g b_l", []string{"6: a_g 4-6 b_l 5-5"},
	}, {
		// dead 2: phases 4 and 5 stay empty, a_g leads from 6.
		"dead", "dead 2", "step a_g b_l", []string{"10: a_g 6-8 b_l 7-7"},
	}, {
		// The same source again: windows unite, strobes 5 and 6.
		"one source twice", "", "step a_g b_l\nstep a_g c_l", []string{"7: a_g 4-6 b_l 5-5; a_g 5-7 c_l 6-6"},
	}, {
		// P.4 (rule 3): b_l is off in 6, strobes 5 and 7.
		"latch off between strobes", "", "step a_g b_l\nstep a_g b_l", []string{"8: a_g 4-6 b_l 5-5; a_g 6-8 b_l 7-7"},
	}, {
		// P.5: a_l waits until a_g is off: a_g 4-6, so the strobe is 7 and not
		// 6; b_g may not lead before a_g is off either (7): strobe 8.
		"nothing reads what latches", "", "step a_g b_l\nstep b_g a_l", []string{"9: a_g 4-6 b_l 5-5; b_g 7-9 a_l 8-8"},
	}, {
		// P.6: b is latched in 5 and settles for 2 in the alu: r_l not before
		// 5+1+2 = 8; then r_g leads from 9: strobe 10.
		"settle", "", "step a_g b_l\nstep r_l\nstep r_g a_l", []string{"11: a_g 4-6 b_l 5-5; r_l 8-8; r_g 9-11 a_l 10-10"},
	}, {
		// P.2: D(sub) = 2: on from s-1-2, not before 3: s = 6. r_g not before 7.
		"select line leads and settles", "", "step sub r_l\nstep r_g a_l", []string{"9: sub 3-7 r_l 6-6; r_g 7-9 a_l 8-8"},
	}, {
		// P.6: the second step needs sub off from 2 before its strobe: sub
		// trails in 7, so 8 is the first: s = 10.
		"select line off for the next", "", "step sub r_l\nstep r_l", []string{"10: sub 3-7 r_l 6-6; r_l 10-10"},
	}, {
		// The other way: r_l needs sub off from 1 to its strobe 3; sub may come
		// on in 4, s-3 = 4: s = 7.
		"select line not early", "", "step r_l\nstep sub r_l", []string{"8: r_l 3-3; sub 4-8 r_l 7-7"},
	}, {
		// An output for three phases; the next strobe comes after its last.
		"pulse", "", "step bell\nstep a_g b_l", []string{"7: bell 3-5; a_g 5-7 b_l 6-6"},
	}, {
		// wait 3 after the strobe in 5: 6, 7, 8 free, strobe 9.
		"wait", "", "step a_g b_l\nwait 3\nstep a_g c_l", []string{"10: a_g 4-6 b_l 5-5; a_g 8-10 c_l 9-9"},
	}, {
		// Held sub: part of both steps; D = 2, on from 3. The second strobe
		// comes one off-phase after the first.
		"hold", "", "hold sub {\nstep r_l\nstep z_l\n}", []string{"8: sub 3-7 r_l 6-6; sub 4-8 z_l 7-7"},
	}, {
		// A buffered register may be read while it latches; rule 5 asks for 6.
		"buffered", "", "step a_g c_l\nstep c_g b_l", []string{"9: a_g 4-6 c_l 5-5; c_g 7-9 b_l 8-8"},
	}, {
		// z_l needs sub off from 1 on and strobes in 3. The arm's a_g leads
		// from 4: 3 + decode = 4. Without the arm the path ends at 4, not 3:
		// restart depends on zero and waits for its decode.
		"flag", "", "step z_l\nwhen zero { step a_g b_l }", []string{"0 4: z_l 3-3", "1 6: z_l 3-3; a_g 4-6 b_l 5-5"},
	}, {
		// decode 3: the body may begin at 2+3 = 5, the arm at 5+3 = 8.
		"decode", "decode 3", "step z_l\nwhen not zero { step a_g b_l } else { step bell }",
		[]string{"0 10: z_l 5-5; a_g 8-10 b_l 9-9", "1 10: z_l 5-5; bell 8-10"},
	}, {
		// P.11, the seam: dead 3. ram_g trails in 3, 4 to 6 stay empty, b_g
		// leads in 7 and trails in 9. ram_g of the next fetch leads in its
		// phase 1, so 10 to 12 stay empty too and the path idles until 12.
		"seam", "dead 3", "step b_g a_l", []string{"12: b_g 7-9 a_l 8-8"},
	}} {
		t.Run(c.name, func(t *testing.T) {
			text := "machine m\nsequencer { " + c.settings + " }" + bench + "instruction op = 0000_0000 {\n" + c.body + "\n}\n"
			m, p, list := place(t, text)
			if list.Errors() > 0 {
				t.Fatalf("%v", list)
			}
			if diff := cmp.Diff(c.want, rows(m, &p.Owners[1])); diff != "" {
				t.Errorf("chart by hand (-) and by the encoder (+):\n%s", diff)
			}
		})
	}
}

// TestChain checks that the chain of constraints leads from the start of the
// ring to the end of the path, each link as long as the phases between its ends.
func TestChain(t *testing.T) {
	for _, c := range []struct {
		body string
		want []string
	}{{"step a_g b_l\nstep r_l\nstep r_g a_l", []string{
		"2 step 1 (ram_g ir_l): ram_g may not come on before phase 1",
		"5 step 2 (a_g b_l): bus data: ram_g goes off before a_g comes on",
		"8 step 3 (r_l): b, latched by b_l, settles for 2 before r_l reads it",
		"10 step 4 (r_g a_l): r is latched by r_l before r_g reads it",
		"11 end: r_g goes off",
	}}, {"hold a_g {\nstep b_l\nstep bell\n}", []string{ // bell in 6 to 8, so a_g to 9
		"2 step 1 (ram_g ir_l): ram_g may not come on before phase 1",
		"5 step 2 (a_g b_l): bus data: ram_g goes off before a_g comes on",
		"6 step 3 (a_g bell): one strobe after the other",
		"9 end: a_g goes off",
	}}} {
		_, p, list := place(t, "machine m\n"+bench+"instruction op = 0000_0000 {\n"+c.body+"\n}\n")
		if list.Errors() > 0 {
			t.Fatal(list)
		}
		path := p.Owners[1].Paths[0]
		var got []string
		sum := 0
		for _, l := range path.Chain() {
			got = append(got, fmt.Sprintf("%d %s: %s", l.Phase, l.To, l.Rule))
			if sum += l.Phases; sum != l.Phase {
				t.Errorf("links up to %q add up to %d phases, it falls on %d", l.To, sum, l.Phase)
			}
		}
		if diff := cmp.Diff(c.want, got); diff != "" {
			t.Error(diff)
		}
		if sum != path.Last {
			t.Errorf("the chain is %d phases long, the path ends at %d", sum, path.Last)
		}
	}
}

// TestRestart: `steers` is on in the last phase of the path, `cuts` in one of its own.
func TestRestart(t *testing.T) {
	for settings, want := range map[string][3]int{"": {6, 6, 6}, "restart cuts": {6, 7, 7}, "phases 20": {6, 6, 20}} {
		_, p, list := place(t, "machine m\nsequencer { "+settings+" }\n"+bench+"instruction op = 0000_0000 { step a_g b_l }\n")
		if list.Errors() > 0 {
			t.Fatal(list)
		}
		path := p.Owners[1].Paths[0]
		if got := [3]int{path.Last, path.Restart, p.Phases}; got != want {
			t.Errorf("%q: last, restart, ring = %v, want %v", settings, got, want)
		}
	}
}

// TestRowsMerge: one row for each (owner, flags, phase); the sides of a test are
// merged where they are equal (language.md S.1).
func TestRowsMerge(t *testing.T) {
	m, p, list := place(t, "machine m\n"+bench+"instruction op = 0000_0000 {\nstep a_g b_l\nwhen zero { step r_g c_l }\n}\nundefined restart\n")
	if list.Errors() > 0 {
		t.Fatal(list)
	}
	s := schedule.Weave(m, p)
	var got []string
	for _, r := range s.Rows {
		if s.Owners[r.Owner].Name == "undefined" {
			continue
		}
		var names []string
		for _, c := range r.Lines.Columns() {
			names = append(names, s.Columns[c].Name)
		}
		got = append(got, fmt.Sprintf("%s %s %d %s", s.Owners[r.Owner].Name, r.Flags.Text(1), r.Phase, strings.Join(names, " ")))
	}
	want := []string{
		"fetch ? 1 ram_g", "fetch ? 2 ram_g ir_l", "fetch ? 3 ram_g",
		"op ? 4 a_g", "op ? 5 a_g b_l",
		// By hand: a_g trails in 6, where the path without the arm restarts.
		"op 0 6 a_g rst", "op 1 6 a_g",
		"op 1 7 r_g", "op 1 8 c_l r_g", "op 1 9 r_g rst",
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Error(diff)
	}
}
