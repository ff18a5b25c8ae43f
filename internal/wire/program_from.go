package wire

import (
	pb "github.com/phasewright/phasewright/gen/phasewright/v1"

	"github.com/phasewright/phasewright/engine/plan"
)

// ProgramFromProto gives the domain's program, with the same digest as the one it
// was made from. Errors are as those of RequestFromProto.
func ProgramFromProto(p *pb.Program) (*plan.Program, error) {
	r := newReader()
	d := programFrom(r, p)
	if err := r.bad.Err(); err != nil {
		return nil, err
	}
	return &d, nil
}

func programFrom(r *reader, p *pb.Program) plan.Program {
	v := p.GetVersions()
	return plan.Program{
		Versions: plan.Versions{
			Document:  v.GetDocument(),
			Engine:    v.GetEngine(),
			Rules:     v.GetRules(),
			Catalogue: v.GetCatalogue(),
			Curves:    v.GetCurves(),
			Strategy:  v.GetStrategy(),
		},
		RequestDigest: p.GetRequestDigest(),
		Seed:          p.GetSeed(),
		Request:       one(r, "request", p.GetRequest(), requestFrom).Value,
		Phases: each(r, "phases", p.GetPhases(), func(r *reader, p *pb.Phase) plan.Phase {
			return plan.Phase{Name: p.GetName(), Aim: p.GetAim(), Weeks: each(r, "weeks", p.GetWeeks(), weekFrom)}
		}),
		Strengths: each(r, "strengths", p.GetStrengths(), strengthFrom),
		Allocations: each(r, "allocations", p.GetAllocations(), func(_ *reader, p *pb.Allocation) plan.Allocation {
			return plan.Allocation{
				FromWeek:   p.GetFromWeek(),
				ToWeek:     p.GetToWeek(),
				Candidates: p.GetCandidates(),
				Value:      p.GetValue(),
				Bound:      p.GetBound(),
				Proven:     p.GetProven(),
				Work:       p.GetWork(),
			}
		}),
		Assumptions: each(r, "assumptions", p.GetAssumptions(), func(_ *reader, p *pb.Assumption) plan.Assumption {
			return plan.Assumption{Field: p.GetField(), Says: p.GetDescription()}
		}),
		Findings: each(r, "findings", p.GetFindings(), findingFrom),
		Cautions: each(r, "cautions", p.GetCautions(), func(_ *reader, p *pb.Caution) plan.Caution {
			return plan.Caution{ID: p.GetId(), Says: p.GetDescription()}
		}),
		Rules:  each(r, "rules", p.GetRules(), ruleFrom),
		Digest: p.GetDigest(),

		Reworked: one(r, "reworked", p.GetReworked(), reworkedFrom),
		External: each(r, "external_strategies", p.GetExternalStrategies(), externalFrom),
	}
}

func findingFrom(r *reader, p *pb.Finding) plan.Finding {
	return plan.Finding{
		Level:      enum(r, "level", p.GetLevel(), plan.LevelViolation+1),
		Rule:       plan.RuleID(p.GetRuleId()),
		Week:       p.GetWeek(),
		Session:    p.GetSession(),
		ExerciseID: p.GetExerciseId(),
		Muscle:     muscle(r, p.GetMuscle()),
		Field:      p.GetField(),
		Says:       p.GetDescription(),
	}
}

func weekFrom(r *reader, p *pb.Week) plan.Week {
	return plan.Week{
		Number:   p.GetNumber(),
		Kind:     enum(r, "kind", p.GetKind(), plan.WeekTaper+1),
		Dose:     r.permille("dose_percent", p.GetDosePercent()),
		Start:    r.optDate("start_date", p.GetStartDate()),
		Sessions: each(r, "sessions", p.GetSessions(), sessionFrom),
		Muscles: each(r, "muscles", p.GetMuscles(), func(r *reader, p *pb.MuscleTotal) plan.MuscleTotal {
			return plan.MuscleTotal{
				Muscle: muscle(r, p.GetMuscle()),
				Wanted: r.halfSets("wanted_sets", p.GetWantedSets()),
				Sets:   r.halfSets("sets", p.GetSets()),
				Direct: r.halfSets("direct_sets", p.GetDirectSets()),
			}
		}),
		Lifts: each(r, "lifts", p.GetLifts(), func(r *reader, p *pb.LiftTotal) plan.LiftTotal {
			return plan.LiftTotal{
				ExerciseID: p.GetExerciseId(),
				Wanted:     p.GetWantedSets(),
				Sets:       p.GetSets(),
				Reps:       p.GetReps(),
				VolumeLoad: load(r, "volume_load", p.GetVolumeLoad()),
				Top:        r.optPermille("top_intensity_percent", p.TopIntensityPercent),
			}
		}),
	}
}

func sessionFrom(r *reader, p *pb.Session) plan.Session {
	return plan.Session{
		Kind:      enum(r, "kind", p.GetKind(), plan.SessionAttempt+1),
		Label:     p.GetLabel(),
		Group:     p.GetGroup(),
		Day:       p.GetDayIndex(),
		Weekday:   weekday(r, p.GetWeekday()),
		Date:      r.optDate("date", p.GetDate()),
		PlaceID:   p.GetPlaceId(),
		Limit:     plan.Seconds(p.GetLimitSeconds()),
		Warmup:    plan.Seconds(p.GetWarmupSeconds()),
		Seconds:   plan.Seconds(p.GetTotalSeconds()),
		Exercises: each(r, "exercises", p.GetExercises(), programExerciseFrom),
	}
}

