// Package fold asks the variables of transfer trees in orders that need few relays: folded trees for full ones, search for pruned ones.
package fold

import (
	"cmp"
	"slices"
)

// Node is a transfer contact of a tree: its common is the node, Low is what
// the break side leads to (the variable is off), High the make side. What is
// not negative is an index into the Tree; a negative number is a leaf, whatever
// the caller means by it, nothing soldered among them.
type Node struct{ Var, Low, High int }

// Tree steers its root, node 0, to one of its leaves. No node has two parents.
type Tree []Node

// Leaf is the leaf that a setting of the variables reaches: bit i of values is
// variable i.
func (t Tree) Leaf(values uint64) int {
	at := 0
	for at >= 0 {
		if values>>t[at].Var&1 == 1 {
			at = t[at].High
		} else {
			at = t[at].Low
		}
	}
	return at
}

// Admissible reports whether some full transfer tree over len(loads) variables
// has these numbers of contacts on them, in any order: sorted they begin with
// 1, any k of them come to at least 2^k - 1, and all to 2^n - 1. This is
// the condition of Burks, McNaughton, Pollmar, Warren and Wright, "The Folded
// Tree", J. Franklin Inst. 260 (1955), which credits the idea to Shannon, "The
// Synthesis of Two-Terminal Switching Circuits", BSTJ 28 (1949).
func Admissible(loads []int) bool {
	if len(loads) == 0 || len(loads) > maxFolded {
		return false
	}
	sorted := slices.Sorted(slices.Values(loads))
	sum := 0
	for i, a := range sorted {
		sum += a
		if sum < 1<<(i+1)-1 {
			return false
		}
	}
	return sorted[0] == 1 && sum == 1<<len(loads)-1
}

// maxFolded bounds the variables of a full tree: it has 2^n - 1 contacts.
const maxFolded = 20

// Fewest returns a full transfer tree over n variables (1 to 20) with the
// fewest relay bodies, the sum of ceil(load/poles); of these the one with
// the most even loads. loads[i] is the contacts on variable i; variable 0 is the
// root's. Leaf -1-v is reached by setting v. It returns nil outside its limits.
func Fewest(n, poles int) (loads []int, tree Tree) {
	if n < 1 || n > maxFolded || poles < 1 {
		return nil, nil
	}
	// The root's variable takes a body of its own; the others share what is left,
	// and the most even shares meet the partial sums if any shares of so many
	// bodies do.
	left := 1<<n - 2
	for bodies := max(n-1, (left+poles-1)/poles); ; bodies++ {
		loads = append([]int{1}, fill(left, n-1, bodies, poles)...)
		if Admissible(loads) {
			tree, _ = With(loads)
			return loads, tree
		}
	}
}

// fill shares total over n piles of so many bodies in all, as evenly as whole
// bodies allow, ascending.
func fill(total, n, bodies, poles int) []int {
	piles := make([]int, n)
	for i := range piles {
		room := bodies / n * poles
		if i >= n-bodies%n {
			room += poles
		}
		piles[i] = min(room, total/(n-i))
		total -= piles[i]
	}
	return piles
}

// With returns a full transfer tree with loads[i] contacts on variable i, and
// leaf -1-v for setting v; ok is false if the loads are not admissible.
//
// The loads without the root's are split into two admissible sets, one for
// each subtree (the splitting technique of the same paper).
func With(loads []int) (tree Tree, ok bool) {
	if !Admissible(loads) {
		return nil, false
	}
	piles := make([]pile, len(loads))
	for i, a := range loads {
		piles[i] = pile{i, a}
	}
	tree = make(Tree, 0, 1<<len(loads)-1)
	if grow(&tree, piles, 0) == failed {
		return nil, false
	}
	return tree, true
}

// pile is how many contacts a variable has in a subtree.
type pile struct{ variable, load int }

const failed = 1 << 30

// grow appends a subtree that has these loads and returns its root. Values are
// those of the variables above.
func grow(tree *Tree, piles []pile, values uint64) int {
	if len(piles) == 0 {
		return -1 - int(values)
	}
	slices.SortFunc(piles, func(a, b pile) int {
		return cmp.Or(cmp.Compare(a.load, b.load), cmp.Compare(a.variable, b.variable))
	})
	low, high, ok := split(piles[1:])
	if !ok {
		return failed
	}
	at := len(*tree)
	root := piles[0].variable
	*tree = append(*tree, Node{Var: root})
	l := grow(tree, low, values)
	h := grow(tree, high, values|1<<root)
	if l == failed || h == failed {
		return failed
	}
	(*tree)[at].Low, (*tree)[at].High = l, h
	return at
}

// split shares ascending loads between two subtrees so that both sets are
// admissible. Each needs a variable of one contact: the smallest loads give
// these at the least cost, the others are halved.
func split(piles []pile) (low, high []pile, ok bool) {
	if len(piles) == 0 {
		return nil, nil, true
	}
	for x := range piles {
		for y := range piles {
			if x == y && piles[x].load != 2 {
				continue
			}
			if low, high, ok := halve(piles, x, y); ok {
				return low, high, true
			}
		}
	}
	return nil, nil, false
}

// halve splits with one contact of pile x in the low half and one of pile y in the high half.
func halve(piles []pile, x, y int) (low, high []pile, ok bool) {
	low, high = slices.Clone(piles), slices.Clone(piles)
	due := 1<<len(piles) - 1
	for i := range piles {
		switch {
		case i == x:
			low[i].load = 1
		case i == y:
			low[i].load--
		default:
			low[i].load /= 2
		}
		high[i].load -= low[i].load
		due -= low[i].load
	}
	// move gives the low half by more contacts of pile i.
	move := func(i, by int) bool {
		if i == x || i == y || low[i].load+by < 1 || high[i].load-by < 1 {
			return false
		}
		low[i].load += by
		high[i].load -= by
		return true
	}
	// What the low half still lacks, or has too much of, is made up from the
	// largest piles: the partial sums feel these last.
	for step := 1; due != 0; {
		if due < 0 {
			step = -1
		}
		before := due
		for i := len(low) - 1; i >= 0 && due != 0; i-- {
			if move(i, step) {
				due -= step
			}
		}
		if due == before {
			return nil, nil, false
		}
	}
	// Then contacts change halves two ways as long as that brings both sets nearer.
	for lack := lacking(low) + lacking(high); lack > 0; {
		before := lack
		for by := 1; by < piles[len(piles)-1].load && lack == before; by *= 2 {
			for i := range piles {
				for j := range piles {
					if i == j || !move(i, by) {
						continue
					}
					if move(j, -by) {
						if now := lacking(low) + lacking(high); now < lack {
							lack = now
							continue
						}
						move(j, by)
					}
					move(i, -by)
				}
			}
		}
		if lack == before {
			return nil, nil, false
		}
	}
	return low, high, true
}

// lacking is by how much the partial sums miss, 0 for an admissible set whose total is right.
func lacking(piles []pile) int {
	loads := make([]int, len(piles))
	for i, p := range piles {
		loads[i] = p.load
	}
	slices.Sort(loads)
	lack, sum := 0, 0
	for i, a := range loads {
		sum += a
		lack += max(0, 1<<(i+1)-1-sum)
	}
	return lack
}
