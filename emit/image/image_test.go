package image_test

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"flag"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"coilwright/emit/image"
	"coilwright/emit/readback"
	"coilwright/encode/store"
)

var update = flag.Bool("update", os.Getenv("UPDATE_GOLDEN") == "1", "write the golden files anew")

func golden(t *testing.T, name string, got []byte) {
	t.Helper()
	path := filepath.Join("..", "..", "testdata", "image", name)
	if *update {
		if err := os.WriteFile(path, got, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(string(want), string(got)); diff != "" {
		t.Errorf("%s (-want +got):\n%s", name, diff)
	}
}

// written returns the file an image makes.
func written(t testing.TB, im *image.Image, form image.Form, o image.Options) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := image.Write(&b, im, form, o); err != nil {
		t.Fatalf("writing %s: %v", form, err)
	}
	return b.Bytes()
}

func whole(t testing.TB, s *store.Store) *image.Image {
	t.Helper()
	im, err := image.Whole(s)
	if err != nil {
		t.Fatal(err)
	}
	return im
}

func TestTextbookWordsAreThePublishedOnes(t *testing.T) {
	im := whole(t, textbook())
	for i, w := range textbookWords {
		got := uint16(im.Data[2*i])<<8 | uint16(im.Data[2*i+1])
		if got != w.word {
			t.Errorf("word %X is %03X, the book has %03X", i, got, w.word)
		}
	}
	// checks.md 1.3 [D]
	const sum = "842c3530d90010fa197e5534c081e843417a805f54a76e160e52095363e27577"
	digest := sha256.Sum256(written(t, im, image.FormBin, image.Options{}))
	if got := hex.EncodeToString(digest[:]); got != sum {
		t.Errorf("the binary has sha256 %s, not %s", got, sum)
	}
}

func TestTextbookFiles(t *testing.T) {
	s := textbook()
	im := whole(t, s)
	split := textbook()
	split.Word.Split = 8
	low, err := image.Chip(split, 1)
	if err != nil {
		t.Fatal(err)
	}
	high, err := image.Chip(split, 2)
	if err != nil {
		t.Fatal(err)
	}
	// All but S0 and S5, which checks.md leaves out, are from its 1.3 [D]; the
	// two added records are by Motorola's rule for the sum.
	tests := []struct {
		name string
		im   *image.Image
		form image.Form
		o    image.Options
		want string
	}{
		{"hex", im, image.FormHex, image.Options{},
			":1000000005E30BE3026301A302C303E301A302E1DF :1000100003C701A302E103CF03F203E303E303E316 :00000001FF"},
		{"srec", im, image.FormSrec, image.Options{},
			"S00B000074657874626F6F6B84 S113000005E30BE3026301A302C303E301A302E1DB S113001003C701A302E103CF03F203E303E303E312 S5030002FA S9030000FC"},
		{"low bytes", low, image.FormHex, image.Options{},
			":10000000E3E363A3C3E3A3E1C7A3E1CFF2E3E3E345 :00000001FF"},
		{"high bytes", high, image.FormHex, image.Options{},
			":10000000050B0201020301020301020303030303C0 :00000001FF"},
		{"across 64 KiB, segmented", im, image.FormHex, image.Options{Base: 0x1FFF8, Addressing: image.Segmented},
			":020000021000EC :08FFF80005E30BE3026301A322 :020000022000DC :1000000002C303E301A302E103C701A302E103CF9B :0800100003F203E303E303E341 :00000001FF"},
		{"across 64 KiB, linear", im, image.FormHex, image.Options{Base: 0x1FFF8},
			":020000040001F9 :08FFF80005E30BE3026301A322 :020000040002F8 :1000000002C303E301A302E103C701A302E103CF9B :0800100003F203E303E303E341 :00000001FF"},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			want := strings.ReplaceAll(test.want, " ", "\n") + "\n"
			if diff := cmp.Diff(want, string(written(t, test.im, test.form, test.o))); diff != "" {
				t.Errorf("-want +got:\n%s", diff)
			}
		})
	}
}

