package assemble_test

import (
	"fmt"
	"regexp"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"coilwright/encode/assemble"
	"coilwright/encode/machine"
)

// toy is a machine whose opcode register, program memory and instructions are given.
func toy(opcode, slice string, memory string, instructions string) string {
	return `machine toy
bus data 64
bus addr 16
register pc 16
register nxt 16
register ir ` + opcode + ` opcode ` + slice + `
memory ram ` + memory + ` program
memory tape 16 x 16
memory elt 16 x 16 little
unit inc 16 = addr + 1
line ram_g : ram[addr] -> data
line ir_l : data[` + slice + `] -> ir[` + slice + `]
line pc_g : pc -> addr
line pc_l : addr -> pc
line nxt_g : nxt -> addr
line nxt_l : inc -> nxt
line rst : restart
field two 2 { aa = 00, bb = 01, cc = 11 }
field one 1 { dd = 0, ee = 1 }
fetch {
    step pc_g ram_g ir_l nxt_l
    step nxt_g pc_l
}
` + instructions
}

const some = `instruction go = 0000_0001
instruction go x:8 = 0001_0000, x
instruction go a:two = 0010_00 a
instruction go a:two, x:8 = 0011_00 a, x
instruction back x:8 relative = 0100_0000, x
instruction near x:4 relative = 0101 x
instruction low x:8 signed = 0110_0000, x
instruction wide x:16 = 0111_0000, x[7:0], x[15:8]
`

var machines = map[string]string{
	"bytes": toy("8", "7:0", "256 x 8", some),
	// The first word is 16 bits, in two memory words.
	"big":    toy("16", "15:0", "256 x 8", "instruction go x:4 = 0001_0010_0011 x\ninstruction to x:8 = 1111_1111_0000_0000, x\n"),
	"little": toy("16", "15:0", "256 x 8 little", "instruction go x:4 = 0001_0010_0011 x\ninstruction to x:8 = 1111_1111_0000_0000, x\n"),
	// 11 bits in words of 4: 3 words, the top bit of the first one free.
	"nibbles": toy("11", "10:0", "256 x 4", "instruction go x:4 = 101_0110 x\n"),
	// 8 bits in a word of 12 or 16: the rest is 0.
	"twelve": toy("8", "7:0", "256 x 12", "instruction go x:12 = 1010_0001, x\n"),
	"loose":  toy("8", "7:0", "256 x 16 little", "instruction go x:16 = 1010_0001, x\n"),
	"one":    toy("8", "7:0", "256 x 1", "instruction go = 1010_0001\n"),
	"long":   toy("64", "31:0", "256 x 64", "instruction go x:32 = x 0000_0000_0000_0000_0000_0000_0000_0001\ninstruction all x:64 = ???? ???? ???? ???? ???? ???? ???? ???? 0000_0000_0000_0000_0000_0000_0000_0010, x\n"),
	// a is decoded in part only: bb and cc differ in a bit that is not, and so
	// are twins of one variant.
	"twins": toy("8", "6:0", "256 x 8", "instruction go a:two, b:one = a 0000_1 b\n"),
}

