package machine_test

import (
	"strings"
	"testing"

	"coilwright/encode/machine"
	"coilwright/lang/definition"
	"coilwright/lang/diag"

	"github.com/google/go-cmp/cmp"
)

func resolve(t *testing.T, text string) (*machine.Machine, diag.List) {
	t.Helper()
	src, list := definition.Load("case.coil", func(string) ([]byte, error) { return []byte(text), nil })
	m, more := machine.Resolve(src)
	return m, append(list, more...).Settle(src.Paths())
}

func names(list diag.List) string {
	var out []string
	for _, d := range list {
		if d.Severity == diag.Error {
			out = append(out, d.Name)
		}
	}
	return strings.Join(out, " ")
}

const small = `
machine m
bus data 8
register ir 8 opcode
register acc 8
register tmp 8
register wide 12
flag zero
flag carry
memory ram 16 x 8 program
line ram_g : ram[acc] -> data
line ir_l : data -> ir
line acc_g : acc -> data
line acc_l : data -> acc
line tmp_g : tmp -> data
line tmp_l : data -> tmp
line rst : restart
fetch { step ram_g ir_l }
`

// TestLines: the kind of a line follows from what it does (language.md L.1).
func TestLines(t *testing.T) {
	for _, c := range []struct{ line, want string }{
		{"line x : acc -> data", "gate"},
		{"line x : acc + tmp + carry -> data", "gate"},
		{"line x : data -> tmp, zero(data) -> zero", "latch"},
		{"line x : data[3:0] -> wide[11:8]", "latch"},
		{"line x : 0xFF -> data", "gate"},
		{"line x pulse 3", "output"},
		{"line x : halt", "halt"},
		{"line x : join(acc, tmp[3:0]) -> wide", "latch"},
		{"line x : acc -> wide", "latch"},          // W.1: zeros on top
		{"line x : wide -> acc", "width-too-wide"}, // W.1
		{"line x : 256 -> acc", "constant-range"},  // W.2
		{"line x : acc + 256 -> wide", "constant-range"},
		{"line x : 255 + 1 -> wide", "latch"},
		{"line x : ~1 -> acc", "width-unknown"}, // W.2
		{"line x : acc + tmp & acc -> tmp", "operators-mixed"},
		{"line x : (acc + tmp) & acc -> tmp", "latch"},
		{"line x : carry(acc & tmp) -> carry", "carry-of-what"}, // W.3
		{"line x : carry(acc + tmp + carry) -> zero", "latch"},
		{"line x : carry(acc - tmp) -> zero", "latch"},
		{"line x : rol(acc)[7:4] -> tmp", "latch"},
		{"line x : acc[8] -> zero", "slice-range"},
		{"line x : acc[0:3] -> tmp", "slice-range"},
		{"line x : ram -> tmp", "memory-index"},
		{"line x : ram[acc][3:0] -> tmp", "latch"},
		{"line x : ram[16] -> tmp", "memory-index"},
		{"line x : acc -> data, data -> tmp", "line-two-kinds"},
		{"line x : acc -> tmp, acc[7:4] -> tmp[3:0]", "two-transfers"},
		{"line x : acc -> ram_g", "not-a-target"},
		{"line x : acc_g -> tmp", "line-as-value"},
		{"line x lead 1", "output"},
		{"line x : data -> tmp lead 1", "attribute-kind"},
	} {
		m, list := resolve(t, small+c.line+"\n")
		got := names(list)
		if got == "" {
			got = string(m.Lines[len(m.Lines)-1].Kind)
		}
		if got != c.want {
			t.Errorf("%s\n got %s, want %s", c.line, got, c.want)
		}
	}
}