func TestGoldenFiles(t *testing.T) {
	s := textbook()
	golden(t, "textbook.memh", written(t, whole(t, s), image.FormMemh, image.Options{}))
	golden(t, "textbook.h", written(t, whole(t, s), image.FormHeader, image.Options{Size: 64}))
	s.Word.Split = 8
	chip, err := image.Exercise(s, 2)
	if err != nil {
		t.Fatal(err)
	}
	golden(t, "chip2.h", written(t, chip, image.FormHeader, image.Options{}))
	golden(t, "chip2.memh", written(t, chip, image.FormMemh, image.Options{}))
	wide := wideStore()
	golden(t, "wide.h", written(t, whole(t, wide), image.FormHeader, image.Options{}))
}

// wideStore has a word of 70 bits, one low line in it, and two phases.
func wideStore() *store.Store {
	s := &store.Store{
		Machine: "_wide", Hash: strings.Repeat("5a", 32), Phases: 2,
		Word: store.Word{Address: []store.AddressPart{{Kind: store.PhasePart, Name: "phase", Bits: 1}}, Little: true},
	}
	row := store.Row{Phase: 2, Lines: store.NewSet(70)}
	for i := range 70 {
		s.Columns = append(s.Columns, store.Column{Name: "wire", Kind: store.Output, Low: i == 69})
		s.Word.Bits = append(s.Word.Bits, i)
		if i%3 == 0 {
			row.Lines.Add(i)
		}
	}
	s.Rows = []store.Row{row}
	return s
}

// slow is the word at an address by the pages, without regard to speed.
func slow(s *store.Store, bits []int, address uint64, exercise bool) []bool {
	opcode, flags, phase := s.Decode(address)
	on := store.NewSet(len(s.Columns))
	switch {
	case phase > s.Phases:
	case exercise:
		var turns []int
		for i, c := range s.Columns {
			if c.Kind != store.Restart && c.Kind != store.Halt {
				turns = append(turns, i)
			}
		}
		if len(turns) > 0 {
			on.Add(turns[(int(opcode)*s.Phases+phase-1)%len(turns)])
		}
	default:
		on = s.At(opcode, flags, phase)
	}
	out := make([]bool, len(bits))
	for i, c := range bits {
		out[i] = c >= 0 && on.Has(c) != s.Columns[c].Low
	}
	return out
}

func TestRandomStoresAgreeWithTheRows(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	for range 60 {
		s := randomStore(r)
		for chip := range image.Chips(s) + 1 {
			if chip > 0 && s.Word.Split == 0 {
				continue
			}
			for _, exercise := range []bool{false, true} {
				var im *image.Image
				var err error
				bits := s.Word.Bits
				switch {
				case exercise:
					im, err = image.Exercise(s, chip)
				case chip == 0:
					im, err = image.Whole(s)
				default:
					im, err = image.Chip(s, chip)
				}
				if err != nil {
					t.Fatal(err)
				}
				width := len(bits)
				if chip > 0 {
					width = s.Word.Split
					bits = bits[(chip-1)*width:]
					bits = bits[:min(width, len(bits))]
				}
				if want := (width + 7) / 8; im.BytesPerWord != want || im.Bits != width || len(im.Data) != want*im.Words || im.Words != 1<<s.AddressBits() {
					t.Fatalf("%d words of %d bits in %d bytes, %d in all", im.Words, im.Bits, im.BytesPerWord, len(im.Data))
				}
				for address := range im.Words {
					want := make([]byte, im.BytesPerWord)
					for i, on := range slow(s, bits, uint64(address), exercise) {
						if !on {
							continue
						}
						at := im.BytesPerWord - 1 - i/8
						if s.Word.Little {
							at = i / 8
						}
						want[at] |= 1 << (i % 8)
					}
					if got := im.Data[address*im.BytesPerWord:][:im.BytesPerWord]; !bytes.Equal(got, want) {
						t.Fatalf("chip %d, exercise %v: word %X is %X, want %X", chip, exercise, address, got, want)
					}
				}
				if chip < 2 || r.IntN(8) == 0 {
					readAll(t, s, im)
				}
			}
		}
	}
}

