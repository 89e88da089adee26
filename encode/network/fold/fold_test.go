package fold

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/google/go-cmp/cmp"
)

// admissibleSets lists all admissible sets of n loads, ascending, by counting up.
func admissibleSets(n int) [][]int {
	var out [][]int
	var next func(set []int, left int)
	next = func(set []int, left int) {
		if 1<<n-1-left < 1<<len(set)-1 {
			return
		}
		if len(set) == n {
			if Admissible(set) {
				out = append(out, slices.Clone(set))
			}
			return
		}
		from := 1
		if len(set) > 0 {
			from = set[len(set)-1]
		}
		for a := from; a*(n-len(set)) <= left; a++ {
			next(append(set, a), left-a)
		}
	}
	next(nil, 1<<n-1)
	return out
}

// realLoads lists the loadings of every full tree over the variables in vars,
// by building them all: any root, any two subtrees.
func realLoads(n int) map[[5]int]bool {
	memo := map[int]map[[5]int]bool{0: {{}: true}}
	var all func(vars int) map[[5]int]bool
	all = func(vars int) map[[5]int]bool {
		if known, ok := memo[vars]; ok {
			return known
		}
		out := map[[5]int]bool{}
		for x := range n {
			if vars>>x&1 == 0 {
				continue
			}
			below := all(vars &^ (1 << x))
			for l := range below {
				for h := range below {
					sum := l
					for i := range sum {
						sum[i] += h[i]
					}
					sum[x]++
					out[sum] = true
				}
			}
		}
		memo[vars] = out
		return out
	}
	return all(1<<n - 1)
}

// TestAdmissible holds the condition against every tree there is, and the
// number of sets and the sets for three and four variables against checks.md 4.
func TestAdmissible(t *testing.T) {
	listed := map[int][][]int{
		3: {{1, 2, 4}, {1, 3, 3}},
		4: {{1, 2, 4, 8}, {1, 2, 5, 7}, {1, 2, 6, 6}, {1, 3, 3, 8}, {1, 3, 4, 7}, {1, 3, 5, 6}, {1, 4, 4, 6}, {1, 4, 5, 5}},
	}
	for n, count := range []int{0, 1, 1, 2, 8, 97} {
		if n == 0 {
			continue
		}
		sets := admissibleSets(n)
		if len(sets) != count {
			t.Errorf("%d variables: %d admissible sets, want %d", n, len(sets), count)
		}
		if want, ok := listed[n]; ok {
			if diff := cmp.Diff(want, sets); diff != "" {
				t.Errorf("%d variables (-want +got):\n%s", n, diff)
			}
		}
		real := map[string]bool{}
		for l := range realLoads(n) {
			real[fmt.Sprint(slices.Sorted(slices.Values(l[:n])))] = true
		}
		for _, s := range sets {
			if !real[fmt.Sprint(s)] {
				t.Errorf("no tree has the admissible loads %v", s)
			}
			delete(real, fmt.Sprint(s))
		}
		for l := range real {
			t.Errorf("a tree has the loads %s, which are called inadmissible", l)
		}
	}
	for _, loads := range [][]int{nil, {}, {2}, {0}, {1, 1}, {1, 3}, {0, 3}, {1, 1, 5}, {2, 2, 3}, {1, 2, 3}, {-1, 4}} {
		if Admissible(loads) {
			t.Errorf("%v is called admissible", loads)
		}
	}
}

// holds checks that a tree is a full one with these loads, each leaf reached by
// its own setting alone.
func holds(t *testing.T, tree Tree, loads []int) {
	t.Helper()
	n := len(loads)
	found := make([]int, n)
	parents := make([]int, len(tree))
	leaves := map[int]int{}
	for _, node := range tree {
		found[node.Var]++
		for _, child := range []int{node.Low, node.High} {
			if child < 0 {
				leaves[child]++
			} else {
				parents[child]++
			}
		}
	}
	if !slices.Equal(found, loads) {
		t.Errorf("the tree has loads %v, want %v", found, loads)
	}
	for i, p := range parents {
		if (i == 0) != (p == 0) || p > 1 {
			t.Fatalf("loads %v: node %d has %d parents", loads, i, p)
		}
	}
	if len(leaves) != 1<<n {
		t.Errorf("loads %v: %d leaves, want %d", loads, len(leaves), 1<<n)
	}
	for v := range 1 << n {
		if leaf := tree.Leaf(uint64(v)); leaf != -1-v {
			t.Fatalf("loads %v: setting %b reaches leaf %d", loads, v, leaf)
		}
	}
}

