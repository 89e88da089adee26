package readback

import (
	"bytes"
	"fmt"
	"io"
	"runtime"
	"strings"
	"testing"
)

// writeHex and writeSrec are as plain as they can be: they share nothing with
// emit/image, which this package may not import.
func writeHex(m *Memory) string {
	var b strings.Builder
	for _, s := range m.Segments {
		for i, v := range s.Data {
			address := s.Address + uint32(i)
			b.WriteString(hexLine(0, 4, byte(address>>24), byte(address>>16)))
			b.WriteString(hexLine(int(address&0xFFFF), 0, v))
		}
	}
	for _, s := range m.Starts {
		kind := int(s.Type[1] - '0')
		b.WriteString(hexLine(0, kind, byte(s.Value>>24), byte(s.Value>>16), byte(s.Value>>8), byte(s.Value)))
	}
	return b.String() + hexEnd
}

func writeSrec(m *Memory) string {
	var b strings.Builder
	if len(m.Header) > 0 {
		b.WriteString(srecLine(0, 2, 0, m.Header...))
	}
	n := 0
	for _, s := range m.Segments {
		for i, v := range s.Data {
			b.WriteString(srecLine(3, 4, s.Address+uint32(i), v))
			n++
		}
	}
	b.WriteString(srecLine(6, 3, uint32(n)))
	for _, s := range m.Starts {
		kind := int(s.Type[1] - '0')
		b.WriteString(srecLine(kind, 11-kind, s.Value))
	}
	return b.String()
}

// bounded runs a reader and fails if it takes more memory than a small multiple
// of what it was fed.
func bounded(t *testing.T, read func(io.Reader) (*Memory, error), file []byte) (*Memory, error) {
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	m, err := read(bytes.NewReader(file))
	runtime.ReadMemStats(&after)
	if taken := after.TotalAlloc - before.TotalAlloc; taken > 2<<20+64*uint64(len(file)) {
		t.Fatalf("%d bytes taken for a file of %d", taken, len(file))
	}
	return m, err
}

func FuzzHexReader(f *testing.F) {
	for _, seed := range []string{
		"", ":\n", hexEnd, "\xEF\xBB\xBF" + hexEnd,
		":020000021000EC\n:04FFFE00AABBCCDDF1\n:00000001FF\n",
		":020000040001F9\r\n:04FFFE00AABBCCDDF1\r\n:00000001FF\r\n",
		":02000004FFFFFC\n:04fffe00aabbccddf1\n:00000001ff",
		":0300300002337A1E\n:0300300002337A1E\n:040000031000FFF8F2\n:04000005000000CD2A\n:00000001FF\n",
		":0D011C0000000000C3E0FF0000000000C30F\n",
		":10000000E3E363A3C3E3A3E1C7A3E1CFF2E3E3E345\n:10001000214601360121470136007EFE09D2190130\n:00000001FF\n",
	} {
		f.Add([]byte(seed))
	}
	f.Fuzz(func(t *testing.T, file []byte) { again(t, Hex, writeHex, file) })
}

func FuzzSrecReader(f *testing.F) {
	for _, seed := range []string{
		"", "S", "S1\n", srecEnd,
		"S00600004844521B\nS107FEDC210080CFAE\nS5030001FB\nS9030000FC\n",
		"S315CAFE010055AA55AA55AA55AA55AA55AA55AA55AA29\r\nS70500000000FA\r\n",
		"s1137af00a0a0d0000000000000000000000000061\ns9030000fc",
		"S214FFFFF000000000000000000000000000000000FC\nS604000001FA\n",
	} {
		f.Add([]byte(seed))
	}
	f.Fuzz(func(t *testing.T, file []byte) { again(t, Srec, writeSrec, file) })
}

// again reads a file and, if it is good, what a plain writer makes of it.
func again(t *testing.T, read func(io.Reader) (*Memory, error), write func(*Memory) string, file []byte) {
	m, err := bounded(t, read, file)
	if err != nil {
		if text := err.Error(); !strings.HasPrefix(text, "line ") || len(text) > 200 {
			t.Fatalf("an error without a place, or too long: %s", text)
		}
		return
	}
	second, err := read(strings.NewReader(write(m)))
	if err != nil {
		t.Fatalf("written again: %v", err)
	}
	if got, want := fmt.Sprintf("%X", second), fmt.Sprintf("%X", m); got != want {
		t.Fatalf("written again it is %s, not %s", got, want)
	}
}

func FuzzMemhReader(f *testing.F) {
	for _, seed := range []string{
		"", "// machine x\n@0\n5E3\nBE3\n", "@2 03 @0 1 2 /* c */ @ffff_ffff", "@0 x", "0_1 zz", "@1 01 @0 00 01",
	} {
		f.Add([]byte(seed))
	}
	f.Fuzz(func(t *testing.T, file []byte) {
		w, err := Memh(bytes.NewReader(file))
		if err != nil {
			return
		}
		var b strings.Builder
		for i := range w.Count {
			fmt.Fprintf(&b, "%X\n", w.Word(i))
		}
		second, err := Memh(strings.NewReader(b.String()))
		if err != nil || !bytes.Equal(second.Data, w.Data) || second.Count != w.Count {
			t.Fatalf("%v: %+v, not %+v", err, second, w)
		}
	})
}

func FuzzHeaderReader(f *testing.F) {
	for _, seed := range []string{
		"", "static const uint16_t a[A_WORDS] = { 0x05E3, 12, 017, };",
		"#define A_WORDS 1UL /* x */\n#define A_BYTES 2\n#define A_LITTLE 1\nstatic const uint8_t a[2] = {1,2}; // end",
	} {
		f.Add([]byte(seed))
	}
	f.Fuzz(func(t *testing.T, file []byte) {
		w, err := Header(bytes.NewReader(file))
		if err == nil && len(w.Data) != w.Count*w.BytesPerWord {
			t.Fatalf("%+v", w)
		}
	})
}

// TestHostileRecordsTakeLittleMemory feeds the readers what would blow up a
// map of pages: single bytes far apart, downwards.
func TestHostileRecordsTakeLittleMemory(t *testing.T) {
	var file, other strings.Builder
	for i := 20000; i > 0; i-- {
		address := uint32(i) * 200003
		file.WriteString(hexLine(0, 4, byte(address>>24), byte(address>>16)))
		file.WriteString(hexLine(int(address&0xFFFF), 0, byte(i)))
		other.WriteString(srecLine(3, 4, address, byte(i)))
	}
	for name, test := range map[string]struct {
		read func(io.Reader) (*Memory, error)
		file string
	}{"hex": {Hex, file.String() + hexEnd}, "srec": {Srec, other.String() + srecEnd}} {
		m, err := bounded(t, test.read, []byte(test.file))
		if err != nil || len(m.Segments) != 20000 {
			t.Errorf("%s: %v", name, err)
		}
	}
}
