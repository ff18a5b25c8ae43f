package engine

import (
	"fmt"

	"github.com/phasewright/phasewright/engine/exercise"
	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/load"
	"github.com/phasewright/phasewright/engine/plan"
)

// growth is the weekly rise of 1RM that a plan counts on, in 1/10,000: two thirds to
// four fifths of the most it may assume (2, 0.75 and 0.25 %; common practice, no
// source). Anything faster comes from logs.
var growth = [...]int64{plan.Novice: 150, plan.Intermediate: 50, plan.Advanced: 20}

// state is what is known of an athlete's strength in one exercise.
type state struct {
	ex       *exercise.Exercise
	curve    *load.Curve
	known    bool   // its own performances tell
	borrowed string // else: the related lift whose performances do; empty where none
	mean     int64  // grams, from the evidence
	sd       int32  // permille
	used     int
	slope    int32   // permille, of the curve; 0 where nothing is known
	planned  []int64 // grams by week; empty where unknown
	free     int32   // repetitions to failure with body mass alone, in tenths
	outliers []plan.Finding
	shown    evidence
}

type strengths struct {
	b       *Brief
	weeks   []plan.WeekKind
	slots   [][]Slot
	byID    map[string]*state
	listed  []*state // in order of first use
	perform map[string][]int
	// performed lists the exercises that have performances, in order of the request.
	performed []string
	base      plan.Opt[plan.Date]
}

func newStrengths(b *Brief, weeks []plan.WeekKind, slots [][]Slot) *strengths {
	s := &strengths{b: b, weeks: weeks, slots: slots, byID: map[string]*state{}, perform: map[string][]int{}}
	for i, p := range b.Request.Athlete.Performances {
		if len(s.perform[p.ExerciseID]) == 0 {
			s.performed = append(s.performed, p.ExerciseID)
		}
		s.perform[p.ExerciseID] = append(s.perform[p.ExerciseID], i)
	}
	c := &b.Request.Constraints
	if s.base = c.PreparedOn; !s.base.Set {
		s.base = c.Start
	}
	return s
}

// of gives the state of an exercise, made on first use.
func (s *strengths) of(e *exercise.Exercise) (*state, error) {
	if st, ok := s.byID[e.ID]; ok {
		return st, nil
	}
	st := &state{ex: e}
	var err error
	if st.curve, err = load.CurveFor(string(e.Curve)); err != nil {
		return nil, err
	}
	if err := s.estimate(st); err != nil {
		return nil, err
	}
	s.byID[e.ID] = st
	s.listed = append(s.listed, st)
	return st, nil
}

// observed reads the performances of an exercise, with their places in the request.
// What is repeated with body mass alone is noted as such.
func (s *strengths) observed(st *state, at moment) (seen []load.Observation, from []int) {
	a := &s.b.Request.Athlete
	carried := s.carried(st.ex)
	for _, i := range s.perform[st.ex.ID] {
		p := &a.Performances[i]
		failure := p.ToFailure || p.RIR.Set && p.RIR.Value == 0
		if st.ex.Loading == plan.LoadingAdded && !a.BodyMass.Set || !st.ex.Loading.Loadable() && st.ex.Loading != plan.LoadingAssisted {
			if p.Load.Or(plan.Load{}).Milli == 0 {
				st.free = max(st.free, 10*(p.Reps+p.RIR.Or(0)))
			}
			continue
		}
		if st.ex.Loading == plan.LoadingAssisted && (!p.Load.Set || carried == 0) {
			continue // with help that nobody wrote down
		}
		o := load.Observation{Grams: movedWith(st.ex, carried, p.Load.Value), Reps: p.Reps, RIR: p.RIR, Failure: failure, Tested: failure && p.Reps == 1}
		o.AgeDays = at.back + 7*a.LayoffWeeks.Or(0) // without a date: the day before a layoff, if there was one
		if p.Date.Set && at.day.Set {
			o.AgeDays = int32(at.day.Value - p.Date.Value)
			if at.back > 0 {
				o.AgeDays = max(0, o.AgeDays) // a related lift may have been shown since
			}
		}
		seen, from = append(seen, o), append(from, i)
	}
	return seen, from
}

// estimate joins what the population's spread, related lifts and the performances say.
func (s *strengths) estimate(st *state) error {
	at := s.latest(st.ex)
	seen, from := s.observed(st, at)
	if len(seen) == 0 {
		return s.borrow(st, at)
	}
	lends, err := s.lent(st.ex, at.rested(0))
	if err != nil {
		return err
	}
	prior := lends.prior
	family := st.curve
	former, aside, err := family.Posterior(prior, seen)
	st.shown = evidence{family: family, seen: seen, from: from, aside: aside}
	for _, o := range aside {
		st.outliers = append(st.outliers, s.aside(st.ex, from[o.Index], o))
	}
	if err != nil || former.N == 0 {
		if f, ok := fault.As(err); err == nil || ok && f.Kind == fault.NotFound {
			return s.borrow(st, at) // nothing usable was shown
		}
		return err
	}
	if lends, err = s.lent(st.ex, at); err != nil {
		return err
	}
	prior = lends.prior
	now, aside, err := family.Posterior(prior, seen)
	if err != nil {
		return err
	}
	st.shown.now, st.shown.aside = now, aside
	// Beyond the bounds of a shifted curve the slope is worth less than it seems.
	st.slope = min(max(now.SlopePermille, load.MinShift), load.MaxShift)
	if st.curve, err = load.Shifted(family, st.slope); err != nil {
		return err
	}
	st.known, st.mean, st.sd, st.used = true, now.MeanGrams, now.SDPermille, now.N
	start := now.Quantile(cautious)
	back := start * 1000 / load.AfterLayoff(1000, prior.LayoffWeeks) // performances from within the layoff may say less
	st.planned = s.grow(st.ex, at.week, min(back, former.Quantile(cautious)), start)
	return nil
}

