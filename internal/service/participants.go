package service

import (
	"context"
	"fmt"
	"strings"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/engine/trial/conduct"
)

// Joining is someone who may take part in a trial.
type Joining struct {
	Trial, Athlete ID
	Unit           string // a coach's or gym's; empty where athletes are randomised
	Consent        bool
	Facts          conduct.Facts // what eligibility is judged by
	Request        plan.Request  // days, places and goals; athlete, weeks and plan are filled in
}

// Joined is what came of it: a participant, or why the athlete may not join.
type Joined struct {
	Participant ID // the pseudonym
	Unit        string
	Created     Instant
	Excluded    []string
	Facts       conduct.Facts // by which that was judged
}

// JoinTrial takes an athlete into a trial under a pseudonym, or notes why they may not
// join. NotFound UNKNOWN_ATHLETE; Refused without consent.
func (s *Service) JoinTrial(ctx context.Context, w Write, j Joining) (Joined, error) {
	if err := s.completeFacts(ctx, &j); err != nil {
		return Joined{}, err
	}
	return onTrial(ctx, s, w, j.Trial, func(r *running) (Joined, error) {
		if why := r.state.Protocol().Eligible.Excludes(j.Facts); len(why) > 0 {
			p := &conduct.Private{Text: strings.Join(why, "; ")}
			return Joined{Excluded: why, Facts: j.Facts}, r.add(conduct.Body{Excluded: &conduct.Excluded{}}, j.Athlete, p)
		}
		if err := r.alone(j.Athlete); err != nil {
			return Joined{}, err
		}
		id, err := s.newID()
		if err != nil {
			return Joined{}, err
		}
		unit := j.Unit
		if unit == "" {
			unit = id.String()
		}
		request := j.Request
		request.Athlete, request.Plan = plan.Athlete{}, plan.Plan{}
		request.Constraints.Weeks = plan.Opt[int32]{}
		made, err := r.tx.Participants().Create(Participant{Head: Head{ID: id}, Athlete: j.Athlete, Trial: j.Trial, Unit: unit, Request: request})
		if err != nil {
			return Joined{}, err
		}
		b := conduct.Body{Joined: &conduct.Joined{Participant: id.String(), Unit: unit, Consent: j.Consent}}
		return Joined{Participant: id, Unit: unit, Created: made.Created, Facts: j.Facts}, r.add(b, j.Athlete, nil)
	})
}

// completeFacts takes what eligibility asks for and the caller does not say from what is
// stored: training age and body mass from the athlete, the lift from all performances and
// logs, as Estimate has it.
func (s *Service) completeFacts(ctx context.Context, j *Joining) error {
	var asks conduct.Eligible
	var athlete Athlete
	q := plan.StrengthQuery{}
	err := s.view(ctx, func(tx Tx) error {
		r, err := s.trial(ctx, tx, j.Trial)
		if err != nil {
			return err
		}
		asks = r.state.Protocol().Eligible
		if athlete, err = tx.Athletes().Get(j.Athlete); err != nil {
			return aboutAthlete(err)
		}
		if q.Own, err = withOwn(tx, j.Request.Own); err != nil {
			return err
		}
		q.Athlete = athlete.Profile
		q.Athlete.Performances, err = shown(tx, s.catalogueWith(q.Own), &athlete, 0)
		return err
	})
	if err != nil {
		return err
	}
	f := &j.Facts
	if !f.Months.Set {
		f.Months = athlete.Profile.TrainingAgeMonths
	}
	if !f.BodyMass.Set {
		f.BodyMass = athlete.Profile.BodyMass
	}
	if f.Lift.Set || asks.Lift == "" || len(q.Athlete.Performances) == 0 {
		return nil
	}
	q.ExerciseIDs, q.Unit = []string{asks.Lift}, f.BodyMass.Value.Unit
	known, err := s.engine.Estimate(ctx, q)
	if err != nil {
		return aboutAthlete(err)
	}
	for _, l := range known.Lifts {
		// What is only borrowed from another lift is no condition to enter by.
		if l.ExerciseID == asks.Lift && l.Max.Set && l.Max.Value.Borrowed == "" {
			f.Lift = plan.Some(l.Max.Value.Middle)
		}
	}
	return nil
}

