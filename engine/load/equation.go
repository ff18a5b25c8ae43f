package load

import (
	"fmt"
	"math"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
)

// Equation is a published 1RM equation. Equations are for display and comparison
// only: they use math.Exp and math.Pow, whose last bits differ between machines, so
// nothing computed here reaches a program.
type Equation struct {
	Name    string // author's name
	Year    int
	Formula string // as text; w load, r repetitions to failure
	Source  string // publication, with "(from memory)" where not looked up
	MinReps int    // valid repetitions to failure, both ends included
	MaxReps int
	Unit    plan.MassUnit // unit the coefficients are bound to; unspecified for any
	Note    string        // what to know before using it

	raw func(w, r float64) float64
}

// Raw evaluates the formula as printed, without any guard: load in any unit for a
// unit-free equation, else in Unit. One repetition is not special-cased.
func (e Equation) Raw(load, reps float64) float64 { return e.raw(load, reps) }

// Equations lists the published equations, always in the same order.
func Equations() []Equation {
	return []Equation{
		{
			Name: "Epley", Year: 1985, Formula: "w(1 + r/30)", MinReps: 1, MaxReps: 10,
			Source: "Epley 1985, as reprinted in LeSuer et al., J Strength Cond Res 11(4):211-213, 1997, table 1",
			Note:   "gives 1.033 w at one repetition; Estimate returns the load itself there",
			raw:    func(w, r float64) float64 { return w * (1 + r/30) },
		},
		{
			Name: "Brzycki", Year: 1993, Formula: "36w/(37 - r)", MinReps: 1, MaxReps: 10,
			Source: "Brzycki, J Phys Educ Recreat Dance 64(1):88-90, 1993",
			raw:    func(w, r float64) float64 { return 36 * w / (37 - r) },
		},
		{
			Name: "Lander", Year: 1985, Formula: "100w/(101.3 - 2.67123r)", MinReps: 1, MaxReps: 10,
			Source: "Lander, NSCA Journal 6(6):60-61, 1985",
			raw:    func(w, r float64) float64 { return 100 * w / (101.3 - float64(2.67123*r)) },
		},
		{
			Name: "OConner", Year: 1989, Formula: "w(1 + 0.025r)", MinReps: 1, MaxReps: 10,
			Source: "O'Conner, Simmons, O'Shea, Weight Training Today, 1989",
			raw:    func(w, r float64) float64 { return w * (1 + float64(0.025*r)) },
		},
		{
			Name: "Lombardi", Year: 1989, Formula: "w r^0.10", MinReps: 1, MaxReps: 10,
			Source: "Lombardi, Beginning Weight Training, 1989",
			raw:    func(w, r float64) float64 { return w * math.Pow(r, 0.10) },
		},
		{
			Name: "Mayhew", Year: 1992, Formula: "100w/(52.2 + 41.9e^(-0.055r))", MinReps: 1, MaxReps: 15,
			Source: "Mayhew et al., J Appl Sport Sci Res 6:200-206, 1992",
			Note:   "bench press of students",
			raw:    func(w, r float64) float64 { return 100 * w / (52.2 + float64(41.9*math.Exp(-0.055*r))) },
		},
		{
			Name: "Wathan", Year: 1994, Formula: "100w/(48.8 + 53.8e^(-0.075r))", MinReps: 1, MaxReps: 12,
			Source: "Wathan, Load assignment, in Baechle (ed.), Essentials of Strength Training and Conditioning, 1994",
			raw:    func(w, r float64) float64 { return 100 * w / (48.8 + float64(53.8*math.Exp(-0.075*r))) },
		},
		{
			Name: "Adams", Year: 1998, Formula: "w/(1 - 0.02r)", MinReps: 1, MaxReps: 10,
			Source: "Adams, Exercise Physiology Laboratory Manual, 3rd ed., 1998 (from memory)",
			raw:    func(w, r float64) float64 { return w / (1 - float64(0.02*r)) },
		},
		{
			Name: "Kemmler", Year: 2006, Formula: "w(0.988 + 0.0104r + 0.00190r² - 0.0000584r³)", MinReps: 3, MaxReps: 20,
			Source: "Kemmler et al., J Strength Cond Res 20(4), 2006",
			Note:   "trained women after menopause, on machines",
			raw: func(w, r float64) float64 {
				return w * (0.988 + float64(0.0104*r) + float64(0.00190*r*r) - float64(0.0000584*r*r*r))
			},
		},
		{
			Name: "ReynoldsChestPress", Year: 2006, Formula: "1.1307w + 0.6999", MinReps: 5, MaxReps: 5, Unit: plan.Kilogram,
			Source: "Reynolds, Gordon, Robergs, J Strength Cond Res 20(3):584-592, 2006",
			Note:   "from a 5RM on the chest press; standard error 2.98 kg",
			raw:    func(w, _ float64) float64 { return float64(1.1307*w) + 0.6999 },
		},
		{
			Name: "ReynoldsLegPress", Year: 2006, Formula: "1.0970w + 14.2546", MinReps: 5, MaxReps: 5, Unit: plan.Kilogram,
			Source: "Reynolds, Gordon, Robergs, J Strength Cond Res 20(3):584-592, 2006",
			Note:   "from a 5RM on the leg press; standard error 16.16 kg",
			raw:    func(w, _ float64) float64 { return float64(1.0970*w) + 14.2546 },
		},
		kravitz("KravitzSquat", "159.9 + 0.103rw - 11.552r", "set at 70 % of 1RM; standard error 5.06 kg",
			func(w, r float64) float64 { return 159.9 + float64(0.103*r*w) - float64(11.552*r) }),
		kravitz("KravitzBench", "90.66 + 0.085rw - 5.306r", "set at 70 % of 1RM; standard error 2.69 kg",
			func(w, r float64) float64 { return 90.66 + float64(0.085*r*w) - float64(5.306*r) }),
		kravitz("KravitzDeadlift", "156.08 + 0.098rw - 12.106r", "set at 80 % of 1RM; standard error 4.97 kg",
			func(w, r float64) float64 { return 156.08 + float64(0.098*r*w) - float64(12.106*r) }),
	}
}

