package machine

import (
	"math/bits"
	"slices"
	"strconv"
	"strings"

	"coilwright/encode/store"
	"coilwright/lang/definition"
	"coilwright/lang/diag"
	"coilwright/lang/number"
)

// reader takes the values of one setting, first to last.
type reader struct {
	r    *resolver
	at   diag.Place
	name string
	rest []definition.Value
	bad  bool
	// missing is true if a value was wanted and the setting had ended: it may
	// stand where the next one is looked for.
	missing bool
	// unitless is true if the last value wanted a unit: that may stand there.
	unitless bool
	settings []string // the names of the settings of the block
}

// value takes a quantity of one dimension within lo..hi (SI units); unit "" is
// a plain number. After an error the default stays.
func (v *reader) value(to *float64, what, unit string, lo, hi float64) {
	if v.bad {
		return
	}
	example := map[string]string{"V": "12 V", "A": "200 mA", "ohm": "720 ohm", "s": "7 ms", "%": "75 %", "": "3"}[unit]
	if len(v.rest) == 0 {
		v.missing = true
		v.fail(v.at, "%s is missing", what).Hintf("write, for example: %s", example)
		return
	}
	x := v.rest[0]
	v.rest = v.rest[1:]
	if x.Number == nil {
		v.fail(x.Name.At, "expected %s, found %s", what, x.Name.Text).Hintf("write, for example: %s", example)
		return
	}
	given, at := "", x.Number.At
	if x.Unit != nil {
		given, at = x.Unit.Text, at.To(x.Unit.At)
	}
	if v.runsOn(x) {
		return
	}
	q, err := number.Quantity(x.Number.Text, given)
	if err != nil {
		v.fail(at, "%v", err)
		return
	}
	if q.Dimension != unit {
		if given == "" {
			v.unitless = len(v.rest) == 0
			v.fail(at, "%s needs a unit", what).Hintf("write, for example: %s", example)
		} else {
			v.fail(at, "%s is not in %s", what, given).Hintf("write, for example: %s", example)
		}
		return
	}
	if q.SI < lo || q.SI > hi {
		v.fail(at, "%s is %s", what, span(lo, hi, unit))
		return
	}
	*to = q.SI
}

// runsOn refuses the name of a setting where a unit could be.
func (v *reader) runsOn(x definition.Value) bool {
	if x.Unit == nil || number.IsUnit(x.Unit.Text) || !slices.Contains(v.settings, x.Unit.Text) {
		return false
	}
	v.unitless = true
	v.fail(x.Unit.At, "expected a comma or the end of the line, found %s", x.Unit.Text).Hintf("a comma or a new line stands between two settings")
	return true
}

// leftOver refuses the value that stands where nothing is expected any more.
func (v *reader) leftOver() {
	if x := v.rest[0]; x.Name != nil {
		d := v.fail(x.Name.At, "nothing is expected after it, found %s", x.Name.Text)
		if slices.Contains(v.settings, x.Name.Text) {
			d.Hintf("a comma or a new line stands between two settings")
		}
	} else {
		v.fail(x.Number.At, "nothing is expected after it, found %s", x.Number.Text)
	}
}

// span spells a range of quantities: "1 us to 3600 s", "0 to 10 s", "1 to 100 %".
func span(lo, hi float64, unit string) string {
	low, lowUnit := scaled(lo, unit)
	high, highUnit := scaled(hi, unit)
	if lo == 0 || lowUnit == highUnit {
		lowUnit = ""
	}
	return strings.TrimSpace(low+" "+lowUnit) + " to " + strings.TrimSpace(high+" "+highUnit)
}

// spelt is a quantity with its unit.
func spelt(v float64, unit string) string {
	number, in := scaled(v, unit)
	return number + " " + in
}

// scaled spells a quantity in SI in the unit in which a person would give it.
func scaled(v float64, unit string) (number, in string) {
	switch {
	case unit == "%":
		v *= 100
	case unit == "s" && v < 1e-3:
		v, unit = v*1e6, "us"
	case unit == "s" && v < 1:
		v, unit = v*1e3, "ms"
	case unit == "A" && v < 1:
		v, unit = v*1e3, "mA"
	case unit == "ohm" && v >= 1e4:
		v, unit = v/1e3, "kohm"
	}
	return strconv.FormatFloat(v, 'f', -1, 64), unit
}

