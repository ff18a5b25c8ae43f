package engine

import (
	"context"
	"fmt"
	"slices"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/load"
	"github.com/phasewright/phasewright/engine/plan"
)

// Bounds of a query.
const (
	maxLifts   = 100
	maxLoads   = 30
	curveReps  = 30 // where the curves end
	ninetenths = 900
)

// usualReps are those whose loads are shown where none are asked for.
var usualReps = [...]int32{1, 2, 3, 5, 6, 8, 10, 12, 15, 20, 30}

// evidence is what the performances of an exercise have said.
type evidence struct {
	family *load.Curve // unshifted
	seen   []load.Observation
	from   []int // place of each in the athlete's list
	aside  []load.SetAside
	now    load.Posterior
}

// Estimate says how strong an athlete is, from the same evidence and with the same rules
// as Generate. The fault is Invalid with every violation, or Canceled when ctx ends.
func (e *Engine) Estimate(ctx context.Context, q plan.StrengthQuery) (plan.StrengthReport, error) {
	s := &settler{b: &Brief{Catalogue: e.catalogue}, bad: fault.NewCollector(fault.Invalid), cat: e.catalogue}
	if err := s.own(q.Own); err != nil {
		return plan.StrengthReport{}, err
	}
	s.query(&q)
	if err := s.bad.Err(); err != nil {
		return plan.StrengthReport{}, err
	}
	r := &s.b.Request
	out := plan.StrengthReport{Date: s.base, Unit: r.Constraints.Unit, Assumptions: s.b.Assumptions}
	out.Cautions = append(out.Cautions, caution("estimate-only"))
	if r.Athlete.Age.Minor() {
		out.Cautions = append(out.Cautions, caution("minor"))
	}
	known := newStrengths(s.b, nil, nil)
	for _, id := range q.ExerciseIDs {
		if err := ctx.Err(); err != nil {
			return plan.StrengthReport{}, fault.Wrap(fault.Canceled, "CANCELED", err)
		}
		ex, _ := s.cat.ByID(id)
		st, err := known.of(ex)
		if err != nil {
			return plan.StrengthReport{}, err
		}
		l, err := known.lift(st, q.Reps)
		if err != nil {
			return plan.StrengthReport{}, err
		}
		out.Lifts = append(out.Lifts, l)
	}
	return out, nil
}

// query settles what is asked, as Settle does for a program.
func (s *settler) query(q *plan.StrengthQuery) {
	r := &s.b.Request
	r.Athlete, r.Constraints.Unit = q.Athlete, q.Unit
	*r = clone(*r)
	if r.Constraints.Unit > plan.Pound {
		s.bad.Add("UNKNOWN_UNIT", "mass_unit", "is not a known unit; use kilograms or pounds")
		return
	}
	s.units()
	s.base = q.Date
	dated := false
	for _, p := range r.Athlete.Performances {
		if p.Date.Set && !q.Date.Set && (!dated || p.Date.Value > s.base.Value) {
			s.base, dated = p.Date, true
		}
	}
	if dated {
		s.assume("date", fmt.Sprintf("Estimated for %s, the day of the last performance.", s.base.Value))
	}
	if !s.base.Set && len(r.Athlete.Performances) > 0 {
		s.assume("date", "No performance has a date: all count as of one day, the last one trained.")
	}
	r.Constraints.PreparedOn, s.last = s.base, s.base
	if r.Athlete.BirthYear.Set && !s.base.Set {
		s.bad.Add("REQUIRED", "date", "is needed to work out the age from athlete.birth_year; or give athlete.age_band instead")
	} else {
		s.athlete()
	}
	s.performances()
	s.restrictions()
	s.asked(q)
	s.b.Assumptions = slices.DeleteFunc(s.b.Assumptions, func(a plan.Assumption) bool {
		return a.Field != "athlete.training_status" && a.Field != "constraints.mass_unit" && a.Field != "date"
	})
	for i := range s.b.Assumptions {
		if a := &s.b.Assumptions[i]; a.Field == "constraints.mass_unit" {
			a.Field = "mass_unit"
		}
	}
	if weeks := r.Athlete.LayoffWeeks.Or(0); load.AfterLayoff(1000, weeks) < 1000 {
		s.assume("athlete.layoff_weeks", fmt.Sprintf("%d weeks without training take up to %d %% off what was shown before them.", weeks, (1000-load.AfterLayoff(1000, weeks))/10))
	}
}