// kravitz lines are regressions on 18 high-school lifters and go absurd outside of
// what those lifters did. The paper's own repetition range was not seen; the bounds
// here are judgement around sets at 70 and 80 %.
func kravitz(name, formula, note string, raw func(w, r float64) float64) Equation {
	return Equation{
		Name: name, Year: 2003, Formula: formula, MinReps: 8, MaxReps: 16, Unit: plan.Kilogram,
		Source: "Kravitz et al., J Strength Cond Res 17(1):167-172, 2003",
		Note:   "18 elite high-school lifters; not for others; " + note, raw: raw,
	}
}

// FindEquation finds an equation by name.
func FindEquation(name string) (Equation, bool) {
	for _, e := range Equations() {
		if e.Name == name {
			return e, true
		}
	}
	return Equation{}, false
}

// Estimate gives the equation's 1RM in the unit of the load, for display only.
// reps are repetitions to failure. Outside the equation's range it returns an
// Invalid fault and never extrapolates; one repetition is the load itself.
func (e Equation) Estimate(load plan.Load, reps int) (plan.Load, error) {
	if e.raw == nil {
		return plan.Load{}, fault.New(fault.Invalid, "UNKNOWN_EQUATION", "equation", "the equation is unknown; choose one of the published names")
	}
	if load.Milli <= 0 || load.Unit == plan.UnitUnspecified {
		return plan.Load{}, fault.New(fault.Invalid, "LOAD_NOT_POSITIVE", "load", "a 1RM can be estimated only from a load above zero in kg or lb")
	}
	if reps < e.MinReps || reps > e.MaxReps {
		return plan.Load{}, fault.New(fault.Invalid, "REPS_OUTSIDE_EQUATION", "reps", fmt.Sprintf(
			"%s is valid for %d to %d repetitions to failure, not for %d; use a heavier set or another equation",
			e.Name, e.MinReps, e.MaxReps, reps))
	}
	if reps == 1 {
		return load, nil
	}
	in := load
	if e.Unit != plan.UnitUnspecified {
		in = load.In(e.Unit)
	}
	out := plan.Load{Milli: int64(math.Round(e.raw(float64(in.Milli)/1000, float64(reps)) * 1000)), Unit: in.Unit}
	return out.In(load.Unit), nil
}