func (v *reader) fail(at diag.Place, format string, args ...any) *diag.Diagnostic {
	v.bad = true
	return v.r.list.Errorf("setting-value", at, v.name+": "+format, args...)
}

// whole takes a whole number within lo..hi. After an error the default stays.
func (v *reader) whole(to *int, what string, lo, hi int) {
	if v.bad {
		return
	}
	if len(v.rest) == 0 {
		v.missing = true
		v.fail(v.at, "%s is missing", what)
		return
	}
	x := v.rest[0]
	v.rest = v.rest[1:]
	if x.Number == nil {
		v.fail(x.Name.At, "expected %s, found %s", what, x.Name.Text)
		return
	}
	if v.runsOn(x) {
		return
	}
	if x.Unit != nil {
		v.fail(x.Unit.At, "%s has no unit", what)
		return
	}
	n, err := number.Value(x.Number.Text)
	if err != nil {
		v.fail(x.Number.At, "%v", err)
		return
	}
	if n < uint64(lo) || n > uint64(hi) {
		v.fail(x.Number.At, "%s is %d to %d, not %s", what, lo, hi, x.Number.Text)
		return
	}
	*to = int(n)
}

// word takes one of the given words.
func (v *reader) word(words ...string) string {
	if v.bad {
		return words[0]
	}
	if len(v.rest) == 0 {
		v.missing = true
		v.fail(v.at, "expected %s", oneOf(words))
		return words[0]
	}
	x := v.rest[0]
	v.rest = v.rest[1:]
	if x.Name == nil {
		v.fail(x.Number.At, "expected %s, found %s", oneOf(words), x.Number.Text)
		return words[0]
	}
	for _, w := range words {
		if w == x.Name.Text {
			return w
		}
	}
	d := v.fail(x.Name.At, "expected %s, found %s", oneOf(words), x.Name.Text)
	if near := diag.Nearest(x.Name.Text, words); near != "" {
		d.Hintf("did you mean %s?", near)
	}
	return words[0]
}

func oneOf(words []string) string {
	out := ""
	for i, w := range words {
		switch {
		case i == 0:
		case i == len(words)-1:
			out += " or "
		default:
			out += ", "
		}
		out += w
	}
	return out
}

// names takes all values left as names.
func (v *reader) names() []definition.Name {
	var out []definition.Name
	for _, x := range v.rest {
		if x.Name == nil {
			v.fail(x.Number.At, "expected names, found %s", x.Number.Text)
			return nil
		}
		out = append(out, *x.Name)
	}
	v.rest = nil
	return out
}

// block runs each setting of a block through its entry in known; it reports
// unknown and repeated settings and values left over.
func (r *resolver) block(b *definition.Settings, known map[string]func(v *reader)) {
	names := make([]string, 0, len(known))
	for n := range known {
		names = append(names, n)
	}
	seen := map[string]diag.Place{}
	broken := map[string]bool{}
	before := len(r.list)
	r.here = "settings " + b.At.String()
	defer func() { r.here = "" }()
	defer func() {
		if r.twice[b.Keyword] {
			for i := before; i < len(r.list); i++ {
				r.blameAt(i, "keyword "+b.Keyword)
			}
		}
	}()
	found := false
	lost := func(definition.Setting) bool { return false } // what belongs to the setting before
	for i, s := range b.Settings {
		if stray := lost(s); s.Name == nil || known[s.Name.Text] == nil {
			lost = func(definition.Setting) bool { return false }
			if !stray {
				r.unknownSetting(b, s, names)
			}
			continue
		}
		found = true
		name := s.Name.Text
		lost = func(definition.Setting) bool { return false }
		if first, ok := seen[name]; ok {
			if !broken[name] {
				r.list.Errorf("setting-repeated", s.Name.At, "%s is set twice", name).Note(first, "first here")
				r.blame(r.here)
			}
			continue
		}
		seen[name] = s.Name.At
		v := &reader{r: r, at: s.Name.At, name: name, rest: s.Values, settings: names}
		if _, isName := r.path[name]; len(v.rest) > 0 && v.rest[0].Name != nil && v.rest[0].Name.Text == name &&
			(!isName || r.path[name].kind != lineEntity) {
			r.list.Errorf("setting-repeated", v.rest[0].Name.At, "%s is said twice", name).Note(s.Name.At, "first here").Hintf("delete one")
			v.rest, v.bad = v.rest[1:], true // what stands there may have been a value
		}
		known[name](v)
		if !v.bad && len(v.rest) > 0 {
			v.leftOver()
		}
		broken[name] = v.bad
		switch {
		case v.missing: // a value may stand on a line of its own
			lost = func(definition.Setting) bool { return true }
		case v.unitless:
			lost = isUnit
			if i+1 < len(b.Settings) && isUnit(b.Settings[i+1]) {
				r.list[len(r.list)-1].Hintf("a number and its unit stand on one line, without a comma: %s %s",
					s.Values[len(s.Values)-1].Number.Text, b.Settings[i+1].Name.Text)
			}
		}
	}
	if !found && len(b.Settings) > 0 {
		// No setting of the block is one: its keyword may be the wrong one.
		for i := before; i < len(r.list); i++ {
			r.blameAt(i, r.here)
		}
		r.otherKeyword(b)
	}
}