// readAll reads the image back from every form, and again with one bit flipped.
func readAll(t *testing.T, s *store.Store, im *image.Image) {
	t.Helper()
	for _, form := range image.Forms() {
		for _, size := range []int{0, len(im.Data) + im.BytesPerWord*5} {
			file := written(t, im, form, image.Options{Size: size})
			if err := readback.Image(bytes.NewReader(file), string(form), s, im.Chip, im.Exercise); err != nil {
				t.Fatalf("%s: %v\n%s", form, err, file)
			}
		}
		flipped := *im
		flipped.Data = bytes.Clone(im.Data)
		// A bit of the word, not of the padding: memh and header have no place for that.
		word, bit := (len(im.Data)*7/13)%im.Words, (len(im.Data)*5)%im.Bits
		at := im.BytesPerWord - 1 - bit/8
		if im.Little {
			at = bit / 8
		}
		flipped.Data[word*im.BytesPerWord+at] ^= 1 << (bit % 8)
		err := readback.Image(bytes.NewReader(written(t, &flipped, form, image.Options{})), string(form), s, im.Chip, im.Exercise)
		var d *readback.Difference
		if !errors.As(err, &d) || d.Address != uint64(word) {
			t.Fatalf("%s: a flipped bit at word 0x%X gives %v", form, word, err)
		}
	}
}

func TestLimits(t *testing.T) {
	s := textbook()
	s.OpcodeBits = 21
	s.Word.Address = append(s.Word.Address, store.AddressPart{Kind: store.OpcodePart, Name: "opcode", Bits: 21})
	_, err := image.Whole(s)
	if !errors.Is(err, image.ErrTooLarge) || !strings.Contains(err.Error(), "33,554,432 words") {
		t.Errorf("2^25 words: %v", err)
	}
	if _, err := image.Exercise(s, 0); !errors.Is(err, image.ErrTooLarge) {
		t.Errorf("exercise of 2^25 words: %v", err)
	}
	s.Word.Address[1].Bits = 20
	if im, err := image.Whole(s); err != nil || im.Words != image.LargestWords {
		t.Errorf("2^24 words: %v", err)
	}

	for len(s.Word.Bits) <= 512 { // 64 bytes make 1 GiB of 2^24 words
		s.Word.Bits = append(s.Word.Bits, -1)
	}
	if _, err := image.Whole(s); !errors.Is(err, image.ErrTooLarge) || !strings.Contains(err.Error(), "words of 65 bytes, at most 1,073,741,824 bytes") {
		t.Errorf("more than 1 GiB: %v", err)
	}

	s = textbook()
	if _, err := image.Chip(s, 1); err == nil || !strings.Contains(err.Error(), "not split") {
		t.Errorf("a chip of a whole word: %v", err)
	}
	s.Word.Split = 8
	for _, n := range []int{-1, 0, 3} {
		if _, err := image.Chip(s, n); err == nil || !strings.Contains(err.Error(), "chips 1 to 2") {
			t.Errorf("chip %d of 2: %v", n, err)
		}
	}
	if _, err := image.Exercise(s, 3); err == nil {
		t.Error("exercise of chip 3 of 2: no error")
	}
}

// TestNoBits: where every line is omitted there is nothing to write, and no
// file of empty words.
func TestNoBits(t *testing.T) {
	s := textbook()
	s.Word.Bits = nil
	for _, split := range []int{0, 8} {
		s.Word.Split = split
		for name, make := range map[string]func() (*image.Image, error){
			"whole":            func() (*image.Image, error) { return image.Whole(s) },
			"chip":             func() (*image.Image, error) { return image.Chip(s, 1) },
			"exercise":         func() (*image.Image, error) { return image.Exercise(s, 0) },
			"exercise of chip": func() (*image.Image, error) { return image.Exercise(s, 1) },
		} {
			if im, err := make(); im != nil || !errors.Is(err, image.ErrEmpty) {
				t.Errorf("%s, split %d: %v", name, split, err)
			}
		}
		if err := readback.Image(strings.NewReader(""), "bin", s, 0, false); err == nil {
			t.Errorf("split %d: an empty file passes for a store without bits", split)
		}
	}
}