func programExerciseFrom(r *reader, p *pb.ProgramExercise) plan.ProgramExercise {
	return plan.ProgramExercise{
		ExerciseID: p.GetExerciseId(),
		CallerID:   p.GetCallerId(),
		Name:       p.GetDisplayName(),
		Role:       enum(r, "role", p.GetRole(), plan.RoleCount),
		Track:      p.GetTrack(),
		Sets:       each(r, "sets", p.GetSets(), setFrom),
		Seconds:    plan.Seconds(p.GetTotalSeconds()),
		Progress: one(r, "progression", p.GetProgression(), func(r *reader, p *pb.Progression) plan.Progression {
			return plan.Progression{
				Kind: enum(r, "kind", p.GetKind(), plan.ProgressHold+1),
				By:   r.permille("percent_per_week", p.GetPercentPerWeek()),
			}
		}).Value,
		Note: p.GetNote(),
		Basis: each(r, "basis", p.GetBasis(), func(r *reader, p *pb.Basis) plan.Basis {
			return plan.Basis{
				Number: enum(r, "number", p.GetNumber(), plan.NumberChoice+1),
				Rule:   plan.RuleID(p.GetRuleId()),
				Sets:   p.GetSets(),
				Input:  p.GetInput(),
			}
		}),
		Contingencies: each(r, "contingencies", p.GetContingencies(), func(r *reader, p *pb.Contingency) plan.Contingency {
			return plan.Contingency{
				Case:   enum(r, "case", p.GetCase(), plan.CaseDayMissed+1),
				TextID: p.GetTextId(),
				Says:   p.GetDescription(),
				Change: load(r, "load_change", p.GetLoadChange()),
				Swap:   p.GetSwapExerciseIds(),
			}
		}),
	}
}

func setFrom(r *reader, p *pb.Set) plan.Set {
	d := plan.Set{
		Kind:      enum(r, "kind", p.GetKind(), plan.SetAttempt+1),
		Reps:      rangeFrom(p.GetReps()),
		Hold:      rangeFrom(p.GetHoldSeconds()),
		OpenEnded: p.GetOpenEnded(),
		Expected:  p.GetExpectedReps(),
		Intensity: r.optPermille("intensity_percent", p.IntensityPercent),
		RIR:       opt(p.Rir),
		ToFailure: p.GetToFailure(),
		Load:      load(r, "load", p.GetLoad()),
		Deferred: one(r, "deferred", p.GetDeferred(), func(r *reader, p *pb.DeferredLoad) plan.Deferred {
			return plan.Deferred{
				Reference: one(r, "reference", p.GetReference(), func(r *reader, p *pb.Reference) plan.Reference {
					return plan.Reference{Kind: enum(r, "kind", p.GetKind(), plan.RefCalibration+1), RM: p.GetRm(), Name: p.GetName()}
				}).Value,
				Share: r.permille("share_percent", p.GetSharePercent()),
			}
		}),
		Rest:   plan.Seconds(p.GetRestSeconds()),
		Tempo:  plan.Tempo{Down: p.GetTempo().GetDownSeconds(), Hold: p.GetTempo().GetHoldSeconds(), Up: p.GetTempo().GetUpSeconds()},
		Adjust: each(r, "adjust", p.GetAdjust(), adjustFrom),

		Base:    load(r, "base", p.GetBase()),
		Collars: load(r, "collars", p.GetCollars()),
		AddOns:  masses(r, "add_ons", p.GetAddOns()),
	}
	if n := len(p.GetPlatesPerSide()); n > 0 {
		d.Plates = make([]plan.Load, n)
		for i, m := range p.GetPlatesPerSide() {
			at := r.item("plates_per_side", i)
			d.Plates[i] = mass(r, "", m)
			r.back(at)
		}
	}
	return d
}

func adjustFrom(r *reader, p *pb.AdjustStep) plan.AdjustStep {
	from, to := mass(r, "from", p.GetFrom()), mass(r, "to", p.GetTo())
	if from.Unit != to.Unit {
		r.add(ReasonUnits, "to", "has to be in the same unit as from")
	}
	return plan.AdjustStep{Reps: rangeFrom(p.GetReps()), From: from.Milli, To: to.Milli, Unit: from.Unit}
}

func strengthFrom(r *reader, p *pb.StrengthEstimate) plan.Strength {
	d := plan.Strength{
		ExerciseID: p.GetExerciseId(),
		OneRMGrams: r.scaled("one_rm_kilograms", p.GetOneRmKilograms(), perUnit),
		SD:         r.permille("standard_deviation_percent", p.GetStandardDeviationPercent()),
		Known:      p.GetPerformancesUsed(),
		Borrowed:   p.GetBorrowedFrom(),
		Curve:      p.GetCurve(),
		Slope:      plan.Permille(r.scaled32("slope", p.GetSlope(), perUnit)),
		Share:      r.permille("body_mass_share_percent", p.GetBodyMassSharePercent()),
	}
	if n := len(p.GetPlannedKilograms()); n > 0 {
		d.Planned = make([]int64, n)
		for i, v := range p.GetPlannedKilograms() {
			at := r.item("planned_kilograms", i)
			d.Planned[i] = r.scaled("", v, perUnit)
			r.back(at)
		}
	}
	return d
}