// otherKeyword notes that the keyword of a block may be the wrong one: then
// what it should have declared is missed.
func (r *resolver) otherKeyword(b *definition.Settings) {
	if b.Name != nil {
		r.misplaced[b.Name.Text] = r.here
		return
	}
	r.strays = append(r.strays, stray{"", r.here})
}

// isUnit reports whether a unit stands where a setting should.
func isUnit(s definition.Setting) bool { return s.Name != nil && number.IsUnit(s.Name.Text) }

func (r *resolver) unknownSetting(b *definition.Settings, s definition.Setting, names []string) {
	if s.Name == nil {
		r.list.Errorf("unknown-setting", s.Pin.At, "%s has no numbered settings", b.Keyword).
			Hintf("pins are numbered in a connector block")
	} else {
		d := r.list.Errorf("unknown-setting", s.Name.At, "%s has no setting %s", b.Keyword, s.Name.Text)
		if near := diag.Nearest(s.Name.Text, names); near != "" {
			d.Hintf("did you mean %s?", near)
		} else {
			d.Hintf("its settings are %s", strings.Join(sorted(names), ", "))
		}
	}
	r.blame(r.here)
}

// blocks finds the settings blocks of one keyword; all but `card` and
// `connector` come once and have no name.
func (r *resolver) blocks(keyword string) []*definition.Settings {
	var out []*definition.Settings
	for _, d := range r.src.Decls {
		b, ok := d.(*definition.Settings)
		if !ok || b.Keyword != keyword {
			continue
		}
		if keyword != "card" && keyword != "connector" {
			if b.Name != nil {
				r.list.Errorf("block-name", b.Name.At, "%s has no name", keyword).
					Hintf("it holds for the whole machine: %s { ... }", keyword)
				if r.twice[keyword] {
					r.blame("keyword " + keyword)
				}
			}
			if len(out) > 0 {
				r.list.Errorf("block-repeated", b.At, "%s is given twice", keyword).Note(out[0].At, "first here")
				r.astray("", "keyword "+keyword)
				continue
			}
		} else if b.Name == nil {
			r.list.Errorf("block-name", b.At, "a %s needs a name", keyword).Hintf("write, for example: %s control { ... }", keyword)
			r.lost[spaceOf[keyword]]++
			continue
		}
		out = append(out, b)
	}
	return out
}

