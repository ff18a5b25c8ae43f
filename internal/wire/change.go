package wire

import (
	pb "github.com/phasewright/phasewright/gen/phasewright/v1"

	"github.com/phasewright/phasewright/engine/plan"
)

// ChangesToProto gives the schema's differences, in the same order.
func ChangesToProto(list []plan.Change) []*pb.ProgramChange {
	w := &writer{}
	return eachTo(list, func(d *plan.Change) *pb.ProgramChange {
		return &pb.ProgramChange{
			Kind:           pb.ChangeKind(d.Kind),
			Weekday:        pb.Weekday(d.Weekday),
			Group:          d.Group,
			DayIndex:       d.Day,
			SessionKind:    pb.SessionKind(d.Session),
			ExerciseId:     d.ExerciseID,
			WithExerciseId: d.With,
			Weeks: eachTo(d.Weeks, func(c *plan.ChangedWeek) *pb.ChangedWeek {
				return &pb.ChangedWeek{
					Week:          c.Week,
					Numbers:       enumsTo[plan.Number, pb.PrescribedNumber](c.Numbers),
					SetsBefore:    eachTo(c.Was, w.run),
					SetsAfter:     eachTo(c.Is, w.run),
					SessionBefore: oneTo(c.FrameWas, frameTo),
					SessionAfter:  oneTo(c.FrameIs, frameTo),
					KindBefore:    pb.WeekKind(c.KindWas),
					KindAfter:     pb.WeekKind(c.KindIs),
				}
			}),
		}
	})
}

// ChangesFromProto reads what ChangesToProto writes.
func ChangesFromProto(list []*pb.ProgramChange) ([]plan.Change, error) {
	r := newReader()
	out := each(r, "changes", list, func(r *reader, p *pb.ProgramChange) plan.Change {
		return plan.Change{
			Kind:       enum(r, "kind", p.GetKind(), plan.ChangeAdvice+1),
			Weekday:    weekday(r, p.GetWeekday()),
			Group:      p.GetGroup(),
			Day:        p.GetDayIndex(),
			Session:    enum(r, "session_kind", p.GetSessionKind(), plan.SessionAttempt+1),
			ExerciseID: p.GetExerciseId(),
			With:       p.GetWithExerciseId(),
			Weeks: each(r, "weeks", p.GetWeeks(), func(r *reader, p *pb.ChangedWeek) plan.ChangedWeek {
				return plan.ChangedWeek{
					Week:     p.GetWeek(),
					Numbers:  enums(r, "numbers", p.GetNumbers(), plan.NumberChoice+1),
					Was:      each(r, "sets_before", p.GetSetsBefore(), runFrom),
					Is:       each(r, "sets_after", p.GetSetsAfter(), runFrom),
					FrameWas: one(r, "session_before", p.GetSessionBefore(), frameFrom),
					FrameIs:  one(r, "session_after", p.GetSessionAfter(), frameFrom),
					KindWas:  enum(r, "kind_before", p.GetKindBefore(), plan.WeekTaper+1),
					KindIs:   enum(r, "kind_after", p.GetKindAfter(), plan.WeekTaper+1),
				}
			}),
		}
	})
	return out, r.bad.Err()
}

func (w *writer) run(d *plan.SetRun) *pb.SetRun {
	return &pb.SetRun{Count: d.Count, Set: w.set(&d.Each)}
}

func runFrom(r *reader, p *pb.SetRun) plan.SetRun {
	return plan.SetRun{Count: p.GetCount(), Each: one(r, "set", p.GetSet(), setFrom).Value}
}

func frameTo(d *plan.SessionFrame) *pb.SessionFrame {
	return &pb.SessionFrame{
		Weekday: pb.Weekday(d.Weekday), Date: dateTo(d.Date), PlaceId: d.PlaceID,
		LimitSeconds: int32(d.Limit), TotalSeconds: int32(d.Seconds), Label: d.Label,
	}
}

func frameFrom(r *reader, p *pb.SessionFrame) plan.SessionFrame {
	return plan.SessionFrame{
		Weekday: weekday(r, p.GetWeekday()), Date: r.optDate("date", p.GetDate()), PlaceID: p.GetPlaceId(),
		Limit: plan.Seconds(p.GetLimitSeconds()), Seconds: plan.Seconds(p.GetTotalSeconds()), Label: p.GetLabel(),
	}
}
