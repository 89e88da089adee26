package image

import (
	"bufio"
	"fmt"
	"io"
	"strings"
)

// About says of a program what its header has to carry.
type About struct {
	Machine, Hash string // the machine, SHA-256 of its definition
	Program       string // its name
	Source        string // SHA-256 of its files
	Memory        string // the memory that the bytes are for
	Bits          int    // a word
	BytesPerWord  int
	Little        bool // low byte of a word first
}

// HeaderSegments writes scattered bytes as a C header for a loader sketch,
// valid in C99 and in C++11: a table of segments (byte address, bytes) and one
// array with the bytes of all, in address order, one segment behind the other.
// It fails before it writes if there are no bytes, or as HexSegments does.
func HeaderSegments(w io.Writer, a About, segments []Segment) error {
	segments, err := ordered(segments)
	if err != nil {
		return err
	}
	if len(segments) == 0 {
		return fmt.Errorf("nothing to write: an array in C has at least one element")
	}
	total := 0
	for _, s := range segments {
		total += len(s.Data)
	}
	name := cName(a.Machine) + "_" + cTail(a.Program)
	macro := strings.ToUpper(name)
	out := bufio.NewWriterSize(w, bufferSize)
	fmt.Fprintf(out, "/* machine %s, definition %s, program %s, sha256 %s,\n   memory %s: %d bytes in words of %d bits */\n",
		a.Machine, a.Hash[:min(12, len(a.Hash))], cTail(a.Program), a.Source[:min(12, len(a.Source))], a.Memory, total, a.Bits)
	fmt.Fprintf(out, "#ifndef %s_H\n#define %s_H\n\n#include <stdint.h>\n\n", macro, macro)
	fmt.Fprint(out, "/* Where the arrays are kept. For an AVR: include <avr/pgmspace.h> and define\n"+
		"   COILWRIGHT_STORAGE as PROGMEM before this file. */\n"+
		"#ifndef COILWRIGHT_STORAGE\n#define COILWRIGHT_STORAGE\n#endif\n\n")
	order := "most"
	if a.Little {
		order = "least"
	}
	fmt.Fprintf(out, "#define %s_BASE 0x%XUL /* byte address of the first byte */\n", macro, segments[0].Address)
	fmt.Fprintf(out, "#define %s_SIZE %dUL /* bytes in all */\n", macro, total)
	fmt.Fprintf(out, "#define %s_SEGMENTS %d\n", macro, len(segments))
	fmt.Fprintf(out, "#define %s_WORD_BYTES %d /* a word, %s significant byte first */\n\n", macro, a.BytesPerWord, order)
	fmt.Fprintf(out, "/* Byte address and number of bytes of each segment. */\n")
	fmt.Fprintf(out, "static const uint32_t %s_segments[%s_SEGMENTS][2] COILWRIGHT_STORAGE = {\n", name, macro)
	for _, s := range segments {
		fmt.Fprintf(out, "    {0x%XUL, %dUL},\n", s.Address, len(s.Data))
	}
	fmt.Fprintf(out, "};\n\n/* The bytes of the segments, one behind the other. */\n")
	fmt.Fprintf(out, "static const uint8_t %s[%s_SIZE] COILWRIGHT_STORAGE = {\n", name, macro)
	const perLine = 12
	for _, s := range segments {
		for at := 0; at < len(s.Data); at += perLine {
			out.WriteString("   ")
			for _, b := range s.Data[at:min(at+perLine, len(s.Data))] {
				out.WriteString(" 0x")
				out.WriteByte(digits[b>>4])
				out.WriteByte(digits[b&15])
				out.WriteByte(',')
			}
			fmt.Fprintf(out, " /* %X */\n", uint64(s.Address)+uint64(at))
		}
	}
	fmt.Fprintf(out, "};\n\n#endif /* %s_H */\n", macro)
	return out.Flush()
}

// cTail keeps of a name what an identifier may hold behind its first character.
func cTail(name string) string {
	return strings.Map(func(r rune) rune {
		if r >= '0' && r <= '9' || r >= 'A' && r <= 'Z' || r >= 'a' && r <= 'z' {
			return r
		}
		return '_'
	}, name)
}

// cName makes a name an identifier; a leading underscore would be the compiler's own.
func cName(name string) string {
	name = cTail(name)
	if name == "" || name[0] == '_' || name[0] >= '0' && name[0] <= '9' {
		return "machine" + name
	}
	return name
}
