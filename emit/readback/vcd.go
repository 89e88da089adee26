package readback

import (
	"bufio"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"

	"coilwright/encode/machine"
	"coilwright/encode/rehearse"
)

// Wave is a variable of a value change dump, and what it is now.
type Wave struct {
	Scope string // the scopes it lies in, joined by dots
	Name  string // its reference, with the range as it is written: "data [7:0]"
	Kind  string // "wire", "reg" ...
	Width int
	Bits  string // one of 0, 1, x, z a bit, the highest first; "" before its first change

	was  string // Bits before the last change
	turn int    // Dump.turn of the last change
}

// Dump reads a value change dump step by step.
//
// Source: IEEE Std 1364-2005, clause 18.2 (four-state dumps). Read strictly:
// every keyword command ends with $end, names no unknown keyword, and stands
// where the grammar has it; identifier codes are printable characters, each
// declared once (one code for two references of the same size is allowed by
// the standard and refused here, since no recorder of ours does it); scopes
// close; simulation times rise; a vector value has no more digits than the
// variable has bits and is extended at the left as the standard's table says;
// the first values stand in $dumpvars, one for each variable. Refused too,
// with the line: real variables, which have no bits.
type Dump struct {
	Comments []string
	Version  string
	Date     string
	Scale    string // "10 ms"
	Waves    []*Wave
	Time     uint64 // of the step that was read last, in the timescale

	in      *bufio.Reader
	line    int
	at      int // the line where the last token began
	codes   map[string]*Wave
	changed []*Wave // of the step that was read last
	turn    int     // of Step
	next    uint64
	pending bool // next is a time whose changes have not been read
	begun   bool // $dumpvars has been read
}

// NewDump reads the declarations.
func NewDump(r io.Reader) (*Dump, error) {
	d := &Dump{in: bufio.NewReaderSize(r, 64<<10), line: 1, codes: map[string]*Wave{}}
	var scopes []string
	for {
		token, err := d.token()
		if err != nil {
			return nil, err
		}
		switch token {
		case "$comment", "$version", "$date":
			words, err := d.words()
			if err != nil {
				return nil, err
			}
			text := strings.Join(words, " ")
			switch {
			case token == "$comment":
				d.Comments = append(d.Comments, text)
			case token == "$version":
				d.Version = text
			default:
				d.Date = text
			}
		case "$timescale":
			words, err := d.words()
			if err != nil {
				return nil, err
			}
			if d.Scale != "" {
				return nil, refuse(d.at, "a second timescale")
			}
			text := strings.Join(words, "")
			number := strings.TrimRight(text, "smunpf")
			unit := text[len(number):]
			if !slices.Contains([]string{"1", "10", "100"}, number) || !slices.Contains([]string{"s", "ms", "us", "ns", "ps", "fs"}, unit) {
				return nil, refuse(d.at, "%q is no timescale", text)
			}
			d.Scale = number + " " + unit
		case "$scope":
			words, err := d.words()
			if err != nil {
				return nil, err
			}
			if len(words) != 2 || !slices.Contains([]string{"begin", "fork", "function", "module", "task"}, words[0]) {
				return nil, refuse(d.at, "a scope has a kind and a name")
			}
			scopes = append(scopes, words[1])
		case "$upscope":
			words, err := d.words()
			if err != nil {
				return nil, err
			}
			if len(words) > 0 || len(scopes) == 0 {
				return nil, refuse(d.at, "no scope to leave")
			}
			scopes = scopes[:len(scopes)-1]
		case "$var":
			words, err := d.words()
			if err != nil {
				return nil, err
			}
			if err := d.declare(words, strings.Join(scopes, ".")); err != nil {
				return nil, err
			}
		case "$enddefinitions":
			words, err := d.words()
			switch {
			case err != nil:
				return nil, err
			case len(words) > 0:
				return nil, refuse(d.at, "$enddefinitions holds nothing")
			case len(scopes) > 0:
				return nil, refuse(d.at, "scope %s is not left", scopes[len(scopes)-1])
			case d.Scale == "":
				return nil, refuse(d.at, "no timescale")
			}
			return d, nil
		case "":
			return nil, refuse(d.line, "the declarations have no end")
		default:
			return nil, refuse(d.at, "%.40q among the declarations", token)
		}
	}
}

