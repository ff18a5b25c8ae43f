package app

import (
	"context"
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"github.com/phasewright/phasewright/engine"
	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/engine/trial/assign"
	"github.com/phasewright/phasewright/engine/trial/conduct"
	"github.com/phasewright/phasewright/internal/service"
	"github.com/phasewright/phasewright/internal/store/memory"
)

// comparing is the engine, with what it compared last.
type comparing struct {
	*engine.Engine
	last plan.Comparison
}

func (w *comparing) Arms(ctx context.Context, r plan.Request, arms []plan.Arm, rule plan.Equating) (c plan.Comparison, err error) {
	c, err = w.Engine.Arms(ctx, r, arms, rule)
	w.last = c
	return c, err
}

// The program of an arm is to the byte the one that was found when the participant was
// checked, begins after the lead-in, is kept with the request as it was made and not as the
// engine settled it, follows the protocol as amended after the participant joined, and can
// be revised as any other. The athletes are invented.
func TestArmProgramIsTheOneChecked(t *testing.T) {
	e, err := NewEngine()
	require.NoError(t, err)
	w := &comparing{Engine: e.WithBudget(fuzzBudget)}
	clock := func() time.Time { return time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC) }
	store := memory.New(func() service.Instant { return service.At(clock()) })
	s := service.New(w, service.WithStorage(service.Storage{Store: store, Key: [32]byte{1}, Now: clock}))
	ctx := service.WithCaller(context.Background(), service.Open("gym"))
	calls := 0
	next := func() service.Write {
		calls++
		return service.Write{RequestID: fmt.Sprint(calls), Method: "test"}
	}
	one := func(id string) plan.Plan {
		return plan.Plan{Tracks: []plan.Track{{Segments: []plan.Segment{{Strategy: id}}}}}
	}
	lead := one("constant")
	protocol := conduct.Protocol{
		Title: "Invented", Question: "Does a strength phase first build more size?", UnitOf: "athlete",
		Arms: []conduct.Arm{
			{ID: "size", Name: "size throughout", Ratio: 1, Plan: one("constant")},
			{ID: "strength", Name: "strength first", Ratio: 1, Plan: one("strength-then-size"), HeavyLow: true},
		},
		Rule: plan.EquateHardSets, LeadIn: 3, Before: &lead, Weeks: 6,
		Outcomes: []conduct.Outcome{{ID: "thickness", Name: "thickness", Unit: "mm", Method: "ultrasound", Smallest: 500}},
		Tests:    conduct.Tests{FromHours: 48, ToHours: 96, Familiarisation: 1},
		Scheme:   conduct.Scheme{Kind: assign.MatchedPairs, Covariates: []string{"thickness"}},
		Analysis: conduct.Analysis{LevelPermille: 950, Draws: 99, Seed: 1},
	}
	made, err := s.CreateTrial(ctx, next(), protocol)
	require.NoError(t, err)
	trial := made.Head.ID
	_, err = s.FreezeTrial(ctx, next(), trial)
	require.NoError(t, err)

	start := plan.Date(clock().Unix() / 86_400).AddDays(-18) // they are in the last week of the lead-in
	request := plan.Request{Goals: []plan.Goal{{Kind: plan.GoalGrow, Muscle: plan.Quads}}}
	request.Constraints.Start = plan.Some(start)
	request.Constraints.Places = []plan.Place{{ID: "gym", Preset: plan.PresetFullGym}}
	for _, d := range []plan.Weekday{plan.Monday, plan.Thursday} {
		request.Constraints.Days = append(request.Constraints.Days, plan.Day{Weekday: d, Minutes: 75, PlaceID: "gym"})
	}
	checked := map[service.ID]plan.Comparison{}
	var order []service.ID
	for i := range 4 {
		a, err := s.Athletes().Create(ctx, next(), service.Athlete{Profile: plan.Athlete{Name: fmt.Sprintf("Invented %d", i), Age: plan.AgeAdult}})
		require.NoError(t, err)
		j, err := s.JoinTrial(ctx, next(), service.Joining{Trial: trial, Athlete: a.ID, Consent: true, Request: request})
		require.NoError(t, err)
		if i == 0 {
			protocol.Weeks = 8
			_, err := s.AmendTrial(ctx, next(), trial, conduct.Amended{Protocol: protocol, Reason: "six weeks are too few"})
			require.NoError(t, err)
			squat := service.LoggedSet{Kind: plan.SetWorking, Reps: 8, Load: plan.Some(plan.Kg(100_000)), RIR: plan.Some(int32(2))}
			_, err = s.SessionLogs().Create(ctx, next(), service.SessionLog{
				Athlete: a.ID, Date: start.AddDays(14), Exercises: []service.LoggedExercise{{ExerciseID: "back-squat", Sets: []service.LoggedSet{squat}}},
			})
			require.NoError(t, err)
		}
		_, first, err := s.LeadInParticipant(ctx, next(), trial, j.Participant)
		require.NoError(t, err)
		require.Equal(t, 3, first.Made.WeekCount())
		require.Equal(t, start, first.Made.Request.Constraints.Start.Value)
		require.NotEmpty(t, first.Made.Assumptions)
		require.Empty(t, first.Asked.Athlete.Performances, "it is made of what was known when it began")
		value := int64(24_000 + 100*i)
		_, err = s.RecordTrial(ctx, next(), trial, conduct.Body{Measured: &conduct.Measured{Participant: j.Participant.String(), Outcome: "thickness", When: conduct.Baseline}}, &conduct.Private{Value: &value})
		require.NoError(t, err)
		without, err := s.CheckParticipant(ctx, next(), trial, j.Participant)
		require.NoError(t, err)
		require.Empty(t, without)
		checked[j.Participant] = w.last
		_, err = s.RecordTrial(ctx, next(), trial, conduct.Body{Enrolled: &conduct.Enrolled{Unit: j.Participant.String(), Covariates: []int64{value}}}, nil)
		require.NoError(t, err)
		order = append(order, j.Participant)
	}
	_, err = s.RecordTrial(ctx, next(), trial, conduct.Body{Closed: &conduct.Closed{}}, nil)
	require.NoError(t, err)
	told, err := s.AssignTrial(ctx, next(), trial)
	require.NoError(t, err)
	arm := map[string]int{}
	for _, a := range told {
		arm[a.Unit] = a.Arm
	}
	for _, who := range order {
		i := arm[who.String()]
		p, kept, err := s.ProgramParticipant(ctx, next(), trial, who)
		require.NoError(t, err)
		require.Equal(t, bytesOf(t, checked[who].Arms[i].Program), bytesOf(t, kept.Made))
		require.Equal(t, 8, kept.Made.WeekCount())
		require.Len(t, kept.Asked.Athlete.Performances, map[bool]int{true: 1}[who == order[0]], "what the lead-in showed is known")
		require.Equal(t, start.AddDays(21), weeksIn(&kept.Made)[0].Start.Value)

		asked, err := plan.DigestOf(kept.Asked)
		require.NoError(t, err)
		require.Equal(t, kept.Made.RequestDigest, asked)
		require.Zero(t, kept.Asked.Athlete.Status, "as it was asked, so that assumptions stay assumptions")

		again, err := s.ReviseProgram(ctx, next(), service.NewRevision{Athlete: p.Athlete, Program: p.ID, Rework: plan.Rework{FromWeek: 5}, Reason: "a week away"})
		require.NoError(t, err)
		require.EqualValues(t, 2, again.Revision.Number)
		require.Equal(t, 8, again.Revision.Made.WeekCount())
		for n, week := range weeksIn(&kept.Made)[:4] {
			require.Equal(t, bytesOf(t, week), bytesOf(t, weeksIn(&again.Revision.Made)[n]), "week %d is as it was", n+1)
		}
		require.Equal(t, kept.Made.Assumptions, again.Revision.Made.Assumptions)
		seen, err := s.Participant(ctx, trial, who)
		require.NoError(t, err)
		require.Equal(t, p.ID, seen.Program)
	}
}