// cautious is the probability, in permille, that the 1RM to prescribe from is above the
// true one: half an SD under the mean, so that about seven of ten first sessions are not
// too heavy; what was too light is put right by the first logs. Judgement.
const cautious plan.Permille = 310

func (s *strengths) aside(ex *exercise.Exercise, at int, o load.SetAside) plan.Finding {
	f := plan.Finding{Level: plan.LevelNote, Rule: RuleOutlier, ExerciseID: ex.ID, Field: fmt.Sprintf("athlete.performances[%d]", at)}
	f.Says = fmt.Sprintf("This performance in %s was not used: %s.", ex.Name, o.Why.Says())
	if o.Why == load.AsideFar {
		f.Says = fmt.Sprintf("This performance in %s stands far from the others (it would mean a 1RM of about %s) and was not used.", ex.Name, plan.Kg(o.Grams).In(s.b.Request.Constraints.Unit).Whole())
	}
	return f
}

// regain is how much of the former 1RM comes back in a week after a layoff until it is
// there again, in 1/10,000: strength that was there once returns faster than it was
// first gained (common practice, no source), and here no faster than it was taken off.
const regain = 100

// comingBack is the reserve to keep in the first weeks after a layoff, in which
// soreness, not strength, sets the pace (common practice, no source); 0: none.
func comingBack(a *plan.Athlete, week int) int32 {
	n := a.LayoffWeeks.Or(0)
	switch {
	case n >= 8 && week < 2:
		return 4
	case n >= 8 && week < 4, n >= 3 && week < 2:
		return 3
	}
	return 0
}

// grow plans the 1RM week by week from now, after a layoff first back to what was shown. It
// stands still through weeks in which the exercise can't be done anywhere, so that the
// first week after them goes on where the last one before them was. from is the week of
// now, 0-based.
func (s *strengths) grow(ex *exercise.Exercise, from int, shown, now int64) []int64 {
	rate := growth[s.b.Request.Athlete.Status]
	out := make([]int64, len(s.weeks))
	for w := range out {
		switch {
		case w <= from || s.weeks[w-1] != plan.WeekTraining && s.weeks[w-1] != plan.WeekLeadIn || !s.doable(ex, w-1) || !s.doable(ex, w):
		case now < shown:
			now = min(shown, now+shown*regain/10_000)
		default:
			now += now * rate / 10_000
		}
		out[w] = now
	}
	return out
}

// doable reports a week with a session at a place that has what the exercise needs.
func (s *strengths) doable(ex *exercise.Exercise, week int) bool {
	for i := range s.slots[week] {
		if ex.Available(&s.b.Request.Constraints.Places[s.slots[week][i].Place]) {
			return true
		}
	}
	return false
}

// growthBetween gives the planned growth of an exercise of unknown strength from one
// week to another, in permille of the earlier.
func (s *strengths) growthBetween(ex *exercise.Exercise, from, to int) int32 {
	const shown = 1_000_000
	g := s.grow(ex, 0, shown, load.AfterLayoff(shown, s.b.Request.Athlete.LayoffWeeks.Or(0)))
	return int32(g[to] * 1000 / g[from])
}

// carried is the moved share of body mass in grams; 0 where it is unknown.
func (s *strengths) carried(e *exercise.Exercise) int64 {
	m := s.b.Request.Athlete.BodyMass
	if !m.Set {
		return 0
	}
	return m.Value.Grams() * int64(e.BodyMassShare) / 1000
}

// movedWith is what a load moves, in grams: the share of body mass too, less the help of a
// counterweight.
func movedWith(e *exercise.Exercise, carried int64, l plan.Load) int64 {
	if e.Loading == plan.LoadingAssisted {
		return carried - l.Grams()
	}
	return carried + l.Grams()
}

// entry checks the plan's entry conditions against the estimates.
func (s *strengths) entry() error {
	bad := fault.NewCollector(fault.Infeasible)
	for i, c := range s.b.Request.Plan.Entry {
		path := fmt.Sprintf("plan.entry_conditions[%d]", i)
		e, _ := s.b.Catalogue.ByID(c.ExerciseID)
		st, err := s.of(e)
		if err != nil {
			return err
		}
		body := s.b.Request.Athlete.BodyMass.Value
		need := plan.Kg(body.Grams() * int64(c.Times) / 1000).In(body.Unit)
		switch {
		case !st.known:
			bad.Add("ENTRY_UNKNOWN", path, fmt.Sprintf("asks for a 1RM of %d.%02d × body mass (%s) in %s, of which no performance is given; add one to athlete.performances", c.Times/1000, c.Times%1000/10, need.Whole(), e.Name))
		case st.mean-s.carried(e) < need.Grams():
			bad.Add("ENTRY_NOT_MET", path, fmt.Sprintf("asks for a 1RM of %d.%02d × body mass (%s) in %s; the estimate is %s", c.Times/1000, c.Times%1000/10, need.Whole(), e.Name, plan.Kg(st.mean-s.carried(e)).In(body.Unit).Whole()))
		}
	}
	return bad.Err()
}
