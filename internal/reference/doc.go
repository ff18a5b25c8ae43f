// Package reference checks the allocation against solvers of other people: it writes a
// schedule.Model as integer programs and has cbc or glpsol solve them. Only tests use it.
//
// # The programs
//
// One program a level, in the CPLEX LP format, with the levels before it held at their
// optima. For each allowed pair of a candidate and a day y says whether it is there and
// s how many sets it has, with Lo*y <= s <= Hi*y; u says whether a candidate is used at
// all. The hard limits are linear in these as they stand in the package comment of
// schedule, but for "a lift is trained on a day" and "of two days that clash one keeps
// within Cap", which take one more binary each.
//
// All five levels are stated exactly. A convex cost of a miss is a chain of pieces of W
// half sets, the k-th costing k for each; the sum of costs that rounds up (a day's
// fullness, what is above an aim) is an integer variable not below it; the lesser of two
// days in a soft clash takes a binary that says which. Pairs of a kind on one day cost
// 60 times 0, 1, 2 ... for the first, second, third. Each of these is least at the true
// cost, so minimizing, or holding a sum at its optimum, gives the true cost.
//
// # Trust
//
// A solver of others works in floating point with tolerances, so its answer is not
// believed either: the sets are read back, rounded, checked against the hard limits and
// valued in integers by schedule.Model.Value.
package reference
