package number

import (
	"math"
	"strings"
	"testing"
)

func TestValue(t *testing.T) {
	for _, c := range []struct {
		text string
		want uint64
		err  string
	}{
		{"0", 0, ""},
		{"12", 12, ""},
		{"007", 7, ""},
		{"1_000_000", 1000000, ""},
		{"0x1F", 31, ""},
		{"0xdead_BEEF", 0xdeadbeef, ""},
		{"0b1010", 10, ""},
		{"0b1111_0000", 240, ""},
		{"18446744073709551615", math.MaxUint64, ""},
		{"0xFFFF_FFFF_FFFF_FFFF", math.MaxUint64, ""},
		{"0x0_0000_0000_0000_0001", 1, ""},
		{"0b" + strings.Repeat("1", 64), math.MaxUint64, ""},
		{"18446744073709551616", 0, "18446744073709551616 does not fit in 64 bits"},
		{"184467440737095516150", 0, "184467440737095516150 does not fit in 64 bits"},
		{"0x1_0000_0000_0000_0000", 0, "0x1_0000_0000_0000_0000 does not fit in 64 bits"},
		{strings.Repeat("9", 100), 0, strings.Repeat("9", 76) + " ... does not fit in 64 bits"},
		{"1.5", 0, "1.5 is not a whole number"},
		{"01??", 0, "01?? has a ?, which stands for a bit that does not matter: a number has only digits"},
		{"0b102", 0, "0b102 is not a binary number: 2 is no digit of it"},
		{"12a", 0, "12a is not a decimal number: a is no digit of it"},
		{"0xG", 0, "0xG is not a hexadecimal number: G is no digit of it"},
		{"0x", 0, "0x has no digits"},
		{"", 0, "a number is missing"},
		{"1__0", 0, "1__0 has a _ that is not between two digits"},
		{"_1", 0, "_1 has a _ that is not between two digits"},
		{"1_", 0, "1_ has a _ that is not between two digits"},
		{"0x_1", 0, "0x_1 has a _ that is not between two digits"},
		{"1_.5", 0, "1_.5 has a _ that is not between two digits"},
		{"1.", 0, "1. has a point that is not between two digits"},
		{"1.2.3", 0, "1.2.3 is not a number: it has a point too many"},
		{"0x1.5", 0, "0x1.5 is not a number: it has a point too many"},
		{"-1", 0, "-1 is not a decimal number: - is no digit of it"},
	} {
		got, err := Value(c.text)
		if got != c.want || message(err) != c.err {
			t.Errorf("Value(%q) = %d, %q, want %d, %q", c.text, got, message(err), c.want, c.err)
		}
	}
}

func message(err error) string {
	if err == nil {
		return ""
	}
	return err.Error()
}

func TestBits(t *testing.T) {
	for _, c := range []struct {
		text string
		want Pattern
		err  string
	}{
		{"0", Pattern{1, 1, 0}, ""},
		{"1", Pattern{1, 1, 1}, ""},
		{"?", Pattern{1, 0, 0}, ""},
		{"0000_0001", Pattern{8, 0xFF, 1}, ""},
		{"01??", Pattern{4, 0b1100, 0b0100}, ""},
		{"0000_????", Pattern{8, 0xF0, 0}, ""},
		{"?1", Pattern{2, 0b01, 0b01}, ""},
		{"0x1?", Pattern{8, 0xF0, 0x10}, ""},
		{"0xa5", Pattern{8, 0xFF, 0xA5}, ""},
		{"0b10", Pattern{2, 3, 2}, ""},
		{"0b1?_0", Pattern{3, 0b101, 0b100}, ""},
		{strings.Repeat("1", 64), Pattern{64, math.MaxUint64, math.MaxUint64}, ""},
		{"0x" + strings.Repeat("f", 15) + "?", Pattern{64, math.MaxUint64 - 15, math.MaxUint64 - 15}, ""},
		{strings.Repeat("?", 64), Pattern{64, 0, 0}, ""},
		{strings.Repeat("0", 65), Pattern{}, strings.Repeat("0", 65) + " has more than 64 bits"},
		{"0x" + strings.Repeat("0", 17), Pattern{}, "0x00000000000000000 has more than 64 bits"},
		{"12", Pattern{}, "12 is not a row of bits: 2 is neither 0, 1 nor ? (hexadecimal digits begin with 0x)"},
		{"0b12", Pattern{}, "0b12 is not a binary number: 2 is no digit of it"},
		{"0.1", Pattern{}, "0.1 has a point: bits are written with 0, 1 and ?"},
		{"0x", Pattern{}, "0x has no digits"},
		{"0__1", Pattern{}, "0__1 has a _ that is not between two digits"},
	} {
		got, err := Bits(c.text)
		if got != c.want || message(err) != c.err {
			t.Errorf("Bits(%q) = %+v, %q, want %+v, %q", c.text, got, message(err), c.want, c.err)
		}
	}
}

