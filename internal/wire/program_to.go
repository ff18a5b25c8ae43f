package wire

import (
	pb "github.com/phasewright/phasewright/gen/phasewright/v1"

	"github.com/phasewright/phasewright/engine/plan"
)

// ProgramToProto gives the schema's message. It shares strings and lists of plain
// numbers with the program, which must not change while the message is in use.
func ProgramToProto(d *plan.Program) *pb.Program {
	w := &writer{}
	p := &pb.Program{
		Versions: &pb.Versions{
			Document:  d.Versions.Document,
			Engine:    d.Versions.Engine,
			Rules:     d.Versions.Rules,
			Catalogue: d.Versions.Catalogue,
			Curves:    d.Versions.Curves,
			Strategy:  d.Versions.Strategy,
		},
		RequestDigest: d.RequestDigest,
		Seed:          d.Seed,
		Request:       requestTo(&d.Request),
		Strengths:     eachTo(d.Strengths, strengthTo),
		Allocations:   eachTo(d.Allocations, allocationTo),
		Assumptions: eachTo(d.Assumptions, func(a *plan.Assumption) *pb.Assumption {
			return &pb.Assumption{Field: a.Field, Description: a.Says}
		}),
		Findings: FindingsToProto(d.Findings),
		Cautions: eachTo(d.Cautions, func(c *plan.Caution) *pb.Caution {
			return &pb.Caution{Id: c.ID, Description: c.Says}
		}),
		Rules:  RulesToProto(d.Rules),
		Digest: d.Digest,

		Reworked:           oneTo(d.Reworked, reworkedTo),
		ExternalStrategies: eachTo(d.External, externalTo),
	}
	for i := range d.Phases {
		ph := &d.Phases[i]
		m := &pb.Phase{Name: ph.Name, Aim: ph.Aim, Weeks: eachTo(ph.Weeks, w.week)}
		p.Phases = append(p.Phases, m)
	}
	return p
}

// FindingsToProto gives the schema's findings, in the same order.
func FindingsToProto(list []plan.Finding) []*pb.Finding {
	return eachTo(list, func(f *plan.Finding) *pb.Finding {
		return &pb.Finding{
			Level:       pb.FindingLevel(f.Level),
			RuleId:      string(f.Rule),
			Week:        f.Week,
			Session:     f.Session,
			ExerciseId:  f.ExerciseID,
			Muscle:      pb.Muscle(f.Muscle),
			Field:       f.Field,
			Description: f.Says,
		}
	})
}

// RulesToProto gives the schema's rules, in the same order.
func RulesToProto(list []plan.Rule) []*pb.Rule {
	return eachTo(list, func(r *plan.Rule) *pb.Rule {
		return &pb.Rule{Id: string(r.ID), Description: r.Says, Source: r.Source}
	})
}

func (w *writer) week(d *plan.Week) *pb.Week {
	p := &pb.Week{
		Number:      d.Number,
		Kind:        pb.WeekKind(d.Kind),
		DosePercent: percentTo(d.Dose),
		StartDate:   dateTo(d.Start),
		Sessions:    eachTo(d.Sessions, w.session),
		Muscles: eachTo(d.Muscles, func(m *plan.MuscleTotal) *pb.MuscleTotal {
			t := w.muscles.next()
			t.Muscle, t.WantedSets, t.Sets, t.DirectSets = pb.Muscle(m.Muscle), setsTo(m.Wanted), setsTo(m.Sets), setsTo(m.Direct)
			return t
		}),
		Lifts: eachTo(d.Lifts, func(l *plan.LiftTotal) *pb.LiftTotal {
			return &pb.LiftTotal{
				ExerciseId:          l.ExerciseID,
				WantedSets:          l.Wanted,
				Sets:                l.Sets,
				Reps:                l.Reps,
				VolumeLoad:          volumeTo(l.VolumeLoad),
				TopIntensityPercent: w.percent(l.Top),
			}
		}),
	}
	return p
}

func (w *writer) session(d *plan.Session) *pb.Session {
	return &pb.Session{
		Kind:          pb.SessionKind(d.Kind),
		Label:         d.Label,
		Group:         d.Group,
		DayIndex:      d.Day,
		Weekday:       pb.Weekday(d.Weekday),
		Date:          dateTo(d.Date),
		PlaceId:       d.PlaceID,
		LimitSeconds:  int32(d.Limit),
		WarmupSeconds: int32(d.Warmup),
		TotalSeconds:  int32(d.Seconds),
		Exercises:     eachTo(d.Exercises, w.exercise),
	}
}

