package conduct

import (
	"fmt"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/trial/assign"
)

// Verified is what a check of a trial from outside found in order.
type Verified struct {
	Events   int
	Erased   int  // events whose private text was taken out
	Arms     int  // drawn again, and the same
	Replayed bool // the key is shown, and all arms were drawn again from it
	Hash     string
	Says     string
}

// Verify goes through stored events as somebody who trusts none of them: the chain, the
// order, the frozen hash, and with the key every arm. What is wrong is an Invalid fault
// with ReasonChain, or of assign.Replay.
func Verify(events []Event) (Verified, error) {
	if len(events) == 0 {
		return Verified{}, fault.New(fault.Invalid, ReasonChain, "events", "are none")
	}
	t, err := Open(events)
	if err != nil {
		return Verified{}, err
	}
	out := Verified{Events: len(events), Erased: erased(events), Hash: t.last().Hash}
	if !t.revealed {
		out.Says = fmt.Sprintf("The chain of %d events holds. The key is not shown yet: arms can't be drawn again.", out.Events)
		return out, nil
	}
	if err := assign.Replay(t.Protocol().Design(), t.key, t.units, t.closed, t.order); err != nil {
		return Verified{}, err
	}
	out.Replayed, out.Arms = true, len(t.order)
	out.Says = fmt.Sprintf("The chain of %d events holds, and the key gives all %d arms as they were told.", out.Events, out.Arms)
	return out, nil
}

func erased(events []Event) int {
	n := 0
	for i := range events {
		if events[i].Sealed != "" && events[i].Private == nil {
			n++
		}
	}
	return n
}
