package service

import (
	"context"
	"encoding/binary"
	"slices"
	"strings"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
)

// Programs are the programs of athletes; CreateProgram makes them.
func (s *Service) Programs() Collection[Program, *Program] {
	return Collection[Program, *Program]{service: s, shelf: Tx.Programs}
}

// NewProgram says what program is to be made. Request lacks the athlete, who is filled in
// as stored, and the plan where Plan names a saved one.
type NewProgram struct {
	Athlete ID
	Name    string
	Request plan.Request
	Plan    ID
}

// CreateProgram makes a program as Generate does, and keeps it as revision 1. Faults of
// the engine have the paths of the request, but about the athlete the field is parent.
// NotFound UNKNOWN_ATHLETE, and UNKNOWN with field plan_name.
func (s *Service) CreateProgram(ctx context.Context, w Write, n NewProgram) (Program, Revision, error) {
	request, answered, err := s.prepare(ctx, w, n)
	if err != nil {
		return Program{}, Revision{}, err
	}
	var made plan.Program
	if !answered {
		if made, err = s.engine.Generate(ctx, request); err != nil {
			return Program{}, Revision{}, ofAthlete(ofStored(err, request.Own))
		}
	}
	return s.keepRevision(ctx, w, func(tx Tx) (Program, Facts, error) {
		if answered {
			return Program{}, Facts{}, answerGone()
		}
		return s.keepProgram(tx, n, request, made)
	}, request, made)
}

// keepProgram stores a program that was made as revision 1.
func (s *Service) keepProgram(tx Tx, n NewProgram, asked plan.Request, made plan.Program) (Program, Facts, error) {
	id, err := s.newID()
	if err != nil {
		return Program{}, Facts{}, err
	}
	p, err := tx.Programs().Create(Program{Head: Head{ID: id}, Athlete: n.Athlete, Name: n.Name})
	if err != nil {
		return p, Facts{}, err
	}
	return tx.Revise(p, Revision{Asked: asked, Made: made})
}

// keepRevision runs a write that adds a revision and gives what came of it, of an answer
// given before too: the answer holds the number, and the revision is in the store.
func (s *Service) keepRevision(ctx context.Context, w Write, fn func(Tx) (Program, Facts, error), asked plan.Request, made plan.Program) (Program, Revision, error) {
	var now Revision
	ran := false
	body, err := s.write(ctx, w, func(tx Tx) (Effect, error) {
		p, facts, err := fn(tx)
		if err != nil {
			return Effect{}, err
		}
		now, ran = Revision{Facts: facts, Asked: asked, Made: made}, true
		e, err := effect[Program, *Program](&p)
		e.Body = append(binary.BigEndian.AppendUint32(nil, uint32(facts.Number)), e.Body...)
		return e, err
	})
	if err != nil {
		return Program{}, Revision{}, err
	}
	if len(body) < 4 {
		return Program{}, Revision{}, fault.New(fault.Internal, ReasonStorage, "", "an answer that was kept can't be read")
	}
	p, err := recalled[Program, *Program](body[4:])
	if err != nil || ran {
		return p, now, err
	}
	err = s.view(ctx, func(tx Tx) error {
		now, err = tx.Revision(p.ID, int32(binary.BigEndian.Uint32(body)))
		return err
	})
	return p, now, err
}

// prepare reads what a program is made from, and whether the request was answered before,
// so that nothing needs to be made.
func (s *Service) prepare(ctx context.Context, w Write, n NewProgram) (r plan.Request, answered bool, err error) {
	err = s.view(ctx, func(tx Tx) error {
		r = n.Request
		if answered, err = recallable(tx, w); err != nil || answered {
			return err
		}
		a, err := tx.Athletes().Get(n.Athlete)
		if f, ok := fault.As(err); ok && f.Kind == fault.NotFound || err == nil && a.Deleted != 0 {
			return NoAthlete()
		}
		if err != nil {
			return err
		}
		r.Athlete = a.Profile
		if r.Own, err = withOwn(tx, r.Own); err != nil {
			return err
		}
		until := r.Constraints.PreparedOn
		if !until.Set {
			until = r.Constraints.Start
		}
		if r.Athlete.Performances, err = shown(tx, s.catalogueWith(r.Own), &a, until.Value); err != nil {
			return err
		}
		if n.Plan != (ID{}) {
			p, err := tx.Plans().Get(n.Plan)
			if err == nil && p.Deleted != 0 {
				err = Gone(KindPlan)
			}
			if err != nil {
				return at("plan_name", err)
			}
			r.Plan = p.Plan
		}
		return nil
	})
	return r, answered, err
}

func recallable(tx Tx, w Write) (bool, error) {
	if w.RequestID == "" || w.DryRun {
		return false, nil
	}
	_, ok, err := tx.Recall(w.RequestID)
	return ok, err
}

// at says of which field of a request a fault is.
func at(field string, err error) error {
	f, ok := fault.As(err)
	if !ok {
		return err
	}
	out := &fault.Error{Kind: f.Kind, Violations: slices.Clone(f.Violations)}
	for i := range out.Violations {
		out.Violations[i].Field = field
	}
	return out
}

// ofAthlete gives faults about the stored athlete the field that names them.
func ofAthlete(err error) error {
	f, ok := fault.As(err)
	if !ok || f.Kind == fault.Internal || f.Kind == fault.Canceled {
		return err
	}
	out := f.Moved(func(field string) string { return field })
	for i := range out.Violations {
		v := &out.Violations[i]
		if rest, ok := strings.CutPrefix(v.Field, "athlete"); ok && (rest == "" || rest[0] == '.') {
			v.Field, v.Says = "parent", "the stored athlete ("+v.Field+"): "+v.Says
		}
	}
	return out
}

// Revision finds a revision of a program of an athlete.
func (s *Service) Revision(ctx context.Context, athlete, program ID, number int32) (r Revision, err error) {
	err = s.view(ctx, func(tx Tx) error {
		if r, err = tx.Revision(program, number); err == nil && r.Athlete != athlete {
			err = Unknown(KindRevision)
		}
		return err
	})
	return r, err
}

// Revisions lists the facts of a program's revisions, the oldest first, as List does.
func (s *Service) Revisions(ctx context.Context, athlete, program ID, size int, token string) (list []Facts, next string, err error) {
	t, err := s.tenant(ctx)
	if err != nil {
		return nil, "", err
	}
	asked := question(t, string(KindRevision), Query{Athlete: athlete, Program: program})
	place, err := s.tokens.open(token, asked)
	if err != nil {
		return nil, "", err
	}
	var latest int32
	err = s.view(ctx, func(tx Tx) error {
		p, err := s.Programs().find(tx, athlete, program)
		if err != nil {
			return err
		}
		latest = p.Latest
		list, err = tx.Revisions(program, int32(place.Day), size)
		return err
	})
	if n := len(list); err == nil && n > 0 && list[n-1].Number < latest {
		next, err = s.tokens.seal(Cursor{Day: plan.Date(list[n-1].Number)}, asked)
	}
	return list, next, err
}
