package wire

import (
	pb "github.com/phasewright/phasewright/gen/phasewright/v1"

	"github.com/phasewright/phasewright/engine/plan"
)

// ReworkFromProto gives what of a program is made again. Errors are as those of
// RequestFromProto.
func ReworkFromProto(p *pb.Rework) (plan.Rework, error) {
	r := newReader()
	out := reworkFrom(r, p)
	if err := r.bad.Err(); err != nil {
		return plan.Rework{}, err
	}
	return out, nil
}

// ReworkToProto gives the schema's message, which holds one of From and FromWeek.
func ReworkToProto(d *plan.Rework) *pb.Rework {
	p := &pb.Rework{
		Locks: eachTo(d.Locks, func(l *plan.Lock) *pb.Lock {
			p := &pb.Lock{ExerciseId: l.ExerciseID}
			switch {
			case l.Weekday != plan.WeekdayUnspecified:
				p.Sessions = &pb.Lock_Weekday{Weekday: pb.Weekday(l.Weekday)}
			case l.Group != "":
				p.Sessions = &pb.Lock_Group{Group: l.Group}
			}
			return p
		}),
		Swaps: eachTo(d.Swaps, func(s *plan.Swap) *pb.Swap {
			p := &pb.Swap{ExerciseId: s.ExerciseID, WithExerciseId: s.With}
			switch {
			case s.Weekday != plan.WeekdayUnspecified:
				p.Sessions = &pb.Swap_Weekday{Weekday: pb.Weekday(s.Weekday)}
			case s.Group != "":
				p.Sessions = &pb.Swap_Group{Group: s.Group}
			}
			return p
		}),
	}
	switch {
	case d.From.Set:
		p.From = &pb.Rework_FromDate{FromDate: d.From.Value.String()}
	case d.FromWeek != 0:
		p.From = &pb.Rework_FromWeek{FromWeek: d.FromWeek}
	}
	return p
}

func reworkFrom(r *reader, p *pb.Rework) plan.Rework {
	return plan.Rework{
		From:     r.optDate("from_date", p.GetFromDate()),
		FromWeek: p.GetFromWeek(),
		Locks: each(r, "locks", p.GetLocks(), func(r *reader, p *pb.Lock) plan.Lock {
			return plan.Lock{ExerciseID: p.GetExerciseId(), Weekday: weekday(r, p.GetWeekday()), Group: p.GetGroup()}
		}),
		Swaps: each(r, "swaps", p.GetSwaps(), func(r *reader, p *pb.Swap) plan.Swap {
			return plan.Swap{ExerciseID: p.GetExerciseId(), With: p.GetWithExerciseId(), Weekday: weekday(r, p.GetWeekday()), Group: p.GetGroup()}
		}),
	}
}

func reworkedTo(d *plan.Reworked) *pb.Reworked {
	return &pb.Reworked{BaseDigest: d.Base, Week: d.Week, Day: d.Day, Rework: ReworkToProto(&d.Asked)}
}

func reworkedFrom(r *reader, p *pb.Reworked) plan.Reworked {
	return plan.Reworked{
		Base: p.GetBaseDigest(), Week: p.GetWeek(), Day: p.GetDay(),
		Asked: one(r, "rework", p.GetRework(), reworkFrom).Value,
	}
}