// words are programs: what stands after `; =` is what the line puts down, as
// address and words in hexadecimal; * before it names another memory.
var words = []struct{ title, machine, program string }{
	{"forms of one mnemonic", "bytes", `
go              ; = 0: 01
go 12           ; = 1: 10 0C
go cc           ; = 3: 23
go bb, 1+1      ; = 4: 31 02
near there      ; = 6: 50
there: back there ; = 7: 40 FE
`},
	{"ranges", "bytes", `
go -128         ; = 0: 10 80
go 255          ; = 2: 10 FF
low -128        ; = 4: 60 80
low 127         ; = 6: 60 7F
wide 0x1234     ; = 8: 70 34 12
wide -32768     ; = B: 70 00 80
wide 65_535     ; = E: 70 FF FF
`},
	{"relative", "bytes", `
top: back top   ; = 0: 40 FE
back 2+2+127    ; = 2: 40 7F
at 128
back 130-128    ; = 80: 40 80
near 0x83 - 8   ; = 82: 58
near 0x84 + 7   ; = 83: 57
`},
	{"values", "bytes", `
byte 'A', 'z'-'a', 7*3-1, 100/7, -100/7, -7/2, (1+2)*3 ; = 0: 41 19 14 0E F2 FD 09
byte x[15:8], x[7:0], x[12], (x*2)[15:8], (-1)[3:0]    ; = 7: 12 34 01 24 0F
byte 0 .. 3, 3 .. 1, -1 .. 1, x / 0x1000 .. 2          ; = C: 00 01 02 03 03 02 01 FF 00 01 01 02
x = 0x1234
`},
	{"constants before and after", "bytes", `
go later        ; = 0: 10 07
later = other + 1
other = 3 * two - two + 2
two = 2
end = here
here: go end    ; = 2: 10 02
`},
	{"labels", "bytes", `
go last         ; = 0: 10 12
a: at 0x10
go a            ; = 10: 10 10
last:
b: space 3
go b            ; = 15: 10 12
c: in tape
d: word c, d    ; *tape = 0: 0000 0000
in ram
go d            ; = 17: 10 00
e: x = 3
go e            ; = 19: 10 19
`},
	{"the place in each memory is remembered", "bytes", `
go              ; = 0: 01
in tape
word 1, -1      ; *tape = 0: 0001 FFFF
in ram
go              ; = 1: 01
in tape
word 2          ; *tape = 2: 0002
in elt
byte 1, 2, 3    ; *elt = 0: 0201 0003
in tape
at 8
byte 1, 2, 3    ; *tape = 8: 0102 0300
byte 4          ; *tape = A: 0400
text "abc"      ; *tape = B: 6162 6300
`},
	{"text", "bytes", `
text "Sack; ü'"  ; = 0: 53 61 63 6B 3B 20 FC 27
text ""
byte ';', '''    ; = 8: 3B 27
`},
	{"a word of the memory", "bytes", `
word 1, 255, -128, 3 .. 5 ; = 0: 01 FF 80 03 04 05
`},
	{"words come together out of order", "bytes", `
at 4
byte 4, 5       ; = 4: 04 05
at 0
byte 0, 1       ; = 0: 00 01
byte 2, 3       ; = 2: 02 03
at 9
byte 9          ; = 9: 09
at 6
byte 6          ; = 6: 06
`},
	{"the most significant first", "big", `
go 5            ; = 0: 12 35
to 7            ; = 2: FF 00 07
`},
	{"the least significant first", "little", `
go 5            ; = 0: 35 12
to 7            ; = 2: 00 FF 07
byte 1, 2       ; = 5: 01 02
`},
	{"words of four bits", "nibbles", `
go 9            ; = 0: 5 6 9
byte 0x12, -1   ; = 3: 1 2 F F
text "A"        ; = 7: 4 1
word 7, -8      ; = 9: 7 8
`},
	{"words of one bit", "one", `
go              ; = 0: 1 0 1 0 0 0 0 1
byte 3          ; = 8: 0 0 0 0 0 0 1 1
word 1, -1, 0   ; = 10: 1 1 0
`},
	{"a byte in twelve bits", "twelve", `
go -2048        ; = 0: 0A1 800
byte 1, 2, 'A'  ; = 2: 001 002 041
word 0xFFF      ; = 5: FFF
`},
	{"two bytes a word, in the order of the memory", "loose", `
go 0x1234       ; = 0: 00A1 1234
byte 1, 2, 3    ; = 2: 0201 0003
text "abcd"     ; = 4: 6261 6463
`},
	{"words of 64 bits", "long", `
go 0xFFFF_FFFF  ; = 0: FFFFFFFF00000001
all -1          ; = 1: 0000000000000002 FFFFFFFFFFFFFFFF
all 0xFFFF_FFFF_FFFF_FFFF ; = 3: 0000000000000002 FFFFFFFFFFFFFFFF
all -0x8000_0000_0000_0000 ; = 5: 0000000000000002 8000000000000000
word 18446744073709551615 ; = 7: FFFFFFFFFFFFFFFF
byte 1, 2, 3, 4, 5, 6, 7, 8, 9 ; = 8: 0102030405060708 0900000000000000
byte big / 0x1000_0000_0000_0000 ; = A: 0F00000000000000
big = 0xFFFF_FFFF_FFFF_FFFF
`},
	{"fields in part", "twins", `
go aa, dd       ; = 0: 02
go cc, ee       ; = 1: C3
go bb, ee       ; = 2: 43
`},
}

var wordMark = regexp.MustCompile(`; (?:\*(\w+) )?= ([0-9A-F]+):((?: [0-9A-F]+)+)$`)

func TestWords(t *testing.T) {
	for _, c := range words {
		t.Run(c.title, func(t *testing.T) {
			m := resolve(t, machines[c.machine])
			src, p, list := run(t, m, map[string]string{"a.prog": c.program})
			if len(list) > 0 {
				t.Fatal(printed(t, src.Text, list))
			}
			segments := map[string]map[uint64]uint64{}
			for _, mem := range p.Memories {
				segments[mem.Name] = map[uint64]uint64{}
				for _, s := range mem.Segments {
					for i, w := range s.Words {
						segments[mem.Name][s.Address+uint64(i)] = w
					}
				}
			}
			want := map[string]map[uint64]uint64{}
			for _, mem := range p.Memories {
				want[mem.Name] = map[uint64]uint64{}
			}
			for i, line := range strings.Split(strings.TrimSuffix(c.program, "\n"), "\n") {
				l := p.Lines[i]
				if l.Text != line || l.At.Line != i+1 {
					t.Errorf("line %d is %q at %s", i+1, l.Text, l.At)
				}
				mark := wordMark.FindStringSubmatch(line)
				if mark == nil {
					if l.Memory >= 0 || len(l.Words) > 0 || l.Instruction >= 0 {
						t.Errorf("%s: puts down %X", line, l.Words)
					}
					continue
				}
				name := mark[1]
				if name == "" {
					name = "ram"
				}
				mem := p.Memories[l.Memory]
				var list []string
				for _, w := range l.Words {
					list = append(list, fmt.Sprintf("%0*X", (mem.Width+3)/4, w))
				}
				got := fmt.Sprintf("%s %X: %s", mem.Name, l.Address, strings.Join(list, " "))
				if wanted := name + " " + mark[2] + ":" + mark[3]; got != wanted {
					t.Errorf("%s\ngot %s", line, got)
				}
				for k, w := range l.Words {
					want[name][l.Address+uint64(k)] = w
				}
			}
			if diff := cmp.Diff(want, segments); diff != "" {
				t.Errorf("lines (-), segments (+):\n%s", diff)
			}
		})
	}
}