func aboutAthlete(err error) error {
	if f, ok := fault.As(err); ok {
		return f.Moved(func(string) string { return "athlete" })
	}
	return err
}

// alone refuses an athlete who is in the trial already.
func (r *running) alone(athlete ID) error {
	page, err := r.tx.Participants().List(Query{Athlete: athlete, Label: r.head.ID.String(), Size: 1})
	if err == nil && len(page.Items) > 0 {
		err = fault.New(fault.Exists, conduct.ReasonOrder, "athlete", "is in this trial already")
	}
	return err
}

// armed is what a participant's programs are made from, under all arms or in the lead-in.
type armed struct {
	who      Participant
	request  plan.Request
	arms     []plan.Arm
	protocol conduct.Protocol
}

func (s *Service) armed(ctx context.Context, tx Tx, trial, id ID, leadIn bool) (a armed, r *running, err error) {
	if r, err = s.trial(ctx, tx, trial); err != nil {
		return a, nil, err
	}
	if a.who, err = participantOf(tx, trial, id); err != nil {
		return a, nil, err
	}
	athlete, err := tx.Athletes().Get(a.who.Athlete)
	if err != nil {
		return a, nil, err
	}
	a.request, a.protocol = a.who.Request, *r.state.Protocol()
	a.request.Athlete, a.request.Constraints.Weeks = athlete.Profile, plan.Some(a.protocol.Weeks)
	if a.request.Own, err = withOwn(tx, a.request.Own); err != nil {
		return a, nil, err
	}
	if start := &a.request.Constraints.Start; start.Set && !leadIn { // an arm begins after it
		start.Value = start.Value.AddDays(7 * int(a.protocol.LeadIn))
	}
	until := a.request.Constraints.Start
	if a.request.Athlete.Performances, err = shown(tx, s.catalogueWith(a.request.Own), &athlete, until.Value); err != nil {
		return a, nil, err
	}
	for _, arm := range a.protocol.Arms {
		a.arms = append(a.arms, plan.Arm{Label: arm.ID, Plan: arm.Plan})
	}
	return a, r, nil
}

// CheckParticipant makes the programs of a participant under every arm, with the same
// exercises on the same days, and notes under which there is none: empty is well. Faults
// that are not about the participant's own wishes are the engine's.
func (s *Service) CheckParticipant(ctx context.Context, w Write, trial, id ID) (without []string, err error) {
	var a armed
	if err := s.view(ctx, func(tx Tx) (err error) { a, _, err = s.armed(ctx, tx, trial, id, false); return err }); err != nil {
		return nil, err
	}
	_, err = s.engine.Arms(ctx, a.request, a.arms, a.protocol.Rule)
	if f, is := fault.As(err); err != nil && !(is && (f.Kind == fault.Infeasible || f.Kind == fault.Refused)) {
		return nil, ofJoined(err, a.request.Own)
	} else if err != nil {
		without = a.hindered(f)
	}
	return onTrial(ctx, s, w, trial, func(r *running) ([]string, error) {
		return without, r.add(conduct.Body{Feasible: &conduct.Feasible{Participant: id.String(), Without: without}}, a.who.Athlete, nil)
	})
}

// hindered are the arms that a fault speaks of; all where it is about what they share.
func (a *armed) hindered(f *fault.Error) (ids []string) {
	for i, arm := range a.protocol.Arms {
		for _, v := range f.Violations {
			if strings.HasPrefix(v.Field, fmt.Sprintf("arms[%d]", i)) {
				ids = append(ids, arm.ID)
				break
			}
		}
	}
	if len(ids) > 0 {
		return ids
	}
	for _, arm := range a.protocol.Arms {
		ids = append(ids, arm.ID)
	}
	return ids
}