func (r *resolver) sequencer() {
	s := Sequencer{Lead: 1, Trail: 1, Decode: 1, Period: 0.020}
	errors := r.list.Errors()
	for _, b := range r.blocks("sequencer") {
		s.At = b.At
		r.block(b, map[string]func(*reader){
			"phases": func(v *reader) { v.whole(&s.Phases, "the number of phases", 1, MaxPhases) },
			"lead":   func(v *reader) { v.whole(&s.Lead, "the lead in phases", 0, MaxPhases) },
			"trail":  func(v *reader) { v.whole(&s.Trail, "the trail in phases", 0, MaxPhases) },
			"decode": func(v *reader) { v.whole(&s.Decode, "the number of phases to decode", 1, MaxPhases) },
			"dead":   func(v *reader) { v.whole(&s.Dead, "the number of dead phases between two sources", 0, MaxPhases) },
			"restart": func(v *reader) {
				s.Cuts = v.word("steers", "cuts") == "cuts"
			},
			"change": func(v *reader) {
				if v.word("gap", "overlap") == "gap" {
					v.value(&s.Gap, "the gap between two phases", "s", 0, 10)
				} else {
					v.value(&s.Overlap, "the overlap of two phases", "s", 0, 10)
				}
			},
			"period": func(v *reader) { v.value(&s.Period, "the period of a phase", "s", 1e-6, 3600) },
		})
		if s.Gap >= s.Period || s.Overlap >= s.Period {
			if s.Gap+s.Overlap > 0 && s.Period > 0 {
				r.list.Errorf("setting-value", b.At, "the change between two phases takes as long as a phase").
					Hintf("a gap or overlap is shorter than the period, %s here", spelt(s.Period, "s"))
			}
		}
	}
	r.m.Sequencer = s
	r.m.Untimed = r.m.Untimed || r.list.Errors() > errors || r.absent("sequencer")
	for i := range r.m.Lines {
		l := &r.m.Lines[i]
		lead, trail := 0, 0
		if l.Kind == store.Gate || l.Kind == store.Select {
			lead, trail = s.Lead, s.Trail
		}
		if l.Lead < 0 {
			l.Lead = lead
		}
		if l.Trail < 0 {
			l.Trail = trail
		}
	}
	if r.m.Restart < 0 && s.Phases == 0 && !r.m.Untimed && !r.absent("line") && !r.muted["restart"] && !r.anyBadLine() {
		r.list.Errorf("phases-missing", r.top(), "without a restart line every instruction runs to the end of the ring, whose length is not given").
			Hintf("write sequencer { phases N }, or declare a restart line: line rst : restart")
		r.again()
	}
}

func (r *resolver) anyBadLine() bool {
	for _, b := range r.badLine {
		if b {
			return true
		}
	}
	return false
}

func (r *resolver) undefined() {
	u := once[*definition.Undefined](r, "undefined")
	if u == nil {
		return
	}
	r.m.UndefinedAt = u.At
	switch k := Undefined(u.Name.Text); k {
	case UndefinedRestart, UndefinedIdle, UndefinedFree:
		r.m.Undefined = k
	case UndefinedHalt:
		r.m.Undefined = k
		if r.m.Halt < 0 {
			if !r.anyBadLine() && !r.absent("line") && !r.muted["halt"] {
				r.list.Errorf("halt-missing", u.Name.At, "undefined opcodes are to halt, and no line does").
					Hintf("declare one: line hlt : halt")
				r.again()
			}
		} else {
			r.usedLine[r.m.Halt] = true
		}
	default:
		d := r.list.Errorf("undefined-kind", u.Name.At, "undefined opcodes restart, idle, halt or are free, not %s", u.Name.Text)
		if near := diag.Nearest(u.Name.Text, []string{"restart", "idle", "halt", "free"}); near != "" {
			d.Hintf("did you mean %s?", near)
		}
		if r.twice["undefined"] {
			r.blame("keyword undefined")
		}
	}
}

