package rehearse_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"coilwright/encode/machine"
	"coilwright/encode/rehearse"
	"coilwright/encode/store"
)

// wired lights the lines named for each phase, whatever the opcode: a matrix
// wired by a careless hand. "zero?x" is x while flag zero is on.
type wired struct {
	b      built
	phases []string
}

func (w wired) Lines(_, flags uint64, phase int) store.Set {
	out := store.NewSet(len(w.b.Lines))
	if phase > len(w.phases) {
		return out
	}
	for _, name := range strings.Fields(w.phases[phase-1]) {
		if flag, rest, ok := strings.Cut(name, "?"); ok {
			name = rest
			bit := slices.Index(w.b.store.Flags, flag)
			if flags>>bit&1 == 0 {
				continue
			}
		}
		out.Add(slices.IndexFunc(w.b.Lines, func(l machine.Line) bool { return l.Name == name }))
	}
	return out
}

// bench has a line for each rule. Its fetch and instruction only make it a
// machine: the tests light the lines themselves.
const bench = `machine bench "one of each"
sequencer { phases 12CUTS }
bus data 8
bus addr 4
bus wide 8
bus many 8 or
register pc 4 buffered
register ir 8 opcode
register acc 8
register tmp 8
register two 8 buffered
register sw 8 input
flag zero
flag key input
memory ram 10 x 8 program
memory note 16 x 4
unit inc 8 = data + 1
line acc_g : acc -> data
line tmp_g : tmp -> data
line sw_g : sw -> data
line low_g : acc[3:0] -> data[3:0]
line acc_m : acc -> many
line tmp_m : tmp -> many
line data_wide : data -> wide
line wide_addr : wide[3:0] -> addr
line addr_wide : addr -> wide[7:4]
line pc_g : pc -> addr
line ram_g : ram[addr] -> data
line loop_g : inc -> data
line half_g : data[3:0] + 1 -> data[7:4]
line addr_data : addr -> data
line acc_l : data -> acc
line acc_w : wide -> acc
line acc_o : data -> acc set
line acc_s : acc | data -> acc set
line hi_l : data[7:4] -> tmp[3:0]
line tmp_l : data -> tmp
line tmp_m_l : many -> tmp
line two_x : two + 1 -> two
line acc_x : acc + 1 -> acc
line sw_l : sw -> tmp
line ram_l : data -> ram[addr]
line ram_c : 3 -> ram[addr]
line bit_l : data[1:0] -> note[acc[3:0]][2:1]
line bit_o : data[3:0] -> note[acc[3:0]] set
line ir_l : data -> ir
line pc_i : pc + 1 -> pc
line zero_l : zero(data) -> zero
line bell
line rst : restart
line hlt : halt
fetch { step pc_g ram_g ir_l
    step pc_i }
instruction none = ???? ???? {
    step tmp_l none
    when zero { step bell }
    when key { step bell }
}
`

