// Package analyse answers a trial's question from its frozen design, its assignments and
// its measurements.
//
// Analyse follows one order. The first answer is by intention to treat: everyone counts in
// the arm that was drawn, whatever was trained, with the baseline held equal and with the
// pairs, strata or clusters that the design randomised within (frame.go). Beside it stand
// the simple comparison, the randomisation test that draws the actual scheme again, the
// standardised effect, equivalence against the smallest effect of interest and the
// posterior from the stated prior. What was left out comes after: those who kept to the
// plan alone, singles of pairs, the bounds of what the missing could hide.
//
// A part that can't be computed is refused by name with its reason (Report.Refused) and
// never silently left out; a number is never NaN. Nobody is called a responder: one
// change of one athlete can't be told from noise and time.
//
// Where coaches or gyms were randomised the units are these, and so are the degrees of
// freedom: Average turns athletes' values into their units'.
package analyse
