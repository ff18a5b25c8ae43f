package wire

import (
	"flag"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/phasewright/phasewright/engine/plan"
)

var rewrite = flag.Bool("rewrite", false, "write the pinned files anew")

const pinned = "../../testdata/wire"

func file(t testing.TB, name string) []byte {
	b, err := os.ReadFile(filepath.Join(pinned, name))
	require.NoError(t, err)
	return b
}

// requireFile compares with a pinned file, or writes it.
func requireFile(t *testing.T, name string, got []byte) {
	if *rewrite {
		require.NoError(t, os.WriteFile(filepath.Join(pinned, name), got, 0o644))
	}
	require.Equal(t, string(file(t, name)), string(got), "go test ./internal/wire -rewrite writes it anew")
}

func fullRequest(t testing.TB) plan.Request {
	p, err := ReadRequest(file(t, "request_full.yaml"))
	require.NoError(t, err)
	d, err := RequestFromProto(p)
	require.NoError(t, err)
	return d
}

// fullProgram sets every field of a program once. It passes the rules of the schema
// but makes no sense as training.
func fullProgram(t testing.TB) *plan.Program {
	some := func(milli int64) plan.Opt[plan.Load] { return plan.Some(plan.Kg(milli)) }
	day, err := plan.ParseDate("2026-01-26")
	require.NoError(t, err)
	squat := plan.ProgramExercise{
		ExerciseID: "back-squat", CallerID: "0042", Name: "Squat", Role: plan.GoalLift, Track: "main",
		Seconds: 900, Progress: plan.Progression{Kind: plan.ProgressPercent, By: 15}, Note: "brace",
		Sets: []plan.Set{
			{Kind: plan.SetWarmup, Reps: plan.Range{Min: 5, Max: 5}, Load: some(60_000), Plates: []plan.Load{plan.Kg(20_000)}, Rest: 90},
			{
				Kind: plan.SetWorking, Reps: plan.Range{Min: 8, Max: 12}, OpenEnded: true, Expected: 10, Intensity: plan.Some[plan.Permille](725),
				RIR: plan.Some[int32](0), ToFailure: true, Load: some(102_500), Plates: []plan.Load{plan.Kg(25_000), plan.Kg(15_000), plan.Kg(1_250)},
				Deferred: plan.Some(plan.Deferred{Reference: plan.Reference{Kind: plan.RefEstimate, RM: 3, Name: "week 3"}, Share: 705}),
				Rest:     150, Tempo: plan.Tempo{Down: 3, Hold: 1, Up: 1},
				Adjust: []plan.AdjustStep{{Reps: plan.Range{Min: 0, Max: 2}, From: -2500, To: -5000, Unit: plan.Kilogram}, {Reps: plan.Range{Min: 12, Max: 20}, From: 5000, To: 10_000, Unit: plan.Pound}},
			},
			{Kind: plan.SetWorking, Hold: plan.Range{Min: 20, Max: 30}, Load: plan.Some(plan.Lb(225_000))},
			{Kind: plan.SetWorking, Reps: plan.Range{Min: 5, Max: 5}, Load: some(22_500), Base: some(15_000), Collars: some(5000), AddOns: []plan.Load{plan.Kg(2500)}},
		},
		Basis: []plan.Basis{{Number: plan.NumberLoad, Rule: "load.curve", Sets: []int32{1, 2}, Input: "1RM 140 kg, 8 repetitions, RIR 2"}},
		Contingencies: []plan.Contingency{
			{Case: plan.CaseRepsMissed, TextID: "missed", Says: "Take 2.5 kg off.", Change: some(-2500), Swap: []string{"leg-press"}},
			{Case: plan.CaseAboveRange, TextID: "above", Says: "Add 5 lb.", Change: plan.Some(plan.Lb(5000))},
		},
	}
	p := &plan.Program{
		Versions:      plan.Versions{Document: "1", Engine: "0.1.0", Rules: "1", Catalogue: "2", Curves: "3", Strategy: "strength-then-size@1"},
		RequestDigest: "sha256:" + "0123456789abcdef0123456789abcdef0123456789abcdef0123456789abcdef",
		Seed:          7,
		Request:       fullRequest(t),
		Phases: []plan.Phase{{Name: "strength", Aim: "Raise the 1RM.", Weeks: []plan.Week{{
			Number: 1, Kind: plan.WeekTraining, Dose: 1000, Start: plan.Some(day),
			Sessions: []plan.Session{{
				Kind: plan.SessionTraining, Label: "heavy", Group: "A", Day: 1, Weekday: plan.Monday, Date: plan.Some(day), PlaceID: "gym",
				Limit: 3600, Warmup: 300, Seconds: 3300, Exercises: []plan.ProgramExercise{squat},
			}},
			Muscles: []plan.MuscleTotal{{Muscle: plan.Quads, Wanted: 20, Sets: 19, Direct: 16}},
			Lifts: []plan.LiftTotal{
				{ExerciseID: "back-squat", Wanted: 4, Sets: 4, Reps: 40, VolumeLoad: some(4_100_000), Top: plan.Some[plan.Permille](725)},
				{ExerciseID: "bench-press", VolumeLoad: plan.Some(plan.Lb(9_000_000))},
			},
		}}}},
		Strengths: []plan.Strength{{
			ExerciseID: "back-squat", OneRMGrams: 140_250, SD: 55, Known: 2, Borrowed: "leg-press", Curve: "squat", Slope: 1025, Share: 880, Planned: []int64{140_250, 141_001},
		}},
		Allocations: []plan.Allocation{{FromWeek: 1, ToWeek: 3, Candidates: 40, Value: []int64{0, 12}, Bound: []int64{0, 11}, Proven: []bool{true, false}, Work: 12_345}},
		Assumptions: []plan.Assumption{{Field: "constraints.weeks", Says: "8 weeks."}},
		Findings:    []plan.Finding{{Level: plan.LevelShort, Rule: "dose.short", Week: 1, Session: 1, ExerciseID: "back-squat", Muscle: plan.Quads, Field: "goals[0]", Says: "Half a set short."}},
		Cautions:    []plan.Caution{{ID: "screening", Says: "Answer the screening."}},
		Rules:       []plan.Rule{{ID: "load.curve", Says: "Load follows the curve.", Source: "common practice, no source"}},
		Reworked: plan.Some(plan.Reworked{
			Base: "sha256:" + "fedcba9876543210fedcba9876543210fedcba9876543210fedcba9876543210", Week: 3, Day: 2,
			Asked: plan.Rework{
				From:  plan.Some(day.AddDays(16)),
				Locks: []plan.Lock{{ExerciseID: "bench-press", Weekday: plan.Monday}, {Group: "A"}},
				Swaps: []plan.Swap{{ExerciseID: "back-squat", With: "leg-press", Weekday: plan.Thursday}, {ExerciseID: "back-squat", With: "hack-squat", Group: "B"}},
			},
		}),
	}
	p.External = []plan.External{fullExternal()}
	require.NoError(t, p.Seal())
	return p
}