// layout resolves `store`: how the store lies in memory.
func (r *resolver) layout() {
	w := &r.m.Word
	var data, omit []definition.Name
	var address []definition.Name
	high, addressGiven, dataGiven := false, false, false
	var addressAt, dataAt, splitAt diag.Place
	errors := r.list.Errors()
	here := ""
	for _, b := range r.blocks("store") {
		here = "settings " + b.At.String()
		r.block(b, map[string]func(*reader){
			"address": func(v *reader) {
				address, addressGiven, addressAt = v.names(), true, v.at
			},
			"data": func(v *reader) {
				data, dataGiven, dataAt = v.names(), true, v.at
				if len(data) > 0 && data[0].Text == "high" {
					if _, isLine := r.path["high"]; !isLine || len(data) > 1 && !r.named(data[1:], "high") {
						high, data = true, data[1:]
					}
				}
			},
			"omit":  func(v *reader) { omit = v.names() },
			"split": func(v *reader) { splitAt = v.at; v.whole(&w.Split, "the number of data bits of a chip", 1, MaxLines) },
			"order": func(v *reader) { w.Little = v.word("big", "little") == "little" },
			"fill": func(v *reader) {
				fill := int(w.Fill)
				v.whole(&fill, "the fill byte", 0, 255)
				w.Fill = byte(fill)
			},
		})
	}
	whole := r.list.Errors() == errors // what is not understood leaves nothing out
	r.here = here
	defer func() { r.here = "" }()
	r.address(address, addressGiven, whole, addressAt)
	r.data(data, omit, high, dataGiven, whole, dataAt)
	if w.Split >= len(w.Bits) && !splitAt.IsZero() && len(w.Bits) > 0 {
		w.Split = 0 // the word fits one chip
	}
}

func (r *resolver) named(list []definition.Name, name string) bool {
	for _, n := range list {
		if n.Text == name {
			return true
		}
	}
	return false
}

// address lays out `store { address LIST }`: phase, opcode and flags, low to
// high. The width of the phase part is known only after scheduling; it is 0 here.
func (r *resolver) address(list []definition.Name, given, whole bool, at diag.Place) {
	w := &r.m.Word
	tested := map[int]int{}
	for i, f := range r.m.Tested {
		tested[f] = i
	}
	if !given {
		w.Address = []store.AddressPart{
			{Kind: store.PhasePart, Name: "phase", Flag: -1},
			{Kind: store.OpcodePart, Name: "opcode", Bits: r.m.Opcode.Width(), Flag: -1},
		}
		for i, f := range r.m.Tested {
			w.Address = append(w.Address, store.AddressPart{Kind: store.FlagPart, Name: r.m.Signals[f].Name, Bits: 1, Flag: i})
		}
		return
	}
	seen := map[string]diag.Place{}
	broken := !whole
	for _, n := range list {
		if first, ok := seen[n.Text]; ok {
			r.list.Errorf("store-repeated", n.At, "%s is listed twice in the address", n.Text).Note(first, "first here")
			broken = true
			continue
		}
		seen[n.Text] = n.At
		switch n.Text {
		case "phase":
			w.Address = append(w.Address, store.AddressPart{Kind: store.PhasePart, Name: "phase", Flag: -1})
			continue
		case "opcode":
			w.Address = append(w.Address, store.AddressPart{Kind: store.OpcodePart, Name: "opcode", Bits: r.m.Opcode.Width(), Flag: -1})
			continue
		}
		ent, ok := r.path[n.Text]
		switch {
		case !ok:
			r.missing(datapathSpace, n, func() []string { return append(r.datapathNames(r.isFlag), "phase", "opcode") })
			broken = true
		case !r.isFlag(ent):
			r.list.Errorf("store-address", n.At, "%s is no part of an address", r.describe(n.Text, ent)).
				Hintf("an address is made of phase, opcode and flags")
			r.blame(nameCause(n.Text))
			broken = true
		default:
			i, ok := tested[ent.index]
			if !ok {
				i = -1
			}
			w.Address = append(w.Address, store.AddressPart{Kind: store.FlagPart, Name: n.Text, Bits: 1, Flag: i})
		}
	}
	need := []string{"phase", "opcode"}
	for _, f := range r.m.Tested {
		need = append(need, r.m.Signals[f].Name)
	}
	var left []string
	for _, n := range need {
		if _, ok := seen[n]; !ok {
			left = append(left, n)
		}
	}
	if len(left) > 0 && !broken {
		r.list.Errorf("store-address", at, "the address leaves out %s", strings.Join(left, ", ")).
			Hintf("list phase, opcode and every flag that a when tests, from the lowest address bit up")
	}
}

