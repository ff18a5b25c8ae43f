package wire

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	sp "github.com/phasewright/phasewright/gen/phasewright/strategy/v1"
	pb "github.com/phasewright/phasewright/gen/phasewright/v1"

	"github.com/phasewright/phasewright/engine/exercise"
	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
)

func TestPinnedRequests(t *testing.T) {
	for _, name := range []string{"request_minimal", "request_full"} {
		m, err := ReadRequest(file(t, name+".yaml"))
		require.NoError(t, err)
		d, err := RequestFromProto(m)
		require.NoError(t, err)
		got, err := Marshal(RequestToProto(d))
		require.NoError(t, err)
		requireFile(t, name+".json", got)

		again, err := ReadRequest(got)
		require.NoError(t, err)
		back, err := RequestFromProto(again)
		require.NoError(t, err)
		require.Equal(t, d, back)
	}
}

func TestPinnedProgram(t *testing.T) {
	d := fullProgram(t)
	m := ProgramToProto(d)
	require.NoError(t, Validate(m))
	got, err := Marshal(m)
	require.NoError(t, err)
	requireFile(t, "program_full.json", got)

	again, err := ReadProgram(got)
	require.NoError(t, err)
	require.True(t, proto.Equal(m, again))
	back, err := ProgramFromProto(again)
	require.NoError(t, err)
	require.Equal(t, d, back)
	intact, err := back.Intact()
	require.NoError(t, err)
	require.True(t, intact, "the digest holds across the wire")
}

// A digest must not tell an absent list from an empty one, which the wire can't.
func TestDigestTakesEmptyListsAsAbsent(t *testing.T) {
	a := &plan.Program{Phases: []plan.Phase{{Weeks: []plan.Week{{}}}}, Strengths: []plan.Strength{{}}, Allocations: []plan.Allocation{{}}}
	b := &plan.Program{
		Phases:    []plan.Phase{{Weeks: []plan.Week{{Sessions: []plan.Session{}}}}},
		Strengths: []plan.Strength{{Planned: []int64{}}}, Allocations: []plan.Allocation{{Value: []int64{}, Bound: []int64{}, Proven: []bool{}}},
		Cautions: []plan.Caution{}, Request: plan.Request{Constraints: plan.Constraints{Days: []plan.Day{}, Places: []plan.Place{}}},
	}
	require.NoError(t, a.Seal())
	require.NoError(t, b.Seal())
	require.Equal(t, a.Digest, b.Digest)
}

func fullExercise() *exercise.Exercise {
	e := &exercise.Exercise{
		ID: "dip", Name: "Dip", CallerID: "x", Pattern: plan.VerticalPush, Role: plan.MultiJoint,
		Equipment: [][]plan.Equipment{{plan.DipBars}}, Loading: plan.LoadingAdded, Bar: plan.Barbell, AddedNeeds: [][]plan.Equipment{{plan.DipBelt}},
		Unilateral: true, BodyMassShare: 955, Setup: 30, Rep: 3, SetSetup: 5, Skill: plan.SkillMedium, Standing: exercise.Usual, StepMilliKg: 1250, StepMilliLb: 2500,
		Curve: exercise.CurveBodyweight, Region: exercise.Upper, Flags: exercise.UnderBar | exercise.Timed, MinReps: 5, Group: "dip",
		RelatedTo: "bench-press", RelatedRatio: 1050, MaxPlausibleKg: 200, Source: "judgement",
	}
	e.Involvement[plan.Chest], e.Involvement[plan.Triceps] = exercise.Prime, exercise.Secondary
	e.Stress[plan.Shoulder] = exercise.StressMarked
	return e
}

func fullStrategy() *plan.Descriptor {
	return &plan.Descriptor{
		Name: "linear", Version: "1", Says: "Heavier by the week.", Claims: "Little.", MinWeeks: 4, MaxWeeks: 16, External: true,
		Params: []plan.ParamSpec{
			{Name: "step", Kind: plan.ValueNumber, Default: plan.Value{Kind: plan.ValueNumber, Milli: 2500}, Min: 500, Max: 10_000, Unit: "%", Whole: true, Varies: "by status", Says: "Step.", Source: "common practice, no source"},
			{Name: "style", Kind: plan.ValueText, Default: plan.Value{Kind: plan.ValueText, Text: "flat"}, Choices: []string{"flat", "wave"}, Says: "Style."},
		},
	}
}