func TestOptionsThatCannotBe(t *testing.T) {
	im := whole(t, textbook())
	tests := []struct {
		form image.Form
		o    image.Options
		want string
	}{
		{image.FormHex, image.Options{Record: 256}, "1 to 255"},
		{image.FormHex, image.Options{Record: -1}, "1 to 255"},
		{image.FormSrec, image.Options{Record: 253}, "S1 records hold 1 to 252"},
		{image.FormSrec, image.Options{Record: 252, Base: 0x10000}, "S2 records hold 1 to 251"},
		{image.FormSrec, image.Options{Record: 251, Base: 0x1000000}, "S3 records hold 1 to 250"},
		{image.FormBin, image.Options{Size: 31}, "has 32 bytes and does not fit into 31"},
		{image.FormBin, image.Options{Size: image.LargestSize + 1}, "more than any chip"},
		{image.FormMemh, image.Options{Size: 33}, "whole words"},
		{image.FormHeader, image.Options{Size: 33}, "whole words"},
		{image.FormBin, image.Options{Base: 1}, "only hex and srec"},
		{image.FormHex, image.Options{Base: 0xFFFFFFE1}, "run past the last address"},
		{image.FormSrec, image.Options{Base: 0xFFFFFFE1}, "run past the last address"},
		{image.FormHex, image.Options{Base: 0xFFFE1, Addressing: image.Segmented}, "0x100000: segment addressing ends"},
		{"octal", image.Options{}, "no form"},
	}
	for _, test := range tests {
		var b bytes.Buffer
		err := image.Write(&b, im, test.form, test.o)
		if err == nil || !strings.Contains(err.Error(), test.want) {
			t.Errorf("%s %+v: %v, want %q", test.form, test.o, err, test.want)
		}
		if b.Len() > 0 {
			t.Errorf("%s %+v: %d bytes written before the error", test.form, test.o, b.Len())
		}
	}
	for _, o := range []image.Options{
		{Record: 255}, {Record: 1}, {Base: 0xFFFFFFE0}, {Base: 0xFFFE0, Addressing: image.Segmented},
	} {
		written(t, im, image.FormHex, o)
	}
	for _, o := range []image.Options{
		{Record: 252}, {Record: 251, Base: 0x10000}, {Record: 250, Base: 0x1000000}, {Base: 0xFFFFFFE0},
	} {
		written(t, im, image.FormSrec, o)
	}
}

func TestSizeFillsTheChip(t *testing.T) {
	s := textbook()
	s.Word.Fill = 0xA5
	got := written(t, whole(t, s), image.FormBin, image.Options{Size: 37})
	want := append(written(t, whole(t, s), image.FormBin, image.Options{}), 0xA5, 0xA5, 0xA5, 0xA5, 0xA5)
	if diff := cmp.Diff(want, got); diff != "" {
		t.Error(diff)
	}
	if err := readback.Image(bytes.NewReader(got), "bin", s, 0, false); err != nil {
		t.Errorf("read back: %v", err)
	}
	got[36] = 0xA4
	if err := readback.Image(bytes.NewReader(got), "bin", s, 0, false); err == nil {
		t.Error("a wrong fill byte is not noticed")
	}
}

type failing struct{ after int }

var errFull = errors.New("no space left")

func (f *failing) Write(p []byte) (int, error) {
	if f.after -= len(p); f.after < 0 {
		return 0, errFull
	}
	return len(p), nil
}

func TestAWriterThatFails(t *testing.T) {
	im := whole(t, textbook())
	im.Data = make([]byte, 1<<20)
	im.Words = len(im.Data) / 2
	for _, form := range image.Forms() {
		for _, after := range []int{0, 1 << 19} {
			if err := image.Write(&failing{after}, im, form, image.Options{}); !errors.Is(err, errFull) {
				t.Errorf("%s, full after %d bytes: %v", form, after, err)
			}
		}
	}
}
