package load

import (
	"cmp"
	"fmt"
	"slices"

	"github.com/phasewright/phasewright/engine/fault"
)

const maxRIR = 10 // reported; more is not told apart

// Aside is why a performance was not used.
type Aside uint8

// Reasons. All but the last two are impossible in themselves.
const (
	AsideUnspecified Aside = iota
	AsideLoad              // no load, or above 2000 kg
	AsideReps              // less than one repetition
	AsideTest              // a 1RM test of more than one repetition
	AsideRIR               // a reserve below 0 or above 10
	AsideFuture            // a date in the future
	AsideTooHeavy          // the load or the 1RM it means is above what is plausible
	AsideManyReps          // more repetitions than the curve has: they say little about one
	AsideOld               // so many newer ones
	AsideFar               // far from what all others foretell
)

var asideReasons = [...]string{"", "LOAD_OUT_OF_BOUNDS", "REPS_OUT_OF_BOUNDS", "TEST_OF_ONE", "RIR_OUT_OF_BOUNDS",
	"EVIDENCE_IN_FUTURE", "IMPLAUSIBLE_STRENGTH", "TOO_MANY_REPS", "OLDER_THAN_NEEDED", "FAR_FROM_OTHERS"}

var asideSays = [...]string{"",
	"the load moved must be above 0 and at most 2000 kg",
	"at least one repetition must have been done",
	"a tested 1RM has exactly one repetition; give more as a set to failure",
	"repetitions in reserve must be from 0 to 10",
	"a performance can't be from the future",
	"nobody is known to have lifted so much in such an exercise; check load, unit and repetitions",
	"so many repetitions say next to nothing about a single one; give a heavier set",
	"newer performances are enough",
	"the performance stands far from all others and was not used",
}

// String gives the stable reason, UPPER_SNAKE_CASE.
func (a Aside) String() string {
	if int(a) >= len(asideReasons) {
		return ""
	}
	return asideReasons[a]
}

// Says gives a sentence: what is wrong and what would be right.
func (a Aside) Says() string {
	if int(a) >= len(asideSays) {
		return ""
	}
	return asideSays[a]
}

// SetAside is a performance that was not used.
type SetAside struct {
	Index int   // in the observations given
	Grams int64 // the 1RM it would have meant, where far out
	Why   Aside
}

func sortAside(list []SetAside) {
	slices.SortFunc(list, func(a, b SetAside) int { return cmp.Compare(a.Index, b.Index) })
}

// Refuse gives an Invalid fault with every observation that can't be, by field under
// the given one ("observations" gives observations[3].reps), for callers that refuse
// such input instead of setting it aside.
func (c *Curve) Refuse(field string, prior Prior, obs []Observation) error {
	bad := fault.NewCollector(fault.Invalid)
	for i := range obs {
		why := c.impossible(&obs[i], &prior)
		part := ""
		switch why {
		case AsideUnspecified:
			continue
		case AsideLoad, AsideTooHeavy:
			part = "grams"
		case AsideReps, AsideTest, AsideManyReps:
			part = "reps"
		case AsideRIR:
			part = "rir"
		case AsideFuture:
			part = "age_days"
		}
		bad.Add(why.String(), fmt.Sprintf("%s[%d].%s", field, i, part), why.Says())
	}
	return bad.Err()
}

// impossible judges one performance by itself.
func (c *Curve) impossible(o *Observation, p *Prior) Aside {
	switch {
	case o.Grams <= 0 || o.Grams > 2_000_000:
		return AsideLoad
	case o.Reps < 1:
		return AsideReps
	case o.Tested && o.Reps != 1:
		return AsideTest
	case o.RIR.Set && (o.RIR.Value < 0 || o.RIR.Value > maxRIR):
		return AsideRIR
	case o.AgeDays < 0:
		return AsideFuture
	case p.MaxGrams > 0 && o.Grams > p.MaxGrams:
		return AsideTooHeavy
	}
	left := int32(0)
	if !o.Tested && !o.Failure {
		left = o.RIR.Or(0)
	}
	most := min(int32(len(c.wide)-1), maxTenths-oneRep) + oneRep
	if o.Reps > most/10 || o.Reps+left > most/10 {
		return AsideManyReps
	}
	// Benefit of the doubt: a slope at the upper bound means the smallest 1RM.
	at := (o.Reps + left - 1) * oneRep * 1000 / MaxShift
	if p.MaxGrams > 0 && o.Grams*fullBP > p.MaxGrams*int64(c.wide[at]) {
		return AsideTooHeavy
	}
	return AsideUnspecified
}