var waveKinds = []string{"event", "integer", "parameter", "reg", "supply0", "supply1", "time", "tri", "triand", "trior", "trireg", "tri0", "tri1", "wand", "wire", "wor"}

func (d *Dump) declare(words []string, scope string) error {
	if len(words) < 4 || len(words) > 5 || !slices.Contains(waveKinds, words[0]) {
		return refuse(d.at, "a variable has a kind, a size, a code and a name")
	}
	width, err := strconv.Atoi(words[1])
	if err != nil || width < 1 || width > 1<<16 {
		return refuse(d.at, "%q is no size", words[1])
	}
	if d.codes[words[2]] != nil {
		return refuse(d.at, "code %s is declared twice", words[2])
	}
	if scope == "" {
		return refuse(d.at, "a variable outside any scope")
	}
	w := &Wave{Scope: scope, Name: strings.Join(words[3:], " "), Kind: words[0], Width: width}
	if len(words) == 5 {
		var high, low int
		if n, err := fmt.Sscanf(words[4], "[%d:%d]", &high, &low); n != 2 || err != nil || high-low+1 != width || words[4] != fmt.Sprintf("[%d:%d]", high, low) {
			return refuse(d.at, "%s is not a range of %d bits", words[4], width)
		}
	}
	for _, other := range d.Waves {
		if other.Scope == scope && other.Name == w.Name {
			return refuse(d.at, "%s is declared twice in %s", w.Name, scope)
		}
	}
	d.codes[words[2]] = w
	d.Waves = append(d.Waves, w)
	return nil
}

// token returns the next run of characters between blanks, "" at the end.
func (d *Dump) token() (string, error) {
	var out []byte
	for {
		c, err := d.in.ReadByte()
		switch {
		case err == io.EOF:
			return string(out), nil
		case err != nil:
			return "", err
		case c == ' ' || c == '\t' || c == '\n' || c == '\r':
			if len(out) > 0 {
				return string(out), d.in.UnreadByte()
			}
			if c == '\n' {
				d.line++
			}
			continue
		case c < '!' || c > '~':
			return "", refuse(d.line, "character %#x", c)
		}
		if len(out) == 0 {
			d.at = d.line
		}
		if out = append(out, c); len(out) > 1<<17 {
			return "", refuse(d.at, "a word of more than %d characters", 1<<17)
		}
	}
}

// words reads up to $end.
func (d *Dump) words() ([]string, error) {
	var out []string
	for {
		token, err := d.token()
		switch {
		case err != nil:
			return nil, err
		case token == "$end":
			return out, nil
		case token == "":
			return nil, refuse(d.line, "a command has no $end")
		case len(out) > 1<<12:
			return nil, refuse(d.at, "a command of more than %d words", 1<<12)
		}
		out = append(out, token)
	}
}

// Step reads the changes of the next time and returns the variables that are
// in it, whether new or not; io.EOF after the last.
func (d *Dump) Step() ([]*Wave, error) {
	d.changed = d.changed[:0]
	d.turn++
	if !d.pending {
		if d.begun {
			return nil, io.EOF
		}
		token, err := d.token()
		if err == nil && !strings.HasPrefix(token, "#") {
			err = refuse(d.line, "a dump begins with a time")
		}
		if err == nil {
			d.next, err = d.time(token)
		}
		if err != nil {
			return nil, err
		}
	}
	d.Time, d.pending = d.next, false
	dumping := false
	for {
		token, err := d.token()
		if err != nil {
			return nil, err
		}
		switch {
		case dumping && token == "$end":
			dumping = false
			if len(d.changed) != len(d.Waves) {
				return nil, refuse(d.at, "$dumpvars has %d variables of %d", len(d.changed), len(d.Waves))
			}
		case dumping && (token == "" || token[0] == '#'):
			return nil, refuse(d.line, "$dumpvars has no $end")
		case (token == "" || token[0] == '#') && !d.begun:
			return nil, refuse(d.line, "no $dumpvars")
		case token == "":
			return d.changed, nil
		case token[0] == '#':
			if d.next, err = d.time(token); err != nil {
				return nil, err
			}
			if d.next <= d.Time {
				return nil, refuse(d.at, "time %d after %d", d.next, d.Time)
			}
			d.pending = true
			return d.changed, nil
		case token == "$comment":
			if _, err := d.words(); err != nil {
				return nil, err
			}
		case token == "$dumpvars" && !d.begun:
			dumping, d.begun = true, true
		case token[0] == '$':
			return nil, refuse(d.at, "%.40s does not stand here", token)
		case !d.begun:
			return nil, refuse(d.at, "a value before $dumpvars")
		default:
			if err := d.change(token); err != nil {
				return nil, err
			}
		}
	}
}

