package engine

import (
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

// asked is what the outline asks of an exercise in a session. After a test of the
// exercise its loads refer to what the test shows.
func (g *generation) asked(o *occurrence, p *pick) []plan.Scheme {
	raw := o.outline.Find(p.role, p.track)
	name := g.testBefore(p.ex.ID, o.week)
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