// asked settles the exercises and repetitions of a query.
func (s *settler) asked(q *plan.StrengthQuery) {
	if len(q.ExerciseIDs) == 0 {
		for _, p := range s.b.Request.Athlete.Performances {
			if !slices.Contains(q.ExerciseIDs, p.ExerciseID) {
				q.ExerciseIDs = append(q.ExerciseIDs, p.ExerciseID)
			}
		}
		switch n := len(q.ExerciseIDs); {
		case n == 0:
			s.bad.Add("REQUIRED", "athlete.performances", "needs at least one performance: exercise, load, repetitions, and repetitions in reserve or to_failure")
		case n > maxLifts:
			s.bad.Add("TOO_MANY", "athlete.performances", fmt.Sprintf("are in %d exercises; at most %d are estimated at once, name them in exercise_ids", n, maxLifts))
		}
	} else {
		if len(q.ExerciseIDs) > maxLifts {
			s.bad.Add("TOO_MANY", "exercise_ids", fmt.Sprintf("has %d entries; at most %d", len(q.ExerciseIDs), maxLifts))
			return
		}
		for i, id := range q.ExerciseIDs {
			path := fmt.Sprintf("exercise_ids[%d]", i)
			if s.exercise(path, id) && slices.Contains(q.ExerciseIDs[:i], id) {
				s.bad.Add("DUPLICATE", path, fmt.Sprintf("%q is asked for twice", id))
			}
		}
	}
	if len(q.Reps) == 0 {
		q.Reps = usualReps[:]
		return
	}
	if len(q.Reps) > maxLoads {
		s.bad.Add("TOO_MANY", "reps", fmt.Sprintf("has %d entries; at most %d", len(q.Reps), maxLoads))
		return
	}
	for i, n := range q.Reps {
		if n < 1 || n > curveReps {
			s.bad.Add("OUT_OF_RANGE", fmt.Sprintf("reps[%d]", i), fmt.Sprintf("is %d; loads are known for 1 to %d repetitions", n, curveReps))
		}
	}
	q.Reps = slices.Clone(q.Reps)
	slices.Sort(q.Reps)
	q.Reps = slices.Compact(q.Reps)
}

// lift turns what is known of an exercise into what its users want to know.
func (s *strengths) lift(st *state, reps []int32) (plan.Lift, error) {
	unit := s.b.Request.Constraints.Unit
	carried := s.carried(st.ex)
	outer := func(grams int64) plan.Load { return tenths(plan.Kg(grams - carried).In(unit)) }
	out := plan.Lift{
		ExerciseID: st.ex.ID, Name: st.ex.Name, PerHand: st.ex.Loading.PerHand(), Aside: s.setAside(st, outer),
	}
	if carried > 0 {
		out.Carried = tenths(plan.Kg(carried).In(unit))
	}
	now, family, start := st.shown.now, st.shown.family, cautious
	switch {
	case st.borrowed != "":
		prior, err := s.lent(st.ex, s.latest(st.ex))
		if err != nil {
			return out, err
		}
		now = load.Posterior{MeanGrams: st.mean, SDPermille: st.sd, SlopePermille: prior.prior.SlopePermille, SlopeSDPermille: prior.prior.SlopeSDPermille}
		family, start = st.curve, carefully
	case !st.known:
		out.Missing = s.missing(st)
		return out, nil
	}
	low, high := now.Interval(ninetenths)
	out.Max = plan.Some(plan.OneRM{
		Middle: outer(now.MeanGrams), Low: outer(low), High: outer(high), Start: outer(now.Quantile(start)),
		SD: plan.Permille(now.SDPermille), Slope: plan.Permille(now.SlopePermille), SlopeSD: plan.Permille(now.SlopeSDPermille), Curve: string(st.ex.Curve), Borrowed: st.borrowed,
	})
	for _, n := range reps {
		grams, sd, err := now.LoadFor(family, 10*n)
		if err != nil {
			return out, err
		}
		low, high := load.Posterior{MeanGrams: grams, SDPermille: sd}.Interval(ninetenths)
		out.Loads = append(out.Loads, plan.RepsLoad{Reps: n, Load: outer(grams), Low: outer(low), High: outer(high), SD: plan.Permille(sd)})
	}
	s.compare(st, &out, carried)
	return out, nil
}