func (w *writer) exercise(d *plan.ProgramExercise) *pb.ProgramExercise {
	p := w.exercises.next()
	p.ExerciseId = d.ExerciseID
	p.CallerId = d.CallerID
	p.DisplayName = d.Name
	p.Role = pb.ExerciseRole(d.Role)
	p.Track = d.Track
	p.TotalSeconds = int32(d.Seconds)
	p.Note = d.Note
	if d.Progress != (plan.Progression{}) {
		p.Progression = &pb.Progression{Kind: pb.ProgressionKind(d.Progress.Kind), PercentPerWeek: percentTo(d.Progress.By)}
	}
	p.Sets = w.setLists.list(len(d.Sets))
	for i := range d.Sets {
		p.Sets[i] = w.set(&d.Sets[i])
	}
	p.Basis = w.baseLists.list(len(d.Basis))
	for i := range d.Basis {
		b, from := w.bases.next(), &d.Basis[i]
		b.Number, b.RuleId, b.Sets, b.Input = pb.PrescribedNumber(from.Number), string(from.Rule), from.Sets, from.Input
		p.Basis[i] = b
	}
	p.Contingencies = w.caseLists.list(len(d.Contingencies))
	for i := range d.Contingencies {
		c, from := w.cases.next(), &d.Contingencies[i]
		c.Case, c.TextId, c.Description, c.SwapExerciseIds = pb.ContingencyCase(from.Case), from.TextID, from.Says, from.Swap
		if from.Change.Set {
			c.LoadChange = changeTo(from.Change.Value.Milli, from.Change.Value.Unit)
		}
		p.Contingencies[i] = c
	}
	return p
}

func (w *writer) set(d *plan.Set) *pb.Set {
	p := w.sets.next()
	p.Kind = pb.SetKind(d.Kind)
	p.Reps = w.reps(d.Reps)
	p.HoldSeconds = w.reps(d.Hold)
	p.OpenEnded = d.OpenEnded
	p.ExpectedReps = d.Expected
	p.IntensityPercent = w.percent(d.Intensity)
	p.Rir = w.int(d.RIR)
	p.ToFailure = d.ToFailure
	if d.Load.Set {
		p.Load = w.mass(d.Load.Value)
	}
	if d.Deferred.Set {
		p.Deferred = deferredTo(&d.Deferred.Value)
	}
	p.PlatesPerSide = w.massesOf(d.Plates)
	p.AddOns = w.massesOf(d.AddOns)
	if d.Base.Set {
		p.Base = w.mass(d.Base.Value)
	}
	if d.Collars.Set {
		p.Collars = w.mass(d.Collars.Value)
	}
	p.RestSeconds = int32(d.Rest)
	if !d.Tempo.IsZero() {
		p.Tempo = &pb.Tempo{DownSeconds: d.Tempo.Down, HoldSeconds: d.Tempo.Hold, UpSeconds: d.Tempo.Up}
	}
	p.Adjust = eachTo(d.Adjust, func(a *plan.AdjustStep) *pb.AdjustStep {
		// Written even where both ends are 0: repetitions of a step are required.
		return &pb.AdjustStep{
			Reps: &pb.Range{Min: a.Reps.Min, Max: a.Reps.Max},
			From: changeTo(a.From, a.Unit),
			To:   changeTo(a.To, a.Unit),
		}
	})
	return p
}

func deferredTo(d *plan.Deferred) *pb.DeferredLoad {
	p := &pb.DeferredLoad{SharePercent: percentTo(d.Share)}
	if d.Reference != (plan.Reference{}) {
		p.Reference = &pb.Reference{Kind: pb.ReferenceKind(d.Reference.Kind), Rm: d.Reference.RM, Name: d.Reference.Name}
	}
	return p
}

func strengthTo(s *plan.Strength) *pb.StrengthEstimate {
	p := &pb.StrengthEstimate{
		ExerciseId:               s.ExerciseID,
		OneRmKilograms:           unscale(s.OneRMGrams),
		StandardDeviationPercent: percentTo(s.SD),
		PerformancesUsed:         s.Known,
		BorrowedFrom:             s.Borrowed,
		Curve:                    s.Curve,
		Slope:                    unscale(int64(s.Slope)),
		BodyMassSharePercent:     percentTo(s.Share),
	}
	if len(s.Planned) > 0 {
		p.PlannedKilograms = make([]float64, len(s.Planned))
		for i, g := range s.Planned {
			p.PlannedKilograms[i] = unscale(g)
		}
	}
	return p
}

func allocationTo(a *plan.Allocation) *pb.Allocation {
	return &pb.Allocation{
		FromWeek:   a.FromWeek,
		ToWeek:     a.ToWeek,
		Candidates: a.Candidates,
		Value:      a.Value,
		Bound:      a.Bound,
		Proven:     a.Proven,
		Work:       a.Work,
	}
}