func bodies(loads []int, poles int) int {
	n := 0
	for _, a := range loads {
		n += (a + poles - 1) / poles
	}
	return n
}

// TestWith builds a tree for every admissible set of up to six
// loads, and for random ones of up to ten.
func TestWith(t *testing.T) {
	for n := 1; n <= 6; n++ {
		for _, loads := range admissibleSets(n) {
			tree, ok := With(loads)
			if !ok {
				t.Fatalf("no tree for %v", loads)
			}
			holds(t, tree, loads)
		}
	}
	r := rand.New(rand.NewPCG(1, 55))
	for made := 0; made < 1500; {
		n := 7 + r.IntN(4)
		loads := make([]int, n)
		for i := range loads {
			loads[i] = 1 << i
		}
		// Moving contacts from a larger pile to a smaller one keeps the partial sums.
		for range r.IntN(60) {
			i := 1 + r.IntN(n-1)
			j := 1 + r.IntN(n-1)
			if loads[i] < loads[j] {
				by := 1 + r.IntN((loads[j]-loads[i]+1)/2)
				loads[i] += by
				loads[j] -= by
			}
		}
		r.Shuffle(n, func(i, j int) { loads[i], loads[j] = loads[j], loads[i] })
		tree, ok := With(loads)
		if !ok {
			t.Fatalf("no tree for %v", loads)
		}
		holds(t, tree, loads)
		made++
	}
	if tree, ok := With([]int{2, 2, 3}); ok {
		t.Errorf("a tree for inadmissible loads: %v", tree)
	}
}

// TestFewest holds the tree of fewest bodies against all trees there are for up
// to five variables, and against its lower bound above.
func TestFewest(t *testing.T) {
	for n := 1; n <= 5; n++ {
		for poles := 1; poles <= 17; poles++ {
			fewest := 1 << 30
			for l := range realLoads(n) {
				fewest = min(fewest, bodies(l[:n], poles))
			}
			loads, tree := Fewest(n, poles)
			holds(t, tree, loads)
			if got := bodies(loads, poles); got != fewest {
				t.Errorf("%d variables, %d poles: %v needs %d bodies, the fewest is %d", n, poles, loads, got, fewest)
			}
		}
	}
	for _, want := range []struct{ n, poles, bodies int }{{4, 4, 5}, {4, 2, 8}} { // checks.md 4
		if loads, _ := Fewest(want.n, want.poles); bodies(loads, want.poles) != want.bodies {
			t.Errorf("%+v: %v needs %d bodies", want, loads, bodies(loads, want.poles))
		}
	}
	for n := 6; n <= 12; n++ {
		for _, poles := range []int{1, 2, 3, 4, 6, 8} {
			loads, tree := Fewest(n, poles)
			if !Admissible(loads) {
				t.Fatalf("%d variables, %d poles: %v", n, poles, loads)
			}
			holds(t, tree, loads)
			if got, bound := bodies(loads, poles), 1+(1<<n-2+poles-1)/poles; got != bound {
				t.Errorf("%d variables, %d poles: %v needs %d bodies, the bound is %d", n, poles, loads, got, bound)
			}
		}
	}
	for _, bad := range [][2]int{{0, 4}, {-1, 4}, {21, 4}, {4, 0}} {
		if loads, tree := Fewest(bad[0], bad[1]); loads != nil || tree != nil {
			t.Errorf("Fewest%v = %v", bad, loads)
		}
	}
}

