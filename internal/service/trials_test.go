package service_test

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/engine/trial/analyse"
	"github.com/phasewright/phasewright/engine/trial/assign"
	"github.com/phasewright/phasewright/engine/trial/conduct"
	"github.com/phasewright/phasewright/engine/trial/draw"
	"github.com/phasewright/phasewright/engine/trial/report"
	"github.com/phasewright/phasewright/engine/trial/sequential"
	"github.com/phasewright/phasewright/internal/service"
)

// joining makes an empty program for each arm, but none for who has no day.
type joining struct{ counting }

func (j joining) Arms(_ context.Context, r plan.Request, arms []plan.Arm, _ plan.Equating) (plan.Comparison, error) {
	var c plan.Comparison
	if len(r.Constraints.Days) == 0 {
		return c, fault.New(fault.Infeasible, "NO_DAY", "arms[1].plan", "needs a day")
	}
	for _, a := range arms {
		asked := r
		asked.Plan = a.Plan
		p := plan.Program{Request: asked, Seed: r.Seed}
		if err := p.Seal(); err != nil {
			return c, err
		}
		c.Arms = append(c.Arms, plan.ArmReport{Label: a.Label, Program: p})
	}
	return c, nil
}

// Strategy knows version 1 of whatever there is.
func (joining) Strategy(id string) (plan.Descriptor, error) {
	name, _, _ := strings.Cut(id, "@")
	return plan.Descriptor{Name: name, Version: "1"}, nil
}

func arm(id, strategy string) conduct.Arm {
	return conduct.Arm{ID: id, Name: id, Ratio: 1, Plan: plan.Plan{Tracks: []plan.Track{{Segments: []plan.Segment{{Strategy: strategy}}}}}}
}

// inPairs is strength, then size against constant work, in matched pairs.
func inPairs() conduct.Protocol {
	return conduct.Protocol{
		Title: "Strength first?", Question: "Does a strength phase first build more size?", UnitOf: "athlete",
		Arms: []conduct.Arm{arm("constant", "constant@1"), arm("strength-first", "strength-then-size@1")},
		Rule: plan.EquateHardSets, LeadIn: 3, Weeks: 8, Eligible: conduct.Eligible{Months: 24},
		Outcomes: []conduct.Outcome{{ID: "thickness", Name: "muscle thickness", Unit: "mm", Method: "ultrasound", Smallest: 500}},
		Tests:    conduct.Tests{FromHours: 48, ToHours: 96, Familiarisation: 2},
		Scheme:   conduct.Scheme{Kind: assign.MatchedPairs, Covariates: []string{"thickness"}},
		Analysis: conduct.Analysis{LevelPermille: 950, Draws: 499, Seed: 1, Spending: sequential.OBrienFleming, PlannedSE: 200},
	}
}

// lab runs a trial through the service.
type lab struct {
	*world
	t     *testing.T
	ctx   context.Context
	id    service.ID
	z     draw.Normal
	calls int
	who   map[string]service.ID // athletes by pseudonym
	order []string
	base  map[string]float64
}

func newLab(t *testing.T, p conduct.Protocol) *lab {
	w := newWorld()
	l := &lab{world: w, t: t, ctx: as("one"), z: draw.Normal{Source: draw.Fast(3, 4)}, who: map[string]service.ID{}, base: map[string]float64{}}
	store := memoryTwice(w)
	w.Service = service.New(joining{counting{made: &w.made}}, service.WithStorage(service.Storage{Store: store, Key: [32]byte{7}, Now: func() time.Time { return w.now },
		Random: rand.NewChaCha8([32]byte{5})})) // the same ids and key in every run
	made, err := l.CreateTrial(l.ctx, l.w(), p)
	require.NoError(t, err)
	l.id = made.Head.ID
	return l
}

func (l *lab) w() service.Write {
	l.calls++
	l.now = l.now.Add(time.Minute)
	return write(fmt.Sprint("call-", l.calls), fmt.Sprint(l.calls))
}

func (l *lab) record(b conduct.Body, p *conduct.Private) {
	l.t.Helper()
	_, err := l.RecordTrial(l.ctx, l.w(), l.id, b, p)
	require.NoError(l.t, err)
}

func (l *lab) measure(who string, when conduct.When, mm float64) {
	l.t.Helper()
	v := int64(math.Round(mm * 1000))
	l.record(conduct.Body{Measured: &conduct.Measured{Participant: who, Outcome: "thickness", When: when, Blind: true}}, &conduct.Private{By: "an assessor", Value: &v})
}

