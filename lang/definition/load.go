package definition

import (
	"crypto/sha256"
	"encoding/hex"
	"hash"
	"path/filepath"
	"strings"

	"coilwright/lang/diag"
)

// Load reads a definition and everything it includes; read returns the bytes
// of a file. If the root cannot be read, the Source is nil and the only
// diagnostic, file-unreadable, has a place without a line. Everything else
// that is wrong, unreadable includes too, is a diagnostic beside a Source
// that holds what could be understood.
func Load(path string, read func(path string) ([]byte, error)) (*Source, diag.List) {
	l := loader{
		read:  read,
		src:   &Source{Text: diag.Sources{}},
		known: map[string]bool{filepath.Clean(path): true},
		hash:  sha256.New(),
	}
	raw, err := read(path)
	if err != nil {
		l.list.Errorf("file-unreadable", diag.Place{File: path}, "cannot read the definition: %v", err)
		return nil, l.list
	}
	l.src.Decls = l.file(path, raw)
	l.src.Hash = hex.EncodeToString(l.hash.Sum(nil))
	return l.src, l.list
}

type loader struct {
	read  func(path string) ([]byte, error)
	src   *Source
	list  diag.List
	known map[string]bool // clean paths that were reached
	chain []inclusion     // files being read, root first
	full  bool            // the limit on files was reported
	hash  hash.Hash
}

// inclusion is a file that is being read and the include followed in it.
type inclusion struct {
	path string
	at   diag.Place
}

// file parses what was read and returns its declarations, includes replaced
// by what they bring.
func (l *loader) file(path string, raw []byte) []Decl {
	l.hash.Write(raw)
	text := string(raw)
	f, list, refused := parse(path, text)
	l.src.Files = append(l.src.Files, f)
	l.src.Text[path] = text
	l.list = append(l.list, list...)
	if refused {
		l.src.Incomplete = true
	}
	for _, b := range f.Broken {
		if b.Keyword == "include" {
			l.lose(f, b.At)
			break
		}
	}
	l.chain = append(l.chain, inclusion{path: path})
	defer func() { l.chain = l.chain[:len(l.chain)-1] }()
	out := make([]Decl, 0, len(f.Decls))
	for _, d := range f.Decls {
		if i, ok := d.(*Include); ok {
			out = append(out, l.include(f, i)...)
			continue
		}
		out = append(out, d)
	}
	return out
}

func (l *loader) include(from *File, i *Include) []Decl {
	top := &l.chain[len(l.chain)-1]
	top.at = i.PathAt
	path := filepath.Join(filepath.Dir(top.path), i.Path)
	if i.Path == "" {
		l.list.Errorf("include-unreadable", i.PathAt, "this include names no file")
		l.lose(from, i.At)
		return nil
	}
	if l.known[path] {
		l.cycle(i, path)
		return nil
	}
	if len(l.chain) > maxDepth {
		l.list.Errorf("include-depth", i.PathAt, "this include is more than %d files deep", maxDepth)
		l.lose(from, i.At)
		return nil
	}
	if len(l.src.Files) >= maxFiles {
		if !l.full {
			l.list.Errorf("include-count", i.PathAt, "a definition has at most %d files; this is one more", maxFiles)
			l.lose(from, i.At)
		}
		l.full = true
		return nil
	}
	l.known[path] = true
	raw, err := l.read(path)
	if err != nil {
		l.list.Errorf("include-unreadable", i.PathAt, "cannot read %s: %v", path, err)
		l.lose(from, i.At)
		return nil
	}
	return l.file(path, raw)
}

// lose notes that declarations of unknown names are missing.
func (l *loader) lose(f *File, at diag.Place) {
	l.src.Incomplete = true
	f.Broken = append(f.Broken, Broken{At: at})
}

// cycle reports an include of a file that is being read; one of a file that
// was read before is nothing to report.
func (l *loader) cycle(i *Include, path string) {
	for n, link := range l.chain {
		if filepath.Clean(link.path) != path {
			continue
		}
		names := make([]string, 0, len(l.chain)-n+1)
		for _, c := range l.chain[n:] {
			names = append(names, c.path)
		}
		names = append(names, link.path)
		d := l.list.Errorf("include-cycle", i.PathAt, "files include each other in a circle: %s", strings.Join(names, " -> "))
		for _, c := range l.chain[n : len(l.chain)-1] {
			d.Note(c.at, "%s goes on from here", c.path)
		}
		return
	}
}
