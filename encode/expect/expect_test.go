package expect_test

import (
	"testing"

	"github.com/google/go-cmp/cmp"

	"coilwright/encode/assemble"
	"coilwright/encode/expect"
	"coilwright/encode/machine"
	"coilwright/encode/rehearse"
	"coilwright/lang/diag"
)

func TestCheck(t *testing.T) {
	m := &machine.Machine{Signals: []machine.Signal{
		{Name: "acc", Kind: machine.Register, Width: 12}, {Name: "zero", Kind: machine.Flag, Width: 1}, {Name: "ram", Kind: machine.Memory, Width: 8, Words: 16},
	}}
	setup := rehearse.Setup{Memories: map[int]map[uint64]uint64{2: {1: 7, 2: 8}}}
	final := rehearse.Final{Values: []uint64{0xABC, 1, 0}, Memories: map[int]map[uint64]uint64{2: {2: 9, 3: 200}}}
	at := func(line int) diag.Place { return diag.Place{File: "p", Line: line, Column: 1, Width: 1} }
	is := func(line int, text string, signal int, index, value uint64) assemble.Expect {
		return assemble.Expect{Text: text, Signal: signal, Index: index, Value: value, At: at(line)}
	}
	for _, test := range []struct {
		name    string
		expects []assemble.Expect
		want    diag.List
	}{
		{"nothing", nil, nil},
		{"all met: changed, as set up, never touched", []assemble.Expect{is(1, "acc", 0, 0, 0xABC), is(2, "zero", 1, 0, 1), is(3, "ram[1]", 2, 1, 7),
			is(4, "ram[2]", 2, 2, 9), is(5, "ram[3]", 2, 3, 200), is(6, "ram[4]", 2, 4, 0)}, nil},
		{"a register", []assemble.Expect{is(1, "zero", 1, 0, 1), is(2, "acc", 0, 0, 5)},
			diag.List{{Name: "program-expectation", At: at(2), Text: "acc is 2748 (0xABC), not 5"}}},
		{"a flag", []assemble.Expect{is(1, "zero", 1, 0, 0)},
			diag.List{{Name: "program-expectation", At: at(1), Text: "zero is 1, not 0"}}},
		{"the word as it was before", []assemble.Expect{is(1, "ram[2]", 2, 2, 8)},
			diag.List{{Name: "program-expectation", At: at(1), Text: "ram[2] is 9, not 8"}}},
		{"the first of several", []assemble.Expect{is(1, "acc", 0, 0, 0xABC), is(2, "ram[1]", 2, 1, 70), is(3, "zero", 1, 0, 0)},
			diag.List{{Name: "program-expectation", At: at(2), Text: "ram[1] is 7, not 70 (0x46)", Notes: []diag.Note{{Text: "2 of 3 expectations are not met"}}}}},
	} {
		if d := cmp.Diff(test.want, expect.Check(m, test.expects, setup, final)); d != "" {
			t.Errorf("%s:\n%s", test.name, d)
		}
	}
}