// missing says why there is no estimate, and what would give one.
func (s *strengths) missing(st *state) string {
	switch {
	case st.ex.Loading == plan.LoadingAssisted:
		return fmt.Sprintf("No performance in %s with its help and the body mass is given. A set of 2 to 10 repetitions with a known reserve is enough.", st.ex.Name)
	case !st.ex.Loading.Loadable() && st.free > 0:
		return fmt.Sprintf("%s has no load in numbers and so no 1RM; %d repetitions to failure were shown.", st.ex.Name, st.free/10)
	case !st.ex.Loading.Loadable():
		return fmt.Sprintf("%s has no load in numbers and so no 1RM.", st.ex.Name)
	case len(st.shown.aside) > 0:
		return fmt.Sprintf("No performance in %s could be used. A set of 2 to 10 repetitions with a known reserve is enough.", st.ex.Name)
	}
	return fmt.Sprintf("No performance in %s is given. A set of 2 to 10 repetitions with a known reserve is enough; a program finds the load in its first session.", st.ex.Name)
}

func (s *strengths) setAside(st *state, outer func(int64) plan.Load) []plan.SetAside {
	var out []plan.SetAside
	for _, o := range st.shown.aside {
		at := st.shown.from[o.Index]
		a := plan.SetAside{Performance: int32(at), Reason: o.Why.String(), Says: o.Why.Says()}
		if o.Why == load.AsideFar {
			a.Means = plan.Some(outer(o.Grams))
			a.Says = fmt.Sprintf("stands far from the others: it would mean a 1RM of about %s", a.Means.Value.Whole())
		}
		out = append(out, a)
	}
	return out
}

// compare lists what was used, and what the published equations make of the best of it.
func (s *strengths) compare(st *state, out *plan.Lift, carried int64) {
	unused := make([]bool, len(st.shown.seen))
	for _, o := range st.shown.aside {
		unused[o.Index] = true
	}
	best, most := -1, int64(0)
	for i := range st.shown.seen {
		if unused[i] {
			continue
		}
		out.Used = append(out.Used, int32(st.shown.from[i]))
		o := &st.shown.seen[i]
		share := int64(st.shown.family.IntensityBP(10 * toFailure(o)))
		if share == 0 {
			continue
		}
		if means := o.Grams * 10_000 / share; means > most {
			best, most = i, means
		}
	}
	if best < 0 {
		return
	}
	o := &st.shown.seen[best]
	n := toFailure(o)
	out.Best = plan.Some(plan.BestSet{Performance: int32(st.shown.from[best]), Reps: n})
	moved := s.b.Request.Athlete.Performances[st.shown.from[best]].Load.Value
	if carried > 0 {
		moved = plan.Kg(o.Grams)
	}
	unit := s.b.Request.Constraints.Unit
	for _, e := range load.Equations() {
		m := plan.EquationMax{
			Name: e.Name, Year: int32(e.Year), Formula: e.Formula, Source: e.Source, Note: e.Note, MinReps: int32(e.MinReps), MaxReps: int32(e.MaxReps),
		}
		max, err := e.Estimate(moved, int(n))
		f, _ := fault.As(err)
		switch only := madeOn(e.Name); {
		case only != "" && only != st.ex.ID:
			m.Reason, m.WhyNot = plan.ReasonOtherLift, e.Name+" is for "+s.nameOf(only)+" alone, on which it was made"
		case err != nil:
			m.Reason, m.WhyNot = f.Violations[0].Reason, f.Violations[0].Says
		default:
			m.Max = plan.Some(tenths(plan.Load{Milli: max.Milli - plan.Kg(carried).In(max.Unit).Milli, Unit: max.Unit}.In(unit)))
		}
		out.Equations = append(out.Equations, m)
	}
}

// toFailure is how many repetitions a performance comes to, as published equations count.
func toFailure(o *load.Observation) int32 {
	if o.Failure {
		return o.Reps
	}
	return o.Reps + o.RIR.Or(0)
}

// madeOn gives the exercise to which an equation is bound by its constants; "" for none.
func madeOn(equation string) string {
	switch equation {
	case "ReynoldsChestPress":
		return "machine-chest-press"
	case "ReynoldsLegPress":
		return "leg-press"
	case "KravitzSquat":
		return "back-squat"
	case "KravitzBench":
		return "bench-press"
	case "KravitzDeadlift":
		return "deadlift"
	}
	return ""
}

func (s *strengths) nameOf(id string) string {
	if ex, ok := s.b.Catalogue.ByID(id); ok {
		return ex.Name
	}
	return id
}

// tenths rounds to a tenth of the unit: more would say too much of an estimate.
func tenths(l plan.Load) plan.Load {
	if l.Milli < 0 {
		return plan.Load{Milli: -((-l.Milli + 50) / 100 * 100), Unit: l.Unit}
	}
	return plan.Load{Milli: (l.Milli + 50) / 100 * 100, Unit: l.Unit}
}
