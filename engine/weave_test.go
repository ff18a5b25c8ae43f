package engine_test

import (
	"context"
	"fmt"
	"os"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"github.com/phasewright/phasewright/engine"
	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
)

func drawTrack(t *rapid.T, known []plan.Descriptor, weeks int32, name string) plan.Track {
	tr := plan.Track{Name: name}
	for left := weeks; left > 0; {
		var fit []plan.Descriptor
		for _, d := range known {
			if d.MinWeeks <= left && d.MaxWeeks >= 1 {
				fit = append(fit, d)
			}
		}
		d := rapid.SampledFrom(fit).Draw(t, "strategy")
		n := rapid.Int32Range(max(1, d.MinWeeks), min(left, d.MaxWeeks)).Draw(t, "weeks")
		if left-n > 0 && !slices.ContainsFunc(known, func(k plan.Descriptor) bool { return k.MinWeeks <= left-n }) {
			n = left
		}
		tr.Segments = append(tr.Segments, plan.Segment{Strategy: d.Name, Weeks: plan.Some(n)})
		left -= n
	}
	return tr
}

func draw(t *rapid.T, known []plan.Descriptor) plan.Request {
	r := fit()
	days := rapid.Int32Range(2, 6).Draw(t, "days")
	r.Constraints.Days = nil
	for d := range days {
		r.Constraints.Days = append(r.Constraints.Days, plan.Day{Weekday: plan.Weekday(d + 1), Minutes: 75})
	}
	weeks := rapid.Int32Range(2, 24).Draw(t, "weeks")
	r.Constraints.Weeks = plan.Some(weeks)
	r.Plan = plan.Plan{}
	lead := int32(0)
	if rapid.Bool().Draw(t, "lead-in") {
		lead = rapid.Int32Range(1, min(4, weeks-1)).Draw(t, "lead-in weeks")
		r.Plan.LeadIn = plan.Some(plan.LeadIn{Weeks: lead})
	}
	r.Plan.Tracks = []plan.Track{drawTrack(t, known, weeks-lead, "")}
	if rapid.Bool().Draw(t, "squat track") {
		tr := drawTrack(t, known, weeks-lead, "squat")
		tr.ExerciseIDs = []string{"back-squat"}
		r.Plan.Tracks = append(r.Plan.Tracks, tr)
	}
	if rapid.Bool().Draw(t, "chest track") {
		tr := drawTrack(t, known, weeks-lead, "chest")
		tr.Muscles = []plan.Muscle{plan.Chest}
		r.Plan.Tracks = append(r.Plan.Tracks, tr)
	}
	if rapid.Bool().Draw(t, "deload") {
		r.Plan.Deload = plan.Some(plan.Deload{EveryWeeks: rapid.Int32Range(2, 8).Draw(t, "every"), Keep: 500})
	}
	if rapid.Bool().Draw(t, "recovery") {
		r.Plan.Recovery = plan.Some(plan.RecoveryWeeks{EveryWeeks: rapid.Int32Range(2, 8).Draw(t, "recovers"), Sessions: rapid.Int32Range(0, 2).Draw(t, "recovery sessions")})
	}
	if rapid.Bool().Draw(t, "taper") {
		r.Constraints.Target = plan.Some(today.AddDays(7*int(weeks) - 1))
		r.Plan.Taper = plan.Some(plan.Taper{Days: rapid.Int32Range(7, 14).Draw(t, "taper days"), Keep: 500})
	}
	if rapid.Bool().Draw(t, "sessions per week") {
		r.Plan.SessionsPerWeek = plan.Some(rapid.Int32Range(1, days).Draw(t, "sessions"))
	}
	if rapid.Bool().Draw(t, "retest") {
		r.Plan.Retest = plan.Some(plan.Retest{AfterWeeks: []int32{rapid.Int32Range(1, weeks).Draw(t, "tested")}, PhaseEnds: rapid.Bool().Draw(t, "phase ends")})
	}
	return r
}

