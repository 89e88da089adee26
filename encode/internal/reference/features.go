package reference

import (
	"maps"
	"slices"
	"strings"

	"coilwright/lang/definition"
)

// Features names what a definition makes use of, read off its tree, so that a
// test can assert what a run of random machines has covered.
func Features(src *definition.Source) map[string]bool {
	f := map[string]bool{}
	buses := map[string]bool{}
	selects := map[string]bool{}
	sequences := map[string]definition.Block{}
	fields := map[string]bool{}
	flags := 0
	for _, d := range src.Decls {
		switch d := d.(type) {
		case *definition.Bus:
			buses[d.Name.Text] = true
			f["or"] = f["or"] || len(d.Traits) > 0
		case *definition.Unit:
			for _, n := range d.By {
				f["select shared"] = f["select shared"] || selects[n.Text]
				selects[n.Text] = true
			}
			f["settling"] = f["settling"] || d.Settle != nil && number(*d.Settle) > 0
		case *definition.Flag:
			flags++
		case *definition.Sequence:
			sequences[d.Name.Text] = d.Body
		case *definition.Field:
			fields[d.Name.Text] = true
			for _, c := range d.Choices {
				f["choice of no line"] = f["choice of no line"] || len(c.Lines) == 0
				f["choice of two lines"] = f["choice of two lines"] || len(c.Lines) > 1
			}
		}
	}
	f["several flags"] = flags > 1
	f["undefined default"] = true
	restart := false
	for _, d := range src.Decls {
		switch d := d.(type) {
		case *definition.Settings:
			for _, s := range d.Settings {
				v := s.Values[0]
				switch {
				case s.Name == nil || d.Keyword != "sequencer":
				case s.Name.Text == "restart":
					f["restart "+v.Name.Text] = true
				case s.Name.Text == "phases":
					f["phases"] = true
				case s.Name.Text == "dead":
					f["dead"] = number(*v.Number) > 0
				case s.Name.Text == "lead" || s.Name.Text == "trail" || s.Name.Text == "decode":
					f[s.Name.Text+" "+v.Number.Text] = true
				}
			}
		case *definition.Register:
			for _, t := range d.Traits {
				f[t.Name.Text] = true
				f["sliced opcode"] = f["sliced opcode"] || t.Name.Text == "opcode" && t.Hi != nil
			}
		case *definition.Line:
			for _, e := range d.Effects {
				restart = restart || e.Word == "restart"
				f["halt"] = f["halt"] || e.Word == "halt"
				if e.Word != "" {
					continue
				}
				f["sliced transfer"] = f["sliced transfer"] || len(e.Target.Slices) > 0 && e.Target.Slices[0].Lo != nil
				r, ok := e.Source.(*definition.Ref)
				f["sliced transfer"] = f["sliced transfer"] || ok && len(r.Slices) > 0 && r.Slices[0].Lo != nil
				f["bus to bus"] = f["bus to bus"] || ok && buses[r.Name.Text] && buses[e.Target.Name.Text]
			}
			f["output"] = f["output"] || len(d.Effects) == 0 && !selects[d.Name.Text]
			for _, a := range d.Attrs {
				f[a.Name.Text+" of a line"] = true
				f["pulse over 1"] = f["pulse over 1"] || a.Name.Text == "pulse" && number(*a.Number) > 1
			}
		case *definition.Undefined:
			f["undefined "+d.Name.Text] = true
			delete(f, "undefined default")
		}
	}
	f["no restart line"] = !restart
	joins := map[string]bool{}
	for _, d := range src.Decls {
		if d, ok := d.(*definition.Line); ok {
			for _, e := range d.Effects {
				r, ok := e.Source.(*definition.Ref)
				joins[d.Name.Text] = joins[d.Name.Text] || e.Word == "" && ok && buses[r.Name.Text] && buses[e.Target.Name.Text]
			}
		}
	}
	v := visitor{joins: joins, f: f, sequences: sequences, selects: selects, through: through(src, buses), lit: map[string]bool{}}
	for _, d := range src.Decls {
		switch d := d.(type) {
		case *definition.Fetch:
			v.block(d.Body, "fetch ", 0, 0)
			opcodes := 0
			for _, s := range d.Body.Stmts {
				if step, ok := s.(*definition.Step); ok {
					for _, n := range step.Names {
						if strings.HasPrefix(n.Text, "ir") && strings.HasSuffix(n.Text, "_l") {
							opcodes++
						}
					}
				}
			}
			f["opcode in two halves"] = opcodes > 1
		case *definition.Instruction:
			f["second word"] = f["second word"] || len(d.Words) > 1
			field := false
			for _, o := range d.Operands {
				field = field || o.Field != nil
				f["number operand"] = f["number operand"] || o.Width != nil
			}
			f["field operand"] = f["field operand"] || field
			if d.Body == nil {
				f["no body"] = true
				continue
			}
			v.lit = map[string]bool{}
			for _, s := range d.Body.Stmts {
				_, except := s.(*definition.Except)
				f["field with except"] = f["field with except"] || field && except
			}
			v.block(*d.Body, "", 0, 0)
		}
	}
	for name, yes := range f {
		if !yes {
			delete(f, name)
		}
	}
	return f
}