func TestRules(t *testing.T) {
	for _, c := range []struct {
		name   string
		cuts   bool
		phases []string
		from   string // name=value name=value (hexadecimal)
		inputs map[string][]uint64
		stop   rehearse.Stop
		want   []string
		memory map[string]map[uint64]uint64
	}{
		{name: "a bus that nothing drives reads 0",
			phases: []string{"acc_l rst"}, from: "acc=FF",
			want: []string{"1 fetch | acc_l rst | | acc=0 << [undriven: acc_l takes in bus data, which nothing drives and which reads 0]"}},
		{name: "some bits that nothing drives",
			phases: []string{"low_g tmp_l rst"}, from: "acc=FF",
			want: []string{"1 fetch | low_g tmp_l rst | data F | tmp=F << [undriven: tmp_l takes in bits 7:4 of bus data, which nothing drives and which reads 0]"}},
		{name: "an undriven bus behind a gate",
			phases: []string{"ram_g tmp_l rst"},
			want:   []string{"1 fetch | ram_g tmp_l rst | data 5 | tmp=5 << [undriven: what tmp_l takes in depends on bus addr, which nothing drives and which reads 0]"}},
		{name: "an undriven bus behind a gate that nothing takes in",
			phases: []string{"ram_g rst"},
			want:   []string{"1 fetch | ram_g rst | data 5 | <<"}},
		{name: "two sources: the OR",
			phases: []string{"acc_g tmp_g rst"}, from: "acc=A0 tmp=0C",
			want: []string{"1 fetch | acc_g tmp_g rst | data AC | << [conflict: acc_g and tmp_g are both on bus data, which carries the OR of the two]"}},
		{name: "two sources that are wanted",
			phases: []string{"acc_m tmp_m rst"}, from: "acc=A0 tmp=0C",
			want: []string{"1 fetch | acc_m tmp_m rst | many AC | <<"}},
		{name: "joined buses are one, bit by bit",
			phases: []string{"pc_g wide_addr acc_w rst"}, from: "pc=9",
			want: []string{"1 fetch | wide_addr pc_g acc_w rst | addr 9 wide 9 | acc=9 << [undriven: acc_w takes in bits 7:4 of bus wide, which nothing drives and which reads 0]"}},
		{name: "joined on to a third",
			phases: []string{"pc_g wide_addr addr_wide data_wide tmp_l rst"}, from: "pc=9",
			want: []string{"1 fetch | data_wide wide_addr addr_wide pc_g tmp_l rst | data 99 addr 9 wide 99 | tmp=99 <<"}},
		{name: "sources that meet over a join",
			phases: []string{"pc_g wide_addr data_wide tmp_g rst"}, from: "pc=1 tmp=82",
			want: []string{"1 fetch | tmp_g data_wide wide_addr pc_g rst | data 83 addr 3 wide 83 | << [conflict: tmp_g and pc_g are both on bus addr, which carries the OR of the two]"}},
		{name: "a narrow bus joined to a wide one fills with zeros",
			phases: []string{"pc_g addr_data tmp_l rst"}, from: "pc=9",
			want: []string{"1 fetch | pc_g addr_data tmp_l rst | data 9 addr 9 | tmp=9 <<"}},
		{name: "a race takes the value from before",
			phases: []string{"acc_x rst"}, from: "acc=7",
			want: []string{"1 fetch | acc_x rst | | acc=8 << [race: acc_x reads acc while it latches it]"}},
		{name: "a race with a gate",
			phases: []string{"acc_g tmp_l acc_l rst"}, from: "acc=7",
			want: []string{"1 fetch | acc_g acc_l tmp_l rst | data 7 | acc=7 tmp=7 << [race: acc_l latches acc while acc_g reads it]"}},
		{name: "two ranks do not race",
			phases: []string{"two_x rst"}, from: "two=FF",
			want: []string{"1 fetch | two_x rst | | two=0 <<"}},
		{name: "a memory that is read and written",
			phases: []string{"pc_g ram_g ram_l rst"}, from: "pc=1",
			want: []string{"1 fetch | pc_g ram_g ram_l rst | data 6 addr 1 | ram[1]=6 << [race: ram_l latches ram while ram_g reads it]"}},
		{name: "set adds ones",
			phases: []string{"tmp_g acc_o", "tmp_g acc_s rst"}, from: "acc=A0 tmp=0C",
			want: []string{
				"1 fetch | tmp_g acc_o | data C | acc&C=C",
				"2 fetch | tmp_g acc_s rst | data C | acc&AC=AC <<"}},
		{name: "a slice leaves the other bits",
			phases: []string{"acc_g hi_l rst"}, from: "acc=5A tmp=FF",
			want: []string{"1 fetch | acc_g hi_l rst | data 5A | tmp&F=5 <<"}},
		{name: "slices and ones of a memory word",
			phases: []string{"acc_g bit_l", "acc_g bit_o rst"}, from: "acc=3",
			want: []string{
				"1 fetch | acc_g bit_l | data 3 | note[3]&6=6",
				"2 fetch | acc_g bit_o rst | data 3 | note[3]&3=3 <<"},
			memory: map[string]map[uint64]uint64{"note": {3: 7}}},
		{name: "two latches of one register: the OR",
			phases: []string{"tmp_g acc_l acc_w data_wide acc_o rst"}, from: "acc=A0 tmp=0C",
			want: []string{"1 fetch | tmp_g data_wide acc_l acc_w acc_o rst | data C wide C | acc=C acc=C acc&C=C <<" +
				" [conflict: acc_l and acc_w both set acc, which takes the OR of the two]" +
				" [conflict: acc_l and acc_o both set acc, which takes the OR of the two]" +
				" [conflict: acc_w and acc_o both set acc, which takes the OR of the two]"}},
		{name: "two latches of one memory word: the OR",
			phases: []string{"pc_g tmp_g ram_l ram_c rst"}, from: "tmp=0C pc=2",
			want: []string{"1 fetch | tmp_g pc_g ram_l ram_c rst | data C addr 2 | ram[2]=F ram[2]=F <<" +
				" [conflict: ram_l and ram_c both set ram[2], which takes the OR of the two]"},
			memory: map[string]map[uint64]uint64{"ram": {2: 0xF}}},
		{name: "an index past the end wraps",
			phases: []string{"pc_g ram_g tmp_l", "pc_g tmp_g ram_l rst"}, from: "pc=B",
			want: []string{
				"1 fetch | pc_g ram_g tmp_l | data 6 addr B | tmp=6 [wrap: ram_g reads ram[11], which has words 0 to 9: it is word 1]",
				"2 fetch | tmp_g pc_g ram_l rst | data 6 addr B | ram[1]=6 << [wrap: ram_l writes ram[11], which has words 0 to 9: it is word 1]"}},
		{name: "an index past the end that nothing takes in",
			phases: []string{"pc_g ram_g rst"}, from: "pc=B",
			want: []string{"1 fetch | pc_g ram_g rst | data 6 addr B | <<"}},
		{name: "a bus that feeds itself",
			phases: []string{"loop_g rst"},
			want:   []string{"1 fetch | loop_g rst | data 1E | << [loop: bus data does not come to rest: a gate feeds itself]"}},
		{name: "half a bus that feeds the other half",
			phases: []string{"low_g half_g tmp_l rst"}, from: "acc=06",
			want: []string{"1 fetch | low_g half_g tmp_l rst | data 76 | tmp=76 <<"}},
		{name: "the next instruction begins at phase 1",
			phases: []string{"two_x", "rst"}, stop: rehearse.Stop{Instructions: 2},
			want: []string{"1 fetch | two_x | | two=1", "2 fetch | rst | | <<", "1 fetch | two_x | | two=2", "2 fetch | rst | | <<"}},
		{name: "without restart the ring comes round",
			stop: rehearse.Stop{Phases: 13}, phases: []string{"two_x"},
			want: slices.Concat([]string{"1 fetch | two_x | | two=1"}, idle(2, 11), []string{"12 fetch | | | <<", "1 fetch | two_x | | two=2"})},
		{name: "restart that cuts is no phase", cuts: true,
			phases: []string{"two_x", "two_x", "rst two_x"}, stop: rehearse.Stop{Instructions: 2},
			want: []string{"1 fetch | two_x | | two=1", "2 fetch | two_x | | two=2 <<", "1 fetch | two_x | | two=3", "2 fetch | two_x | | two=4 <<"}},
		{name: "restart that cuts in phase 1 still takes its time", cuts: true,
			phases: []string{"two_x rst"}, stop: rehearse.Stop{Phases: 2},
			want: []string{"1 fetch | two_x rst | | two=1 <<", "1 fetch | two_x rst | | two=2 <<"}},
		{name: "nothing is taken in when the machine halts",
			phases: []string{"two_x", "two_x hlt"}, from: "two=5",
			want: []string{"1 fetch | two_x | | two=6",
				"2 fetch | two_x hlt | | halt [halt: two_x is on in the phase in which the machine halts: what it takes in is not shown]"}},
		{name: "an input takes its next value once an instruction",
			phases: []string{"bell", "sw_g", "sw_l rst"}, from: "sw=9", inputs: map[string][]uint64{"sw": {0x105, 6}}, stop: rehearse.Stop{Instructions: 3},
			want: []string{
				"1 fetch | bell", "2 fetch | sw_g | data 5 | [input: sw is set to 5, value 1 of 2]", "3 fetch | sw_l rst | | tmp=5 <<",
				"1 fetch | bell", "2 fetch | sw_g | data 6 | [input: sw is set to 6, value 2 of 2]", "3 fetch | sw_l rst | | tmp=6 <<",
				"1 fetch | bell", "2 fetch | sw_g | data 6", "3 fetch | sw_l rst | | tmp=6 <<"}},
		{name: "an input flag takes its next value where the lines depend on it",
			phases: []string{"two_x", "key?two_x rst"}, inputs: map[string][]uint64{"key": {1, 0}}, stop: rehearse.Stop{Instructions: 3},
			want: []string{
				"1 fetch | two_x | | two=1", "2 fetch | two_x rst | | two=2 << [input: key is set to 1, value 1 of 2]",
				"1 fetch | two_x | | two=3", "2 fetch | rst | | << [input: key is set to 0, value 2 of 2]",
				"1 fetch | two_x | | two=4", "2 fetch | rst | | <<"}},
		{name: "restart that an input flag brings forward", cuts: true,
			phases: []string{"two_x", "key?rst", "two_x", "rst"}, inputs: map[string][]uint64{"key": {1, 0}}, stop: rehearse.Stop{Instructions: 2},
			want: []string{
				"1 fetch | two_x | | two=1 << [input: key is set to 1, value 1 of 2]",
				"1 fetch | two_x | | two=2", "2 fetch | | | [input: key is set to 0, value 2 of 2]", "3 fetch | two_x | | two=3 <<"}},
		{name: "the lines follow a flag from the next phase on",
			phases: []string{"zero_l zero?bell", "zero?two_x rst"},
			want:   []string{"1 fetch | zero_l | | zero=1 [undriven: zero_l takes in bus data, which nothing drives and which reads 0]", "2 fetch | two_x rst | | two=1 <<"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			cuts := ""
			if c.cuts {
				cuts = ", restart cuts"
			}
			b := text(t, strings.Replace(bench, "CUTS", cuts, 1))
			setup := rehearse.Setup{Values: values(t, b, c.from), Inputs: map[int][]uint64{},
				Memories: map[int]map[uint64]uint64{b.signal(t, "ram"): words(5, 6)}}
			for name, list := range c.inputs {
				setup.Inputs[b.signal(t, name)] = list
			}
			if c.stop == (rehearse.Stop{}) {
				c.stop.Instructions = 1
			}
			r := rehearse.New(b.Machine, b.store, wired{b, c.phases}, setup)
			got, f := rows(b, r, c.stop)
			if diff := cmp.Diff(c.want, got); diff != "" {
				t.Errorf("(-want +got):\n%s", diff)
			}
			for name, want := range c.memory {
				if diff := cmp.Diff(want, f.Memories[b.signal(t, name)]); diff != "" {
					t.Errorf("%s (-want +got):\n%s", name, diff)
				}
			}
			fast := rehearse.New(b.Machine, b.store, wired{b, c.phases}, setup).Fast(c.stop)
			if diff := cmp.Diff(f, fast); diff != "" {
				t.Errorf("(-run +fast):\n%s", diff)
			}
		})
	}
}

