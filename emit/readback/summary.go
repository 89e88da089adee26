package readback

import (
	"fmt"
	"io"
	"math/big"
	"regexp"
	"strconv"
	"strings"

	"coilwright/encode/machine"
	"coilwright/encode/network"
	bare "coilwright/encode/network/wiring"
	"coilwright/encode/store"
)

// claim is an entry of a summary: its name, and what stands behind it.
type claim struct {
	line int
	name string
	text string
}

// claimText takes an entry apart: what it says in figures is compared, each
// figure by its name here.
var claimText = map[string]*regexp.Regexp{
	"opcode":       regexp.MustCompile(`^(?P<bits>\d+) bits?; (?P<defined>\d+) of (?P<opcodes>\d+) defined(?:, the others (?P<others>restart|idle|halt|are free))?$`),
	"instructions": regexp.MustCompile(`^(?P<instructions>\d+) in (?P<variants>\d+) variants?$`),
	"flags tested": regexp.MustCompile(`^(?P<flags>.+)$`),
	"phases":       regexp.MustCompile(`^(?P<phases>\d+) in the ring, (?P<period>\S+ \S+) each$`),
	"longest path": regexp.MustCompile(`^(?P<longest>\d+) phases? in (?P<time>\S+ \S+): (?P<whose>.+)$`),
	"lines":        regexp.MustCompile(`^(?P<lines>\d+): (?P<kinds>.+); (?P<low>\d+) active low$`),
	"word":         regexp.MustCompile(`^(?P<bits>\d+) bits? in (?P<bytes>\d+) bytes?$`),
	"image":        regexp.MustCompile(`^(?P<address>\d+) address bits?: (?P<words>\d+) words?, (?P<bytes>\d+) bytes?$`),
	"chips":        regexp.MustCompile(`^(?P<chips>\d+) of (?P<bits>\d+) bits?$`),
	"relays":       regexp.MustCompile(`^(?P<relays>\d+) with (?P<poles>\d+) poles? in use and (?P<coils>\d+) diodes? at their coils; cost (?P<cost>[\d.]+), no network (?P<where>in any style|in style plain or shared) less than (?P<bound>[\d.]+)$`),
	"matrix":       regexp.MustCompile(`^(?P<style>\S+) style: (?P<rows>\d+) rows?, (?P<pulses>\d+) pulse wires?, (?P<diodes>\d+) diodes?, (?P<cards>\d+) cards?$`),
}

// Summary reads a summary and counts again what it says: opcodes as those that
// no row of "undefined" claims, the longest path as the last phase of any row,
// diodes by their rows, poles by the wires that end on them. n may be nil: then nothing may be said of
// a matrix.
// An error is a *LineError, or names what is missing.
func Summary(r io.Reader, m *machine.Machine, s *store.Store, n *network.Network) error {
	text, err := opened(r, s)
	if err != nil {
		return err
	}
	claims, err := claimed(text)
	if err != nil {
		return err
	}
	facts := recounted(m, s, n)
	for _, c := range claims {
		want := facts[c.name]
		if want == nil {
			return refuse(c.line, "nothing is to be said of %q here, or it is said twice", c.name)
		}
		delete(facts, c.name)
		pattern := claimText[c.name]
		found := pattern.FindStringSubmatch(c.text)
		if found == nil {
			return refuse(c.line, "%q says nothing of %s", c.text, c.name)
		}
		for i, figure := range pattern.SubexpNames() {
			if figure == "" || figure == "whose" {
				continue
			}
			if found[i] != want[figure] {
				return refuse(c.line, "%s: %s is said to be %q, and is %q", c.name, figure, found[i], want[figure])
			}
		}
		if c.name == "longest path" {
			if err := holder(s, found[pattern.SubexpIndex("whose")], want["longest"]); err != nil {
				return refuse(c.line, "%v", err)
			}
		}
	}
	for name := range claimText {
		if facts[name] != nil {
			return fmt.Errorf("nothing is said of %s", name)
		}
	}
	return nil
}