// data lays out the bits of a word.
func (r *resolver) data(list, omit []definition.Name, high, given, whole bool, at diag.Place) {
	w := &r.m.Word
	where := map[int]diag.Place{}
	broken := !whole
	line := func(n definition.Name) int {
		ent, ok := r.path[n.Text]
		switch {
		case !ok:
			r.missing(datapathSpace, n, func() []string { return r.datapathNames(lineNames) })
		case ent.kind != lineEntity:
			r.list.Errorf("not-a-line", n.At, "%s is no line", r.describe(n.Text, ent))
			r.blame(nameCause(n.Text))
		default:
			if first, dup := where[ent.index]; dup {
				r.list.Errorf("store-repeated", n.At, "line %s is listed twice", n.Text).Note(first, "first here")
				broken = true
				return -1
			}
			where[ent.index] = n.At
			return ent.index
		}
		broken = true
		return -1
	}
	for _, n := range omit {
		line(n)
	}
	if !broken && len(r.m.Lines) > 0 && len(where) == len(r.m.Lines) {
		r.list.Errorf("store-empty", omit[0].At.To(omit[len(omit)-1].At), "omit names every line: the word of the store has no bit left").
			Hintf("leave out of omit what the store drives")
		return
	}
	if !given {
		for i := range r.m.Lines {
			if _, omitted := where[i]; !omitted {
				w.Bits = append(w.Bits, i)
			}
		}
		return
	}
	for _, n := range list {
		if _, isLine := r.path["spare"]; n.Text == "spare" && !isLine {
			w.Bits = append(w.Bits, -1)
			continue
		}
		w.Bits = append(w.Bits, line(n))
	}
	if high {
		for i, j := 0, len(w.Bits)-1; i < j; i, j = i+1, j-1 {
			w.Bits[i], w.Bits[j] = w.Bits[j], w.Bits[i]
		}
	}
	if broken {
		return
	}
	var left []string
	for i := range r.m.Lines {
		if _, ok := where[i]; !ok {
			left = append(left, r.m.Lines[i].Name)
		}
	}
	if len(left) > 0 {
		shown := left
		if len(shown) > 6 {
			shown = shown[:6]
		}
		d := r.list.Errorf("store-incomplete", at, "data and omit leave out %s", strings.Join(shown, ", "))
		if len(left) > 6 {
			d.Text += ", and " + plural(len(left)-6, "other line")
		}
		d.Hintf("list every line once in data, or in omit if other hardware drives it")
	}
}

func (r *resolver) hardware() {
	h := &r.m.Hardware
	h.Relay = Relay{CoilVolts: 12, CoilOhms: 720, Poles: 4, Operate: 0.007, Release: 0.004, Bounce: 0.002,
		Pickup: 0.75, Dropout: 0.10, ContactAmperes: 2, ContactOhms: 0.050, Suppression: "diode"}
	h.Diode = Diode{Drop: 0.7, Limit: 0.2, Levels: 2}
	h.Supply = 12
	h.Cost = Cost{Relay: 3, Contact: 0.1, Diode: 0.05, Joint: 0.02}
	for _, b := range r.blocks("relay") {
		var pickupAt, dropoutAt diag.Place
		errors := r.list.Errors()
		r.block(b, map[string]func(*reader){
			"coil": func(v *reader) {
				v.value(&h.Relay.CoilVolts, "the coil's voltage", "V", 0.1, 60)
				v.value(&h.Relay.CoilOhms, "the coil's resistance", "ohm", 0.1, 1e6)
			},
			"poles":   func(v *reader) { v.whole(&h.Relay.Poles, "the number of poles", 1, 64) },
			"operate": func(v *reader) { v.value(&h.Relay.Operate, "the operate time", "s", 0, 10) },
			"release": func(v *reader) { v.value(&h.Relay.Release, "the release time", "s", 0, 10) },
			"bounce":  func(v *reader) { v.value(&h.Relay.Bounce, "the bounce time", "s", 0, 10) },
			"pickup": func(v *reader) {
				pickupAt = v.at
				v.value(&h.Relay.Pickup, "the pick-up voltage", "%", 0.01, 1)
			},
			"dropout": func(v *reader) {
				dropoutAt = v.at
				v.value(&h.Relay.Dropout, "the drop-out voltage", "%", 0, 1)
			},
			"contact": func(v *reader) {
				v.value(&h.Relay.ContactAmperes, "the contact's rated current", "A", 1e-6, 1000)
				v.value(&h.Relay.ContactOhms, "the contact's resistance", "ohm", 0, 100)
			},
			"suppression": func(v *reader) { h.Relay.Suppression = v.word("none", "diode", "zener") },
		})
		if r.list.Errors() == errors && h.Relay.Dropout >= h.Relay.Pickup {
			r.contrary(dropoutAt, pickupAt)
		}
	}
	for _, b := range r.blocks("diode") {
		r.block(b, map[string]func(*reader){
			"drop":   func(v *reader) { v.value(&h.Diode.Drop, "the forward drop", "V", 0, 5) },
			"limit":  func(v *reader) { v.value(&h.Diode.Limit, "the current limit", "A", 1e-6, 1000) },
			"levels": func(v *reader) { v.whole(&h.Diode.Levels, "the number of diodes in series", 1, 2) },
		})
	}
	r.supply()
	for _, b := range r.blocks("cost") {
		r.block(b, map[string]func(*reader){
			"relay":   func(v *reader) { v.value(&h.Cost.Relay, "the cost of a relay", "", 0, 1e6) },
			"contact": func(v *reader) { v.value(&h.Cost.Contact, "the cost of a contact", "", 0, 1e6) },
			"diode":   func(v *reader) { v.value(&h.Cost.Diode, "the cost of a diode", "", 0, 1e6) },
			"joint":   func(v *reader) { v.value(&h.Cost.Joint, "the cost of a joint", "", 0, 1e6) },
		})
	}
	r.cardBlocks()
	r.connectors()
}