// A step that says none takes in an undriven bus on purpose.
func TestNoneIsNoNote(t *testing.T) {
	b := text(t, strings.Replace(bench, "CUTS", "", 1))
	undriven := 0
	r := rehearse.New(b.Machine, b.store, rehearse.FromStore(b.store), rehearse.Setup{Values: map[int]uint64{b.signal(t, "tmp"): 7}})
	f := r.Run(rehearse.Stop{Instructions: 1}, func(v *rehearse.View) {
		if v.Lines.Has(slices.IndexFunc(b.Lines, func(l machine.Line) bool { return l.Name == "tmp_l" })) {
			undriven++
		}
		if len(v.Notes) > 0 {
			t.Errorf("phase %d: %v", v.Phase, v.Notes)
		}
	})
	if undriven != 1 || f.Values[b.signal(t, "tmp")] != 0 {
		t.Errorf("tmp was latched %d times and is %d, want once and 0", undriven, f.Values[b.signal(t, "tmp")])
	}
}

func idle(from, to int) (out []string) {
	for p := from; p <= to; p++ {
		out = append(out, fmt.Sprintf("%d fetch", p))
	}
	return out
}

// values reads "name=value name=value", in hexadecimal.
func values(t *testing.T, b built, list string) map[int]uint64 {
	t.Helper()
	out := map[int]uint64{}
	for _, f := range strings.Fields(list) {
		name, digits, _ := strings.Cut(f, "=")
		out[b.signal(t, name)] = hex(t, digits)
	}
	return out
}
