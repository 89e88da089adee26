package machine

import (
	"fmt"
	"maps"
	"slices"
	"sort"

	"coilwright/lang/definition"
	"coilwright/lang/diag"
)

// entityKind tells what a datapath name stands for.
type entityKind int

const (
	signalEntity entityKind = iota
	unitEntity
	lineEntity
)

type entity struct {
	kind  entityKind
	index int
	at    diag.Place
}

// mention is one use of a name that nothing declares.
type mention struct {
	at   diag.Place
	here string // the declaration that it stands in, as a cause
}

// unknownName gathers the mentions of one name in one namespace, so that a
// single slip in a declaration is a single error and not one a use.
type unknownName struct {
	space, name string
	mentions    []mention
	candidates  []string // at the first mention
}

// resolver turns declarations into a Machine. Every field but m and list is
// about names: what is declared, what was used, what broke.
type resolver struct {
	m    *Machine
	list diag.List
	src  *definition.Source

	path      map[string]entity // the datapath namespace
	declared  map[string]entity // the same with the names that are declared twice
	fields    map[string]int
	sequences map[string]*definition.Sequence

	muted       map[string]bool     // names in declarations that did not parse
	lost        map[string]int      // by namespace: declarations that did not parse and whose name is unknown
	brokenKW    map[string]bool     // keywords of declarations that did not parse; "" = any
	doubtful    map[SignalKind]bool // kinds of which some declaration has an unknown trait: it may be the one that is missed
	unknown     map[string]*unknownName
	opcodeDoubt bool              // two registers are declared to hold it
	misplaced   map[string]string // by name: the block that may have got the wrong keyword, as a cause
	here        string            // the declaration at hand, as a cause; "" for none
	order       []string          // keys of unknown, in order of first mention
	strays      []stray
	twice       map[string]bool // keywords of declarations that may stand once and stand twice

	lineDecls   []*definition.Line // by line
	unitDecls   []*definition.Unit // by unit
	badSignal   []bool             // width or traits in error
	badUnit     []bool
	badLine     []bool
	badField    []bool
	selects     map[int]diag.Place // lines named after `by`
	usedSignal  []bool
	usedUnit    []bool
	usedLine    []bool
	usedField   []bool
	usedSeq     map[string]bool
	nameless    bool            // an operand of the instruction at hand has a name that it cannot have
	strangers   map[string]bool // names in the encoding of the instruction at hand that are no operands of it
	cards       map[string]int
	total       int                          // instruction variants so far
	pasted      int                          // statements that `do` has pasted so far
	looped      map[string]bool              // sequences reported to do themselves
	unread      map[string]bool              // sequences that were too large to paste
	sizes       map[*definition.Sequence]int // what a `do` of each pastes, -1 while that is counted
	machineSeen *definition.Machine
}

// The namespaces of language.md N.1.
const (
	datapathSpace = "datapath"
	fieldSpace    = "field"
	sequenceSpace = "sequence"
	cardSpace     = "card"
)

var spaceOf = map[string]string{
	"bus": datapathSpace, "register": datapathSpace, "flag": datapathSpace, "memory": datapathSpace,
	"unit": datapathSpace, "line": datapathSpace,
	"field": fieldSpace, "sequence": sequenceSpace, "card": cardSpace,
}

func wordCause(at diag.Place) string { return "word " + at.String() }

// blame notes which declarations may be the cause of the error just added.
func (r *resolver) blame(on ...string) { r.blameAt(len(r.list)-1, on...) }

func (r *resolver) blameAt(index int, on ...string) {
	for _, key := range on {
		r.list[index].Suspect(diag.Cause{Key: key})
	}
}

// stray is an error which shows that some declaration may have got the name
// or the keyword of another: one unknown name has the same cause.
type stray struct {
	space string // in which a name may be missing, "" for any
	cause string
}

// astray notes that the error just added is such a one.
func (r *resolver) astray(space, cause string) {
	r.blame(cause)
	if s := (stray{space, cause}); !slices.Contains(r.strays, s) {
		r.strays = append(r.strays, s)
	}
}

// again adds that an absence just reported may be due to a declaration whose
// keyword is there twice.
func (r *resolver) again() {
	var causes []string
	for _, keyword := range sorted(slices.Collect(maps.Keys(r.twice))) {
		causes = append(causes, "keyword "+keyword)
	}
	r.blame(causes...)
}

// missing notes the use of a name that nothing declares; flushUnknown reports it.
func (r *resolver) missing(space string, n definition.Name, candidates func() []string) {
	if r.muted[n.Text] {
		return
	}
	key := space + " " + n.Text
	u := r.unknown[key]
	if u == nil {
		u = &unknownName{space: space, name: n.Text, candidates: candidates()}
		r.unknown[key] = u
		r.order = append(r.order, key)
	}
	u.mentions = append(u.mentions, mention{n.At, r.here})
}