// enrol brings an athlete from the door to the draw.
func (l *lab) enrol() string {
	l.t.Helper()
	a, err := l.Athletes().Create(l.ctx, l.w(), service.Athlete{})
	require.NoError(l.t, err)
	j, err := l.JoinTrial(l.ctx, l.w(), service.Joining{
		Trial: l.id, Athlete: a.ID, Consent: true, Facts: conduct.Facts{Months: plan.Some(int32(36))},
		Request: plan.Request{Constraints: plan.Constraints{Days: make([]plan.Day, 2)}},
	})
	require.NoError(l.t, err)
	require.Empty(l.t, j.Excluded)
	who := j.Participant.String()
	l.who[who], l.base[who] = a.ID, 25+3*l.z.Next()
	l.measure(who, conduct.Baseline, l.base[who])
	without, err := l.CheckParticipant(l.ctx, l.w(), l.id, j.Participant)
	require.NoError(l.t, err)
	require.Empty(l.t, without)
	l.record(conduct.Body{Enrolled: &conduct.Enrolled{Unit: who, Covariates: []int64{int64(1000 * l.base[who])}}}, nil)
	l.order = append(l.order, who)
	return who
}

// run takes a trial of n athletes to its end, with a look in the middle.
func run(t *testing.T, n int, effect float64) *lab {
	l := newLab(t, inPairs())
	frozen, err := l.FreezeTrial(l.ctx, l.w(), l.id)
	require.NoError(t, err)
	require.Len(t, frozen.Commitment, 64)
	for range n {
		l.enrol()
	}
	none, err := l.AssignTrial(l.ctx, l.w(), l.id)
	require.NoError(t, err)
	require.Empty(t, none, "pairs are matched when enrolment is closed")
	l.record(conduct.Body{Closed: &conduct.Closed{}}, nil)
	w := l.w()
	arms, err := l.AssignTrial(l.ctx, w, l.id)
	require.NoError(t, err)
	require.Len(t, arms, n)
	again, err := l.AssignTrial(l.ctx, w, l.id)
	require.NoError(t, err)
	require.Equal(t, arms, again, "the same request has its effect once")
	again, err = l.AssignTrial(l.ctx, l.w(), l.id)
	require.NoError(t, err)
	require.Empty(t, again, "nobody is assigned twice")
	for i, a := range arms {
		id, err := service.ParseID(a.Unit)
		require.NoError(t, err)
		p, revision, err := l.ProgramParticipant(l.ctx, l.w(), l.id, id)
		require.NoError(t, err)
		require.Equal(t, l.who[a.Unit], p.Athlete)
		require.Equal(t, inPairs().Arms[a.Arm].Plan, revision.Made.Request.Plan, "the program is of the arm")
		_, _, err = l.ProgramParticipant(l.ctx, l.w(), l.id, id)
		kindOf(t, err, fault.Exists, service.ReasonTrialMade)
		l.measure(a.Unit, conduct.End, l.base[a.Unit]+1+effect*float64(a.Arm)+0.4*l.z.Next())
		if i == n/2 {
			_, err := l.AnalyseTrial(l.ctx, l.id, 0)
			kindOf(t, err, fault.Infeasible, conduct.ReasonLocked)
			look, err := l.LookAtTrial(l.ctx, l.w(), l.id, false)
			require.NoError(t, err)
			require.NotEmpty(t, look.Shows.Says)
		}
	}
	l.record(conduct.Body{Ended: &conduct.Ended{}}, nil)
	return l
}

// A whole trial of 60 invented athletes, once with an effect of 1.5 mm and once with none.
func TestTrialFromProtocolToVerification(t *testing.T) {
	for effect, want := range map[float64]analyse.Reading{1.5: analyse.HigherWorth, 0: analyse.Alike} {
		t.Run(fmt.Sprint(effect), func(t *testing.T) {
			l := run(t, 60, effect)
			answer, err := l.AnalyseTrial(l.ctx, l.id, 0)
			require.NoError(t, err)
			require.Equal(t, want, answer.Answers[0].Reading, "%+v", answer.Answers[0].Primary)
			e := answer.Answers[0].Primary
			require.InDelta(t, effect, e.Value, 3*e.SE)
			v, err := l.VerifyTrial(l.ctx, l.id)
			require.NoError(t, err)
			require.False(t, v.Replayed)
			_, err = l.RevealTrial(l.ctx, l.w(), l.id)
			require.NoError(t, err)
			v, err = l.VerifyTrial(l.ctx, l.id)
			require.NoError(t, err)
			require.True(t, v.Replayed)
			require.Equal(t, 60, v.Arms)
			in, err := l.ReportTrial(l.ctx, l.id)
			require.NoError(t, err)
			require.True(t, in.Verified)
			require.Len(t, in.People, 60)
			require.Len(t, in.Looks, 1)
			page, err := report.Make(in)
			require.NoError(t, err)
			require.NotEmpty(t, page)
		})
	}
}

