package program

import (
	"crypto/sha256"
	"encoding/hex"
	"hash"
	"path/filepath"
	"strings"

	"coilwright/lang/diag"
)

// Load reads a program and everything it includes; read returns the bytes of
// a file. If the root cannot be read, the Source is nil and the only
// diagnostic, file-unreadable, has a place without a line. Everything else
// that is wrong, unreadable includes too, is a diagnostic beside a Source
// that holds what could be understood.
func Load(path string, read func(path string) ([]byte, error)) (*Source, diag.List) {
	l := loader{
		read:  read,
		src:   &Source{Text: diag.Sources{}},
		known: map[string]bool{filepath.Clean(path): true},
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
	read  func(path string) ([]byte, error)
	src   *Source
	list  diag.List
	known map[string]bool // clean paths that were reached
	ids   map[string]int32
	// recent is indices into src.Names by a sum of the letters.
	recent [recentNames]int32
	chain  []inclusion // files being read, root first
	full   bool        // the limit on files was reported
	over   bool        // the limit on errors was reported
	bytes  int         // read so far
	lines  int         // read so far
	hash   hash.Hash
}

// inclusion is a file that is being read and the include followed in it.
type inclusion struct {
	path string
	at   diag.Place
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
	l.chain = append(l.chain, inclusion{path: path})
	p := parser{l: l, src: l.src, list: &l.list, file: f, index: uint16(len(l.src.Files) - 1), text: text}
	p.lines()
	l.chain = l.chain[:len(l.chain)-1]
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
	top := &l.chain[len(l.chain)-1]
	top.at = at
	path := filepath.Join(filepath.Dir(top.path), name)
	if name == "" {
		l.list.Errorf("include-unreadable", at, "this include names no file")
		l.src.Incomplete = true
		return
	}
	if l.known[path] {
		l.cycle(path, at)
		return
	}
	if len(l.chain) > maxDepth {
		l.list.Errorf("include-depth", at, "this include is more than %d files deep", maxDepth)
		l.src.Incomplete = true
		return
	}
	if len(l.src.Files) >= maxFiles {
		if !l.full {
			l.list.Errorf("include-count", at, "a program has at most %d files; this is one more", maxFiles)
			l.src.Incomplete = true
		}
		l.full = true
		return
	}
	l.known[path] = true
	raw, err := l.read(path)
	if err != nil {
		l.list.Errorf("include-unreadable", at, "cannot read %s: %v", path, err)
		l.src.Incomplete = true
		return
	}
	l.file(path, raw)
}

// cycle reports an include of a file that is being read; one of a file that
// was read before is nothing to report.
func (l *loader) cycle(path string, at diag.Place) {
	for n, link := range l.chain {
		if filepath.Clean(link.path) != path {
			continue
		}
		names := make([]string, 0, len(l.chain)-n+1)
		for _, c := range l.chain[n:] {
			names = append(names, c.path)
		}
		names = append(names, link.path)
		d := l.list.Errorf("include-cycle", at, "files include each other in a circle: %s", strings.Join(names, " -> "))
		for _, c := range l.chain[n : len(l.chain)-1] {
			d.Note(c.at, "%s goes on from here", c.path)
		}
		return
	}
}