func TestMask(t *testing.T) {
	for width, want := range map[int]uint64{1: 1, 8: 0xFF, 63: math.MaxUint64 >> 1, 64: math.MaxUint64} {
		if got := (Pattern{Width: width}).Mask(); got != want {
			t.Errorf("width %d: mask %x, want %x", width, got, want)
		}
	}
}

func TestQuantity(t *testing.T) {
	for _, c := range []struct {
		text, unit string
		want       Measured
		err        string
	}{
		{"12", "V", Measured{12, "V"}, ""},
		{"200", "mA", Measured{0.2, "A"}, ""},
		{"0.7", "V", Measured{0.7, "V"}, ""},
		{"50", "mohm", Measured{0.05, "ohm"}, ""},
		{"1_0.5", "kohm", Measured{10500, "ohm"}, ""},
		{"7", "ms", Measured{0.007, "s"}, ""},
		{"3", "us", Measured{0.000003, "s"}, ""},
		{"5", "mV", Measured{0.005, "V"}, ""},
		{"2", "A", Measured{2, "A"}, ""},
		{"720", "ohm", Measured{720, "ohm"}, ""},
		{"2", "s", Measured{2, "s"}, ""},
		{"1.5", "H", Measured{1.5, "H"}, ""},
		{"3", "mH", Measured{0.003, "H"}, ""},
		{"4", "W", Measured{4, "W"}, ""},
		{"250", "mW", Measured{0.25, "W"}, ""},
		{"2", "m", Measured{2, "m"}, ""},
		{"2.54", "mm", Measured{0.00254, "m"}, ""},
		{"25", "C", Measured{25, "C"}, ""},
		{"75", "%", Measured{0.75, "%"}, ""},
		{"32", "", Measured{32, ""}, ""},
		{"0x20", "mA", Measured{0.032, "A"}, ""},
		{"0.05", "", Measured{0.05, ""}, ""},
		{"5", "mv", Measured{}, "mv is not a unit: units are V mV A mA ohm mohm kohm s ms us H mH W mW m mm C %"},
		{"?", "V", Measured{}, "? is not a decimal number: ? is no digit of it"},
		{"1a", "V", Measured{}, "1a is not a decimal number: a is no digit of it"},
		{"", "V", Measured{}, "a number is missing"},
		{strings.Repeat("9", 400), "V", Measured{}, strings.Repeat("9", 76) + " ... is too large"},
	} {
		got, err := Quantity(c.text, c.unit)
		if got != c.want || message(err) != c.err {
			t.Errorf("Quantity(%q, %q) = %+v, %q, want %+v, %q", c.text, c.unit, got, message(err), c.want, c.err)
		}
	}
}

func TestUnitsAreAllKnown(t *testing.T) {
	if len(Units()) != len(units) {
		t.Errorf("%d units listed, %d known", len(Units()), len(units))
	}
	for _, u := range Units() {
		if !IsUnit(u) {
			t.Errorf("%s is listed but not known", u)
		}
	}
	if IsUnit("") || IsUnit("kV") {
		t.Error("what is no unit is known as one")
	}
}

// The three readings of one text agree where they can.
func FuzzNumber(f *testing.F) {
	for _, s := range []string{"0", "12", "0x1F", "0b10", "1.5", "01??", "0x_", "1_0", "18446744073709551616", "\xff", "1e5", "0x1p4"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		v, verr := Value(s)
		p, perr := Bits(s)
		q, qerr := Quantity(s, "")
		if perr == nil && (p.Width < 1 || p.Width > 64 || p.Value&^p.Care != 0 || p.Care&^p.Mask() != 0) {
			t.Errorf("%q: %+v", s, p)
		}
		prefixed := strings.HasPrefix(s, "0x") || strings.HasPrefix(s, "0b")
		if prefixed && verr == nil && perr == nil && (p.Value != v || p.Care != p.Mask()) {
			t.Errorf("%q: value %d, pattern %+v", s, v, p)
		}
		if verr == nil && (qerr != nil || q.SI != float64(v)) {
			t.Errorf("%q: value %d, quantity %v, %v", s, v, q, qerr)
		}
		if qerr == nil && (math.IsNaN(q.SI) || math.IsInf(q.SI, 0) || q.SI < 0) {
			t.Errorf("%q: %v", s, q)
		}
	})
}