// fullExternal sets every field of a plug-in's description and outline once.
func fullExternal() plan.External {
	d := fullStrategy()
	value := func(name string, v plan.Value) plan.Param { return plan.Param{Name: name, Value: v} }
	return plan.External{Descriptor: *d, Outlines: []plan.ExternalOutline{{
		Params: []plan.Param{
			value("a", plan.Value{Kind: plan.ValueNumber, Milli: 2500}), value("b", plan.Value{Kind: plan.ValueRange, Lo: 8, Hi: 12}),
			value("c", plan.Value{Kind: plan.ValueText, Text: "5x5"}), value("d", plan.Value{Kind: plan.ValueBool, Bool: true}),
			value("e", plan.Value{Kind: plan.ValueList, List: []int32{3, 2}}),
		},
		Asked: plan.OutlineRequest{Weeks: 2, Sessions: []int32{3, 2}, Status: plan.Advanced, Strength: true, Size: true, Seed: 7},
		Outline: plan.Outline{Strategy: d.ID(), Phases: []plan.OutlinePhase{{Name: "waves", Aim: "Come and go.", Weeks: []plan.OutlineWeek{{
			Kind: plan.WeekTraining, Dose: 955, Sessions: []plan.OutlineSession{{
				Kind: plan.SessionTraining, Label: "heavy", Group: "A", Targets: []plan.Target{{Role: plan.Trunk, Schemes: []plan.Scheme{{
					Kind: plan.SetWorking, Sets: plan.FixedSets(3), Reps: plan.Range{Min: 4, Max: 6}, Hold: plan.Range{Min: 20, Max: 30}, OpenEnded: true,
					Effort: plan.Effort{RIR: plan.Some(int32(0)), ToFailure: true, Intensity: plan.Some(plan.Permille(825)),
						Reference: plan.Reference{Kind: plan.RefRM, RM: 8, Name: "retest-1"}},
					Rest: 150, Tempo: plan.Tempo{Down: 3, Hold: 1, Up: 2}, Progress: plan.Progression{Kind: plan.ProgressPercent, By: 15},
					Adjust: []plan.AdjustStep{{Reps: plan.Range{Min: 0, Max: 3}, From: -5000, To: -2500, Unit: plan.Pound}},
				}}}},
			}},
		}}}}},
	}}}
}

