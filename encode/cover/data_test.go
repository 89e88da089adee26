package cover

import (
	"bytes"
	"context"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"
)

// known is a row of a terms.tsv table.
type known struct {
	file   string
	terms  int // the fewest, or the fewest known; -1 where no table has the file
	proven bool
	strong int // of the published strong heuristic, 0 where there is none
}

// dataFolder is where the open benchmark files are, "" to skip.
func dataFolder(t testing.TB) string {
	dir := os.Getenv("COILWRIGHT_COVER_DATA")
	if dir == "" {
		dir = filepath.Join("..", "shared", "data")
	}
	if !filepath.IsAbs(dir) {
		dir = filepath.Join("..", "..", dir) // meant from the project's root
	}
	if _, err := os.Stat(dir); err != nil {
		if os.Getenv("COILWRIGHT_REFERENCES") == "required" {
			t.Fatalf("the open benchmark data is required: %v", err)
		}
		t.Skipf("no open benchmark data: %v", err)
	}
	return dir
}

// tables reads every terms.tsv in dir and its folders, and adds the files that none lists.
func tables(t testing.TB, dir string) []known {
	var list []known
	files, _ := filepath.Glob(filepath.Join(dir, "*", "terms.tsv"))
	more, _ := filepath.Glob(filepath.Join(dir, "terms.tsv"))
	for _, name := range append(files, more...) {
		text, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		lines := strings.Split(strings.TrimRight(string(text), "\n"), "\n")
		column := map[string]int{}
		for i, title := range strings.Split(lines[0], "\t") {
			column[strings.TrimSpace(title)] = i
		}
		for n, line := range lines[1:] {
			if strings.TrimSpace(line) == "" {
				continue
			}
			f := strings.Split(line, "\t")
			cell := func(title string) string {
				if i, ok := column[title]; ok && i < len(f) {
					return strings.TrimSpace(f[i])
				}
				return ""
			}
			number := func(title string) int {
				if cell(title) == "" {
					return 0
				}
				v, err := strconv.Atoi(cell(title))
				if err != nil {
					t.Fatalf("%s:%d: %s: %v", name, n+2, title, err)
				}
				return v
			}
			k := known{file: filepath.Join(filepath.Dir(name), cell("file")), terms: number("fewest_terms"), proven: cell("status") == "proven", strong: number("strong_heuristic_1988")}
			if cell("fewest_terms") == "" {
				t.Fatalf("%s:%d: no fewest_terms", name, n+2)
			}
			list = append(list, k)
		}
	}
	files, _ = filepath.Glob(filepath.Join(dir, "*", "*.pla"))
	more, _ = filepath.Glob(filepath.Join(dir, "*.pla"))
	for _, name := range append(files, more...) {
		if !slices.ContainsFunc(list, func(k known) bool { return k.file == name }) {
			list = append(list, known{file: name, terms: -1})
		}
	}
	if len(list) == 0 {
		t.Fatalf("no terms.tsv and no .pla file in %s", dir)
	}
	return list
}

func readFile(t testing.TB, name string) PLA {
	text, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	p, err := ReadPLA(bytes.NewReader(text))
	if err != nil {
		t.Fatalf("%s: %v", name, err)
	}
	return p
}

// TestBenchmarkData holds both modes to the tables beside the files, each file within
// COILWRIGHT_COVER_SECONDS (60), and prints what it found. A file that no table lists
// is held to itself alone.
func TestBenchmarkData(t *testing.T) {
	dir := dataFolder(t)
	limit := 60 * time.Second
	if s := os.Getenv("COILWRIGHT_COVER_SECONDS"); s != "" {
		n, err := strconv.ParseFloat(s, 64)
		if err != nil {
			t.Fatal(err)
		}
		limit = time.Duration(n * float64(time.Second))
	}
	var quick, full time.Duration
	var b strings.Builder
	fmt.Fprintf(&b, "%-16s %9s %9s %9s %9s\n", "file", "heuristic", "terms", "bound", "cpu s")
	for _, k := range tables(t, dir) {
		p := readFile(t, k.file)
		name := filepath.Base(k.file)
		start := processor()
		h, err := Minimise(context.Background(), Problem{On: p.On, Free: p.Free}, Options{})
		quick += processor() - start
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		if k.strong > 0 && h.Cover.Len() > k.strong {
			t.Errorf("%s: the heuristic needs %d terms, published is %d", name, h.Cover.Len(), k.strong)
		}
		ctx, stop := context.WithTimeout(context.Background(), limit)
		start = processor()
		r, err := Minimise(ctx, Problem{On: p.On, Free: p.Free}, Options{Exact: true})
		stop()
		took := processor() - start
		full += took
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		fmt.Fprintf(&b, "%-16s %9d %9d %9d %9.2f\n", name, h.Cover.Len(), r.Cover.Len(), r.Bound, took.Seconds())
		if k.proven && (r.Cover.Len() != k.terms || r.Bound != int64(k.terms)) {
			t.Errorf("%s: %d terms, bound %d; want both %d", name, r.Cover.Len(), r.Bound, k.terms)
		}
		if b := max(h.Bound, r.Bound); b > int64(min(h.Cover.Len(), r.Cover.Len())) {
			t.Errorf("%s: bound %d is above a cover", name, b)
		} else if k.terms >= 0 && b > int64(k.terms) {
			t.Errorf("%s: bound %d is above the fewest terms %d", name, b, k.terms)
		}
	}
	fmt.Fprintf(&b, "in all: heuristic %.2f s of CPU, exact %.2f s\n", quick.Seconds(), full.Seconds())
	t.Log("\n" + b.String())
}

// processor is the CPU time that the process has used.
func processor() time.Duration {
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		return 0
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}