func TestVariants(t *testing.T) {
	name := func(m *machine.Machine, l assemble.Line) string {
		if l.Instruction < 0 {
			return ""
		}
		return m.Instructions[l.Instruction].Variants[l.Variant].Name
	}
	for _, c := range []struct{ machine, line, want string }{
		{"bytes", "go", "go"},
		{"bytes", "go 3", "go"},
		{"bytes", "go cc", "go a=cc"},
		{"bytes", "go bb, 3", "go a=bb"},
		{"twins", "go aa, ee", "go a=aa b=ee"},
		{"twins", "go bb, dd", "go a=bb b=dd"},
	} {
		m := resolve(t, machines[c.machine])
		_, p, list := run(t, m, map[string]string{"a.prog": c.line})
		if len(list) > 0 || name(m, p.Lines[0]) != c.want {
			t.Errorf("%s: %s, want %s; %v", c.line, name(m, p.Lines[0]), c.want, list)
		}
	}
	// cc is bb as far as the opcode shows: bits 6 to 0.
	m := resolve(t, machines["twins"])
	_, p, _ := run(t, m, map[string]string{"a.prog": "go cc, dd\ngo bb, dd"})
	if a, b := name(m, p.Lines[0]), name(m, p.Lines[1]); a != b || a != "go a=bb b=dd" {
		t.Errorf("twins are %s and %s", a, b)
	}
}

func TestProgram(t *testing.T) {
	m := resolve(t, machines["bytes"])
	src, p, list := run(t, m, map[string]string{
		"a.prog": "size = 3\nstart: go size\ninclude \"b.prog\"\nexpect nxt = -1\nexpect tape[ size+1 ] = 0x1234\n",
		"b.prog": "in tape\ntable: word 1\n",
	})
	if len(list) > 0 {
		t.Fatal(printed(t, src.Text, list))
	}
	signal := func(name string) int {
		for i, s := range m.Signals {
			if s.Name == name {
				return i
			}
		}
		return -1
	}
	if p.Machine != "toy" || p.Hash != m.Hash || p.Source != src.Hash || p.Name != "a" {
		t.Errorf("%s %s %s %s", p.Machine, p.Hash, p.Source, p.Name)
	}
	for i := range p.Symbols {
		p.Symbols[i].At.File += "!"
	}
	var got []string
	for _, s := range p.Symbols {
		got = append(got, fmt.Sprintf("%s=%d %v %d %s", s.Name, s.Value, s.Label, s.Memory, s.At))
	}
	if diff := cmp.Diff([]string{"size=3 false -1 a.prog!:1:1", "start=0 true 0 a.prog!:2:1", "table=0 true 1 b.prog!:2:1"}, got); diff != "" {
		t.Error(diff)
	}
	want := []assemble.Expect{
		{Text: "nxt", Signal: signal("nxt"), Value: 0xFFFF, At: p.Expects[0].At},
		{Text: "tape[size+1]", Signal: signal("tape"), Index: 4, Value: 0x1234, At: p.Expects[1].At},
	}
	if diff := cmp.Diff(want, p.Expects); diff != "" || p.Expects[1].At.Line != 5 {
		t.Error(diff)
	}
	if diff := cmp.Diff([]assemble.Memory{
		{Signal: signal("ram"), Name: "ram", Width: 8, Words: 256, Bytes: 1, Segments: []assemble.Segment{{Address: 0, Words: []uint64{0x10, 3}}}},
		{Signal: signal("tape"), Name: "tape", Width: 16, Words: 16, Bytes: 2, Segments: []assemble.Segment{{Address: 0, Words: []uint64{1}}}},
	}, p.Memories); diff != "" {
		t.Error(diff)
	}
}

// A mnemonic that has the name of a directive comes first where it takes what
// is written.
func TestMnemonicsNamedLikeDirectives(t *testing.T) {
	m := resolve(t, toy("8", "7:0", "256 x 8", "instruction in x:8 = 0000_0001, x\ninstruction byte a:two = 0000_01 a\ninstruction at = 0000_0010\n"))
	src, p, list := run(t, m, map[string]string{"a.prog": "in 7\nbyte bb\nbyte 7\nat\nat 9\nat\nin tape\nin ram\nin 8\n"})
	if len(list) > 0 {
		t.Fatal(printed(t, src.Text, list))
	}
	want := []assemble.Segment{{Address: 0, Words: []uint64{1, 7, 5, 7, 2}}, {Address: 9, Words: []uint64{2, 1, 8}}}
	if diff := cmp.Diff(want, p.Memories[0].Segments); diff != "" {
		t.Error(diff)
	}
}
