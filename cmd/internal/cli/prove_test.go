package cli_test

import (
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

func TestProve(t *testing.T) {
	dir := demo(t)
	got := run(t, dir, "wires", "millrace.coil", "--form", "csv")
	if got.status != 0 {
		t.Fatal(got.err)
	}
	list := strings.ReplaceAll(got.out, "\r\n", "\n")
	write(t, filepath.Join(dir, "wires.csv"), list)

	// A diode the wrong way round: its ends are swapped in every wire.
	turned := strings.NewReplacer(",D20:A,", ",D20:K,", ",D20:K,", ",D20:A,").Replace(list)
	write(t, filepath.Join(dir, "turned.csv"), turned)
	// A wire is not there.
	wire := regexp.MustCompile(`(?m)^wire,.*,line acc_l,.*\n`).FindString(list)
	if wire == "" {
		t.Fatal("no wire of the line acc_l in the list")
	}
	write(t, filepath.Join(dir, "short.csv"), strings.Replace(list, wire, "", 1))
	// The list of another version: of one with a comment more.
	write(t, filepath.Join(dir, "later.coil"), read(t, filepath.Join(dir, "millrace.coil"))+"; later\n")
	write(t, filepath.Join(dir, "other.coil"), strings.Replace(read(t, filepath.Join(dir, "millrace.coil")), "machine millrace", "machine other", 1))
	write(t, filepath.Join(dir, "twice.csv"), list+wire)
	write(t, filepath.Join(dir, "purple.csv"), strings.Replace(list, "list,plain,", "list,purple,", 1))
	write(t, filepath.Join(dir, "text.csv"), "this is no list\n")

	tryAll(t, dir, []try{
		{"prove", "prove millrace.coil", 0, "millrace, style plain: proved", ""},
		{"what it does not show", "prove millrace.coil", 0, "Not shown", ""},
		{"prove with its time", "prove millrace.coil", 0, "with contacts in change-over, in ", ""},
		{"the time asked for", "prove millrace.coil --time", 0, ": proved", ""},
		{"prove a list", "prove millrace.coil --wires wires.csv", 0, "256 opcodes, 4 combinations of flags, 12 phases", ""},
		{"prove a list of another version", "prove later.coil --wires wires.csv", 0, ": proved", "another version of the definition"},
		{"a diode the wrong way round", "prove millrace.coil --wires turned.csv", 1, "not proved", ""},
		{"a wire is missing", "prove millrace.coil --wires short.csv", 1, "is off and should be on", ""},
		{"where the definition asks", "prove millrace.coil --wires short.csv", 1, "asked for at millrace.coil:", ""},
		{"no list", "prove millrace.coil --wires text.csv", 1, "", "text.csv: "},
		{"a list of another machine", "prove other.coil --wires wires.csv", 1, "", "wires.csv: this list is of machine millrace, not of other"},
		{"a part that is not wired", "prove millrace.coil --wires short.csv", 1, "in 1 wire:", ""},
		{"a diode turned, against ours", "prove millrace.coil --wires turned.csv", 1, "* D20 lies the other way round", ""},
		{"a wire twice", "prove millrace.coil --wires twice.csv", 0, "is listed twice, first on line ", ""},
		{"a style that the list alone knows", "prove millrace.coil --wires purple.csv", 0, "style \"purple\", which is none of", ""},
		{"no such file", "prove millrace.coil --wires nothing.csv", 3, "", "nothing.csv"},
		{"no name", "prove millrace.coil --wires=", 2, "", "--wires is empty"},
		{"wires and style", "prove millrace.coil --wires wires.csv --style shared", 2, "", "--style says how"},
		{"both from standard input", "prove - --wires -", 2, "", "both come from standard input"},
		{"no definition", "prove", 2, "", "the FILE with the definition is missing"},
		{"a style that is none", "prove millrace.coil --style tidy", 2, "", "one of plain, shared, minimal is wanted"},
	})
}

// TestProofFitsPaper: the page has 80 columns, whatever is found.
func TestProofFitsPaper(t *testing.T) {
	dir := demo(t)
	list := run(t, dir, "wires", "millrace.coil", "--form", "csv").out
	write(t, filepath.Join(dir, "turned.csv"), strings.NewReplacer(",D9:A,", ",D9:K,", ",D9:K,", ",D9:A,", ",K2:A1,", ",K3:A1,", ",K3:A1,", ",K2:A1,").Replace(list))
	for _, args := range [][]string{{"prove", "millrace.coil"}, {"prove", "millrace.coil", "--wires", "turned.csv"}} {
		for n, line := range strings.Split(run(t, dir, args...).out, "\n") {
			if len(line) > 80 {
				t.Errorf("%v, line %d has %d columns: %s", args, n+1, len(line), line)
			}
		}
	}
}

// TestProveAgainstTheHardware: a list that the definition's cards and parts
// cannot be is not proved, whatever its lines do.
func TestProveAgainstTheHardware(t *testing.T) {
	dir := demo(t)
	definition := read(t, filepath.Join(dir, "millrace.coil"))
	list := strings.ReplaceAll(run(t, dir, "wires", "millrace.coil", "--form", "csv").out, "\r\n", "\n")
	change := func(of, from, to string) string {
		t.Helper()
		if !strings.Contains(of, from) {
			t.Fatalf("no %q", from)
		}
		return strings.ReplaceAll(of, from, to)
	}
	// A wire from card 1 to card 2 and nowhere else.
	var link, far []string
	past := list
	for _, m := range regexp.MustCompile(`(?m)^pin,(J1),control 1,(\d+),,link,(\d+),.*\n`).FindAllStringSubmatch(list, -1) {
		ends := regexp.MustCompile(`(?m)^pin,(J\d+),control \d+,(\d+),,link,`+m[3]+`,.*\n`).FindAllStringSubmatch(list, -1)
		if len(ends) == 2 && ends[1][1] == "J2" {
			link, far = m, ends[1]
			past = strings.NewReplacer(ends[0][0], "", ends[1][0], "").Replace(list)
			break
		}
	}
	at := link[1] + ":" + link[2]
	end := func(t string) string {
		m := regexp.MustCompile(`(?m)^wire,,,,,,,,(?:` + t + `,([^,]+)|([^,]+),` + t + `),.*\n`).FindStringSubmatch(list)
		past = strings.Replace(past, m[0], "", 1)
		return m[1] + m[2]
	}
	past += "wire,,,,,,,," + end(at) + "," + end(far[1]+":"+far[2]) + "\n"
	for _, c := range []struct{ what, definition, list, told string }{
		{"as it is", definition, list, ""},
		{"another side", change(definition, "spare 4 }", "spare 4, feed negative }"), list, "the list feeds the positive side of the supply, the definition says feed negative"},
		{"levels", change(definition, "limit 200 mA }", "limit 200 mA, levels 1 }"), list, "the list allows for 2 diodes in series, the definition says levels 1"},
		{"levels in deed", change(definition, "limit 200 mA }", "limit 200 mA, levels 1 }"), change(list, "list,plain,,2,", "list,plain,,1,"), "is fed through more diodes in series than 1"},
		{"the list's own levels", definition, change(list, "list,plain,,2,", "list,plain,,3,"), "the list allows for 3 diodes in series, the definition says levels 2"},
		{"poles", change(definition, "poles 4", "poles 2"), list, "K1 has 4 poles, "},
		{"relays of a card", change(definition, "control { relays 32", "control { relays 4"), list, " relays, the definition says relays 4"},
		{"a fixed pin", change(definition, "94 = rst", "93 = rst"), list, "rst leaves by pin J1:94, the definition fixes 93 = rst"},
		{"a fixed pin for something else", change(definition, "94 = rst", "94 = hlt"), list, "pin J1:94 is for line rst, the definition fixes 94 = hlt"},
		{"the supply's pins", change(definition, "1 = supply, 2 = supply, 94 = rst, 95 = ground, 96 = ground", "94 = rst, 3 = ground"), list, "the definition fixes 3 = ground"},
		{"pins of a card", change(definition, "pins 96, spare 4 }\nconnector control { 1 = supply, 2 = supply, 94 = rst, 95 = ground, 96 = ground }", "pins 50 }"), list, "a connector of the definition has pins 1 to 50"},
		{"a site taken twice", definition, change(list, "relay,K7,control 1,7,", "relay,K7,control 1,8,"), "K7 and K8 both stand at site 8 of card control 1"},
		{"a site that is not there", definition, change(list, "relay,K7,control 1,7,", "relay,K7,control 1,99,"), "K7 stands at site 99 of card control 1: a card has sites 1 to 32, the definition says relays 32"},
		{"poles of one", definition, change(list, "relay,K7,control 1,7,4", "relay,K7,control 1,7,6"), "K7 has 6 poles: the definition says poles 4"},
		{"a card that is none", definition, change(list, "diode,D7,control 1", "diode,D7,nowhere 9"), "there is no card nowhere 9, where the list has D7"},
		{"a pin that is not there", definition, change(change(list, "pin,J1,control 1,96,", "pin,J1,control 1,196,"), "J1:96", "J1:196"), "there is no pin J1:196"},
		{"a line off its pin", definition, change(change(list, "pin,J1,control 1,94,", "pin,J1,control 1,90,"), "J1:94", "J1:90"), "rst leaves by pin J1:90, the definition fixes 94 = rst"},
		{"a connector on two cards", definition, change(list, "pin,J1,control 1,94,", "pin,J1,control 2,94,"), "connector J1 is on card control 1, and its pin 94 on card control 2"},
		{"past the connectors", definition, past, "between card control 1 and card control 2 runs "},
		// What may be: a relay, a card and pins more than were drawn.
		{"a relay more", definition, list + "relay,K90,control 4,32,4\nrelay,K91,control 4,1,2\n", ""},
		{"a pin more", definition, list + "pin,J1,control 1,90,,return,,\npin,J1,control 1,91,,line,24,rst\nwire,,,,,,,,J1:90,J1:95\nwire,,,,,,,,J1:91,J1:94\n", ""},
	} {
		write(t, filepath.Join(dir, "now.coil"), c.definition)
		write(t, filepath.Join(dir, "now.csv"), c.list)
		got := run(t, dir, "prove", "now.coil", "--wires", "now.csv")
		page := strings.Join(strings.Fields(got.out), " ")
		switch {
		case c.told == "" && (got.status != 0 || !strings.Contains(page, ": proved")):
			t.Errorf("%s: status %d\n%s%s", c.what, got.status, got.out, got.err)
		case c.told != "" && (got.status != 1 || !strings.Contains(page, c.told)):
			t.Errorf("%s: status %d, want %q\n%s%s", c.what, got.status, c.told, got.out, got.err)
		}
	}
}

// turned swaps the ends of a diode in every wire of a list.
func turned(list, diode string) string {
	return strings.NewReplacer(","+diode+":A,", ","+diode+":K,", ","+diode+":K,", ","+diode+":A,").Replace(list)
}

// TestProveSuppression: no line depends on what quenches a coil, and it is
// found all the same if it is missing or the wrong way round.
func TestProveSuppression(t *testing.T) {
	dir := demo(t)
	simple := read(t, filepath.Join(dir, "millrace.coil"))
	zener := strings.Replace(simple, "bounce 2 ms", "bounce 2 ms, suppression zener", 1)
	lists := map[string]string{}
	for _, d := range []string{simple, zener} {
		write(t, filepath.Join(dir, "now.coil"), d)
		lists[d] = strings.ReplaceAll(run(t, dir, "wires", "now.coil", "--form", "csv").out, "\r\n", "\n")
	}
	// The first diode across a coil comes with the Zener diode Z1 in the one list, and alone in the other.
	d := regexp.MustCompile(`,(D\d+):A,Z1:A,`).FindStringSubmatch(lists[zener])[1]
	for _, c := range []struct{ what, definition, list, told string }{
		{"as it is", simple, lists[simple], ""},
		{"with Zener diodes", zener, lists[zener], ""},
		{"a diode the wrong way round", simple, turned(lists[simple], d), "current reaches the return without a coil"},
		{"a diode missing", simple, without(lists[simple], d), "no diode is across the coil of K1: the definition says suppression diode"},
		{"a Zener diode the wrong way round", zener, turned(lists[zener], "Z1"), "the Zener diode Z1 across the coil of K1 points as " + d + " does"},
		{"a Zener diode bridged", zener, lists[zener] + "wire,,,,,,,,Z1:A,Z1:K\n", "the Zener diode Z1 is bridged"},
		{"both the wrong way round", zener, turned(turned(lists[zener], "Z1"), d), d + " and Z1 across the coil of K1 are both the wrong way round"},
		{"only the diode the wrong way round", zener, turned(lists[zener], d), "current reaches the return without a coil"},
		{"the list of plain diodes", zener, lists[simple], d + " is across the coil of K1 alone: the definition says suppression zener"},
	} {
		write(t, filepath.Join(dir, "now.coil"), c.definition)
		write(t, filepath.Join(dir, "now.csv"), c.list)
		got := run(t, dir, "prove", "now.coil", "--wires", "now.csv")
		page := strings.Join(strings.Fields(got.out), " ")
		if status := min(1, len(c.told)); got.status != status || !strings.Contains(page, c.told) {
			t.Errorf("%s: status %d, want %d and %q\n%s%s", c.what, got.status, status, c.told, got.out, got.err)
		}
	}
}

// without takes a diode out of a list, and joins the wires that met on its leads.
func without(list, diode string) string {
	list = regexp.MustCompile(`(?m)^diode,`+diode+`,.*\n`).ReplaceAllString(list, "")
	for _, end := range []string{diode + ":A", diode + ":K"} {
		var met []string
		list = regexp.MustCompile(`(?m)^wire,,,,,,,,(?:`+end+`,([^,]+)|([^,]+),`+end+`),.*\n`).ReplaceAllStringFunc(list, func(wire string) string {
			f := strings.Split(wire, ",")
			met = append(met, strings.Replace(f[8]+f[9], end, "", 1))
			return ""
		})
		for i := 1; i < len(met); i++ {
			list += "wire,,,,,,,," + met[0] + "," + met[i] + "\n"
		}
	}
	return list
}

// TestProveOpenWays: a way that is open somewhere is told with where it is, and
// relays that cannot pull in come first.
func TestProveOpenWays(t *testing.T) {
	dir := demo(t)
	list := strings.ReplaceAll(run(t, dir, "wires", "millrace.coil", "--style", "minimal", "--form", "csv").out, "\r\n", "\n")
	find := func(pattern string) []string {
		m := regexp.MustCompile(`(?m)^wire,,,,,,,,`+pattern+`,.*\n`).FindAllStringSubmatch(list, -1)
		if m == nil {
			t.Fatalf("no wire %s", pattern)
		}
		return m[len(m)-1]
	}
	cut := func(wire []string) string { return strings.Replace(list, wire[0], "", 1) }
	// A row of one wire, from a contact to its only diode.
	var row []string
	for _, m := range regexp.MustCompile(`(?m)^wire,,,,,,,,(K\d+:\d+),(D\d+):A,(row R\d+),.*\n`).FindAllStringSubmatch(list, -1) {
		if row == nil && strings.Count(list, ","+m[3]+",") == 1 {
			row = m
		}
	}
	contact, diode := row[1], row[2]
	line := regexp.MustCompile(`(?m)^wire,.*,` + diode + `:K,.*line (\w+),`).FindStringSubmatch(list)[1]
	off, leads := line+" is off and should be on", "leads to "+regexp.MustCompile(`(?m)^pin,(J1),control 1,(\d+),,line,\d+,`+line+`,`).ReplaceAllString(regexp.MustCompile(`(?m)^pin,J1,control 1,\d+,,line,\d+,`+line+`,`).FindString(list), "$1:$2")+" line "+line
	feed, repeated, end := find(`(J1:\d+),K1:A1`), find(`K\d+:A1,(K\d+):A1,opcode \d+ repeated`), find(`K\d+:A2,(K\d+):A2,return`)
	for _, c := range []struct {
		what, list string
		told       []string
	}{
		{"a wire to a diode", cut(row), []string{"1. " + off, "nothing is wired to " + diode + ":A, and " + diode + ":K " + leads, "live as far as ", contact + ", ",
			"differs from the list that is worked out in style minimal in 1 wire: * missing: " + contact + " - " + diode + ":A"}},
		{"a diode the wrong way round", turned(list, diode), []string{off, diode + " stops it: " + diode + ":K is live, and " + diode + ":A " + leads, "* " + diode + " lies the other way round"}},
		{"a diode missing", without(list, diode), []string{"live as far as ", contact + ", ", "* missing: " + diode + " on card control 1"}},
		{"the feed of a coil", cut(feed), []string{"1. the coil of K1 has no feed: nothing that brings current in leads to K1:A1", "* missing: " + feed[1] + " - K1:A1"}},
		{"the feed of a coil that repeats another", cut(repeated), []string{"1. the coil of " + repeated[1] + " has no feed: nothing that brings current in leads to " + repeated[1] + ":A1"}},
		{"the return of coils", cut(end), []string{"1. the coil of " + end[1] + " has no end at the return: " + end[1] + ":A1 is on the net of "}},
	} {
		write(t, filepath.Join(dir, "now.csv"), c.list)
		got := run(t, dir, "prove", "millrace.coil", "--wires", "now.csv")
		page := strings.Join(strings.Fields(got.out), " ")
		for _, told := range c.told {
			if got.status != 1 || !strings.Contains(page, told) {
				t.Errorf("%s: status %d, want %q\n%s%s", c.what, got.status, told, got.out, got.err)
			}
		}
	}
}

// TestProveLateRelays: relays that hang on phase wires are named, with the
// sources that may meet because of them.
func TestProveLateRelays(t *testing.T) {
	dir := t.TempDir()
	write(t, filepath.Join(dir, "two.coil"), `machine two
sequencer { lead 1, trail 0, dead 0, change gap 1 ms }
bus d 4
register ir 4 opcode
register a 4
register b 4
register c 4
register sw 4 input
line sw_g : sw -> d
line ir_l : d -> ir
line a_g : a -> d lead 0
line b_l : d -> b
line c_l : d -> c
line rst : restart
fetch { step sw_g ir_l }
instruction mv = 0001 {
  step sw_g b_l
  step a_g c_l
}
undefined free
diode { levels 1 }
`)
	list := run(t, dir, "wires", "two.coil")
	got := run(t, dir, "prove", "two.coil")
	page := strings.Join(strings.Fields(got.out), " ")
	pulse := regexp.MustCompile(`(K\d+), pulse relay, in phases 3-4: sw_g`).FindStringSubmatch(page)
	if got.status != 0 || pulse == nil {
		t.Fatalf("status %d, no pulse relay in phases 3 and 4\n%s%s\n%s", got.status, got.out, got.err, list.out)
	}
	for _, told := range []string{
		"on late by the time to operate, 7 ms or so, and goes off late by the time to release, 4 ms or more",
		"two sources on one bus: " + pulse[1] + " holds sw_g on past phase 4, and a_g comes on in phase 5",
		"the times of relays on phase wires (K7, " + pulse[1] + ")",
	} {
		if !strings.Contains(page, told) {
			t.Errorf("nothing of %q\n%s", told, got.out)
		}
	}
	// A latch that lets go late, and its source does not.
	write(t, filepath.Join(dir, "late.coil"), `machine late
sequencer { lead 0, trail 0 }
bus d 4
register ir 4 opcode
register b 4
register pg 4 input
register sw 4 input
line pg_g : pg -> d
line sw_g : sw -> d
line ir_l : d -> ir
line b_l : d -> b low
line rst : restart
fetch { step pg_g ir_l }
instruction mv = 0001 { step sw_g b_l }
`)
	for text, phase := range map[string]string{"trail 0": "2", "trail 1": "3"} {
		write(t, filepath.Join(dir, "now.coil"), strings.Replace(read(t, filepath.Join(dir, "late.coil")), "trail 0", text, 1))
		got := run(t, dir, "prove", "now.coil")
		page := strings.Join(strings.Fields(got.out), " ")
		if got.status != 0 || !strings.Contains(page, "inverting relay, in phase "+phase+": b_l") ||
			strings.Contains(page, " holds b_l on past phase "+phase+", and sw_g goes off") != (text == "trail 0") {
			t.Errorf("%s: status %d\n%s%s", text, got.status, got.out, got.err)
		}
	}
	if got := run(t, demo(t), "prove", "millrace.coil"); strings.Contains(got.out, "Caution") {
		t.Errorf("the demo has no relay on a phase wire\n%s", got.out)
	}
}

// TestProveToldAgainstTheCurrent: on a card that is fed negative a way is told
// from the feed, and the page says so.
func TestProveToldAgainstTheCurrent(t *testing.T) {
	dir := demo(t)
	write(t, filepath.Join(dir, "now.coil"), strings.Replace(read(t, filepath.Join(dir, "millrace.coil")), "spare 4 }", "spare 4, feed negative }", 1))
	list := strings.ReplaceAll(run(t, dir, "wires", "now.coil", "--form", "csv").out, "\r\n", "\n")
	write(t, filepath.Join(dir, "now.csv"), list+"wire,,,,,,,,D1:A,D1:K\n")
	got := run(t, dir, "prove", "now.coil", "--wires", "now.csv")
	if page := strings.Join(strings.Fields(got.out), " "); got.status != 1 || !strings.Contains(page, "the negative side of the supply here: the current runs them the other way") {
		t.Errorf("status %d\n%s%s", got.status, got.out, got.err)
	}
}

// TestProveWithoutRelays: where nothing can be in change-over nothing is said of it.
func TestProveWithoutRelays(t *testing.T) {
	dir := t.TempDir()
	write(t, filepath.Join(dir, "one.coil"), `machine one
bus d 4
register ir 4 opcode
register sw 4 input
line sw_g : sw -> d
line ir_l : d -> ir
line rst : restart
fetch { step sw_g ir_l }
instruction nop = 0000
undefined free
`)
	got := run(t, dir, "prove", "one.coil", "--style", "minimal")
	if got.status != 0 || !strings.Contains(got.out, " 0 relays,") || strings.Contains(got.out, "with contacts in change-over") {
		t.Errorf("status %d\n%s%s", got.status, got.out, got.err)
	}
}

// TestProveLinesOfOthers: a fixed pin may be that of a line that other hardware
// drives, as long as nothing is wired to it.
func TestProveLinesOfOthers(t *testing.T) {
	dir := demo(t)
	definition := strings.Replace(read(t, filepath.Join(dir, "millrace.coil")), "94 = rst", "94 = rst, 60 = hlt", 1)
	write(t, filepath.Join(dir, "now.coil"), strings.Replace(definition, "split 8", "omit hlt\n    split 8", 1))
	list := strings.ReplaceAll(run(t, dir, "wires", "now.coil", "--form", "csv").out, "\r\n", "\n")
	write(t, filepath.Join(dir, "now.csv"), list)
	write(t, filepath.Join(dir, "wired.csv"), list+"wire,,,,,,,,J1:60,D20:K\n")
	tryAll(t, dir, []try{
		{"only the pin", "prove now.coil --wires now.csv", 0, ": proved", ""},
		{"a wire", "prove now.coil --wires wired.csv", 1, "is wired to the line hlt, which other hardware drives", ""},
	})
}