// TestMostEven is the table of most even loads in checks.md 4: with one pole a
// body every loading takes the same bodies, and the most even one is chosen.
func TestMostEven(t *testing.T) {
	runs := func(first int, more ...int) []int {
		out := []int{first}
		for i := 0; i < len(more); i += 2 {
			for range more[i+1] {
				out = append(out, more[i])
			}
		}
		return out
	}
	want := map[int][]int{
		2: {1, 2}, 3: {1, 3, 3}, 4: {1, 4, 5, 5}, 5: {1, 7, 7, 8, 8}, 6: {1, 12, 12, 12, 13, 13},
		7: runs(1, 21, 6), 8: runs(1, 36, 5, 37, 2), 9: runs(1, 63, 2, 64, 6), 10: runs(1, 113, 4, 114, 5),
	}
	for n, w := range want {
		loads, tree := Fewest(n, 1)
		if diff := cmp.Diff(w, loads); diff != "" {
			t.Errorf("%d variables (-want +got):\n%s", n, diff)
		}
		holds(t, tree, loads)
	}
}

// bodyCost is the bodies over all variables, in hundredths, and the contacts.
func bodyCost(poles int) func(uses []int) int {
	return func(uses []int) int {
		contacts := 0
		for _, u := range uses {
			contacts += u
		}
		return 100*bodies(uses, poles) + contacts
	}
}

func usesOf(trees []Tree, n int) []int {
	uses := make([]int, n)
	for _, t := range trees {
		for _, node := range t {
			uses[node.Var]++
		}
	}
	return uses
}

// TestSpreadFull holds what is found for one, two and three full trees that share their
// variables against the best of all trees there are.
func TestSpreadFull(t *testing.T) {
	r := rand.New(rand.NewPCG(2, 55))
	for _, test := range []struct{ n, trees int }{{3, 1}, {3, 3}, {4, 1}, {4, 2}, {5, 1}} {
		sums := map[[5]int]bool{{}: true}
		for range test.trees {
			next := map[[5]int]bool{}
			for a := range sums {
				for b := range realLoads(test.n) {
					for i := range b {
						b[i] += a[i]
					}
					next[b] = true
				}
			}
			sums = next
		}
		for _, poles := range []int{2, 3, 4, 6} {
			fewest := 1 << 30
			for l := range sums {
				fewest = min(fewest, bodies(l[:test.n], poles))
			}
			var trees []Tree
			for range test.trees {
				trees = append(trees, randomTree(r, test.n, false))
			}
			got := Spread(trees, Rules{Contacts: bodyCost(poles), Tries: 3000})
			for i, tree := range got {
				if diff := differs(trees[i], tree, test.n); diff != "" {
					t.Fatal(diff)
				}
			}
			if b := bodies(usesOf(got, test.n), poles); b != fewest {
				t.Errorf("%+v, %d poles: %d bodies, the fewest is %d (before: %d)", test, poles, b, fewest, bodies(usesOf(trees, test.n), poles))
			}
		}
	}
}

// randomTree asks its variables in orders by chance; sparse ones end early and
// have few different leaves.
func randomTree(r *rand.Rand, n int, sparse bool) Tree {
	var tree Tree
	var grow func(left []int, values int) int
	grow = func(left []int, values int) int {
		if sparse && (len(left) == 0 || r.IntN(6) == 0) {
			return -1 - r.IntN(12)
		}
		if len(left) == 0 {
			return -1 - values
		}
		k := r.IntN(len(left))
		rest := slices.Delete(slices.Clone(left), k, k+1)
		at := len(tree)
		tree = append(tree, Node{Var: left[k]})
		low := grow(rest, values)
		high := grow(rest, values|1<<left[k])
		tree[at].Low, tree[at].High = low, high
		return at
	}
	all := make([]int, n)
	for i := range all {
		all[i] = i
	}
	if grow(all, 0) < 0 {
		return Tree{{Var: 0, Low: -1, High: -2}}
	}
	return tree
}

func differs(a, b Tree, n int) string {
	for v := range uint64(1) << n {
		if x, y := a.Leaf(v), b.Leaf(v); x != y {
			return fmt.Sprintf("setting %0*b reaches leaf %d, before %d", n, v, y, x)
		}
	}
	return ""
}

