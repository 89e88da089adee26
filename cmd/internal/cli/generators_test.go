package cli_test

import (
	"fmt"
	"strings"

	"coilwright/encode/machine"
	"coilwright/encode/schedule"
	"coilwright/lang/diag"
	"coilwright/lang/diag/catalogue"
)

// The limits of language.md N.5 that belong to files.
const (
	mostBytes      = 1 << 20
	mostCharacters = 4096
	mostBrackets   = 100
	mostDepth      = 32
	mostFiles      = 256
)

// generators make the wrong examples that cannot be shown, by the name of
// their diagnostic, with what is expected of them: each is one step past its
// limit. Lines are counted from the end of the base machine.
var generators = map[string]func() (map[string]string, []mark){
	"file-unreadable": func() (map[string]string, []mark) {
		return nil, []mark{{catalogue.Root + ":0", diag.Error, "cannot read the definition"}}
	},
	"file-too-large": func() (map[string]string, []mark) {
		text := catalogue.Base()
		text += strings.Repeat("; sacks\n", mostBytes/8)[:mostBytes+1-len(text)]
		return alone(text, 1, "more than 1 MiB")
	},
	"file-nul": func() (map[string]string, []mark) {
		return below("\n; \x00\n", 2, "NUL byte")
	},
	"file-encoding": func() (map[string]string, []mark) {
		return below("\n; an M\xfcller at the bench\n", 2, "byte 0xFC")
	},
	"line-too-long": func() (map[string]string, []mark) {
		return below("\n;"+strings.Repeat("-", mostCharacters)+"\n", 2, "more than 4096 characters")
	},
	"nesting-too-deep": func() (map[string]string, []mark) {
		return below("\nline deep_l : "+strings.Repeat("(", mostBrackets+1)+"acc"+strings.Repeat(")", mostBrackets+1)+" -> tmp\n",
			2, "more than 100 brackets")
	},
	"include-depth": func() (map[string]string, []mark) {
		files := map[string]string{catalogue.Root: catalogue.Base() + "include \"part1.coil\"\n"}
		for i := 1; i <= mostDepth; i++ {
			files[fmt.Sprintf("part%d.coil", i)] = fmt.Sprintf("include \"part%d.coil\"\n", i+1)
		}
		files[fmt.Sprintf("part%d.coil", mostDepth+1)] = "; the end\n"
		return files, []mark{{fmt.Sprintf("part%d.coil:1", mostDepth), diag.Error, "more than 32 files deep"}}
	},
	"include-count": func() (map[string]string, []mark) {
		text := catalogue.Base()
		files := map[string]string{}
		for i := 1; i <= mostFiles; i++ {
			name := fmt.Sprintf("part%d.coil", i)
			text += "include \"" + name + "\"\n"
			files[name] = "; nothing\n"
		}
		files[catalogue.Root] = text
		return files, []mark{{fmt.Sprintf("%s:%d", catalogue.Root, lines(text)), diag.Error, "at most 256 files"}}
	},
	"limit-flags": func() (map[string]string, []mark) {
		text := ""
		for i := range machine.MaxFlags { // the base has one
			text += fmt.Sprintf("flag f%d input\n", i)
		}
		return below(text, machine.MaxFlags, "16 flags at most, this has 17")
	},
	"limit-lines": func() (map[string]string, []mark) {
		_, list := diagnose(catalogue.Root, map[string]string{catalogue.Root: catalogue.Base()})
		if len(list) > 0 {
			panic("the base machine has errors")
		}
		text, have := "", strings.Count(catalogue.Base(), "\nline ")
		for i := have; i <= machine.MaxLines; i++ {
			text += fmt.Sprintf("line spare%d\n", i)
		}
		return below(text, machine.MaxLines+1-have, "1024 lines at most, this has 1025")
	},
	"limit-variants": func() (map[string]string, []mark) {
		text := "field row 6 {\n"
		for i := range 64 {
			text += fmt.Sprintf("    r%d = %06b\n", i, i)
		}
		text = strings.ReplaceAll(catalogue.Base(), "ir  8 opcode", "ir  24 opcode") + text +
			"}\ninstruction drill a:row, b:row, c:row = 1000_00 a b c\n"
		text = strings.NewReplacer("= 0000_0001", "= 0000_0001_0000_0000_0000_0000", "= 0000_0010", "= 0000_0010_0000_0000_0000_0000").Replace(text)
		return alone(text, lines(text), "65536 instruction variants at most, drill goes over")
	},
	"limit-paths": func() (map[string]string, []mark) {
		text := "line bell\n"
		for i := range 15 {
			text += fmt.Sprintf("flag f%d input\n", i)
		}
		text += "instruction ring = 0001_0000 {\n"
		for i := range 15 {
			text += fmt.Sprintf("    when f%d { step bell }\n", i)
		}
		text += "}\n"
		first := strings.Count(text, "\n")
		text += "instruction again = 0001_0001 {\n    step bell\n"
		for i := range 15 {
			text += fmt.Sprintf("    when f%d { step bell }\n", i)
		}
		text += "}\n"
		return below(text, first+1, fmt.Sprintf("more than %d ways", schedule.MaxPaths))
	},
	"sequence-size": func() (map[string]string, []mark) {
		text := "line bell\nsequence ten {\n" + strings.Repeat("    step bell\n", 10) + "}\n"
		last := "ten"
		for _, name := range []string{"hundred", "thousand", "myriad", "lakh", "million"} {
			text += "sequence " + name + " {\n" + strings.Repeat("    do "+last+"\n", 10) + "}\n"
			last = name
		}
		text += "instruction peal = 0001_0000 {\n    do million\n}\n"
		return below(text, lines(text)-1, "paste more than 200000 statements")
	},
}

func lines(text string) int { return strings.Count(text, "\n") }

func alone(text string, line int, part string) (map[string]string, []mark) {
	return map[string]string{catalogue.Root: text}, []mark{{fmt.Sprintf("%s:%d", catalogue.Root, line), diag.Error, part}}
}

// below puts text below the base machine; line counts within text.
func below(text string, line int, part string) (map[string]string, []mark) {
	return alone(catalogue.Base()+text, lines(catalogue.Base())+line, part)
}
