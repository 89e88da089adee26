package program

import (
	"strings"
	"unicode/utf8"

	"coilwright/lang/diag"
)

// The limits on what is read at all.
const (
	maxBytes   = 64 << 20 // of all files
	maxLines   = 1 << 22  // of all files
	maxLine    = 4096     // characters
	maxNesting = 100      // brackets and signs in an expression
	maxErrors  = 1000
)

const bom = "\ufeff"

// refuse looks for what is not worth reading, without building anything. It
// reports the first such thing and returns false. text has no byte-order
// mark; with it the program has so many bytes and lines.
func refuse(path, text string, bytes, lines int, list *diag.List) bool {
	start := diag.Place{File: path, Line: 1, Column: 1, Width: 1}
	if bytes > maxBytes {
		list.Errorf("file-too-large", start, "a program has at most 64 MiB (%d bytes) in all, and with this file it has more", maxBytes)
		return false
	}
	if lines > maxLines {
		list.Errorf("program-lines", start, "a program has at most %d lines in all, and with this file it has more", maxLines)
		return false
	}
	return clean(path, text, list)
}

// clean reports the first character or line that cannot be in a program.
func clean(path, text string, list *diag.List) bool {
	bad, code := len(text), byte(0)
	if i := strings.IndexByte(text, 0); i >= 0 {
		bad = i
	}
	if !utf8.ValidString(text[:bad]) {
		for i := 0; i < bad; {
			r, n := utf8.DecodeRuneInString(text[i:])
			if r == utf8.RuneError && n == 1 {
				bad, code = i, text[i]
			}
			i += n
		}
	}
	line, start := 1, 0
	for start < len(text) {
		end := strings.IndexByte(text[start:], '\n')
		if end < 0 {
			end = len(text)
		} else {
			end += start
		}
		whole := min(end, bad)
		if whole-start > maxLine && utf8.RuneCountInString(strings.TrimSuffix(text[start:whole], "\r")) > maxLine {
			list.Errorf("line-too-long", diag.Place{File: path, Line: line, Column: maxLine + 1, Width: 1}, "line %d has more than %d characters", line, maxLine)
			return false
		}
		if bad <= end && bad < len(text) {
			at := diag.Place{File: path, Line: line, Column: utf8.RuneCountInString(text[start:bad]) + 1, Width: 1}
			if code == 0 {
				list.Errorf("file-nul", at, "the file has a NUL byte: it is not text")
			} else {
				list.Errorf("file-encoding", at, "the file is not UTF-8: byte 0x%02X cannot stand here", code).Hintf("save it as UTF-8")
			}
			return false
		}
		line++
		start = end + 1
	}
	return true
}
