package wire

import (
	pb "github.com/phasewright/phasewright/gen/phasewright/v1"

	"github.com/phasewright/phasewright/engine"
	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
)

// WaysToProto gives the detail of a failure; fields are left as they are.
func WaysToProto(list []fault.Way) *pb.Relaxations {
	return &pb.Relaxations{Relaxations: eachTo(list, wayTo)}
}

// WaysFromProto reads WaysToProto, with each field as the caller spells it.
func WaysFromProto(p *pb.Relaxations, field func(string) string) []fault.Way {
	var out []fault.Way
	for _, r := range p.GetRelaxations() {
		out = append(out, wayFrom(r, field))
	}
	return out
}

func wayTo(w *fault.Way) *pb.Relaxation {
	return &pb.Relaxation{Description: w.Says, Price: w.Price, Changes: eachTo(w.Changes, func(c *fault.Change) *pb.FieldChange {
		return &pb.FieldChange{Field: c.Field, From: c.From, To: c.To}
	})}
}

func wayFrom(p *pb.Relaxation, field func(string) string) fault.Way {
	w := fault.Way{Says: p.GetDescription(), Price: p.GetPrice()}
	for _, c := range p.GetChanges() {
		w.Changes = append(w.Changes, fault.Change{Field: field(c.GetField()), From: c.GetFrom(), To: c.GetTo()})
	}
	return w
}

// RelaxationsToProto gives the schema's message, with the fields below one.
func RelaxationsToProto(list []engine.Relaxation, below string) *pb.SuggestRelaxationsResponse {
	return &pb.SuggestRelaxationsResponse{Relaxations: eachTo(list, func(d *engine.Relaxation) *pb.Relaxation {
		p := wayTo(&d.Way)
		for _, c := range p.Changes {
			c.Field = below + "." + c.Field
		}
		p.Gains = eachTo(d.Gains, func(g *engine.Gain) *pb.SetGain {
			if g.ExerciseID != "" {
				return &pb.SetGain{Target: &pb.SetGain_ExerciseId{ExerciseId: g.ExerciseID}, Sets: setsTo(g.Sets)}
			}
			return &pb.SetGain{Target: &pb.SetGain_Muscle{Muscle: pb.Muscle(g.Muscle)}, Sets: setsTo(g.Sets)}
		})
		return p
	})}
}

// RelaxationsFromProto reads RelaxationsToProto, with each field as the caller spells it.
// Errors are as those of RequestFromProto.
func RelaxationsFromProto(p *pb.SuggestRelaxationsResponse, field func(string) string) ([]engine.Relaxation, error) {
	r := newReader()
	out := each(r, "relaxations", p.GetRelaxations(), func(r *reader, p *pb.Relaxation) engine.Relaxation {
		return engine.Relaxation{Way: wayFrom(p, field), Gains: each(r, "gains", p.GetGains(), func(r *reader, p *pb.SetGain) engine.Gain {
			return engine.Gain{
				Muscle: enum(r, "muscle", p.GetMuscle(), plan.MuscleCount), ExerciseID: p.GetExerciseId(),
				Sets: plan.HalfSets(r.scaled32("sets", p.GetSets(), perSet)),
			}
		})}
	})
	if err := r.bad.Err(); err != nil {
		return nil, err
	}
	return out, nil
}
