package engine

import (
	"fmt"

	"github.com/phasewright/phasewright/engine/plan"
)

// Bounds of what a place may have, in grams.
const (
	maxPiece   = 50_000 // a bar or a plate
	maxHeld    = 100_000
	maxSetting = 500_000 // of a stack
	maxAddOn   = 25_000
)

// stocks holds what a place has against what can be there.
func (s *settler) stocks(path string, p *plan.Place) {
	for i, b := range p.Bars {
		f := fmt.Sprintf("%s.bars[%d]", path, i)
		s.massOf(b.Mass, f+".mass", maxPiece)
		if b.Collars.Set {
			s.massOf(b.Collars.Value, f+".collars", maxAddOn)
		}
	}
	s.plates(p.Plates, path+".plates", "plates", maxPiece, 100)
	for i, b := range p.Dumbbells {
		s.massOf(b.Mass, fmt.Sprintf("%s.dumbbells[%d].mass", path, i), maxHeld)
	}
	for i, b := range p.Kettlebells {
		s.massOf(b.Mass, fmt.Sprintf("%s.kettlebells[%d].mass", path, i), maxHeld)
	}
	for i := range p.Stacks {
		s.stack(fmt.Sprintf("%s.stacks[%d]", path, i), &p.Stacks[i])
	}
	for i := range p.Adjustables {
		s.adjustable(fmt.Sprintf("%s.adjustable_dumbbells[%d]", path, i), &p.Adjustables[i])
	}
}

func (s *settler) massOf(l plan.Load, field string, most int64) {
	if l.Milli <= 0 || l.Grams() > most || (l.Unit != plan.Kilogram && l.Unit != plan.Pound) {
		s.bad.Add("OUT_OF_RANGE", field, fmt.Sprintf("%s is not a mass between 0 and %d kg", l, most/1000))
	}
}

func (s *settler) plates(list []plan.PlateStock, field, what string, heaviest int64, most int32) {
	for i, b := range list {
		s.massOf(b.Mass, fmt.Sprintf("%s[%d].mass", field, i), heaviest)
		if b.Count < 0 || b.Count > most {
			s.bad.Add("OUT_OF_RANGE", fmt.Sprintf("%s[%d].count", field, i), fmt.Sprintf("must be between 0 and %d single %s", most, what))
		}
	}
}

// rising checks a list of settings.
func (s *settler) rising(list []plan.Load, field string, most int64) {
	for i, l := range list {
		f := fmt.Sprintf("%s[%d]", field, i)
		s.massOf(l, f, most)
		if i > 0 && l.Cmp(list[i-1]) <= 0 {
			s.bad.Add("ORDER", f, fmt.Sprintf("%s comes after %s; settings go from the lightest to the heaviest", l, list[i-1]))
		}
	}
}

func (s *settler) stack(f string, k *plan.Stack) {
	s.plates(k.AddOns, f+".add_ons", "weights", maxAddOn, 20)
	switch even := k.First != (plan.Load{}) || k.Step != (plan.Load{}) || k.Last != (plan.Load{}); {
	case len(k.Settings) > 0 && even:
		s.bad.Add("CONTRADICTION", f, "has a list of settings and a first, step or last one; give one of the two")
	case len(k.Settings) > 0:
		s.rising(k.Settings, f+".settings", maxSetting)
	case k.Step.Milli <= 0 || k.First.Milli < 0 || k.Last.Cmp(k.First) < 0 || k.First.Unit != k.Step.Unit || k.Last.Unit != k.Step.Unit:
		s.bad.Add("OUT_OF_RANGE", f, "needs a first plate, a step above zero and a last plate not below the first, all in one unit")
	case (k.Last.Milli-k.First.Milli)/k.Step.Milli > 200:
		s.bad.Add("OUT_OF_RANGE", f, "has more than 200 steps")
	}
}

func (s *settler) adjustable(f string, a *plan.Adjustable) {
	if a.Count < 1 || a.Count > 10 {
		s.bad.Add("OUT_OF_RANGE", f+".count", "must be between 1 and 10 dumbbells that can be used at once")
	}
	switch {
	case a.Handle.Set == (len(a.Settings) > 0), !a.Handle.Set && len(a.Plates) > 0:
		s.bad.Add("REQUIRED", f, "needs either a handle with its plates or the settings of a dial")
	case a.Handle.Set:
		s.massOf(a.Handle.Value, f+".handle", maxAddOn)
		s.plates(a.Plates, f+".plates", "plates", maxAddOn, 100)
	default:
		s.rising(a.Settings, f+".settings", maxHeld)
	}
}