// claimed finds the entries below the heading; one may go on below its name.
func claimed(text []string) ([]claim, error) {
	const column = 14
	var out []claim
	for i, line := range text[1:] {
		name, rest := line, ""
		if len(line) > column {
			name, rest = strings.TrimRight(line[:column], " "), line[column:]
		}
		switch {
		case line == "" && len(out) == 0:
		case name != "" && claimText[name] != nil:
			out = append(out, claim{i + 2, name, rest})
		case name == "" && len(out) > 0 && rest != "" && rest[0] != ' ':
			out[len(out)-1].text += " " + rest
		default:
			return nil, refuse(i+2, "%q is no entry of a summary", line)
		}
	}
	return out, nil
}

// recounted works out every figure of a summary, by entry.
func recounted(m *machine.Machine, s *store.Store, n *network.Network) map[string]map[string]string {
	opcodes := new(big.Int).Lsh(big.NewInt(1), uint(s.OpcodeBits))
	defined, others := new(big.Int).Set(opcodes), ""
	variants := 0
	for _, o := range s.Owners {
		switch o.Kind {
		case "instruction":
			variants++
		case "undefined":
			for _, c := range o.Opcodes {
				others = map[machine.Undefined]string{machine.UndefinedFree: "are free"}[m.Undefined]
				if others == "" {
					others = string(m.Undefined)
				}
				free := 0 // bits
				for bit := range s.OpcodeBits {
					if c.Care>>bit&1 == 0 {
						free++
					}
				}
				defined.Sub(defined, new(big.Int).Lsh(big.NewInt(1), uint(free)))
			}
		}
	}
	flags := "none"
	if len(s.Flags) > 0 {
		flags = strings.Join(s.Flags, " ")
	}
	low := 0
	for _, c := range s.Columns {
		if c.Low {
			low++
		}
	}
	words := new(big.Int).Lsh(big.NewInt(1), uint(s.AddressBits()))
	width := len(s.Word.Bits)
	bytes := (width + 7) / 8
	longest := 0
	for _, n := range lengths(s) {
		longest = max(longest, n)
	}
	facts := map[string]map[string]string{
		"opcode":       {"bits": strconv.Itoa(s.OpcodeBits), "defined": defined.String(), "opcodes": opcodes.String(), "others": others},
		"instructions": {"instructions": strconv.Itoa(len(m.Instructions)), "variants": strconv.Itoa(variants)},
		"flags tested": {"flags": flags},
		"phases":       {"phases": strconv.Itoa(s.Phases), "period": lasting(m.Sequencer.Period)},
		"lines":        {"lines": strconv.Itoa(len(s.Columns)), "kinds": kinds(s), "low": strconv.Itoa(low)},
		"word":         {"bits": strconv.Itoa(width), "bytes": strconv.Itoa(bytes)},
		"image": {"address": strconv.Itoa(s.AddressBits()), "words": words.String(),
			"bytes": new(big.Int).Mul(words, big.NewInt(int64(bytes))).String()},
	}
	if longest > 0 {
		facts["longest path"] = map[string]string{"longest": strconv.Itoa(longest), "time": lasting(float64(longest) * m.Sequencer.Period)}
	}
	if s.Word.Split > 0 {
		chips := 0
		for at := 0; at < width; at += s.Word.Split {
			chips++
		}
		facts["chips"] = map[string]string{"chips": strconv.Itoa(chips), "bits": strconv.Itoa(s.Word.Split)}
	}
	if n != nil {
		mx := n.Matrix
		cards, diodes := map[string]bool{}, map[string]bool{}
		for _, d := range mx.Diodes {
			diodes[d.Name] = true
		}
		for _, c := range mx.Cards { // some may have relays alone
			cards[c.Name] = true
		}
		facts["matrix"] = map[string]string{"style": mx.Style, "rows": strconv.Itoa(len(mx.Rows)), "pulses": strconv.Itoa(len(mx.Pulses)),
			"diodes": strconv.Itoa(len(diodes)), "cards": strconv.Itoa(len(cards))}
		poles := map[string]bool{}
		for _, w := range n.List.Wires {
			for _, t := range []bare.Terminal{w.From, w.To} {
				if name, end, _ := strings.Cut(string(t), ":"); name[0] == 'K' && end[0] != 'A' {
					poles[name+" "+end[:len(end)-1]] = true
				}
			}
		}
		where := "in style plain or shared"
		if n.List.Style == Minimal {
			where = "in any style"
		}
		facts["relays"] = map[string]string{"relays": strconv.Itoa(len(n.List.Relays)), "poles": strconv.Itoa(len(poles)),
			"coils": strconv.Itoa(len(n.List.Diodes) - len(diodes)), "where": where,
			"cost": fmt.Sprintf("%.2f", n.Cost.Total), "bound": fmt.Sprintf("%.2f", n.Bound)}
	}
	return facts
}

