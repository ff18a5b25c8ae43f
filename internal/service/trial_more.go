package service

import (
	"context"
	"fmt"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/engine/trial/conduct"
	"github.com/phasewright/phasewright/engine/trial/power"
)

// trialsAtOnce is the most trials of a page: the chain of each is gone through.
const trialsAtOnce = 50

// Trials gives a page of trials, the oldest first, and the token of the next one.
func (s *Service) Trials(ctx context.Context, size int, token string, deleted bool) (list []TrialView, next string, err error) {
	t, err := s.tenant(ctx)
	if err != nil {
		return nil, "", err
	}
	q := Query{Deleted: deleted, Size: min(size, trialsAtOnce)}
	asked := question(t, string(KindTrial), Query{Deleted: deleted, Size: size})
	if q.After, err = s.tokens.open(token, asked); err != nil {
		return nil, "", err
	}
	var page Page[Trial]
	err = s.view(ctx, func(tx Tx) error {
		if page, err = tx.Trials().List(q); err != nil {
			return err
		}
		list = make([]TrialView, len(page.Items))
		for i, head := range page.Items {
			r, err := s.run(ctx, tx, head)
			if err == nil {
				list[i], err = r.view()
			}
			if err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		return nil, "", err
	}
	next, err = s.tokens.seal(page.Next, asked)
	return list, next, err
}

// DeleteTrial marks a trial as deleted, and gives it. Infeasible TRIAL_ORDER once arms were told: what
// became of those who were dealt has to stay to be seen.
func (s *Service) DeleteTrial(ctx context.Context, w Write, id ID) (TrialView, error) {
	return trialAnswer[TrialView](s.write(ctx, w, func(tx Tx) (Effect, error) {
		r, err := s.trial(ctx, tx, id)
		switch {
		case err != nil:
		case w.Etag != "" && w.Etag != r.head.Etag():
			err = Outdated(KindTrial)
		case r.head.Deleted != 0:
			err = Gone(KindTrial)
		case len(r.state.Assigned()) > 0:
			err = fault.New(fault.Infeasible, conduct.ReasonOrder, "name", "has given arms, and what becomes of those who have one stays to be seen; end the trial")
		}
		if err == nil {
			r.head, err = tx.Trials().Delete(id, r.head.Version)
		}
		if err != nil {
			return Effect{}, err
		}
		v, err := r.view()
		if err != nil {
			return Effect{}, err
		}
		return trialEffect(id, v)
	}))
}

// most work of a prediction over the API: runs times units, and where pairs are made times
// units again.
const mostPredicted, mostPaired = 4_000_000, 50_000_000

// PredictTrial invents the trial of the protocol many times over. t has what is believed
// of the world; design, level and smallest effect are the protocol's. An unset typical
// error (below 0) is the protocol's. Paths of faults are those of power.Trial.
func (s *Service) PredictTrial(ctx context.Context, id ID, t power.Trial) (*power.Outlook, error) {
	var p conduct.Protocol
	if err := s.readTrial(ctx, id, func(r *running) error { p = *r.state.Protocol(); return nil }); err != nil {
		return nil, err
	}
	t.Design = p.Design()
	t.Alpha = 1 - p.Rules(0).Level
	t.Smallest = p.Rules(0).Smallest
	if t.World.TypicalError < 0 {
		t.World.TypicalError = float64(p.Outcomes[0].TypicalError) / 1000
	}
	for _, by := range []*[]float64{&t.World.Gain, &t.World.Response, &t.World.Dropout} {
		if len(*by) == 0 {
			*by = make([]float64, len(p.Arms))
		}
	}
	paired := len(t.Design.Covariates) > 0 && t.Units*t.Units*t.Runs > mostPaired
	if paired || t.Units*t.Runs > mostPredicted {
		return nil, fault.New(fault.Invalid, power.ReasonInput, "runs", fmt.Sprintf("are %d, too many with %d units for one call; ask for fewer", t.Runs, t.Units))
	}
	return power.Simulate(ctx, t)
}

// HarmInTrial compares the arms by their athletes with an adverse event, at one of so many
// planned looks.
func (s *Service) HarmInTrial(ctx context.Context, id ID, looks int) (arms []conduct.ArmHarm, err error) {
	err = s.readTrial(ctx, id, func(r *running) error {
		arms, err = r.state.Harm(looks)
		return err
	})
	return arms, err
}

// TrialEventsPage gives a page of the chain, as TrialEvents does, and the token of the next.
func (s *Service) TrialEventsPage(ctx context.Context, id ID, size int, token string) (list []conduct.Event, next string, err error) {
	t, err := s.tenant(ctx)
	if err != nil {
		return nil, "", err
	}
	asked := question(t, "trialEvents", Query{Program: id})
	place, err := s.tokens.open(token, asked)
	if err != nil {
		return nil, "", err
	}
	all, err := s.TrialEvents(ctx, id)
	if err != nil {
		return nil, "", err
	}
	from := min(int(place.Day), len(all))
	to := min(from+size, len(all))
	if to < len(all) {
		next, err = s.tokens.seal(Cursor{Day: plan.Date(to)}, asked)
	}
	return all[from:to], next, err
}

// Seen is a participant, with the arm once that is told.
type Seen struct {
	Participant
	Arm string // by id
}

// Participants gives a page of who is in a trial, the first to join first.
func (s *Service) Participants(ctx context.Context, trial ID, size int, token string) (list []Seen, next string, err error) {
	t, err := s.tenant(ctx)
	if err != nil {
		return nil, "", err
	}
	q := Query{Label: trial.String(), Size: size}
	asked := question(t, string(KindParticipant), q)
	if q.After, err = s.tokens.open(token, asked); err != nil {
		return nil, "", err
	}
	var page Page[Participant]
	err = s.readTrial(ctx, trial, func(r *running) error {
		if page, err = r.tx.Participants().List(q); err != nil {
			return err
		}
		list = nil
		for _, p := range page.Items {
			list = append(list, r.seen(p))
		}
		return nil
	})
	if err != nil {
		return nil, "", err
	}
	next, err = s.tokens.seal(page.Next, asked)
	return list, next, err
}

// Participant shows one.
func (s *Service) Participant(ctx context.Context, trial, id ID) (out Seen, err error) {
	err = s.readTrial(ctx, trial, func(r *running) error {
		p, err := participantOf(r.tx, trial, id)
		out = r.seen(p)
		return err
	})
	return out, err
}

func (r *running) seen(p Participant) Seen {
	out := Seen{Participant: p}
	if arm, err := r.armOf(p.Unit); err == nil {
		out.Arm = r.state.Protocol().Arms[arm].ID
	}
	return out
}

// RecordAdherence records how much of the training a participant did, in thousandths of the
// sets planned, and gives it. Unset, it is counted: the sets logged against the program of
// the arm over those that its sessions up to today have. Infeasible TRIAL_NO_PROGRAM where
// there is nothing to count against.
func (s *Service) RecordAdherence(ctx context.Context, w Write, trial, id ID, share plan.Opt[int32], kept bool) (int32, error) {
	return onTrial(ctx, s, w, trial, func(r *running) (int32, error) {
		who, err := participantOf(r.tx, trial, id)
		if err != nil {
			return 0, err
		}
		done := share.Value
		if !share.Set {
			if done, err = r.counted(&who); err != nil {
				return 0, err
			}
		}
		b := conduct.Body{Adherence: &conduct.Adherence{Participant: id.String(), Permille: done, Kept: kept}}
		return done, r.add(b, who.Athlete, nil)
	})
}

// mostAdherence is the most that is recorded: whoever does more than twice what was planned
// did something else.
const mostAdherence = 2000

func (r *running) counted(who *Participant) (int32, error) {
	if who.Program == (ID{}) {
		return 0, fault.New(fault.Infeasible, ReasonTrialArm, "percent", "is not given, and there is no program of the arm to count logs against")
	}
	revision, err := r.tx.Revision(who.Program, 0)
	if err != nil {
		return 0, err
	}
	planned, done := plannedSets(&revision.Made, today(r.tx)), 0
	q := Query{Athlete: who.Athlete, Program: who.Program, Size: MaxPage}
	for {
		page, err := r.tx.SessionLogs().List(q)
		if err != nil {
			return 0, err
		}
		for _, l := range page.Items {
			for _, e := range l.Exercises {
				for _, set := range e.Sets {
					if set.Kind.Counts() {
						done++
					}
				}
			}
		}
		if q.After = page.Next; q.After == (Cursor{}) {
			break
		}
	}
	if planned == 0 {
		return 0, fault.New(fault.Infeasible, ReasonTrialArm, "percent", "is not given, and no session of the arm's program lies before today")
	}
	return int32(min(mostAdherence, (1000*done+planned/2)/planned)), nil
}

// plannedSets counts the sets that train in sessions up to a day; without dates, in all.
func plannedSets(p *plan.Program, until plan.Date) (n int) {
	for _, phase := range p.Phases {
		for _, w := range phase.Weeks {
			for _, x := range w.Sessions {
				if x.Date.Set && x.Date.Value > until {
					continue
				}
				for _, e := range x.Exercises {
					for _, set := range e.Sets {
						if set.Kind.Counts() {
							n++
						}
					}
				}
			}
		}
	}
	return n
}

// today is the day of a transaction, in UTC.
func today(tx Tx) plan.Date { return plan.Date(tx.Now().Time().Unix() / 86_400) }
