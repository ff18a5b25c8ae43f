package build

import "github.com/phasewright/phasewright/engine/plan"

// Phase is a run of weeks of the same work that only effort and dose move.
type Phase struct {
	Name, Aim string
	Weeks     int32
	Effort    Effort        // in the last week
	Dose      plan.Permille // all through; 0: climbs as Dose has it
	Scaled    []plan.SetCount
	Work      func(Effort) Work
}

// Outline spells the phase out. start is its first week (from 0) in the whole plan, to
// which sessions and light, the weeks that become deloads, belong.
func (p *Phase) Outline(start int32, sessions []int32, light []bool, easeBy int32, rotation *Rotation) plan.OutlinePhase {
	n := int32(0)
	for _, d := range light[start : start+p.Weeks] {
		if !d {
			n++
		}
	}
	weeks := make([]plan.OutlineWeek, p.Weeks)
	i := int32(0)
	for w := range weeks {
		week := start + int32(w)
		at := i
		if light[week] {
			at = max(i-1, 0) // a deload eases the week before
		}
		dose := p.Dose
		if dose == 0 {
			dose = Dose(at, n)
		}
		weeks[w] = plan.OutlineWeek{
			Kind: plan.WeekTraining, Dose: dose,
			Sessions: rotation.Week(sessions[week], p.Work(Eased(p.Effort, easeBy, at, n))),
		}
		if light[week] {
			Lighten(&weeks[w])
		} else {
			i++
		}
	}
	aim := p.Aim + " " + Course(p.Effort, easeBy, n, p.climbing()...)
	if p.Dose != 0 && len(p.Scaled) > 0 {
		aim += " Weekly sets are " + p.Dose.String() + " of the dose."
	}
	marked := make([]bool, start+p.Weeks)
	copy(marked[start:], light[start:start+p.Weeks])
	if list := WeekList(marked); list != "" {
		aim += " Deload: " + list + "."
	}
	return plan.OutlinePhase{Name: p.Name, Aim: aim, Weeks: weeks}
}

func (p *Phase) climbing() []plan.SetCount {
	if p.Dose != 0 {
		return nil
	}
	return p.Scaled
}