// fullChanges sets every field of a difference once.
func fullChanges(t testing.TB) []plan.Change {
	set := fullProgram(t).Phases[0].Weeks[0].Sessions[0].Exercises[0].Sets[1]
	day, err := plan.ParseDate("2026-01-26")
	require.NoError(t, err)
	return []plan.Change{{
		Kind: plan.ChangeExerciseSwapped, Weekday: plan.Monday, Group: "A", Day: 1, Session: plan.SessionTraining, ExerciseID: "back-squat", With: "leg-press",
		Weeks: []plan.ChangedWeek{{
			Week: 3, Numbers: []plan.Number{plan.NumberReps}, Was: []plan.SetRun{{Count: 3, Each: set}}, Is: []plan.SetRun{{Count: 2, Each: set}},
			FrameWas: plan.Some(plan.SessionFrame{Weekday: plan.Monday, Date: plan.Some(day), PlaceID: "gym", Limit: 3600, Seconds: 3000, Label: "heavy"}),
			FrameIs:  plan.Some(plan.SessionFrame{Weekday: plan.Friday, PlaceID: "home"}),
			KindWas:  plan.WeekTraining, KindIs: plan.WeekDeload,
		}},
	}}
}

// fullComparison sets every field of a comparison once.
func fullComparison(t testing.TB) (*plan.ComparisonQuery, *plan.Comparison, []plan.Plot) {
	f := plan.Figures{
		Sessions: 1, HardSets: 4, StatedRIR: 3, NearFailure: 2, Reps: 30, Zones: [plan.ZoneCount]int32{5, 12, 13}, LoadedSets: 3,
		VolumeLoad: plan.Some(plan.Kg(2_400_500)), RatedReps: 25, Intensity: plan.Some(plan.Permille(725)), Seconds: 3000,
		Muscles: []plan.MuscleWork{{Muscle: plan.Chest, Sets: 9, Direct: 6}},
	}
	return &plan.ComparisonQuery{Request: fullRequest(t), Arms: []plan.Arm{{Label: "heavy", Plan: fullRequest(t).Plan}}, Rule: plan.EquateMinutes, Programs: true, Plots: true},
		&plan.Comparison{
			Rule: plan.EquateVolumeLoad, Unit: plan.Kilogram, EqualWeeks: []int32{1, 3},
			Arms: []plan.ArmReport{{
				Label: "heavy", Strategy: "linear@1", Digest: "abc", Total: f, Program: *fullProgram(t),
				Phases: []plan.ArmPhase{{Name: "strength", FromWeek: 1, ToWeek: 2, Figures: f}},
				Weeks:  []plan.ArmWeek{{Number: 1, Phase: "strength", Kind: plan.WeekDeload, Figures: f}},
			}},
			Balances: []plan.Balance{
				{Measure: plan.MeasureMuscleSets, Muscle: plan.Chest, Sought: true, Equal: true, Values: []int64{9}, Says: "equal"},
				{Measure: plan.MeasureHardSets, ExerciseID: "dip", Values: []int64{9, 10}, Gap: 1, Share: 112, Says: "not"},
			},
		}, []plan.Plot{{ID: "minutes", Title: "Minutes", SVG: "<svg/>"}}
}