// flushUnknown reports each unknown name once. For every declaration that did
// not parse and whose own name is not known, the most used unknown name of its
// namespace is taken to be the missing one and is not reported again.
func (r *resolver) flushUnknown() {
	if r.src.Incomplete {
		return // what is missing may stand in a file that could not be read
	}
	bySpace := map[string][]*unknownName{}
	for _, key := range r.order {
		u := r.unknown[key]
		if r.muted[u.name] {
			continue // by a declaration that was looked at later
		}
		bySpace[u.space] = append(bySpace[u.space], u)
	}
	spaces := make([]string, 0, len(bySpace))
	for s := range bySpace {
		spaces = append(spaces, s)
	}
	sort.Strings(spaces)
	for _, space := range spaces {
		list := bySpace[space]
		sort.SliceStable(list, func(i, j int) bool { return len(list[i].mentions) > len(list[j].mentions) })
		skip := min(r.lost[space]+r.lost[""], len(list))
		for _, u := range list[skip:] {
			first := u.mentions[0]
			d := r.list.Errorf("unknown-name", first.at, "nothing is named %s here: no %s", u.name, spaceText[space])
			for i, m := range u.mentions[1:] {
				if i == 3 {
					d.Note(diag.Place{}, "and %d more uses of %s", len(u.mentions)-1-i, u.name)
					break
				}
				d.Note(m.at, "%s is used here too", u.name)
			}
			for _, m := range u.mentions {
				r.blame(wordCause(m.at))
				if m.here != "" {
					r.blame(m.here)
				}
			}
			if cause := r.misplaced[u.name]; cause != "" {
				r.blame(cause)
			}
			for i, s := range r.strays {
				if s.space == space || s.space == "" {
					r.blame(s.cause)
					r.strays = slices.Delete(r.strays, i, i+1)
					break
				}
			}
			if near := diag.Nearest(u.name, u.candidates); near != "" {
				d.Hintf("did you mean %s?", near)
			} else if _, ok := functions[u.name]; ok {
				d.Hintf("%s is a function: write %s(...)", u.name, u.name)
			}
		}
	}
}

var spaceText = map[string]string{
	datapathSpace: "bus, register, flag, memory, unit or line has this name",
	fieldSpace:    "field has this name",
	sequenceSpace: "sequence has this name",
	cardSpace:     "card has this name",
}

// datapathNames lists the declared names for which keep holds, for hints.
func (r *resolver) datapathNames(keep func(entity) bool) []string {
	var out []string
	for n, e := range r.path {
		if keep(e) {
			out = append(out, n)
		}
	}
	sort.Strings(out)
	return out
}

func lineNames(e entity) bool { return e.kind == lineEntity }
func (r *resolver) isFlag(e entity) bool {
	return e.kind == signalEntity && r.m.Signals[e.index].Kind == Flag
}

// describe says what a datapath name is: "register acc", "line acc_g".
func (r *resolver) describe(name string, e entity) string {
	switch e.kind {
	case unitEntity:
		return "unit " + name
	case lineEntity:
		return "line " + name
	}
	return r.m.Signals[e.index].Kind.String() + " " + name
}

func (k SignalKind) String() string {
	return [...]string{"bus", "register", "flag", "memory"}[k]
}

// declare enters a datapath name; a repeated one is an error at the second place.
func (r *resolver) declare(n definition.Name, kind entityKind, index int) {
	if n.Text == "none" {
		r.list.Errorf("name-reserved", n.At, "none stands for \"no source\" in a step and cannot be declared")
		r.astray(datapathSpace, nameCause("none"))
		return
	}
	if first, ok := r.declared[n.Text]; ok {
		r.repeated(datapathSpace, n, r.describe(n.Text, first), first.at)
		// Which of the two a use means is not known.
		delete(r.path, n.Text)
		r.muted[n.Text] = true
		return
	}
	r.path[n.Text] = entity{kind, index, n.At}
	r.declared[n.Text] = r.path[n.Text]
}

// repeated reports a name declared twice; one of the two may have been meant
// to have another name of that space.
func (r *resolver) repeated(space string, n definition.Name, what string, first diag.Place) {
	r.list.Errorf("name-repeated", n.At, "%s is declared twice", n.Text).
		Note(first, "%s is declared first here", what)
	r.astray(space, nameCause(n.Text))
}

// adopt takes in what the parser had to skip.
func (r *resolver) adopt() {
	once := map[string]bool{}
	for _, d := range r.src.Decls {
		keyword := ""
		switch d := d.(type) {
		case *definition.Settings:
			if keyword = d.Keyword; keyword == "card" || keyword == "connector" {
				continue
			}
		case *definition.Machine:
			keyword = "machine"
		case *definition.Fetch:
			keyword = "fetch"
		case *definition.Undefined:
			keyword = "undefined"
		case *definition.Supply:
			keyword = "supply"
		default:
			continue
		}
		r.twice[keyword] = r.twice[keyword] || once[keyword]
		once[keyword] = true
	}
	maps.DeleteFunc(r.twice, func(_ string, twice bool) bool { return !twice })
	for _, f := range r.src.Files {
		for _, b := range f.Broken {
			r.brokenKW[b.Keyword] = true
			if b.Beside {
				r.brokenKW[""] = true
			}
			for _, n := range b.Names {
				r.muted[n] = true
				r.brokenKW[n] = true // if it is a keyword: the start of one more
			}
			if b.Name != "" && !(b.Keyword == "line" && attrKinds[b.Name] != nil) {
				r.muted[b.Name] = true
			} else if space, ok := spaceOf[b.Keyword]; ok {
				r.lost[space]++
			} else if b.Keyword == "" {
				r.lost[""]++
			}
		}
	}
}

// absent reports whether the absence of a declaration may be blamed on one
// that did not parse.
func (r *resolver) absent(keyword string) bool {
	return r.brokenKW[keyword] || r.brokenKW[""] || r.src.Incomplete
}

func plural(n int, one string) string {
	if n == 1 {
		return fmt.Sprintf("1 %s", one)
	}
	return fmt.Sprintf("%d %ss", n, one)
}
