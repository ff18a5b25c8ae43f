package audit

import (
	"fmt"
	"slices"
	"strings"

	"github.com/phasewright/phasewright/engine/plan"
)

func (a *auditor) equipment() {
	a.eachLift(func(w *week, s *session, l *lift) {
		switch {
		case l.x == nil:
			a.finding(l.about(ruleExerciseUnknown), "The catalogue has no exercise %q.", l.e.ExerciseID)
			return
		case s.place == nil:
			return // the place itself is the finding
		case !l.x.Available(s.place):
			a.finding(l.about(ruleEquipment), "%s can't be done at %q: %s.", l.x.Name, s.s.PlaceID, missing(l, s.place))
			return
		}
		for i := range l.e.Sets {
			if a.setLoad(l, &l.e.Sets[i]) {
				return
			}
		}
	})
}

func missing(l *lift, p *plan.Place) string {
	lack := l.x.Missing(p)
	if len(lack) == 0 {
		return "no load for " + l.x.Loading.String() + " is there"
	}
	names := make([]string, len(lack))
	for i, e := range lack {
		names[i] = e.String()
	}
	return strings.Join(names, ", ") + " missing"
}

// setLoad reports whether it had something to say; one finding an exercise is enough.
func (a *auditor) setLoad(l *lift, s *plan.Set) bool {
	if !s.Load.Set {
		return false
	}
	v := s.Load.Value
	loadless := !l.x.Loading.Loadable()
	switch {
	case v.Milli < 0 || v.Milli > maxMilli:
		return false // a slip in the set, told there
	case loadless && v.Milli == 0:
		return false
	case loadless:
		a.finding(l.about(ruleLoad), "%s takes no load in numbers (%s), yet %s is prescribed.", l.x.Name, l.x.Loading, v)
	case !slices.Contains(l.menu.units, v.Unit):
		a.finding(l.about(ruleUnit), "%s is in %s; what is there at %q is marked in %s, and the request asks for %s.", v, v.Unit, l.in.s.PlaceID, unitNames(l.menu.units), a.r.Constraints.Unit)
	case !l.menu.has(v):
		a.finding(l.about(ruleLoad), "%s can't be set at %q with %s.", v, l.in.s.PlaceID, l.x.Loading)
	case len(s.Plates) > 0:
		if says := platesWrong(l, s); says != "" {
			a.finding(l.about(rulePlates), "%s", says)
			return true
		}
		return false
	default:
		return false
	}
	return true
}

func unitNames(units []plan.MassUnit) string {
	if len(units) == 0 {
		return "nothing"
	}
	names := make([]string, len(units))
	for i, u := range units {
		names[i] = u.String()
	}
	return strings.Join(names, " and ")
}

// platesWrong checks a list of plates against load, stock and order.
func platesWrong(l *lift, s *plan.Set) string {
	want, _ := exactly(s.Load.Value)
	sum := int64(0)
	for i, pl := range s.Plates {
		v, ok := exactly(pl)
		if !ok || v == 0 {
			return fmt.Sprintf("%s is no plate.", pl)
		}
		sum += v
		if i > 0 && pl.Cmp(s.Plates[i-1]) > 0 {
			return fmt.Sprintf("Plates are listed heaviest first; %s comes after %s.", pl, s.Plates[i-1])
		}
		if len(s.Plates) > 100 {
			return fmt.Sprintf("%d plates on one side can't be meant.", len(s.Plates))
		}
	}
	sides := int64(2)
	var bases []int64
	switch l.x.Loading {
	case plan.LoadingBar:
		for _, b := range l.in.place.Bars {
			if v, ok := exactly(b.Mass); ok && b.Kind == l.x.Bar {
				bases = append(bases, v)
			}
		}
	case plan.LoadingPlateMachine:
		bases = []int64{0}
	case plan.LoadingAdded:
		sides, bases = 1, []int64{0}
	default:
		return fmt.Sprintf("%s takes no plates (%s).", l.x.Name, l.x.Loading)
	}
	for i, pl := range s.Plates {
		if i > 0 && pl == s.Plates[i-1] {
			continue
		}
		need, have := int64(0), int64(0)
		for _, o := range s.Plates {
			if o == pl {
				need += sides
			}
		}
		for _, st := range l.in.place.Plates {
			if st.Mass == pl && st.Count > 0 {
				have += int64(st.Count)
			}
		}
		if l.x.Loading == plan.LoadingAdded {
			for _, h := range slices.Concat(l.in.place.Dumbbells, l.in.place.Kettlebells) {
				if h.Mass == pl && h.Count > 0 {
					have += int64(h.Count)
				}
			}
		}
		if need > have {
			return fmt.Sprintf("%d plates of %s are needed and %d are there.", need, pl, have)
		}
	}
	near := perMilli(s.Load.Value.Unit) / 2
	for _, b := range bases {
		if d := b + sides*sum - want; d >= -near && d <= near {
			return ""
		}
	}
	return fmt.Sprintf("The plates listed don't add up to %s.", s.Load.Value)
}
