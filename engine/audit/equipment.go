package audit

import (
	"fmt"
	"slices"
	"strings"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
)

// own tells of the request's own exercises what the catalogue's checks refuse.
func (a *auditor) own(err error) {
	f, ok := fault.As(err)
	if !ok {
		return
	}
	for _, v := range f.Violations {
		a.finding(plan.Finding{Rule: ruleExerciseOwn}, "%s: %s.", v.Field, v.Says)
	}
}

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

// mostHelp is the largest share of the moved body mass, in permille, that a counterweight
// may take (judgement).
const mostHelp = 900

// setLoad reports whether it had something to say; one finding an exercise is enough.
func (a *auditor) setLoad(l *lift, s *plan.Set) bool {
	if !s.Load.Set {
		return false
	}
	v := s.Load.Value
	loadless := !l.x.Loading.Loadable()
	if l.x.Loading == plan.LoadingAssisted && len(l.menu.values) > 0 && a.body > 0 && l.share > 0 {
		loadless = false
	}
	switch {
	case v.Milli < 0 || v.Milli > maxMilli:
		return false // a slip in the set, told there
	case loadless && v.Milli == 0:
		return false
	case loadless:
		a.finding(l.about(ruleLoad), "%s takes no load in numbers (%s), yet %s is prescribed.", l.x.Name, l.x.Loading, v)
	case !slices.Contains(l.menu.units, v.Unit) && (v.Unit != a.r.Constraints.Unit || !summed(l.x.Loading)):
		a.finding(l.about(ruleUnit), "%s is in %s; what is there at %q is marked in %s, and the request asks for %s.", v, v.Unit, l.in.s.PlaceID, unitNames(l.menu.units), a.r.Constraints.Unit)
	case !l.menu.has(v):
		a.finding(l.about(ruleLoad), "%s can't be set at %q with %s.", v, l.in.s.PlaceID, l.x.Loading)
	case l.x.Loading == plan.LoadingAssisted && v.Grams()*1000 > a.body*int64(l.share)*mostHelp/1000:
		a.finding(l.about(ruleLoad), "With %s of help less than a tenth of the body mass is left to lift.", v)
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

// summed reports loads of several pieces, which are told in the request's unit whatever
// the pieces are marked in.
func summed(l plan.Loading) bool {
	switch l {
	case plan.LoadingBar, plan.LoadingPlateMachine, plan.LoadingDumbbell, plan.LoadingDumbbellPair, plan.LoadingAdded:
		return true
	}
	return false
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
	sides, uses, stock := int64(2), int64(2), l.in.place.Plates
	var bases []int64
	switch l.x.Loading {
	case plan.LoadingBar:
		for _, b := range l.in.place.Bars {
			if v, ok := exactly(b.Mass); ok && b.Kind == l.x.Bar {
				collars, _ := exactly(b.Collars.Value)
				bases = append(bases, v+collars)
			}
		}
	case plan.LoadingPlateMachine:
		bases = []int64{0}
	case plan.LoadingDumbbell, plan.LoadingDumbbellPair:
		return handleWrong(l, s, sum)
	case plan.LoadingAdded:
		sides, uses, bases = 1, 1, []int64{0}
		stock = hangable(l.in.place)
	default:
		return fmt.Sprintf("%s takes no plates (%s).", l.x.Name, l.x.Loading)
	}
	if says := scarce(s.Plates, stock, uses); says != "" {
		return says
	}
	if !addsUp(s.Load.Value, bases, sides*sum) {
		return fmt.Sprintf("The plates listed don't add up to %s.", s.Load.Value)
	}
	return ""
}

// hangable lists what can hang from the body.
func hangable(p *plan.Place) []plan.PlateStock {
	stock := slices.Clone(p.Plates)
	for _, h := range slices.Concat(p.Dumbbells, p.Kettlebells) {
		stock = append(stock, plan.PlateStock(h))
	}
	for _, a := range p.Adjustables {
		for _, v := range a.Settings {
			stock = append(stock, plan.PlateStock{Mass: v, Count: a.Count})
		}
	}
	return stock
}

// handleWrong checks plates on the handles of adjustable dumbbells.
func handleWrong(l *lift, s *plan.Set, sum int64) string {
	need := int32(1)
	if l.x.Loading.PerHand() {
		need = 2
	}
	says := fmt.Sprintf("The plates listed don't add up to %s.", s.Load.Value)
	for _, a := range l.in.place.Adjustables {
		base, ok := exactly(a.Handle.Value)
		if !ok || a.Count < need || !addsUp(s.Load.Value, []int64{base}, 2*sum) {
			continue
		}
		if says = scarce(s.Plates, a.Plates, int64(2*need)); says == "" {
			return ""
		}
	}
	return says
}

// scarce tells of plates of which more are used, so many for each listed, than are there.
func scarce(list []plan.Load, stock []plan.PlateStock, uses int64) string {
	for i, pl := range list {
		if i > 0 && pl == list[i-1] {
			continue
		}
		need, have := int64(0), int64(0)
		for _, o := range list {
			if o == pl {
				need += uses
			}
		}
		for _, st := range stock {
			if st.Mass == pl && st.Count > 0 {
				have += int64(st.Count)
			}
		}
		if need > have {
			return fmt.Sprintf("%d plates of %s are needed and %d are there.", need, pl, have)
		}
	}
	return ""
}

// addsUp reports plates that make a load with one of the bases, to half a thousandth.
func addsUp(want plan.Load, bases []int64, plates int64) bool {
	v, _ := exactly(want)
	near := perMilli(want.Unit) / 2
	for _, b := range bases {
		if d := b + plates - v; d >= -near && d <= near {
			return true
		}
	}
	return false
}
