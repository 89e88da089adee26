// Package cover reduces sums of products: multiple-valued inputs, many outputs,
// don't-cares, two levels. It knows nothing of relays.
//
// # Data
//
// A Shape says how many values each input variable has (2 for a bit, 64 for a
// phase) and how many outputs there are. A Cube is a product: for each variable
// the set of values it accepts, and the set of outputs it feeds. A Cover is a
// list of cubes; it means, for each output, the union of the cubes that feed it.
//
//	on, err := cover.New(cover.Shape{Sizes: []int{2, 2, 8}, Outputs: 3})
//	c := on.Full()           // appends a cube of everything, to be narrowed
//	c.Keep(0, 1)             // variable 0 is 1
//	c.Keep(2, 4, 5)          // variable 2 is 4 or 5
//	c.Keep(on.OutputVar(), 0, 2) // feeds outputs 0 and 2
//
// The outputs are one more variable, OutputVar() = len(Sizes), whose values are
// the outputs; every method of Cube that takes a variable takes it too.
//
// # Minimising
//
// Minimise takes a Problem: the on-set On, the don't-cares Free (nil for none; a
// point in both is free), Rules and Cost. It returns a cover that contains
// all of On that is not Free, and nothing outside On and Free. The cover it
// returns has always passed Verify.
//
// Without Options.Exact it runs the heuristic loop (expand, irredundant, essential
// primes, reduce, last gasp), and then looks for a better cover and for a bound by
// points of the on-set for about half as long again. With Exact it goes on until
// the bound is the cost, or until the tables are too large or a limit is
// reached; then it returns the best it has and the best bound it has proved. Exact
// is often little slower: try it first, with a limit of work.
//
// Cost is the cost of a cube, 1 if nil. The sum is minimised. It must be from 1 to
// 1<<20 (less for very many products) and must not grow when a cube gets more values
// or outputs: the bound holds only then. Where it turns out above the cost, Minimise
// returns an error.
// Among covers of the same cost both modes prefer few literals (a literal is an input
// variable that does not accept all its values). With Exact and Options.Literals
// the fewest are looked for, and Result.FewestLiterals says whether that is proved;
// that takes a list of all primes, so it is for small functions.
//
// Outputs that a cube feeds although others do it already are left off where
// that costs nothing, so that a cover has few connections.
//
// # Rules
//
// A Rule{Var, Values, Frozen} says: a product that accepts any of Values in
// variable Var must accept every value of each variable in Frozen (which may
// include the outputs' variable, but not Var). Products that obey all rules
// are admissible, and covers hold only these. On itself need not obey them: it is
// a set of points. If some point of On lies in no admissible product of On and
// Free, Minimise returns an *Impossible with that point.
//
// # Limits
//
// Options.Work limits the work by a count that is the same on every machine (about
// 60 to 100 million a second); the context limits it by time. At either limit
// Minimise returns, without an error, the best cover and bound so far, with
// Result.Stopped set. (Only if it is stopped before it has any admissible
// cover, which takes rules, does it return an error.) Memory is bounded too: tables
// that would grow past a fixed size are given up. Where even the off-set is too
// large to list, products are grown one value at a time by tautology, which is slow.
//
// The same problem and options give the same result, unless stopped by the context.
//
// # Files
//
// ReadPLA and WritePLA read and write Berkeley PLA form.
package cover
