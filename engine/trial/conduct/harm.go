package conduct

import (
	"github.com/phasewright/phasewright/engine/trial/report"
	"github.com/phasewright/phasewright/engine/trial/sequential"
)

// ArmHarm is what an arm's adverse events say against those of all other arms.
type ArmHarm struct {
	Arm              string // id
	Athletes, Struck int    // of whom had an adverse event, whatever its cause
	Serious          int    // events
	sequential.Harm
}

// Harm compares arms by their athletes with an adverse event, at one of so many planned
// looks. It shows no outcome, so it may be asked for at any time.
func (t *Trial) Harm(looks int) ([]ArmHarm, error) {
	if t.frozen == nil {
		return nil, early("trial", "has given no arms yet")
	}
	arms := t.Protocol().Arms
	out := make([]ArmHarm, len(arms))
	all, struck := 0, 0
	for i := range arms {
		out[i].Arm = arms[i].ID
	}
	for _, x := range t.people {
		a, is := t.assigned[x.Unit]
		if !is {
			continue
		}
		o := &out[a.Arm]
		o.Athletes++
		all++
		any := false
		for _, h := range x.happened {
			if h.Kind == report.Adverse {
				any = true
				if h.Serious {
					o.Serious++
				}
			}
		}
		if any {
			o.Struck++
			struck++
		}
	}
	for i := range out {
		o := &out[i]
		var err error
		if o.Harm, err = sequential.CompareEvents([2]int{struck - o.Struck, o.Struck}, [2]int{all - o.Athletes, o.Athletes}, looks); err != nil {
			return nil, err
		}
	}
	return out, nil
}