// lengths is how many phases each owner takes at most, by its number: to the
// last phase that has a line on, which is where the restart line is. Without
// one, and while undefined opcodes idle, the ring goes round. Fetch has no end.
func lengths(s *store.Store) map[int]int {
	restarts := false
	for _, c := range s.Columns {
		restarts = restarts || c.Kind == store.Restart
	}
	last := map[int]int{}
	ends := map[int]bool{}
	for _, r := range s.Rows {
		last[r.Owner] = max(last[r.Owner], r.Phase)
		for _, l := range r.Lines.Columns() {
			ends[r.Owner] = ends[r.Owner] || s.Columns[l].Kind == store.Restart
		}
	}
	out := map[int]int{}
	for i, o := range s.Owners {
		switch {
		case o.Kind == "fetch":
		case restarts && ends[i]:
			out[i] = last[i]
		default:
			out[i] = s.Phases
		}
	}
	return out
}

// holder checks that a path of the longest length belongs to who is named,
// "jz" or "jz with zero=1".
func holder(s *store.Store, whose, longest string) error {
	whole := lengths(s)
	for i, o := range s.Owners {
		if n, ok := whole[i]; !ok || strconv.Itoa(n) != longest {
			continue
		}
		if o.Name == whose {
			return nil
		}
		if flags, ok := strings.CutPrefix(whose, o.Name+" with "); ok {
			_, err := parseFlags(flags, s.Flags)
			return err
		}
	}
	return fmt.Errorf("%s takes no %s phases", whose, longest)
}

// kinds counts the lines of each kind in words.
func kinds(s *store.Store) string {
	names := [...]struct {
		kind      store.Kind
		one, many string
	}{
		{store.Gate, "gate", "gates"}, {store.Latch, "latch", "latches"}, {store.Select, "select line", "select lines"},
		{store.Output, "output", "outputs"}, {store.Restart, "restart", "restarts"}, {store.Halt, "halt", "halts"},
	}
	var out []string
	for _, k := range names {
		n := 0
		for _, c := range s.Columns {
			if c.Kind == k.kind {
				n++
			}
		}
		switch n {
		case 0:
		case 1:
			out = append(out, "1 "+k.one)
		default:
			out = append(out, strconv.Itoa(n)+" "+k.many)
		}
	}
	return strings.Join(out, ", ")
}

// lasting writes a time to four digits or to the second, in the largest of s, ms and us that it fills.
func lasting(seconds float64) string {
	unit, factor := "us", 1e6
	switch {
	case seconds >= 1e4:
		return fmt.Sprintf("%.0f s", seconds)
	case seconds >= 1:
		unit, factor = "s", 1
	case seconds >= 1e-3, seconds == 0:
		unit, factor = "ms", 1e3
	}
	return fmt.Sprintf("%.4g %s", seconds*factor, unit)
}
