package main

import (
	"encoding/json"
	"errors"
	"io"
	"os/exec"
	"strings"
	"testing"
)

// layer ranks the top-level folders: a package imports its own layer's or a lower one's.
var layer = map[string]int{"lang": 0, "encode": 1, "emit": 2, "examples": 0, "cmd": 3}

// TestImportPolicy holds the map of the code: imports run cmd -> emit ->
// encode -> lang, emitters do not import each other, and what must be
// independent is.
func TestImportPolicy(t *testing.T) {
	out, err := exec.Command("go", "list", "-json=ImportPath,Imports,TestImports,XTestImports", "coilwright/...").Output()
	if err != nil {
		t.Fatalf("go list: %v", err)
	}
	type pkg struct {
		ImportPath                         string
		Imports, TestImports, XTestImports []string
	}
	seen := 0
	for dec := json.NewDecoder(strings.NewReader(string(out))); ; {
		var p pkg
		if err := dec.Decode(&p); errors.Is(err, io.EOF) {
			break
		} else if err != nil {
			t.Fatal(err)
		}
		seen++
		path := strings.TrimPrefix(p.ImportPath, "coilwright/")
		top, _, _ := strings.Cut(path, "/")
		if _, ok := layer[top]; !ok {
			t.Errorf("%s is in no known folder", p.ImportPath)
		}
		for _, im := range p.Imports {
			other, ours := strings.CutPrefix(im, "coilwright/")
			if !ours {
				continue
			}
			otherTop, _, _ := strings.Cut(other, "/")
			if layer[otherTop] > layer[top] {
				t.Errorf("%s imports %s, which is above it", path, other)
			}
			if top == "emit" && otherTop == "emit" {
				t.Errorf("%s imports %s: emitters and readers are independent of each other", path, other)
			}
			if path == "encode/internal/reference" && otherTop == "encode" {
				t.Errorf("%s imports %s: it is a second reading of the language and shares nothing with the first", path, other)
			}
			if other == "lang/definition" && top == "encode" && path != "encode/machine" && path != "encode/internal/reference" {
				t.Errorf("%s imports %s: the machine stage alone sees the tree", path, other)
			}
		}
		for _, im := range append(p.TestImports, p.XTestImports...) {
			if path == "encode/internal/reference" && strings.HasPrefix(im, "coilwright/encode/") && im != p.ImportPath {
				t.Errorf("tests of %s import %s", path, im)
			}
		}
	}
	if seen < 10 {
		t.Fatalf("only %d packages seen", seen)
	}
}