// Erasing an athlete takes away who they are and what was measured of them; the chain
// still holds and the arms can be drawn again.
func TestTrialOutlivesAnErasure(t *testing.T) {
	l := run(t, 16, 1)
	_, err := l.RevealTrial(l.ctx, l.w(), l.id)
	require.NoError(t, err)
	gone := l.order[2]
	kinds := map[string]int{}
	_, err = l.Export(l.ctx, l.who[gone], "", func() func(any) bool {
		clear(kinds)
		return func(v any) bool { kinds[fmt.Sprintf("%T", v)]++; return true }
	})
	require.NoError(t, err)
	require.Equal(t, 2, kinds["service.TrialEvent"], "baseline and end")
	require.Equal(t, 1, kinds["service.Participant"])
	_, err = l.Erase(l.ctx, l.w(), l.who[gone], "asked for")
	require.NoError(t, err)
	v, err := l.VerifyTrial(l.ctx, l.id)
	require.NoError(t, err)
	require.Equal(t, 2, v.Erased, "baseline and end")
	require.True(t, v.Replayed)
	people, next, err := l.Participants(l.ctx, l.id, 100, "")
	require.NoError(t, err)
	require.Empty(t, next)
	require.Len(t, people, 15)
	for _, p := range people {
		require.NotEqual(t, gone, p.ID.String())
	}
	in, err := l.ReportTrial(l.ctx, l.id)
	require.NoError(t, err)
	require.Equal(t, 1, in.Outcomes[0].Analysis.Flow[0].Absent+in.Outcomes[0].Analysis.Flow[1].Absent)
}

// The order of a trial holds through the service, each refusal with what is missing.
func TestTrialKeepsTheOrder(t *testing.T) {
	l := newLab(t, inPairs())
	a, err := l.Athletes().Create(l.ctx, l.w(), service.Athlete{})
	require.NoError(t, err)
	j := service.Joining{Trial: l.id, Athlete: a.ID, Consent: true, Facts: conduct.Facts{Months: plan.Some(int32(36))}}
	_, err = l.JoinTrial(l.ctx, l.w(), j)
	kindOf(t, err, fault.Infeasible, conduct.ReasonOrder)
	_, err = l.AssignTrial(l.ctx, l.w(), l.id)
	kindOf(t, err, fault.Infeasible, conduct.ReasonOrder)
	_, err = l.FreezeTrial(l.ctx, l.w(), l.id)
	require.NoError(t, err)
	_, err = l.FreezeTrial(l.ctx, l.w(), l.id)
	kindOf(t, err, fault.Infeasible, conduct.ReasonOrder)

	young := j
	young.Facts.Months = plan.Some(int32(3))
	got, err := l.JoinTrial(l.ctx, l.w(), young)
	require.NoError(t, err)
	require.Equal(t, []string{"trained for less than 24 months"}, got.Excluded)
	without := j
	without.Consent = false
	_, err = l.JoinTrial(l.ctx, l.w(), without)
	kindOf(t, err, fault.Refused, conduct.ReasonOrder)
	got, err = l.JoinTrial(l.ctx, l.w(), j) // no day to train on
	require.NoError(t, err)
	_, err = l.JoinTrial(l.ctx, l.w(), j)
	kindOf(t, err, fault.Exists, conduct.ReasonOrder)

	who := got.Participant.String()
	enrolled := conduct.Body{Enrolled: &conduct.Enrolled{Unit: who, Covariates: []int64{25_000}}}
	_, err = l.RecordTrial(l.ctx, l.w(), l.id, enrolled, nil)
	kindOf(t, err, fault.Infeasible, conduct.ReasonOrder)
	l.measure(who, conduct.Baseline, 25)
	missing, err := l.CheckParticipant(l.ctx, l.w(), l.id, got.Participant)
	require.NoError(t, err)
	require.Equal(t, []string{"strength-first"}, missing)
	_, err = l.RecordTrial(l.ctx, l.w(), l.id, enrolled, nil)
	kindOf(t, err, fault.Infeasible, conduct.ReasonOrder)
	_, err = l.RecordTrial(l.ctx, l.w(), l.id, conduct.Body{Assigned: &conduct.Assigned{}}, nil)
	kindOf(t, err, fault.Invalid, conduct.ReasonEvent)
	_, _, err = l.ProgramParticipant(l.ctx, l.w(), l.id, got.Participant)
	kindOf(t, err, fault.Infeasible, service.ReasonTrialArm)
	_, err = l.RevealTrial(l.ctx, l.w(), l.id)
	kindOf(t, err, fault.Infeasible, conduct.ReasonOrder)

	_, err = l.Trial(as("two"), l.id)
	kindOf(t, err, fault.NotFound, service.ReasonUnknown)
}