func outlineWeeks(o *plan.Outline) []*plan.OutlineWeek {
	var out []*plan.OutlineWeek
	for i := range o.Phases {
		for j := range o.Phases[i].Weeks {
			out = append(out, &o.Phases[i].Weeks[j])
		}
	}
	return out
}

// Ten thousand random plans: no week is lost or doubled, wrappers stand where they
// belong, and a track is what it would be alone.
func TestCompositionLaws(t *testing.T) {
	e := newEngine(t)
	known := e.Strategies()
	rounds := 30
	switch {
	case os.Getenv("PHASEWRIGHT_LONG") != "":
		rounds = 300
	case testing.Short():
		rounds = 5
	}
	refused := 0
	for range rounds {
		rapid.Check(t, func(t *rapid.T) {
			r := draw(t, known)
			o, err := e.Outline(context.Background(), r)
			if f, ok := fault.As(err); ok && (f.Violations[0].Reason == "TRACKS_ROTATE" || f.Kind == fault.Invalid) {
				refused++
				return
			}
			if err != nil {
				t.Fatal(err)
			}
			checkComposition(t, e, &r, &o)
		})
	}
	t.Logf("%d of %d refused", refused, rounds*100)
}

func checkComposition(t *rapid.T, e *engine.Engine, r *plan.Request, o *plan.Outline) {
	weeks := outlineWeeks(o)
	if len(weeks) != int(r.Constraints.Weeks.Value) {
		t.Fatalf("%d weeks, %d asked for", len(weeks), r.Constraints.Weeks.Value)
	}
	most := len(r.Constraints.Days)
	if n := r.Plan.SessionsPerWeek; n.Set {
		most = int(n.Value)
	}
	lead := 0
	if r.Plan.LeadIn.Set {
		lead = int(r.Plan.LeadIn.Value.Weeks)
	}
	tapering := func(w int) bool { return weeks[w].Kind == plan.WeekTaper }
	for w, week := range weeks {
		if len(week.Sessions) > most {
			t.Fatalf("week %d has %d sessions of %d", w+1, len(week.Sessions), most)
		}
		if (week.Kind == plan.WeekLeadIn) != (w < lead) {
			t.Fatalf("week %d is %s; the lead-in has %d weeks", w+1, week.Kind, lead)
		}
		n, last := w-lead+1, w == len(weeks)-1
		if p := r.Plan.Recovery; p.Set && n > 0 && n%int(p.Value.EveryWeeks) == 0 && !last && len(week.Sessions) > 0 && !tapering(w) {
			if week.Kind != plan.WeekRecovery && week.Kind != plan.WeekDeload {
				t.Fatalf("week %d is %s, not recovery", w+1, week.Kind)
			}
			if s := p.Value.Sessions; s > 0 && len(week.Sessions) > int(s) {
				t.Fatalf("recovery week %d has %d sessions", w+1, len(week.Sessions))
			}
		}
		if p := r.Plan.Deload; p.Set && n > 0 && n%int(p.Value.EveryWeeks) == 0 && !last && week.Kind == plan.WeekTraining {
			t.Fatalf("week %d is a training week, not a deload", w+1)
		}
		if r.Plan.Taper.Set && last && week.Kind != plan.WeekTaper {
			t.Fatalf("the last week is %s, not a taper", week.Kind)
		}
		for _, own := range week.Tracks {
			if own.Dose > 1500 || own.Dose < 0 {
				t.Fatalf("week %d of %s has the dose %d", w+1, own.Track, own.Dose)
			}
		}
	}
	for i := range r.Plan.Tracks {
		aloneIsTheSame(t, e, r, o, i)
	}
}