// TestVariants: one variant for each combination of values, first operand
// slowest, those of `except` left out (language.md E.3, S.1).
func TestVariants(t *testing.T) {
	m, list := resolve(t, small+`
field from 2 { acc = 00 : acc_g, tmp = 01 : tmp_g, both = 11 : acc_g }
field to 1 { acc = 0 : acc_l, tmp = 1 : tmp_l }
instruction move d:to, s:from = 01 d s 0?? {
    except d = s
    except s = both
    step s d
}
instruction wait4 n:4 = 11?? n
`)
	if names(list) != "" {
		t.Fatal(list)
	}
	var got []string
	for _, ins := range m.Instructions {
		for _, v := range ins.Variants {
			var lines []string
			for _, n := range v.Body {
				for _, l := range n.Lines {
					lines = append(lines, m.Lines[l].Name)
				}
			}
			got = append(got, v.Name+": "+v.Opcode.Text(8)+" "+strings.Join(lines, " "))
		}
	}
	want := []string{
		"move d=acc s=tmp: 010010?? tmp_g acc_l",
		"move d=tmp s=acc: 011000?? acc_g tmp_l",
		"wait4: 11?????? ",
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Error(diff)
	}
}

// TestUses: what a line reads, with the settling times on the way (language.md P.2, W.4).
func TestUses(t *testing.T) {
	m, list := resolve(t, small+`
unit inc 8 settle 2 = data + 1
unit alu 8 settle 3 by sub { 0 = acc + inc, 1 = acc[3:0] - tmp }
line sub
line x : alu ^ ram[tmp] -> wide
`)
	if names(list) != "" {
		t.Fatal(list)
	}
	uses, picks := m.Uses()
	var got []string
	for _, u := range uses[len(m.Lines)-1] {
		got = append(got, m.Signals[u.Signal].Name+" "+strings.ToUpper(hex(u.Mask))+" "+string(rune('0'+u.Settle)))
	}
	// tmp is read through the alu (3) and as the index (0): one mask, the longest time.
	want := []string{"acc FF 3", "data FF 5", "acc F 3", "tmp FF 3", "ram FF 0"}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Error(diff)
	}
	if p := picks[len(m.Lines)-1]; len(p) != 1 || m.Lines[p[0].Line].Name != "sub" || p[0].Settle != 3 {
		t.Errorf("picks %v, want sub with 3", p)
	}
}

func hex(v uint64) string {
	const digits = "0123456789abcdef"
	out := ""
	for ; v > 0; v >>= 4 {
		out = string(digits[v&15]) + out
	}
	return out
}

// TestLayout: bit i is the i-th line declared unless `data` says otherwise (language.md S.3).
func TestLayout(t *testing.T) {
	order := func(m *machine.Machine) string {
		var out []string
		for _, b := range m.Word.Bits {
			if b < 0 {
				out = append(out, "-")
				continue
			}
			out = append(out, m.Lines[b].Name)
		}
		return strings.Join(out, " ")
	}
	for _, c := range []struct{ settings, want string }{
		{"", "ram_g ir_l acc_g acc_l tmp_g tmp_l rst"},
		{"omit rst", "ram_g ir_l acc_g acc_l tmp_g tmp_l"},
		{"data high ram_g ir_l spare acc_g acc_l, omit tmp_g tmp_l rst", "acc_l acc_g - ir_l ram_g"},
		{"data ram_g ir_l spare acc_g acc_l tmp_g tmp_l rst", "ram_g ir_l - acc_g acc_l tmp_g tmp_l rst"},
		{"data ram_g ir_l", "store-incomplete"},
		{"data ram_g ir_l acc_g acc_l tmp_g tmp_l rst rst", "store-repeated"},
		{"address opcode", "store-address"},
		{"address opcode phase zero", "ram_g ir_l acc_g acc_l tmp_g tmp_l rst"},
	} {
		m, list := resolve(t, small+"store { "+c.settings+" }\n")
		got := names(list)
		if got == "" {
			got = order(m)
		}
		if got != c.want {
			t.Errorf("store { %s }: %s, want %s", c.settings, got, c.want)
		}
	}
}

// TestOverlap: two variants that match one opcode are one error, however many share the cause.
func TestOverlap(t *testing.T) {
	_, list := resolve(t, small+`
instruction a = 0000_00??
instruction b = 0000_0?00
instruction c = 0000_0100
instruction d = 1111_????
instruction e = 11??_0000
`)
	if got := names(list); got != "opcode-overlap opcode-overlap" {
		t.Errorf("got %s, want two clusters", got)
	}
}
