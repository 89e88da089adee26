package image

import (
	"bufio"
	"fmt"
	"io"
	"strings"
)

// writeHeader writes a C array, valid in C99 and in C++11: words in the
// smallest of uint8_t to uint64_t that holds them, or, above 64 bits, the
// bytes of the binary image.
func writeHeader(w io.Writer, im *Image) error {
	out := bufio.NewWriterSize(w, bufferSize)
	name := identifier(im)
	macro := strings.ToUpper(name)
	size := 8
	for size < im.Bits && size < 64 {
		size *= 2
	}
	flat := im.Bits > 64
	fmt.Fprintf(out, "/* machine %s, definition %s, %s: %d words of %d bits */\n",
		im.Machine, im.shortHash(), im.about(), im.Words, im.Bits)
	fmt.Fprintf(out, "#ifndef %s_H\n#define %s_H\n\n#include <stdint.h>\n\n", macro, macro)
	fmt.Fprint(out, "/* Where the array is kept. For an AVR: include <avr/pgmspace.h> and define\n"+
		"   COILWRIGHT_STORAGE as PROGMEM before this file. */\n"+
		"#ifndef COILWRIGHT_STORAGE\n#define COILWRIGHT_STORAGE\n#endif\n\n")
	fmt.Fprintf(out, "#define %s_WORDS %dUL\n#define %s_BITS %d\n", macro, im.Words, macro, im.Bits)
	count, perLine := macro+"_WORDS", min(8, 128/size)
	if flat {
		order, little := "most", 0
		if im.Little {
			order, little = "least", 1
		}
		fmt.Fprintf(out, "#define %s_BYTES %d /* a word, %s significant byte first */\n", macro, im.BytesPerWord, order)
		fmt.Fprintf(out, "#define %s_LITTLE %d\n", macro, little)
		size = 8
		count += " * " + macro + "_BYTES"
	}
	fmt.Fprintf(out, "\nstatic const uint%d_t %s[%s] COILWRIGHT_STORAGE = {\n", size, name, count)
	var word []byte
	for i := range im.Words {
		if flat {
			for j, b := range im.Data[i*im.BytesPerWord:][:im.BytesPerWord] {
				out.WriteString(lead(j, 8))
				out.WriteString("0x")
				out.WriteByte(digits[b>>4])
				out.WriteByte(digits[b&15])
				out.WriteByte(',')
			}
			fmt.Fprintf(out, " /* %X */\n", i)
			continue
		}
		word = im.word(word[:0], i)
		out.WriteString(lead(i%perLine, perLine))
		out.WriteString("0x")
		for j := size/8 - len(word); j > 0; j-- {
			out.WriteString("00")
		}
		for _, b := range word {
			out.WriteByte(digits[b>>4])
			out.WriteByte(digits[b&15])
		}
		out.WriteByte(',')
		if i%perLine == perLine-1 || i == im.Words-1 {
			fmt.Fprintf(out, " /* %X */\n", i/perLine*perLine)
		}
	}
	fmt.Fprintf(out, "};\n\n#endif /* %s_H */\n", macro)
	return out.Flush()
}

// lead returns what stands before value i of a line or of a run cut at perLine.
func lead(i, perLine int) string {
	switch {
	case i == 0:
		return "    "
	case i%perLine == 0:
		return "\n    "
	}
	return " "
}

// identifier names the array. Machine names are ASCII by the grammar.
func identifier(im *Image) string {
	name := cName(im.Machine)
	if im.Exercise {
		name += "_exercise"
	} else {
		name += "_store"
	}
	if im.Chip > 0 {
		name += fmt.Sprintf("_chip%d", im.Chip)
	}
	return name
}
