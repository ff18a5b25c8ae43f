// Package schedule puts exercises and sets onto the days of a window of weeks.
//
// Solve takes a Model and gives the best Assignment under the objective below, with
// a proven lower bound and whether the value is proven to be the optimum; or, where
// the hard wishes clash, an Infeasible fault that names an irreducible set of them.
// All claims are about the listed candidates.
//
// # Hard
//
// On each day the ticks (Fixed + PerSet*sets of every exercise there) fit Capacity,
// exercises fit MaxExercises, sets fit MaxSets; an exercise that is there has Lo to
// Hi sets; only Allowed pairs are used; two candidates of a Variant never share a
// day; direct half sets of a muscle fit its MaxSession. Over the window a candidate
// is on MinDays to MaxDays columns; one that is chosen has at least MinSets and at
// most MaxSets a week; a muscle gets at most MaxWeek; a lift is trained at least
// MinDays times a week; of two days that clash, at least one keeps within Cap.
//
// # Objective
//
// Five levels, the gravest first; a deeper one only decides among equals of those
// before it. With W weeks and a supply of S half sets in the window against a weekly
// aim A, the miss is M = max(0, W*A - S). A miss of q = M/W whole and r = M%W left
// costs convex(M) = W*q(q+1)/2 + r(q+1): with W = 1 the first half set missed costs
// 1, the second 2, the third 3. So misses are spread, and no wish starves another.
//
//	1 goals       1000 * convex(miss of Floor), every muscle
//	              + Weight * convex(miss of Wanted), muscles with PrioritySoft
//	              + Weight * convex(miss of DirectWanted), the same, direct sets only
//	              + Weight * convex(miss of Wanted), lifts, a set being two half sets
//	2 rest        4 * Weight * convex(miss of Wanted and of DirectWanted), the other muscles
//	              + 4 * Weight * convex(miss of Wanted), movement patterns, a set being two half sets
//	              + 24 * W for each half set by which the lesser day of a soft clash exceeds Cap
//	              + 5 * max(0, 7R - 10L, 10L - 14R) for the sets L and R of a Balance in the
//	                window: 5 for each tenth of a set outside 0.7 to 1.4
//	3 stability   against a prior: 8 for each pair (exercise, day) added or removed, 1 for
//	              each set more or less in a pair that stays
//	4 preference  100 - Preference of each pair
//	              + 20 for each exercise that is used at all
//	              + 60 * (n-1)n/2 where n exercises of a pattern and first prime muscle share a day
//	              + 12 for each direct half set of a muscle in a session above half of its week
//	                (of Wanted, rounded up to whole sets; with two sessions a week or more,
//	                for muscles with 4 sets or more wanted)
//	              + 8 for each set of an exercise above 4 in a session, goal lifts excepted
//	              + 200 for each exercise below MinExercises of a day
//	              + for each day a quarter for every tick above 60 % of Capacity and again for
//	                every tick above 80 %, the sum rounded up: sessions of like fullness
//	              + for muscles and lifts with something wanted: 2 for each weekly half set above
//	                it, and 6 more for each above one and a half times it
//	5 simplicity  1000 for each exercise used + 1 for each pair
//
// A floor's half set costs 1000, more than a set of a goal ordinarily gains: floors come first,
// goals after, and what is left of the minutes goes to the rest. Sets beyond every
// aim cost at level 4, so time left over stays left over. The weights are judgement
// (common practice, no source). Seed decides only among assignments equal at every
// level. Costs above an aim are added up over the window, divided by W and rounded up.
//
// # Method
//
// A greedy start (most gain a tick) and local search (sets up and down; exercises added,
// removed, moved, swapped, replaced; one out and one in; two out and one in) give the
// first incumbent. Every trial is one incremental update and one comparison.
//
// Every level is then solved by branch and bound over a collapsed program (collapsed.go,
// limits.go, later.go): days are put into classes, and a whole column n(c, g, s) says on
// how many days of class g exercise c has s sets. Its rows are the minutes and places of
// the classes, what is mandatory, the levels before it held at their values, and for every
// muscle, lift and movement: supply + misses >= aim. Supplies come in steps, what pins
// bring and then the common divisor of what other sets give, and the cost between two
// steps is a line, so a miss is a column for each step. A soft clash has a column for its
// excess, which branching ties to one or the other of its two days. The costs of level 4
// are columns too, but for what is rounded up. Seldom broken rows join when they are
// broken. Whatever meets the problem's limits meets these, at no more than its cost, so a
// bound of the program is one of the level. Levels 1 and 2 are tried twice: with all days
// that come as often in one class (their minutes together, each exercise as on its
// briefest day; a small program whose bound is often enough), and with interchangeable
// days alone together. From level 3 on every day is a class.
//
// A dual simplex in floating point (simplex.go, basis.go) proposes prices of the rows; the
// bound they prove is computed in integers (linear.floor), as any prices prove one: each
// column's cost less its worth at the prices is least at an end of its box. No float
// claims anything, and products are rounded one by one, so that all machines take the
// same way. Cuts raise the first node's bound: sums of rows that are divided and rounded
// (rounding.go), which are short and close most of what is between the bound of the
// program and that of its whole points, and where these end, Gomory cuts (gomory.go). The
// former are in integers throughout; of the latter the multipliers are rounded first, and
// what follows is exact. Rows that do not bind leave before every node, as a pivot costs
// the square of the rows. A column whose reduced cost at the first node is more than the
// gap stays where it is. A node is split by a sum that must be whole (split.go): days or
// sets of exercises that count for the same, over the window, over a class, then of a
// single exercise; which one, a few pivots of both halves and what splits before it
// brought decide. Where all are whole, place.go puts them onto the days of each class
// depth first, interchangeable days in order, and what results is judged as any assignment
// is. Now and then the values of a node are rounded and improved by local search. The node
// with the least bound goes first, so what is open when the work is spent still gives a
// bound. Values lie on a grid (a divisor of all costs), to which bounds are rounded
// up.
//
// What a first attempt does not prove gets random walks from hot to cold, with a fixed
// random sequence and temperatures after what random changes of the incumbent cost
// (anneal.go); at level 4 every other one by way of a walk at level 2, as what that admits
// lies in many places. A second share of branch and bound follows from the better
// incumbent; at levels 2 and 4 also the program again with all but one or two classes of
// days fixed (hood.go). Where the gap at level 4 is wide, walks and fixed days take that
// second share; where that of level 2 is, half of the share that does not close a quarter
// of it is the last. Levels behind one without proof are improved in the same way, and
// claim nothing.
//
// That takes at most five sixths of the work, each level its share. What is left goes to
// the first level without proof (again.go). Its programs go on as long as they close the
// gap fast enough to end in half of what is left; where one ends, the levels behind it are
// tried anew, now with proofs. Then walks and fixed parts take turns: of the exercises, some
// in use and as many others, drawn by the fixed sequence, are free on all days and the rest
// fixed; how many are free follows whether such programs are solved to the end. An answer
// is only ever replaced by a better one.
//
// All of that is a pass. A budget above DefaultBudget has a second one with the rest,
// whose shares and walks are as much longer, from the answer and the bounds of the first.
//
// A depth-first search over pairs, day by day, with the levels before it fixed at their
// proven values, tries what is open (exact.go); it ends on models small enough. A node is
// cut where the rows with all that could still be added, or what is already spent (levels
// 3 to 5 only grow) can't beat the incumbent; interchangeable days are kept in order. A
// pass that ends proves its level. The budget counts trials, nodes and pivots by their
// size, never time, so the answer is the same on every machine; what is not proven when
// it is spent is reported as such with its bound.
//
// A conflict is found by deletion: each wish is left out in turn, and stays out while
// the others clash without it. The searches behind it look only at the candidates
// that must be there, as leaving the others out never breaks a limit.
package schedule