// LeadInParticipant makes the program of the weeks before the assignment, by one plan for
// all, and keeps it as revision 1 of a program of the athlete. Exists TRIAL_PROGRAM_MADE
// where there is one.
func (s *Service) LeadInParticipant(ctx context.Context, w Write, trial, id ID) (Program, Revision, error) {
	return s.programIn(ctx, w, trial, id, part{
		name:   "lead-in",
		leadIn: true,
		may: func(r *running, a *armed) error {
			if a.protocol.LeadIn == 0 {
				return fault.New(fault.Infeasible, conduct.ReasonOrder, "name", "the protocol has no lead-in")
			}
			if _, err := r.armOf(a.who.Unit); err == nil {
				return fault.New(fault.Infeasible, conduct.ReasonOrder, "name", "has an arm already; the lead-in comes before")
			}
			return nil
		},
		make: func(a *armed) (plan.Request, plan.Program, error) {
			r := a.request
			if a.protocol.Before != nil {
				r.Plan = *a.protocol.Before
			}
			r.Constraints.Weeks = plan.Some(a.protocol.LeadIn)
			made, err := s.engine.Generate(ctx, r)
			return r, made, ofJoined(err, r.Own)
		},
		place: func(p *Participant) *ID { return &p.LeadIn },
	})
}

// ProgramParticipant makes the program of a participant's arm, jointly with those of the
// others so that it is the one that was checked, and keeps it as revision 1 of a program of
// the athlete. Exists TRIAL_PROGRAM_MADE where there is one.
func (s *Service) ProgramParticipant(ctx context.Context, w Write, trial, id ID) (Program, Revision, error) {
	arm := 0
	return s.programIn(ctx, w, trial, id, part{
		name: "arm",
		may: func(r *running, a *armed) (err error) {
			arm, err = r.armOf(a.who.Unit)
			return err
		},
		make: func(a *armed) (plan.Request, plan.Program, error) {
			r := a.request
			c, err := s.engine.Arms(ctx, r, a.arms, a.protocol.Rule)
			if err != nil {
				return r, plan.Program{}, ofJoined(err, r.Own)
			}
			r.Plan = a.arms[arm].Plan
			return r, c.Arms[arm].Program, nil
		},
		place: func(p *Participant) *ID { return &p.Program },
	})
}

// ofJoined says where a fault stands that is about what a participant joined with: the call
// names no more than the participant.
func ofJoined(err error, own []plan.OwnExercise) error {
	f, ok := fault.As(ofStored(err, own))
	if !ok || f.Kind == fault.Internal || f.Kind == fault.Canceled {
		return err
	}
	out := f.Moved(func(string) string { return "name" })
	for i := range out.Violations {
		if at := f.Violations[i].Field; at != "" {
			out.Violations[i].Says = "what the participant joined with (" + at + "): " + out.Violations[i].Says
		}
	}
	return out
}

// part is a program within a trial: whether it may be made now, how and from what request,
// and where it is noted.
type part struct {
	name   string
	leadIn bool
	may    func(*running, *armed) error
	make   func(*armed) (plan.Request, plan.Program, error)
	place  func(*Participant) *ID
}

func (s *Service) programIn(ctx context.Context, w Write, trial, id ID, of part) (Program, Revision, error) {
	var a armed
	answered := false
	err := s.view(ctx, func(tx Tx) (err error) {
		if answered, err = recallable(tx, w); err != nil || answered {
			return err
		}
		var r *running
		if a, r, err = s.armed(ctx, tx, trial, id, of.leadIn); err != nil {
			return err
		}
		return of.may(r, &a)
	})
	if err != nil {
		return Program{}, Revision{}, err
	}
	var asked plan.Request
	var made plan.Program
	if !answered {
		if asked, made, err = of.make(&a); err != nil {
			return Program{}, Revision{}, err
		}
	}
	return s.keepRevision(ctx, w, func(tx Tx) (Program, Facts, error) {
		if answered {
			return Program{}, Facts{}, answerGone()
		}
		who, err := participantOf(tx, trial, id)
		if err == nil && *of.place(&who) != (ID{}) {
			err = fault.New(fault.Exists, ReasonTrialMade, "name", "the "+of.name+"'s program of this participant is made")
		}
		if err != nil {
			return Program{}, Facts{}, err
		}
		program, err := s.newID()
		if err != nil {
			return Program{}, Facts{}, err
		}
		p, err := tx.Programs().Create(Program{Head: Head{ID: program}, Athlete: who.Athlete, Name: a.protocol.Title})
		if err != nil {
			return p, Facts{}, err
		}
		*of.place(&who) = program
		if _, err := tx.Participants().Update(who); err != nil {
			return p, Facts{}, err
		}
		return tx.Revise(p, Revision{Asked: asked, Made: made})
	}, asked, made)
}