func (d *Dump) time(token string) (uint64, error) {
	time, err := strconv.ParseUint(token[1:], 10, 64)
	if err != nil {
		return 0, refuse(d.at, "%.40q is no time", token)
	}
	return time, nil
}

// change takes a value: a digit and the code in one word, or b with digits and
// then the code.
func (d *Dump) change(token string) error {
	bits, code := token[:1], token[1:]
	vector := bits == "b" || bits == "B"
	if vector {
		bits = token[1:]
		var err error
		if code, err = d.token(); err != nil {
			return err
		}
	}
	bits = strings.ToLower(bits)
	if bits == "" || strings.Trim(bits, "01xz") != "" {
		return refuse(d.at, "%.40q is no value", token)
	}
	w := d.codes[code]
	switch {
	case w == nil:
		return refuse(d.at, "nothing has the code %.40q", code)
	case !vector && w.Width != 1:
		return refuse(d.at, "one digit for the %d bits of %s", w.Width, w.Name)
	case len(bits) > w.Width:
		return refuse(d.at, "%d digits for the %d bits of %s", len(bits), w.Width, w.Name)
	case w.turn == d.turn:
		return refuse(d.at, "%s changes twice at one time", w.Name)
	}
	fill := "0"
	if bits[0] == 'x' || bits[0] == 'z' {
		fill = bits[:1]
	}
	w.was, w.Bits = w.Bits, strings.Repeat(fill, w.Width-len(bits))+bits
	w.turn = d.turn
	d.changed = append(d.changed, w)
	return nil
}

// LampsVCD reads a rehearsal as a value change dump and compares every
// variable in every phase with the views, the registers at the end with the
// final state, and the times with the phase period. A change to what was
// there already is refused. An error is a *LineError.
func LampsVCD(r io.Reader, x Rehearsed) error {
	d, err := NewDump(r)
	if err != nil {
		return err
	}
	if want := fmt.Sprintf("machine %s, definition sha256 %.12s, program ", x.Store.Machine, x.Store.Hash); len(d.Comments) != 1 || !strings.HasPrefix(d.Comments[0], want) ||
		!strings.HasSuffix(d.Comments[0], fmt.Sprintf(" sha256 %.12s", x.Program.Source)) {
		return refuse(1, "the dump is not of %s", want)
	}
	number, unit, _ := strings.Cut(d.Scale, " ")
	scale, err := strconv.ParseFloat(number+map[string]string{"s": "", "ms": "e-3", "us": "e-6", "ns": "e-9", "ps": "e-12", "fs": "e-15"}[unit], 64)
	if err != nil {
		return refuse(1, "%s is no timescale", d.Scale)
	}
	ticks := max(uint64(math.Round(x.Machine.Sequencer.Period/scale)), 1)
	if off := math.Abs(float64(ticks)*scale - x.Machine.Sequencer.Period); off > 1e-9*x.Machine.Sequencer.Period && unit != "fs" {
		return refuse(1, "the phase period is no whole number of %s", d.Scale)
	}
	waves, err := x.waves(d)
	if err != nil {
		return err
	}
	var last *rehearse.View
	for v := x.Next(); v != nil; v = x.Next() {
		if err := d.step(uint64(v.Completed) * ticks); err != nil {
			return err
		}
		last = v
		for _, w := range waves {
			if value, driven := w.want(v); !w.reads(value, driven) {
				return refuse(d.at, "%s.%s at %d is %s, not %s", w.Scope, w.Name, d.Time, dumped(value, driven, w.Width), w.Bits)
			}
		}
	}
	if last == nil {
		_, err := d.Step()
		if err == io.EOF || err == nil {
			return refuse(d.line, "the rehearsal has no phases")
		}
		return nil
	}
	if err := d.step(uint64(last.Completed+1) * ticks); err != nil {
		return err
	}
	f := x.Final()
	end := *last
	end.Values = slices.Clone(last.Values)
	for i, s := range x.Machine.Signals {
		if s.Kind == machine.Register || s.Kind == machine.Flag {
			end.Values[i] = f.Values[i]
		}
	}
	for _, w := range waves {
		if value, driven := w.want(&end); !w.reads(value, driven) {
			return refuse(d.at, "%s.%s is %s in the end, not %s", w.Scope, w.Name, dumped(value, driven, w.Width), w.Bits)
		}
	}
	if _, err := d.Step(); err != io.EOF {
		return refuse(d.at, "more than the end")
	}
	return nil
}

