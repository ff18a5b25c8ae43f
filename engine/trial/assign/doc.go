// Package assign puts units into the arms of a trial.
//
// A unit is what is randomised: an athlete, or a coach or a gym with all who train there.
// Its arm is a function of the frozen design, the key and the enrolments in their order,
// and of nothing else: not of when or in which order arms are asked for. So whoever
// stores the enrolment first and asks afterwards (Machine.Enrol, then Machine.Assign)
// can't be told an arm before the enrolment is fixed, a crash between the two loses
// nothing, asking twice gives the same arm, and an auditor who has the three gets every
// arm again (Replay).
//
//	m, err := assign.New(design, assign.Keyed(key))
//	err = m.Enrol(unit)           // checked; store it now
//	got, err := m.Assign(unit.ID) // the arm; of pairs revealed together both
//	err = m.Close()               // enrolment ends: matched pairs and other batches are drawn
//
// Schemes that need to see everyone first (fixed totals, matched pairs, rerandomisation)
// answer only after Close. What each scheme lets a guesser hope for is in Predict; the
// chances that the analysis has to use, in Reference.
//
// Streams, for whoever draws the arms again without this package; T is the trial's id, S
// the unit's levels joined by "/", k counts from 0:
//
//	T|S|block<k>size| the place in Design.Blocks of block k's size; not drawn with one size
//	T|S|block<k>|     the order of block k, from its arms sorted: AAABBB
//	T|all|unit<k>|    complete, minimisation: the arm of unit k by Assignment.Weights
//	T|all|pair<k>|    the arm of the first of pair k, below 2; the second gets the other
//	T|first|unit<k>|  sequential pairs told at once: the arm of a unit that starts a pair
//	T|single|unit<k>| the one whom matching left without a partner
//	T|all|totals|     fixed totals, rerandomisation: the arms of what the ratio can't
//	                  divide, then the order of all; again until balanced
//
// Whole numbers decide. Where distances come in they are made without fused arithmetic,
// so every machine draws the same arms.
package assign
