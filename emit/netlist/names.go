package netlist

import "fmt"

// names gives each thing a name that no other has and that Verilog does not
// keep for itself. Not every tool reads escaped names, so that one that is
// taken gets an underscore behind it.
type names struct{ taken map[string]bool }

func newNames() *names {
	n := &names{taken: map[string]bool{}}
	for _, w := range keywords {
		n.taken[w] = true
	}
	return n
}

func (n *names) give(want string) string {
	for n.taken[want] {
		want += "_"
	}
	n.taken[want] = true
	return want
}

// ports names the inputs and outputs of a function: the opcode from its top
// bit down, the flags, the phase wires, the lines. Lines and flags choose first.
type ports struct {
	opcode []string // by bit
	flags  []string
	phases []string // by phase - 1
	lines  []string
}

func newPorts(n *names, opcodeBits int, flags []string, phases int, lines []string) ports {
	var p ports
	for _, l := range lines {
		p.lines = append(p.lines, n.give(l))
	}
	for _, f := range flags {
		p.flags = append(p.flags, n.give(f))
	}
	for i := range opcodeBits {
		p.opcode = append(p.opcode, n.give(fmt.Sprintf("opcode_%d", i)))
	}
	for i := range phases {
		p.phases = append(p.phases, n.give(fmt.Sprintf("phase_%d", i+1)))
	}
	return p
}

// condition names the inputs that a pattern is over, in the order of a file.
func (p ports) condition() []string {
	var out []string
	for i := len(p.opcode) - 1; i >= 0; i-- {
		out = append(out, p.opcode[i])
	}
	return append(out, p.flags...)
}

// keywords are those of IEEE 1364-2005, annex B, and those of IEEE 1800 that
// tools may take for keywords in any file.
var keywords = []string{
	"always", "and", "assign", "automatic", "begin", "buf", "bufif0", "bufif1", "case", "casex", "casez",
	"cell", "cmos", "config", "deassign", "default", "defparam", "design", "disable", "edge", "else", "end",
	"endcase", "endconfig", "endfunction", "endgenerate", "endmodule", "endprimitive", "endspecify",
	"endtable", "endtask", "event", "for", "force", "forever", "fork", "function", "generate", "genvar",
	"highz0", "highz1", "if", "ifnone", "incdir", "include", "initial", "inout", "input", "instance",
	"integer", "join", "large", "liblist", "library", "localparam", "macromodule", "medium", "module",
	"nand", "negedge", "nmos", "nor", "noshowcancelled", "not", "notif0", "notif1", "or", "output",
	"parameter", "pmos", "posedge", "primitive", "pull0", "pull1", "pulldown", "pullup",
	"pulsestyle_ondetect", "pulsestyle_onevent", "rcmos", "real", "realtime", "reg", "release", "repeat",
	"rnmos", "rpmos", "rtran", "rtranif0", "rtranif1", "scalared", "showcancelled", "signed", "small",
	"specify", "specparam", "strong0", "strong1", "supply0", "supply1", "table", "task", "time", "tran",
	"tranif0", "tranif1", "tri", "tri0", "tri1", "triand", "trior", "trireg", "unsigned", "use", "uwire",
	"vectored", "wait", "wand", "weak0", "weak1", "while", "wire", "wor", "xnor", "xor",
	"alias", "always_comb", "always_ff", "always_latch", "assert", "assume", "before", "bind", "bins",
	"binsof", "bit", "break", "byte", "chandle", "checker", "class", "clocking", "const", "constraint",
	"context", "continue", "cover", "covergroup", "coverpoint", "cross", "dist", "do", "endchecker",
	"endclass", "endclocking", "endgroup", "endinterface", "endpackage", "endprogram", "endproperty",
	"endsequence", "enum", "eventually", "expect", "export", "extends", "extern", "final", "first_match",
	"foreach", "forkjoin", "global", "iff", "ignore_bins", "illegal_bins", "implements", "implies",
	"import", "inside", "int", "interconnect", "interface", "intersect", "join_any", "join_none", "let",
	"local", "logic", "longint", "matches", "modport", "nettype", "new", "nexttime", "null", "package",
	"packed", "priority", "program", "property", "protected", "pure", "rand", "randc", "randcase",
	"randsequence", "ref", "reject_on", "restrict", "return", "s_always", "s_eventually", "s_nexttime",
	"s_until", "s_until_with", "sequence", "shortint", "shortreal", "soft", "solve", "static", "string",
	"strong", "struct", "super", "sync_accept_on", "sync_reject_on", "tagged", "this", "throughout",
	"timeprecision", "timeunit", "type", "typedef", "union", "unique", "unique0", "until", "until_with",
	"untyped", "var", "virtual", "void", "wait_order", "weak", "wildcard", "with", "within", "accept_on",
}
