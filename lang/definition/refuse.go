package definition

import (
	"strings"
	"unicode/utf8"

	"coilwright/lang/diag"
)

// The limits of language.md N.5.
const (
	maxFile    = 1 << 20 // bytes
	maxLine    = 4096    // characters
	maxNesting = 100     // brackets
)

const bom = "\ufeff"

// tidy returns the text as the lexer wants it: no byte-order mark at the
// start, LF at the end of lines.
func tidy(text string) string {
	text = strings.TrimPrefix(text, bom)
	return strings.ReplaceAll(text, "\r\n", "\n")
}

// refuse looks for what is not worth cutting into tokens, in one pass and
// without building anything. It reports the first such thing and returns false.
func refuse(path, text string, list *diag.List) bool {
	at := diag.Place{File: path, Line: 1, Column: 1, Width: 1}
	if len(text) > maxFile {
		list.Errorf("file-too-large", at, "the file has more than 1 MiB (%d bytes)", maxFile).
			Hintf("take it apart and include the parts")
		return false
	}
	text = strings.TrimPrefix(text, bom)
	var within byte // ; or " while in a comment or string
	depth := 0
	for i := 0; i < len(text); {
		c := text[i]
		if c == '\n' {
			at.Line++
			at.Column = 1
			within = 0
			i++
			continue
		}
		if at.Column > maxLine && c != '\r' {
			list.Errorf("line-too-long", at, "line %d has more than %d characters", at.Line, maxLine)
			return false
		}
		size := 1
		switch {
		case c == 0:
			list.Errorf("file-nul", at, "the file has a NUL byte: it is not text")
			return false
		case c >= utf8.RuneSelf:
			r, n := utf8.DecodeRuneInString(text[i:])
			if r == utf8.RuneError && n == 1 {
				list.Errorf("file-encoding", at, "the file is not UTF-8: byte 0x%02X cannot stand here", c).
					Hintf("save it as UTF-8")
				return false
			}
			size = n
		case within == ';':
		case within == '"':
			if c == '"' {
				within = 0
			}
		case c == ';' || c == '"':
			within = c
		case c == '(' || c == '[' || c == '{':
			depth++
			if depth > maxNesting {
				list.Errorf("nesting-too-deep", at, "more than %d brackets are open here", maxNesting)
				return false
			}
		case c == ')' || c == ']' || c == '}':
			depth = max(0, depth-1)
		}
		i += size
		at.Column++
	}
	return true
}
