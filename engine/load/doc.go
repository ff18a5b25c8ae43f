// Package load turns strength into kilograms or pounds that can be put on a bar, and back.
//
// The way from what an athlete has shown to a set on paper runs through the files:
//
//   - posterior.go: performances and what the population tells (prior.go) become a 1RM
//     and a slope of the curve, both with their SD; noise.go holds what a performance
//     is worth, screen.go what can't be one, linear.go the algebra.
//   - curve.go: a curve per family of exercise says how many repetitions a fresh
//     athlete can do at a share of the 1RM; it can be shifted to the person.
//   - fatigue.go: each set leaves a debt that rest pays back, so the last of four
//     sets is checked against what is left and not against the fresh curve.
//   - buildable.go, held.go, stack.go: the wanted load becomes one that the bars, plates,
//     dumbbells or stacks at hand really give, with what it is made of. Totals are in the
//     request's unit, what stands on one piece stays as it is marked.
//   - warmup.go and time.go: the lighter sets before, and the seconds of it all.
//
// Two files are references and not machinery. equation.go holds the published 1RM
// equations by their authors' names, for display and comparison; nothing of it
// reaches a program. table.go holds the textbook %1RM table and the load tables by
// repetitions and RIR that follow from a table; as a Curve it is a named alternative.
//
// Everything that decides something is an integer: repetitions in tenths, shares of
// the 1RM in basis points (10,000 is 100 %), masses in grams or in thousandths of
// their own unit. Floats are used on the way in two places, the curves and the
// posterior: only + - * / and the exact square root, with explicit conversions, which
// forbid fused multiply-add; logs and exponentials are linear.go's own. The curves are
// rounded to basis points once and a test pins their digest, the posterior to grams
// and permille.
//
// Source tags: a plain citation was seen in an abstract or in a text that quotes the
// paper; "(from memory)" was not looked up; "(judgement)" has no source.
package load