// step reads the changes of a time, each of which has to change something.
func (d *Dump) step(time uint64) error {
	changed, err := d.Step()
	if err == io.EOF {
		return refuse(d.line, "time %d is missing", time)
	}
	if err != nil {
		return err
	}
	if d.Time != time {
		return refuse(d.at, "time %d where %d is due", d.Time, time)
	}
	for _, w := range changed {
		if w.Bits == w.was {
			return refuse(d.at, "%s.%s is written at %d without a change", w.Scope, w.Name, time)
		}
	}
	return nil
}

// expected is a variable and what it has to be.
type expected struct {
	*Wave
	want func(*rehearse.View) (value, driven uint64)
}

// dumped writes a value as a dump does, z for a bit that is not driven.
func dumped(value, driven uint64, width int) string {
	out := make([]byte, width)
	for i := range out {
		bit := width - 1 - i
		out[i] = '0' + byte(value>>bit&1)
		if driven>>bit&1 == 0 {
			out[i] = 'z'
		}
	}
	return string(out)
}

// reads reports whether a variable's digits are those of a value.
func (w *Wave) reads(value, driven uint64) bool {
	digits := w.Bits
	if len(digits) != w.Width {
		return false
	}
	for i := len(digits) - 1; i >= 0; i-- {
		want := '0' + byte(value&1)
		if driven&1 == 0 {
			want = 'z'
		}
		if digits[i] != want {
			return false
		}
		value, driven = value>>1, driven>>1
	}
	return true
}

// waves finds what each variable of a dump stands for. All have to be there.
func (x Rehearsed) waves(d *Dump) ([]expected, error) {
	all := ^uint64(0)
	one := map[bool]uint64{true: 1}
	type wanted struct {
		width int
		value func(*rehearse.View) (value, driven uint64)
	}
	want := map[string]wanted{
		"ring phase":       {32, func(v *rehearse.View) (uint64, uint64) { return uint64(v.Phase), all }},
		"ring instruction": {32, func(v *rehearse.View) (uint64, uint64) { return uint64(v.Instruction), all }},
		"ring halted":      {1, func(v *rehearse.View) (uint64, uint64) { return one[v.Halt], all }},
	}
	for i, l := range x.Machine.Lines {
		want["lines "+l.Name] = wanted{1, func(v *rehearse.View) (uint64, uint64) {
			if v.Lines.Has(i) {
				return 1, all
			}
			return 0, all
		}}
	}
	scopes := map[machine.SignalKind]string{machine.Bus: "buses", machine.Register: "registers", machine.Flag: "flags"}
	for i, s := range x.Machine.Signals {
		if scopes[s.Kind] == "" {
			continue
		}
		name := scopes[s.Kind] + " " + s.Name
		if s.Width > 1 {
			name += fmt.Sprintf(" [%d:0]", s.Width-1)
		}
		want[name] = wanted{s.Width, func(v *rehearse.View) (uint64, uint64) {
			if s.Kind == machine.Bus {
				return v.Values[i], v.Driven[i]
			}
			return v.Values[i], all
		}}
	}
	var out []expected
	for _, w := range d.Waves {
		scope, ok := strings.CutPrefix(w.Scope, x.Store.Machine+".")
		key := scope + " " + w.Name
		f, found := want[key]
		if !ok || !found {
			return nil, refuse(1, "the machine has no %s in %s", w.Name, w.Scope)
		}
		if w.Width != f.width {
			return nil, refuse(1, "%s has %d bits, not %d", w.Name, w.Width, f.width)
		}
		delete(want, key)
		out = append(out, expected{w, f.value})
	}
	for name := range want {
		return nil, refuse(1, "the dump has no %s", name)
	}
	return out, nil
}