// visitor marks what statements make use of, sequences included where they are done.
type visitor struct {
	f         map[string]bool
	sequences map[string]definition.Block
	selects   map[string]bool
	joins     map[string]bool
	through   map[string][]string // gate: the select lines of the units that it reads
	lit       map[string]bool     // select lines that an earlier step has on
	held      []string
}

// through lists for each gate the select lines that its value depends on.
func through(src *definition.Source, buses map[string]bool) map[string][]string {
	units := map[string][]string{}
	var in func(e definition.Expr) []string
	in = func(e definition.Expr) (out []string) {
		switch e := e.(type) {
		case *definition.Binary:
			return append(in(e.Left), in(e.Right)...)
		case *definition.Not:
			return in(e.Of)
		case *definition.Group:
			return in(e.Of)
		case *definition.Ref:
			out = append(out, units[e.Name.Text]...)
			for _, a := range e.Args {
				out = append(out, in(a)...)
			}
			for _, s := range e.Slices {
				out = append(out, in(s.Hi)...)
			}
		}
		return out
	}
	gates := map[string][]string{}
	for _, d := range src.Decls {
		switch d := d.(type) {
		case *definition.Unit:
			for _, n := range d.By {
				units[d.Name.Text] = append(units[d.Name.Text], n.Text)
			}
			if d.Value != nil {
				units[d.Name.Text] = append(units[d.Name.Text], in(d.Value)...)
			}
			for _, c := range d.Cases {
				units[d.Name.Text] = append(units[d.Name.Text], in(c.Value)...)
			}
		case *definition.Line:
			for _, e := range d.Effects {
				if e.Word == "" && buses[e.Target.Name.Text] {
					gates[d.Name.Text] = append(gates[d.Name.Text], in(e.Source)...)
				}
			}
		}
	}
	return gates
}

// step marks a select line that is off, behind a gate, after a step with it on.
func (v visitor) step(names []definition.Name) {
	on := slices.Clone(v.held)
	for _, n := range names {
		on = append(on, n.Text)
	}
	for _, n := range on {
		for _, s := range v.through[n] {
			v.f["select off behind a gate"] = v.f["select off behind a gate"] || v.lit[s] && !slices.Contains(on, s)
		}
	}
	none := slices.Contains(on, "none")
	for _, n := range on {
		v.f["none over a join"] = v.f["none over a join"] || none && v.joins[n]
		v.lit[n] = v.lit[n] || v.selects[n]
	}
}

func (v visitor) block(b definition.Block, where string, whens, holds int) {
	if whens+holds > 50 {
		return
	}
	for _, s := range b.Stmts {
		switch s := s.(type) {
		case *definition.Step:
			v.step(s.Names)
			for _, n := range s.Names {
				v.f["none"] = v.f["none"] || n.Text == "none"
				v.f["select lines"] = v.f["select lines"] || v.selects[n.Text]
				v.f["halt in a step"] = v.f["halt in a step"] || n.Text == "hlt"
			}
		case *definition.When:
			v.f[where+"when"] = true
			v.f["nested when"] = v.f["nested when"] || whens > 0
			v.f["when in hold"] = v.f["when in hold"] || holds > 0
			v.f["when not"] = v.f["when not"] || s.Not
			other := v
			other.lit = maps.Clone(v.lit) // one arm does not come after the other
			v.block(s.Then, where, whens+1, holds)
			if s.Else != nil {
				v.f["else"] = true
				other.block(*s.Else, where, whens+1, holds)
			}
			maps.Copy(v.lit, other.lit)
		case *definition.Hold:
			v.f["hold"] = true
			v.f["nested hold"] = v.f["nested hold"] || holds > 0
			v.f["hold in when"] = v.f["hold in when"] || whens > 0
			for _, n := range s.Names {
				v.f["select held"] = v.f["select held"] || v.selects[n.Text]
			}
			inner := v
			inner.held = slices.Clone(v.held)
			for _, n := range s.Names {
				inner.held = append(inner.held, n.Text)
			}
			inner.block(s.Body, where, whens, holds+1)
		case *definition.Wait:
			v.f["wait"] = true
		case *definition.Do:
			v.f["do"] = true
			v.block(v.sequences[s.Name.Text], where, whens, holds)
		}
	}
}