// contrary reports a relay that lets go at a voltage at which it pulls in. One
// of the places may be none: the default holds.
func (r *resolver) contrary(dropoutAt, pickupAt diag.Place) {
	h := &r.m.Hardware.Relay
	at := dropoutAt
	if at.IsZero() {
		at = pickupAt
	}
	d := r.list.Errorf("settings-contrary", at, "a relay that lets go below %s and pulls in at %s never rests", spelt(h.Dropout, "%"), spelt(h.Pickup, "%"))
	if pickupAt.IsZero() {
		d.Note(diag.Place{}, "pickup is %s where nothing else is said", spelt(h.Pickup, "%"))
	} else if dropoutAt.IsZero() {
		d.Note(diag.Place{}, "dropout is %s where nothing else is said", spelt(h.Dropout, "%"))
	} else {
		d.Note(pickupAt, "pickup is set here")
	}
	d.Hintf("dropout is below pickup, for example: pickup 75 %%, dropout 10 %%")
}

func (r *resolver) supply() {
	s := once[*definition.Supply](r, "supply")
	if s == nil {
		return
	}
	v := &reader{r: r, at: s.At, name: "supply", rest: s.Values}
	before := len(r.list)
	v.value(&r.m.Hardware.Supply, "the supply's voltage", "V", 0.1, 60)
	if !v.bad && len(v.rest) > 0 {
		v.leftOver()
	}
	if r.twice["supply"] && len(r.list) > before {
		r.blame("keyword supply")
	}
}

// maxPins bounds the connector of a card.
const maxPins = 10000

func (r *resolver) cardBlocks() {
	h := &r.m.Hardware
	for _, b := range r.blocks("card") {
		if i, ok := r.cards[b.Name.Text]; ok {
			r.repeated(cardSpace, *b.Name, "card "+b.Name.Text, h.Cards[i].At)
			continue
		}
		c := Card{Name: b.Name.Text, Relays: 32, Rows: 40, Columns: 24, Pins: 64, At: b.At}
		var spareAt diag.Place
		errors := r.list.Errors()
		r.block(b, map[string]func(*reader){
			"relays":  func(v *reader) { v.whole(&c.Relays, "the number of relays of a card", 1, 10000) },
			"rows":    func(v *reader) { v.whole(&c.Rows, "the number of rows of a card", 1, 10000) },
			"columns": func(v *reader) { v.whole(&c.Columns, "the number of columns of a card", 1, 10000) },
			"pins":    func(v *reader) { v.whole(&c.Pins, "the number of pins of a card", 1, maxPins) },
			"feed":    func(v *reader) { c.Negative = v.word("positive", "negative") == "negative" },
			"spare":   func(v *reader) { spareAt = v.at; v.whole(&c.Spare, "the number of rows kept free", 0, 10000) },
		})
		if r.list.Errors() > errors {
			// What was meant is not known, so nothing is out of range on its account.
			c.Pins, c.Rows = maxPins, max(c.Rows, c.Spare+1)
		}
		if c.Spare >= c.Rows {
			at := spareAt
			if at.IsZero() {
				at = b.At
			}
			r.list.Errorf("card-no-rows", at, "%d rows kept free leave none of the %d on card %s", c.Spare, c.Rows, c.Name).
				Hintf("set spare to less than %d, or raise rows", c.Rows)
			c.Spare = 0
		}
		r.cards[c.Name] = len(h.Cards)
		h.Cards = append(h.Cards, c)
	}
	if len(h.Cards) == 0 && !r.absent("card") {
		h.Cards = []Card{{Name: "matrix", Relays: 32, Rows: 40, Columns: 24, Pins: 64}}
		r.cards["matrix"] = 0
	}
	if len(h.Cards) == 0 {
		h.Cards = []Card{{Name: "matrix", Relays: 32, Rows: 40, Columns: 24, Pins: 64}}
	}
}

