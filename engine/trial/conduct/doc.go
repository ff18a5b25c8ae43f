// Package conduct is a trial while it runs, without clock or store: its protocol, and what
// happened, as a chain of events that can only grow.
//
// A Trial is the fold of its events. Append checks that an event may come now, chains it
// to the one before and gives it back to be stored; whoever stores it before telling
// anyone has an acknowledged event that is stored. Open takes stored events and refuses a
// chain that is broken. The order is kept: a protocol is frozen before anyone joins;
// whoever is to be assigned has consented, has a baseline and a program that works under
// every arm; the enrolment is an event of its own before the arm is drawn (Draw), and the
// arm follows from the frozen design, the key and the enrolments alone. Results can be
// asked for at planned looks and after the end, and not before.
//
// Verify goes through a trial from outside: the chain, the hashes of the protocol's
// versions, and, once the key is shown, every arm anew.
//
// What says something of a person (values, reasons, who measured) is Private: the chain
// holds only its digest under a random salt. Erase takes text and salt away for good, and
// the chain still holds. Pseudonym, levels and covariates of enrolled units stay, as the
// arms of all others can't be drawn again without them.
package conduct

import (
	"fmt"

	"github.com/phasewright/phasewright/engine/fault"
)

// Reasons of faults.
const (
	ReasonProtocol = "TRIAL_PROTOCOL" // a protocol that can't be
	ReasonOrder    = "TRIAL_ORDER"    // an event that can't come now
	ReasonEvent    = "TRIAL_EVENT"    // an event that can't be
	ReasonChain    = "TRIAL_CHAIN"    // events that were changed, lost or put in
	ReasonLocked   = "TRIAL_LOCKED"   // results that can't be seen yet
)

func invalid(field, format string, args ...any) error {
	return fault.New(fault.Invalid, ReasonEvent, field, fmt.Sprintf(format, args...))
}

func early(field, format string, args ...any) error {
	return fault.New(fault.Infeasible, ReasonOrder, field, fmt.Sprintf(format, args...))
}
