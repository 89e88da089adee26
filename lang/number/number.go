// Package number reads the numbers, bit patterns and quantities that both languages spell the same way.
package number

import (
	"fmt"
	"math"
	"math/bits"
	"strconv"
	"strings"
)

// maxBits is the widest value and the widest pattern.
const maxBits = 64

// Value returns the value of a whole number: decimal, 0x with hexadecimal or
// 0b with binary digits, single _ between digits (language.md, Tokens). It is
// an error if the number has a fraction, a ? or more than 64 bits.
func Value(text string) (uint64, error) {
	base, digits, err := split(text)
	if err != nil {
		return 0, err
	}
	if strings.Contains(digits, ".") {
		return 0, fmt.Errorf("%s is not a whole number", short(text))
	}
	var v uint64
	for i := 0; i < len(digits); i++ {
		c := digits[i]
		if c == '_' {
			continue
		}
		if c == '?' {
			return 0, fmt.Errorf("%s has a ?, which stands for a bit that does not matter: a number has only digits", short(text))
		}
		d, ok := digit(c, base)
		if !ok {
			return 0, fmt.Errorf("%s is not a %s number: %c is no digit of it", short(text), baseName[base], c)
		}
		high, low := bits.Mul64(v, uint64(base))
		sum, carry := bits.Add64(low, uint64(d), 0)
		if high != 0 || carry != 0 {
			return 0, fmt.Errorf("%s does not fit in %d bits", short(text), maxBits)
		}
		v = sum
	}
	return v, nil
}

// Pattern is a run of bits, some of which may not matter. Value has no bit
// outside Care, and neither has one at or above Width.
type Pattern struct {
	Width       int // 1 to 64 bits
	Care, Value uint64
}

// Mask has the Width lowest bits set. Care equals it if every bit matters.
func (p Pattern) Mask() uint64 {
	return ^uint64(0) >> (maxBits - p.Width)
}

// Bits returns the pattern that text stands for in an encoding or a field
// value (language.md E.1): digits are bits, most significant first; 0x and 0b
// bring 4 bits and 1 bit a digit; a ? stands for a digit whose bits do not
// matter; _ is left out.
func Bits(text string) (Pattern, error) {
	base, digits, err := split(text)
	if err != nil {
		return Pattern{}, err
	}
	if strings.Contains(digits, ".") {
		return Pattern{}, fmt.Errorf("%s has a point: bits are written with 0, 1 and ?", short(text))
	}
	each := 1
	if base == 16 {
		each = 4
	}
	var p Pattern
	for i := 0; i < len(digits); i++ {
		c := digits[i]
		if c == '_' {
			continue
		}
		if p.Width+each > maxBits {
			return Pattern{}, fmt.Errorf("%s has more than %d bits", short(text), maxBits)
		}
		p.Width += each
		p.Care <<= each
		p.Value <<= each
		if c == '?' {
			continue
		}
		d, ok := digit(c, base)
		if !ok || base == 10 && d > 1 {
			if base == 10 {
				return Pattern{}, fmt.Errorf("%s is not a row of bits: %c is neither 0, 1 nor ? (hexadecimal digits begin with 0x)", short(text), c)
			}
			return Pattern{}, fmt.Errorf("%s is not a %s number: %c is no digit of it", short(text), baseName[base], c)
		}
		p.Care |= 1<<each - 1
		p.Value |= uint64(d)
	}
	return p, nil
}

// Measured is a quantity in SI units.
type Measured struct {
	SI float64
	// Dimension is V, A, ohm, s, H, W, m, C (degrees Celsius), % (SI holds
	// the fraction: 75 % is 0.75) or empty for a plain number.
	Dimension string
}

type unit struct {
	dimension string
	exponent  int // power of ten
}