// TestSpreadPruned takes sets of trees as a decoder has them: of the same
// variables, cut short where the answer is known.
func TestSpreadPruned(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 55))
	before, after := 0, 0
	for range 60 {
		n := 3 + r.IntN(6)
		var trees []Tree
		for range 1 + r.IntN(5) {
			trees = append(trees, randomTree(r, n, true))
		}
		poles := 2 + r.IntN(5)
		was := fmt.Sprint(trees)
		got := Spread(trees, Rules{Contacts: bodyCost(poles), Tries: 2000})
		if again := Spread(trees, Rules{Contacts: bodyCost(poles), Tries: 2000}); fmt.Sprint(again) != fmt.Sprint(got) {
			t.Fatal("another run gives other trees")
		}
		if fmt.Sprint(trees) != was {
			t.Fatal("the trees that were given have changed")
		}
		for i, tree := range got {
			if diff := differs(trees[i], tree, n); diff != "" {
				t.Fatal(diff)
			}
			parents := make([]int, len(tree))
			for _, node := range tree {
				for _, child := range []int{node.Low, node.High} {
					if child >= 0 {
						parents[child]++
					}
				}
			}
			for k, p := range parents {
				if (k == 0) != (p == 0) || p > 1 {
					t.Fatalf("node %d has %d parents", k, p)
				}
			}
		}
		b, a := bodyCost(poles)(usesOf(trees, n)), bodyCost(poles)(usesOf(got, n))
		if a > b {
			t.Errorf("cost %d, before %d", a, b)
		}
		before += b / 100
		after += a / 100
	}
	t.Logf("%d bodies, before %d", after, before)
	if after*100 > before*92 {
		t.Errorf("%d bodies, before %d: less than a twelfth is saved", after, before)
	}
	same := Spread([]Tree{nil, {{Var: 2, Low: -3, High: -3}}}, Rules{Contacts: bodyCost(4), Tries: 100})
	if diff := cmp.Diff([]Tree{nil, {{Var: 2, Low: -3, High: -3}}}, same); diff != "" {
		t.Error(diff)
	}
}

// TestSpreadRules: a fixed variable is asked no sooner, on whatever way, and
// leaves that cost more come to no more of them.
func TestSpreadRules(t *testing.T) {
	r := rand.New(rand.NewPCG(4, 55))
	moved := 0
	for range 60 {
		n := 3 + r.IntN(4)
		trees := []Tree{randomTree(r, n, true), randomTree(r, n, true)}
		one, two := r.IntN(n), r.IntN(n)
		fixed := []uint64{1 << r.IntN(n), 1<<one | 1<<two}
		dear := -1 - r.IntN(12)
		leaf := func(_, l int) int {
			if l == dear {
				return 1000
			}
			return 0
		}
		got := Spread(trees, Rules{Contacts: bodyCost(3), Leaf: leaf, Fixed: fixed, Tries: 1000})
		for i, tree := range got {
			if diff := differs(trees[i], tree, n); diff != "" {
				t.Fatal(diff)
			}
			if fmt.Sprint(tree) != fmt.Sprint(trees[i]) {
				moved++
			}
			for v := range uint64(1) << n {
				if more := asked(tree, v) & fixed[i] &^ asked(trees[i], v); more != 0 {
					t.Fatalf("setting %b: variables %b are asked now", v, more)
				}
			}
		}
		if cost(got, leaf) > cost(trees, leaf) {
			t.Fatalf("costs %d, before %d", cost(got, leaf), cost(trees, leaf))
		}
	}
	if moved < 30 {
		t.Errorf("only %d trees changed", moved)
	}
}

// asked is the variables asked on the way of a setting.
func asked(t Tree, values uint64) (out uint64) {
	for at := 0; at >= 0; {
		out |= 1 << t[at].Var
		if values>>t[at].Var&1 == 1 {
			at = t[at].High
		} else {
			at = t[at].Low
		}
	}
	return out
}

func cost(trees []Tree, leaf func(tree, leaf int) int) int {
	sum := bodyCost(3)(usesOf(trees, 8))
	for i, t := range trees {
		for _, n := range t {
			for _, to := range []int{n.Low, n.High} {
				if to < 0 {
					sum += leaf(i, to)
				}
			}
		}
	}
	return sum
}