// Before the end nothing that is read shows a value, the key, or an arm that was not told.
func TestTrialTellsNothingEarly(t *testing.T) {
	p := inPairs()
	p.Scheme = conduct.Scheme{Kind: assign.Complete}
	l := newLab(t, p)
	_, err := l.FreezeTrial(l.ctx, l.w(), l.id)
	require.NoError(t, err)
	a, err := l.Athletes().Create(l.ctx, l.w(), service.Athlete{})
	require.NoError(t, err)
	j, err := l.JoinTrial(l.ctx, l.w(), service.Joining{Trial: l.id, Athlete: a.ID, Consent: true, Facts: conduct.Facts{Months: plan.Some(int32(36))},
		Request: plan.Request{Constraints: plan.Constraints{Days: make([]plan.Day, 2)}}})
	require.NoError(t, err)
	who := j.Participant.String()
	l.measure(who, conduct.Baseline, 25.123)
	_, err = l.CheckParticipant(l.ctx, l.w(), l.id, j.Participant)
	require.NoError(t, err)
	l.record(conduct.Body{Enrolled: &conduct.Enrolled{Unit: who}}, nil)
	view, err := l.Trial(l.ctx, l.id)
	require.NoError(t, err)
	require.Empty(t, view.Assigned)
	require.NotEmpty(t, view.Warnings)
	events, err := l.TrialEvents(l.ctx, l.id)
	require.NoError(t, err)
	var file bytes.Buffer
	require.NoError(t, conduct.Write(&file, events))
	require.NotContains(t, file.String(), "25123")
	require.NotContains(t, file.String(), "assessor")
	require.NotContains(t, file.String(), "assigned")
	read, err := conduct.Verify(events)
	require.NoError(t, err, "who has the chain without what is private can verify it")
	require.Equal(t, len(events), read.Events)
}

// Poor data have an answer or a refusal that says why, and no number that is none.
func TestTrialOfPoorData(t *testing.T) {
	for name, c := range map[string]struct {
		athletes int
		end      func(arm, i int) (mm float64, measured bool)
	}{
		"one pair":                       {2, func(arm, _ int) (float64, bool) { return 26 + float64(arm), true }},
		"odd":                            {7, func(arm, i int) (float64, bool) { return 26 + float64(arm) + float64(i%3), true }},
		"no variance":                    {8, func(int, int) (float64, bool) { return 26, true }},
		"all of an arm withdrawn":        {8, func(arm, i int) (float64, bool) { return 26 + float64(i%3), arm == 0 }},
		"nobody measured":                {8, func(int, int) (float64, bool) { return 0, false }},
		"an outcome for one athlete":     {8, func(_, i int) (float64, bool) { return 26, i == 3 }},
		"nobody in the trial at its end": {0, nil},
	} {
		t.Run(name, func(t *testing.T) {
			l := newLab(t, inPairs())
			_, err := l.FreezeTrial(l.ctx, l.w(), l.id)
			require.NoError(t, err)
			for range c.athletes {
				l.enrol()
			}
			l.record(conduct.Body{Closed: &conduct.Closed{}}, nil)
			arms, err := l.AssignTrial(l.ctx, l.w(), l.id)
			require.NoError(t, err)
			require.Len(t, arms, c.athletes)
			for i, a := range arms {
				if mm, ok := c.end(a.Arm, i); ok {
					l.measure(a.Unit, conduct.End, mm)
				} else {
					l.record(conduct.Body{Withdrawn: &conduct.Withdrawn{Participant: a.Unit}}, &conduct.Private{Text: "no time"})
				}
			}
			l.record(conduct.Body{Ended: &conduct.Ended{}}, nil)
			answer, err := l.AnalyseTrial(l.ctx, l.id, 0)
			if err != nil {
				_, ok := fault.As(err)
				require.True(t, ok, "%v", err)
				return
			}
			text, err := json.Marshal(answer)
			require.NoError(t, err, "JSON has no word for what is no number")
			if answer.Answers[0].Primary == nil {
				require.NotEmpty(t, answer.Refused, "%s", text)
			}
		})
	}
}