func (r *resolver) connectors() {
	done := map[string]diag.Place{}
	for _, b := range r.blocks("connector") {
		if first, ok := done[b.Name.Text]; ok {
			r.repeated(cardSpace, *b.Name, "connector "+b.Name.Text, first)
			continue
		}
		done[b.Name.Text] = b.Name.At
		i, ok := r.cards[b.Name.Text]
		if !ok {
			var names []string
			for _, c := range r.m.Hardware.Cards {
				names = append(names, c.Name)
			}
			r.here = "settings " + b.At.String()
			r.missing(cardSpace, *b.Name, func() []string { return names })
			if !slices.ContainsFunc(b.Settings, func(s definition.Setting) bool { return s.Pin != nil }) {
				r.otherKeyword(b)
			}
			r.here = ""
			continue
		}
		c := &r.m.Hardware.Cards[i]
		taken := map[int]diag.Place{}
		empty := false // a pin has nothing behind its =: that may stand on the next line
		for _, s := range b.Settings {
			lost := empty && s.Pin == nil
			empty = s.Pin != nil && len(s.Values) == 0
			if lost {
				continue
			}
			if s.Pin == nil {
				d := r.list.Errorf("unknown-setting", s.Name.At, "a connector sets pins by number, not %s", s.Name.Text).
					Hintf("write, for example: 63 = ground")
				if len(s.Values) == 1 && s.Values[0].Number != nil {
					d.Hintf("the pin comes first: %s = %s", s.Values[0].Number.Text, s.Name.Text)
				}
				continue
			}
			n, ok := r.count(*s.Pin, "a pin of card "+c.Name, 1, uint64(c.Pins))
			if !ok {
				if r.list[len(r.list)-1].Name == "number-range" {
					r.blame("pins of card " + c.Name)
				}
				continue
			}
			if len(s.Values) != 1 || s.Values[0].Name == nil {
				r.list.Errorf("setting-value", s.Pin.At, "pin %d carries one line, ground or supply", n)
				continue
			}
			use := *s.Values[0].Name
			if first, dup := taken[int(n)]; dup {
				r.list.Errorf("pin-repeated", s.Pin.At, "pin %d is used twice", n).Note(first, "first here")
				continue
			}
			taken[int(n)] = s.Pin.At
			pin := Pin{Number: int(n), Line: -1, Use: use.Text, At: s.Pin.At}
			ent, isName := r.path[use.Text]
			switch {
			case isName && ent.kind == lineEntity:
				pin.Line = ent.index
			case use.Text == "ground" || use.Text == "supply":
			case isName:
				r.list.Errorf("not-a-line", use.At, "%s is no line", r.describe(use.Text, ent))
				r.blame(nameCause(use.Text))
				continue
			default:
				r.missing(datapathSpace, use, func() []string { return append(r.datapathNames(lineNames), "ground", "supply") })
				continue
			}
			c.Fixed = append(c.Fixed, pin)
		}
	}
}

// PhaseBits is the width of the phase part of an address (language.md S.2).
func PhaseBits(phases int) int { return bits.Len(uint(phases - 1)) }
