package rehearse_test

import (
	"path"
	"strconv"
	"testing"

	"github.com/google/go-cmp/cmp"

	"coilwright/encode/machine"
	"coilwright/encode/rehearse"
	"coilwright/encode/schedule"
	"coilwright/encode/store"
	"coilwright/examples"
	"coilwright/lang/definition"
	"coilwright/lang/diag"
)

// built is a machine with its store.
type built struct {
	*machine.Machine
	store *store.Store
}

// example builds an example machine.
func example(t testing.TB, name string) built {
	t.Helper()
	return build(t, path.Join(name, name+".coil"), examples.FS.ReadFile)
}

// text builds a machine from its definition.
func text(t testing.TB, page string) built {
	t.Helper()
	return build(t, "test.coil", func(string) ([]byte, error) { return []byte(page), nil })
}

func build(t testing.TB, name string, read func(string) ([]byte, error)) built {
	t.Helper()
	b, list := try(name, read)
	for _, d := range list {
		if d.Severity == diag.Error {
			t.Fatalf("%v: %s [%s]", d.At, d.Text, d.Name)
		}
	}
	return b
}

func try(name string, read func(string) ([]byte, error)) (built, diag.List) {
	src, list := definition.Load(name, read)
	if list.Errors() > 0 {
		return built{}, list
	}
	m, more := machine.Resolve(src)
	list = append(list, more...)
	if list.Errors() > 0 {
		return built{}, list
	}
	p, more := schedule.Encode(m)
	list = append(list, more...)
	if list.Errors() > 0 {
		return built{}, list
	}
	return built{m, schedule.Weave(m, p)}, list
}

// signal is the number of a bus, register, flag or memory.
func (b built) signal(t testing.TB, name string) int {
	t.Helper()
	for i := range b.Signals {
		if b.Signals[i].Name == name {
			return i
		}
	}
	t.Fatalf("%s has no %s", b.Name, name)
	return -1
}

// words puts a program into a memory, from address 0.
func words(values ...uint64) map[uint64]uint64 {
	out := map[uint64]uint64{}
	for i, v := range values {
		out[uint64(i)] = v
	}
	return out
}

// bookProgram is the test program of the textbook machine: checks.md 2.1 [F]
// in the public file, [M] as the book's example.
func bookProgram() map[uint64]uint64 {
	p := words(0x09, 0x1A, 0x1B, 0x2C, 0xE0, 0xF0)
	p[0x9], p[0xA], p[0xB], p[0xC] = 0x10, 0x14, 0x18, 0x20
	return p
}

// publishedWords gives the words of the textbook's ROM, checks.md 2.1 [F],
// and those of the wrong copy if subtract is 3EF.
func publishedWords(s *store.Store, subtract uint64) func(uint64) []byte {
	fetch := []uint64{0x5E3, 0xBE3, 0x263}
	routines := map[uint64][]uint64{
		0x0: {0x1A3, 0x2C3, 0x3E3},
		0x1: {0x1A3, 0x2E1, 0x3C7},
		0x2: {0x1A3, 0x2E1, subtract},
		0xE: {0x3F2, 0x3E3, 0x3E3},
	}
	return func(address uint64) []byte {
		opcode, _, phase := s.Decode(address)
		w := uint64(0x3E3) // idle [D]
		switch routine := routines[opcode]; {
		case phase <= 3:
			w = fetch[phase-1]
		case phase <= 6 && routine != nil:
			w = routine[phase-4]
		}
		return []byte{byte(w >> 8), byte(w)}
	}
}

func TestTextbookRunsTheBooksProgram(t *testing.T) {
	b := example(t, "textbook")
	setup := rehearse.Setup{Memories: map[int]map[uint64]uint64{b.signal(t, "ram"): bookProgram()}}
	for _, c := range []struct {
		name    string
		control rehearse.Control
		out     uint64
	}{
		{"computed", rehearse.FromStore(b.store), 0x1C},
		{"published", rehearse.FromWords(b.store, publishedWords(b.store, 0x3CF)), 0x1C},  // [F]
		{"wrong copy", rehearse.FromWords(b.store, publishedWords(b.store, 0x3EF)), 0x3C}, // [F]; 60 is [D]
	} {
		t.Run(c.name, func(t *testing.T) {
			var notes []rehearse.Note
			got := rehearse.New(b.Machine, b.store, c.control, setup).Run(rehearse.Stop{}, func(v *rehearse.View) {
				notes = append(notes, v.Notes...)
			})
			if got.Reason != rehearse.Halted || got.Phases != 33 || got.Instructions != 6 {
				t.Errorf("%s after %d phases and %d instructions, want halt, 33 and 6", got.Reason, got.Phases, got.Instructions)
			}
			if out := got.Values[b.signal(t, "out")]; out != c.out {
				t.Errorf("out shows %02X, want %02X", out, c.out)
			}
			if len(notes) > 0 || len(got.Memories) > 0 {
				t.Errorf("nothing to say was expected, got %v %v", notes, got.Memories)
			}
			fast := rehearse.New(b.Machine, b.store, c.control, setup).Fast(rehearse.Stop{})
			if diff := cmp.Diff(got, fast); diff != "" {
				t.Errorf("(-run +fast):\n%s", diff)
			}
		})
	}
}

func hex(t *testing.T, digits string) uint64 {
	t.Helper()
	v, err := strconv.ParseUint(digits, 16, 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}
