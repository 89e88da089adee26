package image

import (
	"bufio"
	"fmt"
	"io"
)

// writeMemh writes what the Verilog task $readmemh reads (IEEE 1364-2005,
// 17.2.9): a comment that names the machine, the address 0, a word a line.
func writeMemh(w io.Writer, im *Image) error {
	out := bufio.NewWriterSize(w, bufferSize)
	fmt.Fprintf(out, "// machine %s, definition %s, %s, %d words of %d bits\n@0\n",
		im.Machine, im.shortHash(), im.about(), im.Words, im.Bits)
	width := max(1, (im.Bits+3)/4)
	line := make([]byte, 2*im.BytesPerWord+1)
	line[len(line)-1] = '\n'
	var word []byte
	for i := range im.Words {
		word = im.word(word[:0], i)
		for j, b := range word {
			line[2*j], line[2*j+1] = digits[b>>4], digits[b&15]
		}
		// A word of 12 bits lies in 16: the digit on top is not part of it.
		out.Write(line[2*im.BytesPerWord-width:])
	}
	return out.Flush()
}
