package program

import (
	"crypto/sha256"
	"encoding/hex"
	"hash"
	"strings"

	"coilwright/lang/diag"
	"coilwright/lang/include"
)

// Load reads a program and everything it includes; read returns the bytes of
// a file. If the root cannot be read, the Source is nil and the only
// diagnostic, file-unreadable, has a place without a line. Everything else
// that is wrong, unreadable includes too, is a diagnostic beside a Source
// that holds what could be understood.
func Load(path string, read func(path string) ([]byte, error)) (*Source, diag.List) {
	l := loader{
		src:   &Source{Text: diag.Sources{}},
		trail: include.Start(path, "program", read),
		ids:   make(map[string]int32, 1<<10),
		hash:  sha256.New(),
	}
	for i, d := range directives {
		l.src.Names = append(l.src.Names, d.word)
		l.ids[d.word] = int32(i)
	}
	raw, err := read(path)
	if err != nil {
		l.list.Errorf("file-unreadable", diag.Place{File: path}, "cannot read the program: %v", err)
		return nil, l.list
	}
	l.file(path, raw)
	l.src.Hash = hex.EncodeToString(l.hash.Sum(nil))
	return l.src, l.list
}

type loader struct {
	src   *Source
	list  diag.List
	trail *include.Trail
	ids   map[string]int32
	// recent is indices into src.Names by a sum of the letters.
	recent [recentNames]int32
	over   bool // the limit on errors was reported
	bytes  int  // read so far
	lines  int  // read so far
	hash   hash.Hash
}

func (l *loader) file(path string, raw []byte) {
	l.hash.Write(raw)
	text := string(raw)
	l.src.Text[path] = text
	text = strings.TrimPrefix(text, bom)
	f := File{Path: path, Text: text, ascii: isASCII(text)}
	l.src.Files = append(l.src.Files, f)
	l.bytes += len(raw)
	l.lines += strings.Count(text, "\n") + 1
	if !refuse(path, text, l.bytes, l.lines, &l.list) {
		l.src.Incomplete = true
		return
	}
	l.trail.Enter(path)
	p := parser{l: l, src: l.src, list: &l.list, file: f, index: uint16(len(l.src.Files) - 1), text: text}
	p.lines()
	l.trail.Leave()
}

// isASCII looks at eight bytes at a time; a program is mostly that.
func isASCII(s string) bool {
	for len(s) >= 8 {
		if (s[0]|s[1]|s[2]|s[3]|s[4]|s[5]|s[6]|s[7])&0x80 != 0 {
			return false
		}
		s = s[8:]
	}
	for i := 0; i < len(s); i++ {
		if s[i]&0x80 != 0 {
			return false
		}
	}
	return true
}

// include follows an include of the file that is being read.
func (l *loader) include(name string, at diag.Place) {
	path, raw, outcome := l.trail.Follow(name, at, len(l.src.Files), &l.list)
	switch outcome {
	case include.Opened:
		l.file(path, raw)
	case include.Lost:
		l.src.Incomplete = true
	}
}