// aloneIsTheSame holds a track beside others against the same track for everything, with
// tests in the same weeks: kinds, doses and sessions are its own.
func aloneIsTheSame(t *rapid.T, e *engine.Engine, r *plan.Request, whole *plan.Outline, i int) {
	tr := &r.Plan.Tracks[i]
	weeks := outlineWeeks(whole)
	alone := *r
	alone.Plan.Tracks = []plan.Track{{Segments: tr.Segments}}
	if re := r.Plan.Retest; re.Set && re.Value.PhaseEnds { // alone its phases end elsewhere
		re.Value.PhaseEnds, re.Value.AfterWeeks = false, slices.Clone(re.Value.AfterWeeks)
		end := int32(0)
		for k := range whole.Phases[:len(whole.Phases)-1] {
			end += int32(len(whole.Phases[k].Weeks))
			re.Value.AfterWeeks = append(re.Value.AfterWeeks, end)
		}
		alone.Plan.Retest = re
	}
	o, err := e.Outline(context.Background(), alone)
	if err != nil {
		t.Fatal(err)
	}
	for w, own := range outlineWeeks(&o) {
		if kind, dose := weeks[w].Of(tr.Name); kind != own.Kind || dose != own.Dose {
			t.Fatalf("week %d of %q is %s at %d, alone %s at %d", w+1, tr.Name, kind, dose, own.Kind, own.Dose)
		}
		var have, want []string
		for s := range weeks[w].Sessions {
			if x := spelled(&weeks[w].Sessions[s], tr.Name); x != "" {
				have = append(have, x)
			}
		}
		for s := range own.Sessions {
			if x := spelled(&own.Sessions[s], ""); x != "" {
				want = append(want, x)
			}
		}
		if !slices.Equal(have, want) {
			t.Fatalf("week %d of %q:\n%v\nalone:\n%v", w+1, tr.Name, have, want)
		}
	}
}

func spelled(s *plan.OutlineSession, track string) string {
	out := ""
	for r := plan.GoalLift; r < plan.RoleCount; r++ {
		if schemes := s.Find(r, track); len(schemes) > 0 {
			out += fmt.Sprint(r, schemes)
		}
	}
	return out
}

// Where there are too many weeks, the longest segments give, the last one last.
func TestShorten(t *testing.T) {
	e := newEngine(t)
	r := fit()
	r.Constraints.Weeks = plan.Some(int32(9))
	r.Plan = plan.Plan{LeadIn: plan.Some(plan.LeadIn{Weeks: 2}), Shorten: true, Tracks: []plan.Track{{Segments: []plan.Segment{
		{Strategy: "constant", Weeks: plan.Some(int32(5))}, {Strategy: "linear", Weeks: plan.Some(int32(6))}, {Strategy: "strength-then-size", Weeks: plan.Some(int32(4))}}}}}
	_, err := e.Outline(context.Background(), r)
	require.ErrorContains(t, err, "TOO_SHORT")

	r.Constraints.Weeks = plan.Some(int32(12))
	b, err := e.Generate(context.Background(), r)
	require.NoError(t, err)
	var weeks []int32
	for _, s := range b.Request.Plan.Tracks[0].Segments {
		weeks = append(weeks, s.Weeks.Value)
	}
	require.Equal(t, []int32{2, 4, 4}, weeks, "5 + 6 + 4 become 10 beside the lead-in: linear and the last need 4")
	require.EqualValues(t, 2, b.Request.Plan.LeadIn.Value.Weeks)
	var says []string
	for _, a := range b.Assumptions {
		if a.Field == "plan.tracks[0].segments[0].weeks" || a.Field == "plan.tracks[0].segments[1].weeks" {
			says = append(says, a.Says)
		}
	}
	require.Equal(t, []string{"Made 2 weeks of 5, to fit the 12 weeks there are.", "Made 4 weeks of 6, to fit the 12 weeks there are."}, says)

	r.Plan.Shorten = false
	_, err = e.Outline(context.Background(), r)
	require.ErrorContains(t, err, "plan.shorten cuts them")
}
