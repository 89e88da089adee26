package cli_test

import (
	"flag"
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/google/go-cmp/cmp"

	"coilwright/lang/diag"
	"coilwright/lang/diag/catalogue"
)

var update = flag.Bool("update", os.Getenv("UPDATE_GOLDEN") == "1", "write the golden files anew")

// Every diagnostic that some code raises is in the catalogue, and the other way round.
func TestCatalogueIsComplete(t *testing.T) {
	raised := raisedNames(t)
	for name, at := range raised {
		if _, ok := catalogue.Find(name); !ok {
			t.Errorf("%s: %s has no entry in lang/diag/catalogue/entries", at, name)
		}
	}
	for _, name := range catalogue.Names() {
		if raised[name] == "" {
			t.Errorf("lang/diag/catalogue/entries/%s.txt: nothing raises it", name)
		}
	}
}

// raisedNames returns the names of diagnostics in the source, each with a
// place where it is raised.
func raisedNames(t *testing.T) map[string]string {
	t.Helper()
	// What takes the name of a diagnostic, and as which argument. The lexer
	// keeps what is wrong with a token until the parser comes to it.
	takes := map[string]int{"Errorf": 0, "Warnf": 0, "problem": 1}
	// Calls that pass such a name on; their own callers are among the above.
	passing := map[string]bool{filepath.Join("lang", "definition", "parse.go") + " b.name": true}
	root := filepath.Join("..", "..", "..")
	raised, passed := map[string]string{}, map[string]bool{}
	for _, half := range []string{"lang", "encode", "emit", "cmd"} {
		err := filepath.WalkDir(filepath.Join(root, half), func(path string, d fs.DirEntry, err error) error {
			if err != nil || d.IsDir() || !strings.HasSuffix(path, ".go") || strings.HasSuffix(path, "_test.go") {
				return err
			}
			set := token.NewFileSet()
			file, err := parser.ParseFile(set, path, nil, 0)
			if err != nil {
				return err
			}
			short, err := filepath.Rel(root, path)
			if err != nil {
				return err
			}
			ast.Inspect(file, func(n ast.Node) bool {
				call, ok := n.(*ast.CallExpr)
				if !ok {
					return true
				}
				method, ok := call.Fun.(*ast.SelectorExpr)
				if !ok {
					return true
				}
				arg, ok := takes[method.Sel.Name]
				if on, isName := method.X.(*ast.Ident); !ok || len(call.Args) <= arg+1 || isName && on.Name == "fmt" {
					return true
				}
				at := fmt.Sprintf("%s:%d", short, set.Position(call.Pos()).Line)
				switch name := call.Args[arg].(type) {
				case *ast.BasicLit:
					text, err := strconv.Unquote(name.Value)
					if err != nil {
						t.Errorf("%s: %v", at, err)
					}
					if !regexp.MustCompile(`^[a-z]+(-[a-z]+)*$`).MatchString(text) {
						t.Errorf("%s: %q is no name of a diagnostic", at, text)
					}
					raised[text] = at
				case *ast.SelectorExpr:
					on, _ := name.X.(*ast.Ident)
					key := fmt.Sprintf("%s %v.%s", short, on, name.Sel.Name)
					if !passing[key] {
						t.Errorf("%s: this test cannot see which diagnostic is raised here", at)
					}
					passed[key] = true
				default:
					t.Errorf("%s: this test cannot see which diagnostic is raised here", at)
				}
				return true
			})
			return nil
		})
		if err != nil {
			t.Fatal(err)
		}
	}
	if len(passed) != len(passing) {
		t.Errorf("of %v only %v was found: the list is out of date", passing, passed)
	}
	return raised
}

// mark is what an example expects: a diagnostic on a line whose message holds part.
type mark struct {
	line     string // file:line
	severity diag.Severity
	part     string
}

var (
	marks = regexp.MustCompile(`(ERROR|WARNING)( BELOW)? "([^"]*)"`)
	words = map[string]diag.Severity{"ERROR": diag.Error, "WARNING": diag.Warning}
)

func expected(files map[string]string) []mark {
	var out []mark
	for name, text := range files {
		for i, line := range strings.Split(text, "\n") {
			_, comment, _ := strings.Cut(line, ";")
			for _, m := range marks.FindAllStringSubmatch(comment, -1) {
				n := i + 1
				if m[2] != "" {
					n++
				}
				out = append(out, mark{fmt.Sprintf("%s:%d", name, n), words[m[1]], m[3]})
			}
		}
	}
	return out
}

// hold compares diagnostics with what is expected of them, all of one name unless it is "".
func hold(t *testing.T, name string, want []mark, list diag.List) {
	t.Helper()
	for _, d := range list {
		at := fmt.Sprintf("%s:%d", d.At.File, d.At.Line)
		i := slices.IndexFunc(want, func(m mark) bool {
			return m.line == at && m.severity == d.Severity && strings.Contains(d.Text, m.part)
		})
		if i < 0 || name != "" && d.Name != name {
			t.Errorf("not expected: %s: %s: %s [%s]", d.At, d.Severity, d.Text, d.Name)
			continue
		}
		want = slices.Delete(slices.Clone(want), i, i+1)
	}
	for _, m := range want {
		t.Errorf("expected and not there: %s: %s with %q", m.line, m.severity, m.part)
	}
}

