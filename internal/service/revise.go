package service

import (
	"context"

	"github.com/phasewright/phasewright/engine/compare"
	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
)

// NewRevision says how the newest revision of a program is made again.
type NewRevision struct {
	Athlete, Program ID
	Request          plan.Opt[plan.Request] // from that day on; unset, that of the newest revision
	Rework           plan.Rework
	Reason           string
}

// Revised is what came of it.
type Revised struct {
	Program  Program
	Revision Revision
	Changes  []plan.Change // from the revision before
}

// ReviseProgram makes the newest revision of a program again from a day on, and keeps it
// as the next one, with the athlete and what they have shown as stored by now (see asked).
// Faults of the engine are those of Regenerate. Stale STALE where the
// program is another by now than w.Etag says, or than when this began. Own exercises are
// those of the request, then of the newest revision as they were, then of the tenant.
func (s *Service) ReviseProgram(ctx context.Context, w Write, n NewRevision) (Revised, error) {
	var base Revision
	var asked plan.Request
	answered := false
	err := s.view(ctx, func(tx Tx) (err error) {
		if answered, err = recallable(tx, w); err != nil || answered {
			return err
		}
		p, err := s.Programs().current(tx, w, n.Athlete, n.Program)
		if err == nil && p.Deleted != 0 {
			err = Gone(KindProgram)
		}
		if err != nil {
			return err
		}
		base, asked, err = s.reworked(tx, &n)
		return err
	})
	if err != nil {
		return Revised{}, err
	}
	var made plan.Program
	if !answered {
		if made, err = s.engine.Rework(ctx, &base.Made, asked, n.Rework); err != nil {
			return Revised{}, err
		}
	}
	var out Revised
	out.Program, out.Revision, err = s.keepRevision(ctx, w, func(tx Tx) (Program, Facts, error) {
		if answered {
			return Program{}, Facts{}, answerGone()
		}
		p, err := s.Programs().current(tx, w, n.Athlete, n.Program)
		if err == nil && p.Latest != base.Number {
			err = Outdated(KindProgram)
		}
		if err != nil {
			return p, Facts{}, err
		}
		return tx.Revise(p, Revision{Facts: Facts{Reason: n.Reason, From: firstDay(&made)}, Asked: asked, Made: made})
	}, asked, made)
	if err != nil {
		return Revised{}, err
	}
	if answered { // of then: what it was made from is still there
		err := s.view(ctx, func(tx Tx) (err error) {
			base, err = tx.Revision(out.Program.ID, out.Revision.Number-1)
			return err
		})
		if err != nil {
			return Revised{}, err
		}
	}
	out.Changes = compare.Programs(&base.Made, &out.Revision.Made)
	return out, nil
}

// reworked reads what a program is made again from: its newest revision and the request.
func (s *Service) reworked(tx Tx, n *NewRevision) (base Revision, asked plan.Request, err error) {
	if base, err = tx.Revision(n.Program, 0); err != nil {
		return base, asked, err
	}
	if err = s.logged(tx, n, &base); err == nil {
		asked, err = s.asked(tx, n, &base)
	}
	return base, asked, err
}

// firstDay gives the day from which a program was made again, 0 where it has no dates.
func firstDay(p *plan.Program) plan.Date {
	for i := range p.Phases {
		for j := range p.Phases[i].Weeks {
			if w := &p.Phases[i].Weeks[j]; p.Reworked.Set && w.Number == p.Reworked.Value.Week && w.Start.Set {
				return w.Start.Value + plan.Date(p.Reworked.Value.Day)
			}
		}
	}
	return 0
}

func answerGone() error {
	return fault.New(fault.Unavailable, ReasonContention, "", "the answer to this request id has just expired; try again")
}
