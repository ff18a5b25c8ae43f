package engine

import (
	"fmt"
	"slices"

	"github.com/phasewright/phasewright/engine/dose"
	"github.com/phasewright/phasewright/engine/exercise"
	"github.com/phasewright/phasewright/engine/plan"
)

// trackOf gives the track that an exercise follows: the one that names it, else the
// first that names one of its prime muscles, else the one that holds for the rest.
func (g *generation) trackOf(ex *exercise.Exercise) string {
	tracks := g.brief.Request.Plan.Tracks
	for i := range tracks {
		if slices.Contains(tracks[i].ExerciseIDs, ex.ID) {
			return tracks[i].Name
		}
	}
	for i := range tracks {
		for _, m := range tracks[i].Muscles {
			if ex.Involvement[m] == exercise.Prime {
				return tracks[i].Name
			}
		}
	}
	return ""
}

// kindFor and shareFor say what a week is for a track.
func (g *generation) kindFor(week int, track string) plan.WeekKind {
	k, _ := g.weeks[week].Of(track)
	return k
}

func (g *generation) shareFor(week int, track string) plan.Permille {
	_, d := g.weeks[week].Of(track)
	return d
}

// doseTracks tells the dose which weeks hold for which muscle and lift.
func (g *generation) doseTracks(in *dose.Input) {
	tracks := g.brief.Request.Plan.Tracks
	if len(tracks) < 2 {
		return
	}
	at := map[string]int{}
	for i := range tracks {
		tr := &tracks[i]
		if tr.Name == "" {
			continue
		}
		own := make([]dose.Week, len(g.weeks))
		for w := range own {
			own[w].Kind, own[w].Dose = g.weeks[w].Of(tr.Name)
		}
		in.Tracks = append(in.Tracks, own)
		at[tr.Name] = len(in.Tracks)
		for _, m := range tr.Muscles {
			in.MuscleTrack[m] = len(in.Tracks)
		}
	}
	in.LiftTrack = func(id string) int {
		ex, ok := g.brief.Catalogue.ByID(id)
		if !ok {
			return 0
		}
		return at[g.trackOf(ex)]
	}
}

// trackRests says where a pin or a goal lift has fewer sessions in a training week than it
// is meant to have, as its own track has a lighter week.
func (g *generation) trackRests(out *plan.Week, week int) {
	if out.Kind != plan.WeekTraining || len(g.weeks[week].Tracks) == 0 {
		return
	}
	r := &g.brief.Request
	trainings := int32(0)
	for i := range out.Sessions {
		if out.Sessions[i].Kind == plan.SessionTraining {
			trainings++
		}
	}
	say := func(id, field string, want int32) {
		ex, ok := g.brief.Catalogue.ByID(id)
		if !ok {
			return
		}
		track := g.trackOf(ex)
		kind, has := g.kindFor(week, track), int32(0)
		for i := range out.Sessions {
			if s := &out.Sessions[i]; s.Kind == plan.SessionTraining && slices.ContainsFunc(s.Exercises, func(e plan.ProgramExercise) bool { return e.ExerciseID == id }) {
				has++
			}
		}
		if kind == plan.WeekTraining || has >= min(want, trainings) {
			return
		}
		name := "the general track"
		if track != "" {
			name = fmt.Sprintf("the track %q", track)
		}
		g.find(plan.Finding{Level: plan.LevelShort, Rule: RuleShort, Week: int32(week + 1), ExerciseID: id, Field: field,
			Says: fmt.Sprintf("Week %d: %s has %s: %s has a %s week.", week+1, ex.Name, counted(int(has), "session"), name, kind)})
	}
	for i, p := range r.Constraints.Pinned {
		want := max(1, p.PerWeek)
		if p.EverySession {
			want = trainings
		}
		say(p.ExerciseID, fmt.Sprintf("constraints.pinned[%d]", i), want)
	}
	for i, goal := range r.Goals {
		if goal.Lift() {
			say(goal.ExerciseID, fmt.Sprintf("goals[%d]", i), 1)
		}
	}
}

// asked is what the outline asks of an exercise in a session. After a test of the
// exercise its loads refer to what the test shows.
func (g *generation) asked(o *occurrence, p *pick) []plan.Scheme {
	return g.afterTest(o, p, o.outline.Find(p.role, p.track))
}

func (g *generation) afterTest(o *occurrence, p *pick, raw []plan.Scheme) []plan.Scheme {
	name := g.testBefore(p.ex.ID, o)
	if name == "" || len(raw) == 0 {
		return raw
	}
	out := slices.Clone(raw)
	for i := range out {
		e := &out[i].Effort
		if out[i].Kind == plan.SetWorking && (e.Reference.Kind == plan.RefPlanned || e.Reference.Kind == plan.RefLatest) {
			e.Reference = plan.Reference{Kind: plan.RefEstimate, Name: name}
		}
	}
	return out
}

// adjustInUnit turns the steps of adjustment tables into the request's unit, to whole
// steps of the exercise: a table in pounds means plates, not 4.536 kg.
func (g *generation) adjustInUnit(schemes []plan.Scheme, ex *exercise.Exercise) {
	unit := g.brief.Request.Constraints.Unit
	step := ex.Step(unit).Milli
	for i := range schemes {
		if len(schemes[i].Adjust) == 0 || schemes[i].Adjust[0].Unit == unit || step <= 0 {
			continue
		}
		own := slices.Clone(schemes[i].Adjust)
		for k := range own {
			a := &own[k]
			a.From, a.To = wholeSteps(a.From, a.Unit, unit, step), wholeSteps(a.To, a.Unit, unit, step)
			a.Unit = unit
		}
		schemes[i].Adjust = own
	}
}

// wholeSteps converts a change and rounds it to steps, half away from zero.
func wholeSteps(milli int64, from, to plan.MassUnit, step int64) int64 {
	sign := int64(1)
	if milli < 0 {
		sign, milli = -1, -milli
	}
	is := plan.Load{Milli: milli, Unit: from}.In(to).Milli
	return sign * ((is + step/2) / step) * step
}