// The wrong example of each entry gives the diagnostics marked in it and no
// others, the right one none at all: it is there to be pasted.
func TestCatalogueExamples(t *testing.T) {
	for _, name := range catalogue.Names() {
		t.Run(name, func(t *testing.T) {
			e, _ := catalogue.Find(name)
			for _, d := range second(diagnoseEntry(e, e.RightFiles())) {
				t.Errorf("the right example: %s: %s: %s [%s]", d.At, d.Severity, d.Text, d.Name)
			}
			files, want := e.WrongFiles(), []mark(nil)
			if e.Generated {
				make := generators[name]
				if make == nil {
					t.Fatalf("nothing generates its wrong example")
				}
				files, want = make()
			} else if generators[name] != nil {
				t.Fatalf("it has a generator that nothing uses")
			} else {
				want = expected(files)
			}
			if len(want) == 0 {
				t.Fatal("nothing is marked in the wrong example")
			}
			sources, list := diagnoseEntry(e, files)
			hold(t, name, want, list)
			golden(t, filepath.Join("..", "..", "..", "testdata", "diagnostics", name+".golden"), printed(t, sources, list))
			if !e.Generated {
				for file, text := range files {
					if file == e.Root() {
						file = name + filepath.Ext(file)
					} else {
						file = filepath.Join(name, file)
					}
					golden(t, filepath.Join("..", "..", "..", "testdata", "diagnostics", file), text)
				}
			}
		})
	}
}

func second[A, B any](_ A, b B) B { return b }

func printed(t *testing.T, sources diag.Sources, list diag.List) string {
	t.Helper()
	var b strings.Builder
	if err := (diag.Printer{Sources: sources}).Print(&b, list); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

func golden(t *testing.T, path, got string) {
	t.Helper()
	if *update {
		if err := os.MkdirAll(filepath.Dir(path), 0o777); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, []byte(got), 0o666); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(string(want), got); diff != "" {
		t.Errorf("%s (-want +got):\n%s", path, diff)
	}
}

// The machine below which examples stand is not what they are about.
func TestCatalogueBase(t *testing.T) {
	sources, list := diagnose(catalogue.Root, map[string]string{catalogue.Root: catalogue.Base()})
	if len(list) > 0 {
		t.Errorf("%s", printed(t, sources, list))
	}
}

// Nothing is left in the folder of a diagnostic that is gone.
func TestCatalogueFolder(t *testing.T) {
	folder := filepath.Join("..", "..", "..", "testdata", "diagnostics")
	for _, f := range names(t, folder) {
		name, _, _ := strings.Cut(f, ".")
		if _, ok := catalogue.Find(name); !ok && f != "README.md" && f != "more" {
			t.Errorf("%s belongs to no diagnostic", f)
		}
	}
}

// A message is one short sentence without a full stop; so are hints and notes.
func TestCatalogueStyle(t *testing.T) {
	const longest = 200 // characters
	for _, name := range catalogue.Names() {
		e, _ := catalogue.Find(name)
		files := e.WrongFiles()
		if e.Generated && generators[name] != nil {
			files, _ = generators[name]()
		}
		for _, d := range second(diagnoseEntry(e, files)) {
			texts := []string{d.Text, d.Hint}
			for _, n := range d.Notes {
				first, _, _ := strings.Cut(n.Text, "\n") // below it a chart may stand
				texts = append(texts, first)
			}
			for _, text := range texts {
				if strings.HasSuffix(text, ".") && !strings.HasSuffix(text, "...") {
					t.Errorf("%s: a full stop ends %q", name, text)
				}
				if utf8.RuneCountInString(text) > longest {
					t.Errorf("%s: more than %d characters: %q", name, longest, text)
				}
			}
		}
		if utf8.RuneCountInString(e.Summary) > 76 {
			t.Errorf("%s: the summary is longer than a line: %q", name, e.Summary)
		}
		sentences := strings.Count(strings.ReplaceAll(e.Text, "...", ""), ". ") + strings.Count(e.Text, ".\n") + strings.Count(e.Text, "?\n") + strings.Count(e.Text, "? ")
		if sentences < 2 || sentences > 6 {
			t.Errorf("%s: the text has %d sentences, two to six are wanted", name, sentences)
		}
		for i, line := range strings.Split(e.Text, "\n") {
			if utf8.RuneCountInString(line) > 80 {
				t.Errorf("%s: line %d of the text is longer than 80 characters", name, i+1)
			}
		}
	}
}

// TestMoreMessages holds what the examples of the catalogue leave out: most
// names are raised in more than one place, with a message each.
func TestMoreMessages(t *testing.T) {
	folder := filepath.Join("..", "..", "..", "testdata", "diagnostics", "more")
	cases, err := filepath.Glob(filepath.Join(folder, "*.coil"))
	if err != nil || len(cases) == 0 {
		t.Fatalf("no cases in %s: %v", folder, err)
	}
	for _, path := range cases {
		t.Run(filepath.Base(path), func(t *testing.T) {
			files := map[string]string{catalogue.Root: catalogue.Base() + read(t, path)}
			sources, list := diagnose(catalogue.Root, files)
			hold(t, "", expected(files), list)
			golden(t, strings.TrimSuffix(path, ".coil")+".golden", printed(t, sources, list))
		})
	}
}