// fullStrength sets every field of a report once.
func fullStrength(t testing.TB) *plan.StrengthReport {
	day, err := plan.ParseDate("2026-01-26")
	require.NoError(t, err)
	lb := plan.Lb
	return &plan.StrengthReport{
		Date: plan.Some(day), Unit: plan.Pound,
		Lifts: []plan.Lift{
			{
				ExerciseID: "dip", Name: "Dip", PerHand: true, Carried: lb(176_400),
				Max:   plan.Some(plan.OneRM{Middle: lb(50_300), Low: lb(40_100), High: lb(60_900), Start: lb(48_000), SD: 31, Slope: 1050, SlopeSD: 185, Curve: "bodyweight", Borrowed: "pull-up"}),
				Used:  []int32{0, 2},
				Aside: []plan.SetAside{{Performance: 1, Reason: "FAR_FROM_OTHERS", Says: "stands far from the others", Means: plan.Some(lb(-20_000))}},
				Loads: []plan.RepsLoad{{Reps: 1, Load: lb(50_300), Low: lb(40_100), High: lb(60_900), SD: 31}, {Reps: 30, Load: plan.Kg(-40_000), Low: lb(-99_900), High: lb(-60_000), SD: 80}},
				Best:  plan.Some(plan.BestSet{Performance: 2, Reps: 6}),
				Equations: []plan.EquationMax{
					{Name: "Epley", Year: 1985, Formula: "w(1 + r/30)", Source: "Epley 1985", Note: "simple", MinReps: 1, MaxReps: 10, Max: plan.Some(lb(52_000))},
					{Name: "Kemmler", MinReps: 3, MaxReps: 20, Reason: plan.ReasonOtherLift, WhyNot: "is for another lift"},
				},
			},
			{ExerciseID: "deadlift", Name: "Deadlift", Missing: "No performance is given."},
		},
		Assumptions: []plan.Assumption{{Field: "mass_unit", Says: "Loads are in lb."}},
		Cautions:    []plan.Caution{{ID: "estimate-only", Says: "An estimate."}},
	}
}

func TestPinnedCatalogue(t *testing.T) {
	for name, m := range map[string]proto.Message{
		"strength.json": StrengthReportToProto(fullStrength(t)),
		"exercise.json": ExerciseToProto(fullExercise()), "strategy.json": StrategyToProto(fullStrategy()),
		"muscles.json": &pb.ListMusclesResponse{Muscles: MusclesToProto()},
	} {
		require.NoError(t, Validate(m))
		got, err := Marshal(m)
		require.NoError(t, err)
		requireFile(t, name, got)
	}
}

// Every field of every noun is written by someone: a field that the translator
// forgot is never set by the full fixtures.
func TestEveryFieldIsWritten(t *testing.T) {
	query, comparison, plots := fullComparison(t)
	full := []proto.Message{
		ComparisonQueryToProto(query), ComparisonToProto(comparison, plots),
		ProgramToProto(fullProgram(t)), ExerciseToProto(fullExercise()), StrategyToProto(fullStrategy()), MusclesToProto()[0],
		StrengthReportToProto(fullStrength(t)), StrengthQueryToProto(&plan.StrengthQuery{Athlete: fullRequest(t).Athlete, ExerciseIDs: []string{"dip"}, Date: fullStrength(t).Date, Unit: plan.Pound, Reps: []int32{5}, Own: fullRequest(t).Own}),
		ReworkToProto(&plan.Rework{FromWeek: 3}), &pb.RegenerateProgramResponse{Program: ProgramToProto(fullProgram(t)), Changes: ChangesToProto(fullChanges(t))},
	}
	full = append(full,
		&sp.OutlineResponse{Outline: OutlineToProto(&fullExternal().Outlines[0].Outline), Refusals: RefusalsToProto([]fault.Violation{{Field: "weeks", Reason: "R", Says: "s"}})},
		&sp.HandshakeRequest{ProtocolVersions: []int32{1}, EngineVersion: "1"}, &sp.HandshakeResponse{ProtocolVersions: []int32{1}},
		&sp.DescribeRequest{ProtocolVersion: 1}, &sp.DescribeResponse{Description: DescriptionToProto(fullStrategy())})
	written, reachable := map[protoreflect.FullName]bool{}, map[protoreflect.FullName]protoreflect.MessageDescriptor{}
	for _, m := range full {
		collect(m.ProtoReflect(), written)
		reach(m.ProtoReflect().Descriptor(), reachable)
	}
	require.Greater(t, len(reachable), 40)
	for _, d := range reachable {
		for i := range d.Fields().Len() {
			require.True(t, written[d.Fields().Get(i).FullName()], "%s is never set", d.Fields().Get(i).FullName())
		}
	}
}

func collect(m protoreflect.Message, into map[protoreflect.FullName]bool) {
	m.Range(func(f protoreflect.FieldDescriptor, v protoreflect.Value) bool {
		into[f.FullName()] = true
		switch {
		case f.Message() == nil || !ours(f.Message()):
		case f.IsList():
			for i := range v.List().Len() {
				collect(v.List().Get(i).Message(), into)
			}
		default:
			collect(v.Message(), into)
		}
		return true
	})
}

func reach(d protoreflect.MessageDescriptor, into map[protoreflect.FullName]protoreflect.MessageDescriptor) {
	if _, known := into[d.FullName()]; known || !ours(d) {
		return
	}
	into[d.FullName()] = d
	for i := range d.Fields().Len() {
		if m := d.Fields().Get(i).Message(); m != nil {
			reach(m, into)
		}
	}
}

func ours(d protoreflect.Descriptor) bool {
	return strings.HasPrefix(string(d.ParentFile().Package()), "phasewright.")
}
