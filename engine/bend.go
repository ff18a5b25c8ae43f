package engine

import (
	"github.com/phasewright/phasewright/engine/exercise"
	"github.com/phasewright/phasewright/engine/load"
	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/engine/prescribe"
)

// bender fits a strategy's schemes to one exercise and one athlete: what safety
// forbids, and the fewest repetitions that make sense in that exercise.
type bender struct {
	safety  Safety
	spotted bool
}

// limits gives what prescribe has to keep for an exercise at a place. asked: the request
// names the exercise; easy: a deload week, which stays easier than what the limits
// allow in other weeks.
func (d *bender) limits(e *exercise.Exercise, role plan.Role, p *plan.Place, asked, easy bool) prescribe.Limits {
	l := prescribe.Limits{
		MinRIR:       d.safety.MinRIR,
		MaxIntensity: d.safety.MaxIntensity,
		Failure:      !d.safety.NoFailure && role != plan.Explosive,
		RepsFloor:    d.safety.MinReps,
	}
	if role != plan.Explosive && (role != plan.GoalLift || e.Role != plan.MultiJoint) {
		l.RepsFloor = max(l.RepsFloor, e.MinReps)
	}
	if d.exposed(e, p) {
		l.MinRIR = max(l.MinRIR, 2)
		l.Failure = false
	}
	if e.Is(exercise.HardOnLowerBack) && !asked {
		l.MinRIR = max(l.MinRIR, 1) // nobody asked for this lift, so it is not worth a failed rep
		l.Failure = false
	}
	if easy && l.MinRIR > 0 {
		l.MinRIR += deloadRIR
	}
	if e.Pattern.Explosive() {
		l.MinRIR = max(l.MinRIR, 3)
	}
	return l
}

// exposed reports an exercise under a bar that nothing and nobody would catch.
func (d *bender) exposed(e *exercise.Exercise, p *plan.Place) bool {
	return e.Is(exercise.UnderBar) && e.Loading == plan.LoadingBar && !d.spotted && !p.Safeties.Value
}

// bend returns the schemes for an exercise at a place, and whether anything changed.
// Repetitions are raised until the wanted reserve and the highest intensity agree;
// where the range would grow past what is sensible the reserve grows instead.
func (d *bender) bend(schemes []plan.Scheme, e *exercise.Exercise, c *load.Curve, l prescribe.Limits) ([]plan.Scheme, bool) {
	out := make([]plan.Scheme, len(schemes))
	changed := false
	for i, s := range schemes {
		t := d.one(s, e, c, l)
		changed = changed || t.Reps != s.Reps || t.Effort != s.Effort
		out[i] = t
	}
	return out, changed
}

const mostReps = 20

func (d *bender) one(s plan.Scheme, e *exercise.Exercise, c *load.Curve, l prescribe.Limits) plan.Scheme {
	if e.Is(exercise.Timed) {
		if s.Hold.IsZero() {
			s.Hold = plan.Range{Min: 20, Max: 45}
		}
		s.Reps = plan.Range{}
		s.Effort = plan.Effort{RIR: plan.Some(max(l.MinRIR, s.Effort.RIR.Or(2)))}
		s.OpenEnded = false
		return s
	}
	s.Hold = plan.Range{}
	if s.Reps.IsZero() {
		s.Reps = plan.Range{Min: 8, Max: 15}
	}
	width := s.Reps.Max - s.Reps.Min
	rir := s.Effort.Wanted()
	if s.Effort.ToFailure && !l.Failure {
		s.Effort.ToFailure = false
		rir = plan.Some(max(1, l.MinRIR))
	}
	if ref := &s.Effort.Reference; ref.Kind == plan.RefRM && ref.RM < l.RepsFloor {
		ref.RM = l.RepsFloor // the load of a repetition maximum that is allowed
	}
	if s.OpenEnded && !rir.Set && (!l.Failure || l.MinRIR > 0) {
		rir = plan.Some(max(1, l.MinRIR)) // as many as leave that many
	}
	if rir.Set && rir.Value < l.MinRIR {
		rir = plan.Some(l.MinRIR)
	}
	raise := func(lo int32) {
		if s.Reps.Min < lo {
			s.Reps.Min = lo
			s.Reps.Max = max(s.Reps.Max, lo+min(width, 4))
		}
	}
	raise(l.RepsFloor)
	if e.Pattern.Explosive() {
		if !s.Effort.ToFailure {
			s.Effort.RIR = rir
		}
		return s
	}
	ceiling := int32(mostReps)
	if d.safety.MaxReps > 0 {
		ceiling = d.safety.MaxReps
	}
	loaded := e.Loading.Loadable() || e.Loading == plan.LoadingAssisted
	if !s.Effort.Intensity.Set && rir.Set && loaded {
		need := d.safety.MinRM
		if l.MaxIntensity > 0 {
			need = max(need, (c.RepsTenths(int32(l.MaxIntensity)*10)+9)/10)
		}
		raise(min(need-rir.Value, max(ceiling, s.Reps.Min)))
		if short := need - rir.Value - s.Reps.Min; short > 0 {
			rir = plan.Some(rir.Value + short)
		}
	}
	if in := s.Effort.Intensity; in.Set && l.MaxIntensity > 0 && in.Value > l.MaxIntensity && s.Effort.Reference.Kind != plan.RefRM {
		s.Effort.Intensity = plan.Some(l.MaxIntensity)
	}
	if most := d.safety.MaxReps; most > 0 && s.Reps.Max > most {
		s.Reps = plan.Range{Min: min(s.Reps.Min, most), Max: most}
	}
	if !s.Effort.ToFailure && rir.Set {
		s.Effort.RIR = rir
	}
	return s
}