// units are those of language.md W.5.
var units = map[string]unit{
	"V": {"V", 0}, "mV": {"V", -3},
	"A": {"A", 0}, "mA": {"A", -3},
	"ohm": {"ohm", 0}, "mohm": {"ohm", -3}, "kohm": {"ohm", 3},
	"s": {"s", 0}, "ms": {"s", -3}, "us": {"s", -6},
	"H": {"H", 0}, "mH": {"H", -3},
	"W": {"W", 0}, "mW": {"W", -3},
	"m": {"m", 0}, "mm": {"m", -3},
	"C": {"C", 0},
	"%": {"%", -2},
}

// Units returns the known units in the order of language.md W.5.
func Units() []string {
	return []string{"V", "mV", "A", "mA", "ohm", "mohm", "kohm", "s", "ms", "us", "H", "mH", "W", "mW", "m", "mm", "C", "%"}
}

// IsUnit reports whether name is a known unit.
func IsUnit(name string) bool {
	_, ok := units[name]
	return ok
}

// Quantity returns number, which may have a fraction, in the given unit; no
// unit ("") makes it a plain number. The result is the float64 nearest to the
// decimal that was written.
func Quantity(number, unitName string) (Measured, error) {
	u, known := units[unitName]
	if !known && unitName != "" {
		return Measured{}, fmt.Errorf("%s is not a unit: units are %s", unitName, strings.Join(Units(), " "))
	}
	base, digits, err := split(number)
	if err != nil {
		return Measured{}, err
	}
	if base != 10 {
		v, err := Value(number)
		if err != nil {
			return Measured{}, err
		}
		digits = strconv.FormatUint(v, 10)
	}
	if i := strings.IndexFunc(digits, func(r rune) bool { return r != '_' && r != '.' && (r < '0' || r > '9') }); i >= 0 {
		return Measured{}, fmt.Errorf("%s is not a decimal number: %c is no digit of it", short(number), digits[i])
	}
	// Scaling the text and not the value keeps 7 ms equal to 0.007: a product
	// with 1e-3 would be rounded twice.
	v, err := strconv.ParseFloat(strings.ReplaceAll(digits, "_", "")+"e"+strconv.Itoa(u.exponent), 64)
	if err != nil || math.IsInf(v, 0) {
		return Measured{}, fmt.Errorf("%s is too large", short(number))
	}
	return Measured{SI: v, Dimension: u.dimension}, nil
}

var baseName = map[int]string{2: "binary", 10: "decimal", 16: "hexadecimal"}

// split returns the base and the digits, which are not empty, hold a _ only
// between two others and at most one point, with digits on both sides.
func split(text string) (base int, digits string, err error) {
	base, digits = 10, text
	switch {
	case strings.HasPrefix(text, "0x"):
		base, digits = 16, text[2:]
	case strings.HasPrefix(text, "0b"):
		base, digits = 2, text[2:]
	}
	if digits == "" {
		if text == "" {
			return 0, "", fmt.Errorf("a number is missing")
		}
		return 0, "", fmt.Errorf("%s has no digits", short(text))
	}
	point := false
	for i := 0; i < len(digits); i++ {
		if c := digits[i]; c != '_' && c != '.' {
			continue
		}
		if i == 0 || i == len(digits)-1 || !solid(digits[i-1]) || !solid(digits[i+1]) {
			if digits[i] == '_' {
				return 0, "", fmt.Errorf("%s has a _ that is not between two digits", short(text))
			}
			return 0, "", fmt.Errorf("%s has a point that is not between two digits", short(text))
		}
		if digits[i] == '.' {
			if point || base != 10 {
				return 0, "", fmt.Errorf("%s is not a number: it has a point too many", short(text))
			}
			point = true
		}
	}
	return base, digits, nil
}

func solid(c byte) bool { return c != '_' && c != '.' }

func digit(c byte, base int) (int, bool) {
	d := base
	switch {
	case '0' <= c && c <= '9':
		d = int(c - '0')
	case 'a' <= c && c <= 'f':
		d = int(c-'a') + 10
	case 'A' <= c && c <= 'F':
		d = int(c-'A') + 10
	}
	return d, d < base
}

// short keeps a spelling of thousands of digits from filling the screen.
func short(text string) string {
	if len(text) <= 80 {
		return text
	}
	return text[:76] + " ..."
}
