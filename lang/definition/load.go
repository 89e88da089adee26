package definition

import (
	"crypto/sha256"
	"encoding/hex"
	"hash"

	"coilwright/lang/diag"
	"coilwright/lang/include"
)

// Load reads a definition and everything it includes; read returns the bytes
// of a file. If the root cannot be read, the Source is nil and the only
// diagnostic, file-unreadable, has a place without a line. Everything else
// that is wrong, unreadable includes too, is a diagnostic beside a Source
// that holds what could be understood.
func Load(path string, read func(path string) ([]byte, error)) (*Source, diag.List) {
	l := loader{
		src:   &Source{Text: diag.Sources{}},
		trail: include.Start(path, "definition", read),
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
	src   *Source
	list  diag.List
	trail *include.Trail
	hash  hash.Hash
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
	l.trail.Enter(path)
	defer l.trail.Leave()
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
	path, raw, outcome := l.trail.Follow(i.Path, i.PathAt, len(l.src.Files), &l.list)
	switch outcome {
	case include.Opened:
		return l.file(path, raw)
	case include.Lost:
		l.lose(from, i.At)
	}
	return nil
}

// lose notes that declarations of unknown names are missing.
func (l *loader) lose(f *File, at diag.Place) {
	l.src.Incomplete = true
	f.Broken = append(f.Broken, Broken{At: at})
}
