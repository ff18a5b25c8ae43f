package main

import (
	"context"
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	pb "github.com/phasewright/phasewright/gen/phasewright/v1"

	"github.com/phasewright/phasewright/internal/export"
	"github.com/phasewright/phasewright/internal/rpc"
	"github.com/phasewright/phasewright/internal/wire"
)

const trialNamed = "\nA trial is named by the beginning of a word of its title, or by its id; a participant by athlete or\npseudonym." + whereKept

// trialSteps are the commands that take a trial from its protocol to its events, in order.
func (p *program) trialSteps() []*cobra.Command {
	return []*cobra.Command{
		p.trialCreate(), p.trialList(), p.trialFreeze(), p.trialJoin(), p.trialLeadIn(), p.trialMeasure(), p.trialCheck(), p.trialEnrol(), p.trialClose(), p.trialAssign(),
		p.trialProgram(), p.trialAdherence(), p.trialIncident(), p.trialWithdraw(), p.trialLook(), p.trialHarm(), p.trialEnd(), p.trialReveal(), p.trialEvents(),
	}
}

// step makes a command about one trial, and with a participant about one of those in it.
func (p *program) step(use, says string, run func(context.Context, *trialDesk) error, flags func(*cobra.Command)) *cobra.Command {
	words := strings.Fields(use)
	cmd := &cobra.Command{
		Use: use, Short: says, Long: says + "." + trialNamed, Args: cobra.ExactArgs(len(words) - 1),
		Example: "  phasewright trial " + strings.NewReplacer("TRIAL", "strength", "PARTICIPANT", "kim", "ATHLETE", "kim", "UNIT", "kim").Replace(use),
	}
	if flags != nil {
		flags(cmd)
	}
	return p.desked(cmd, func(ctx context.Context, d *desk, args []string) error {
		t := &trialDesk{desk: d, trials: pb.NewTrialServiceClient(d.Conn())}
		var err error
		if t.trial, err = t.find(ctx, args[0]); err != nil {
			return err
		}
		switch {
		case len(args) < 2:
		case words[2] == "PARTICIPANT":
			t.who, err = t.participant(ctx, args[1])
		default:
			t.word = args[1]
		}
		if err != nil {
			return err
		}
		return run(ctx, t)
	})
}

// trialDesk is what a step works with.
type trialDesk struct {
	*desk
	trials pb.TrialServiceClient
	trial  *pb.Trial
	who    *pb.Participant
	word   string
}

// find gives the trial that is meant.
func (d *trialDesk) find(ctx context.Context, word string) (*pb.Trial, error) {
	all, err := d.everyTrial(ctx)
	if err != nil {
		return nil, err
	}
	var found []*pb.Trial
	for _, t := range all {
		if t.GetName() == word || meant(word, t.GetName(), t.GetProtocol().GetDisplayName()) {
			found = append(found, t)
		}
	}
	switch len(found) {
	case 1:
		return found[0], nil
	case 0:
		return nil, wrong("there is no trial %q; phasewright trial list shows which there are", word)
	}
	says := fmt.Sprintf("%q may be", word)
	for _, t := range found {
		says += "\n  " + trialLine(t)
	}
	return nil, wrong("%s\nWrite more of the title, or the id at the end of the line.", says)
}

func (d *trialDesk) everyTrial(ctx context.Context) (out []*pb.Trial, err error) {
	err = pages(func(token string) (*pb.ListTrialsResponse, error) {
		return d.trials.ListTrials(ctx, &pb.ListTrialsRequest{PageSize: 1000, PageToken: token})
	}, func(r *pb.ListTrialsResponse) { out = append(out, r.GetTrials()...) })
	return out, err
}

func (d *trialDesk) participants(ctx context.Context) (out []*pb.Participant, err error) {
	err = pages(func(token string) (*pb.ListParticipantsResponse, error) {
		return d.trials.ListParticipants(ctx, &pb.ListParticipantsRequest{Parent: d.trial.GetName(), PageSize: 1000, PageToken: token})
	}, func(r *pb.ListParticipantsResponse) { out = append(out, r.GetParticipants()...) })
	return out, err
}

// participant finds one by pseudonym, or by athlete.
func (d *trialDesk) participant(ctx context.Context, word string) (*pb.Participant, error) {
	all, err := d.participants(ctx)
	if err != nil {
		return nil, err
	}
	for _, x := range all {
		if x.GetName() == word || meant(word, x.GetName(), "") {
			return x, nil
		}
	}
	a, err := d.athlete(ctx, word, false)
	if err != nil {
		return nil, err
	}
	for _, x := range all {
		if x.GetAthlete() == a.GetName() {
			return x, nil
		}
	}
	return nil, wrong("%s is not in this trial; phasewright trial join takes athletes in", person(a))
}

func trialLine(t *pb.Trial) string {
	state := token(strings.TrimPrefix(t.GetState().String(), "TRIAL_STATE_"))
	return fmt.Sprintf("%s · %s · %d joined, %d enrolled, %d with an arm · %s", t.GetProtocol().GetDisplayName(), state, t.GetJoinedCount(), t.GetEnrolledCount(), t.GetAssignedCount(), short(t.GetName()))
}

func (d *trialDesk) said(t *pb.Trial, err error) error {
	if err != nil {
		return rpc.Fault(err, "")
	}
	return d.p.say("%s", trialLine(t))
}

func (p *program) trialCreate() *cobra.Command {
	var file string
	cmd := &cobra.Command{
		Use:   "create -f protocol.yaml",
		Short: "Draft a trial from its protocol",
		Long: `Draft a trial from a protocol in YAML or JSON: question, arms, outcomes, how arms are drawn, how the
answer is found (the API's TrialProtocol). What a reader should know beforehand is printed. Until it
is frozen it can be changed over the API.` + whereKept,
		Example: "  phasewright trial create -f protocol.yaml",
		Args:    cobra.NoArgs,
	}
	cmd.Flags().StringVarP(&file, "file", "f", "", "protocol in YAML or JSON; - is standard input")
	return p.desked(cmd, func(ctx context.Context, d *desk, _ []string) error {
		data, err := p.read(ctx, file)
		if err != nil {
			return err
		}
		protocol, err := wire.ReadProtocol(data)
		if err != nil {
			return err
		}
		made, err := pb.NewTrialServiceClient(d.Conn()).CreateTrial(ctx, &pb.CreateTrialRequest{Trial: &pb.Trial{Protocol: protocol}, RequestId: requestID()})
		if err != nil {
			return rpc.Fault(err, "trial.protocol")
		}
		for _, w := range made.GetTrial().GetWarnings() {
			fmt.Fprintln(p.err, "- "+w)
		}
		return p.say("%s", trialLine(made.GetTrial()))
	})
}

func (p *program) trialList() *cobra.Command {
	cmd := &cobra.Command{Use: "list", Short: "List trials, the oldest first", Example: "  phasewright trial list", Args: cobra.NoArgs}
	return p.desked(cmd, func(ctx context.Context, d *desk, _ []string) error {
		all, err := (&trialDesk{desk: d, trials: pb.NewTrialServiceClient(d.Conn())}).everyTrial(ctx)
		if err != nil {
			return err
		}
		for _, t := range all {
			if err := p.say("%s", trialLine(t)); err != nil {
				return err
			}
		}
		return nil
	})
}

func (p *program) trialFreeze() *cobra.Command {
	return p.step("freeze TRIAL", "Fix the protocol and publish the commitment to the key that arms are drawn with", func(ctx context.Context, d *trialDesk) error {
		r, err := d.trials.FreezeTrial(ctx, &pb.FreezeTrialRequest{Name: d.trial.GetName(), Etag: d.trial.GetEtag(), RequestId: requestID()})
		if err != nil {
			return rpc.Fault(err, "")
		}
		return d.p.say("%s\nprotocol   %s\ncommitment %s", trialLine(r.GetTrial()), r.GetTrial().GetProtocolHash(), r.GetTrial().GetKeyCommitment())
	}, nil)
}

func (p *program) trialJoin() *cobra.Command {
	var file, unit string
	var consent bool
	return p.step("join TRIAL ATHLETE", "Take an athlete in under a pseudonym, or say why they may not join", func(ctx context.Context, d *trialDesk) error {
		a, err := d.athlete(ctx, d.word, false)
		if err != nil {
			return err
		}
		r := &pb.JoinTrialRequest{Name: d.trial.GetName(), Athlete: a.GetName(), Unit: unit, Consent: consent, RequestId: requestID()}
		if file != "" {
			data, err := d.p.read(ctx, file)
			if err != nil {
				return err
			}
			asked, _, err := wire.ReadNewProgram(data, a.GetName())
			if err != nil {
				return err
			}
			r.Goals, r.Constraints, r.Exercises, r.Seed = asked.GetGoals(), asked.GetConstraints(), asked.GetExercises(), asked.GetSeed()
			r.AllocationSearch = asked.GetAllocationSearch()
			if r.Constraints != nil {
				r.Constraints.Weeks = nil // the protocol's
			}
		}
		joined, err := d.trials.JoinTrial(ctx, r)
		if err != nil {
			return rpc.Fault(err, "")
		}
		if why := joined.GetExcluded(); len(why) > 0 {
			return d.p.say("%s may not join: %s.", person(a), strings.Join(why, "; "))
		}
		return d.p.say("%s is %s.", person(a), idIn(joined.GetParticipant().GetName()))
	}, func(cmd *cobra.Command) {
		cmd.Flags().StringVarP(&file, "file", "f", "", "days, places and goals for the programs under all arms (see generate --example); - is standard input")
		cmd.Flags().StringVar(&unit, "unit", "", "coach or gym, where these are dealt, under a name that says nothing of people")
		cmd.Flags().BoolVar(&consent, "consent", false, "the athlete consents to be in the trial, and to the arm that chance gives")
	})
}

// shownProgram prints a program that a trial made.
func (d *trialDesk) shownProgram(ctx context.Context, of *pb.ProgramRecord, r *pb.ProgramRevision) error {
	made, err := wire.ProgramFromProto(r.GetProgram())
	if err != nil {
		return err
	}
	cat, err := d.catalogue(ctx)
	if err != nil {
		return err
	}
	if err := d.p.say("Kept as %s.\n", called(of)); err != nil {
		return err
	}
	return export.Text(d.p.out, made, export.Options{Catalogue: cat})
}

func (p *program) trialLeadIn() *cobra.Command {
	return p.step("lead-in TRIAL PARTICIPANT", "Make and keep the program of the weeks before the arm is drawn, alike for all", func(ctx context.Context, d *trialDesk) error {
		r, err := d.trials.MakeLeadInProgram(ctx, &pb.MakeLeadInProgramRequest{Name: d.who.GetName(), RequestId: requestID()})
		if err != nil {
			return rpc.Fault(err, "")
		}
		return d.shownProgram(ctx, r.GetProgram(), r.GetRevision())
	}, nil)
}

func (p *program) trialProgram() *cobra.Command {
	return p.step("program TRIAL PARTICIPANT", "Make and keep the program of the participant's arm", func(ctx context.Context, d *trialDesk) error {
		r, err := d.trials.MakeArmProgram(ctx, &pb.MakeArmProgramRequest{Name: d.who.GetName(), RequestId: requestID()})
		if err != nil {
			return rpc.Fault(err, "")
		}
		return d.shownProgram(ctx, r.GetProgram(), r.GetRevision())
	}, nil)
}

func (p *program) trialMeasure() *cobra.Command {
	var outcome, at, by, date string
	var value float64
	var blind bool
	times := map[string]pb.MeasurementTime{
		"baseline": pb.MeasurementTime_MEASUREMENT_TIME_BASELINE, "mid": pb.MeasurementTime_MEASUREMENT_TIME_MID, "end": pb.MeasurementTime_MEASUREMENT_TIME_END,
	}
	cmd := p.step("measure TRIAL PARTICIPANT", "Record a measurement", func(ctx context.Context, d *trialDesk) error {
		when, ok := times[at]
		if !ok {
			return wrong("--at: there is no %q; there is baseline, mid and end", at)
		}
		if outcome == "" {
			outcome = d.trial.GetProtocol().GetOutcomes()[0].GetId()
		}
		_, err := d.trials.RecordTrialMeasurement(ctx, &pb.RecordTrialMeasurementRequest{
			Name: d.who.GetName(), Outcome: outcome, Time: when, Value: &value, Assessor: by, Blind: blind, Date: date, RequestId: requestID(),
		})
		if err != nil {
			return rpc.Fault(err, "")
		}
		return d.p.say("Recorded: %s of %s, %s, %g.", outcome, idIn(d.who.GetName()), at, value)
	}, func(cmd *cobra.Command) {
		cmd.Flags().StringVar(&outcome, "outcome", "", "id of the outcome; left out, the one that decides")
		cmd.Flags().StringVar(&at, "at", "", "baseline, mid or end")
		cmd.Flags().Float64Var(&value, "value", 0, "in the outcome's unit")
		cmd.Flags().StringVar(&by, "by", "", "who measured")
		cmd.Flags().StringVar(&date, "date", "", "day it was taken, YYYY-MM-DD; left out, today")
		cmd.Flags().BoolVar(&blind, "blind", false, "who measured did not know the arm")
	})
	_, _ = cmd.MarkFlagRequired("value"), cmd.MarkFlagRequired("at") // they exist
	return cmd
}

func (p *program) trialCheck() *cobra.Command {
	return p.step("check TRIAL PARTICIPANT", "Find out whether there is a program under every arm", func(ctx context.Context, d *trialDesk) error {
		r, err := d.trials.CheckParticipant(ctx, &pb.CheckParticipantRequest{Name: d.who.GetName(), RequestId: requestID()})
		if err != nil {
			return rpc.Fault(err, "")
		}
		if none := r.GetWithoutProgram(); len(none) > 0 {
			return d.p.say("No program under %s: can't be enrolled as asked.", strings.Join(none, ", "))
		}
		return d.p.say("There is a program under every arm.")
	}, nil)
}

func (p *program) trialEnrol() *cobra.Command {
	var levels []string
	var covariates []int64
	return p.step("enrol TRIAL UNIT", "Enrol an athlete, coach or gym: from now on it counts, whatever its arm", func(ctx context.Context, d *trialDesk) error {
		unit := d.word
		if d.trial.GetProtocol().GetUnit() == pb.RandomisationUnit_RANDOMISATION_UNIT_ATHLETE {
			who, err := d.participant(ctx, d.word)
			if err != nil {
				return err
			}
			unit = who.GetUnit()
		}
		r, err := d.trials.EnrolUnit(ctx, &pb.EnrolUnitRequest{Name: d.trial.GetName(), Unit: unit, Levels: levels, Covariates: covariates, RequestId: requestID()})
		return d.said(r.GetTrial(), err)
	}, func(cmd *cobra.Command) {
		cmd.Flags().StringSliceVar(&levels, "levels", nil, "one for each factor of the protocol, in its order")
		cmd.Flags().Int64SliceVar(&covariates, "covariates", nil, "one whole number for each covariate, in the protocol's order")
	})
}

func (p *program) trialClose() *cobra.Command {
	return p.step("close TRIAL", "End enrolment; schemes that draw all arms at once can draw then", func(ctx context.Context, d *trialDesk) error {
		r, err := d.trials.CloseEnrolment(ctx, &pb.CloseEnrolmentRequest{Name: d.trial.GetName(), RequestId: requestID()})
		return d.said(r.GetTrial(), err)
	}, nil)
}

func (p *program) trialAssign() *cobra.Command {
	return p.step("assign TRIAL", "Draw the arms of all who are enrolled and can have one now", func(ctx context.Context, d *trialDesk) error {
		r, err := d.trials.AssignArms(ctx, &pb.AssignArmsRequest{Name: d.trial.GetName(), RequestId: requestID()})
		if err != nil {
			return rpc.Fault(err, "")
		}
		for _, a := range r.GetAssignments() {
			pair := ""
			if a.GetPair() > 0 {
				pair = fmt.Sprintf(", pair %d", a.GetPair())
			}
			if err := d.p.say("%s: %s%s", a.GetUnit(), a.GetArm(), pair); err != nil {
				return err
			}
		}
		if len(r.GetAssignments()) == 0 {
			return d.p.say("Nobody can have an arm now.")
		}
		return nil
	}, nil)
}

func (p *program) trialAdherence() *cobra.Command {
	var percent float64
	var kept bool
	var given func() bool
	return p.step("adherence TRIAL PARTICIPANT", "Record how much of the arm's program was done, counted from the logs or as given", func(ctx context.Context, d *trialDesk) error {
		r := &pb.RecordAdherenceRequest{Name: d.who.GetName(), Kept: kept, RequestId: requestID()}
		if given() {
			r.Percent = &percent
		}
		got, err := d.trials.RecordAdherence(ctx, r)
		if err != nil {
			return rpc.Fault(err, "")
		}
		return d.p.say("Recorded: %g %% of the sets planned.", got.GetPercent())
	}, func(cmd *cobra.Command) {
		cmd.Flags().Float64Var(&percent, "percent", 0, "of the sets planned; left out, counted from the logs")
		cmd.Flags().BoolVar(&kept, "kept", false, "the participant kept to the protocol by its definition")
		given = func() bool { return cmd.Flags().Changed("percent") }
	})
}

func (p *program) trialIncident() *cobra.Command {
	var kind, text string
	var serious bool
	kinds := map[string]pb.IncidentKind{
		"adverse": pb.IncidentKind_INCIDENT_KIND_ADVERSE, "co-intervention": pb.IncidentKind_INCIDENT_KIND_CO_INTERVENTION, "deviation": pb.IncidentKind_INCIDENT_KIND_DEVIATION,
	}
	return p.step("incident TRIAL PARTICIPANT", "Record an adverse event, a co-intervention or a deviation from the protocol", func(ctx context.Context, d *trialDesk) error {
		k, ok := kinds[kind]
		if !ok {
			return wrong("--kind: there is no %q; there is adverse, co-intervention and deviation", kind)
		}
		if _, err := d.trials.RecordIncident(ctx, &pb.RecordIncidentRequest{Name: d.who.GetName(), Kind: k, Description: text, Serious: serious, RequestId: requestID()}); err != nil {
			return rpc.Fault(err, "")
		}
		return d.p.say("Recorded.")
	}, func(cmd *cobra.Command) {
		cmd.Flags().StringVar(&kind, "kind", "adverse", "adverse, co-intervention or deviation")
		cmd.Flags().StringVar(&text, "text", "", "what happened, in a few words")
		cmd.Flags().BoolVar(&serious, "serious", false, "it needed hospital, or threatened or changed a life")
	})
}

func (p *program) trialWithdraw() *cobra.Command {
	var reason string
	return p.step("withdraw TRIAL PARTICIPANT", "Record that a participant leaves; what is measured of them afterwards still counts", func(ctx context.Context, d *trialDesk) error {
		if _, err := d.trials.WithdrawParticipant(ctx, &pb.WithdrawParticipantRequest{Name: d.who.GetName(), Reason: reason, RequestId: requestID()}); err != nil {
			return rpc.Fault(err, "")
		}
		return d.p.say("Recorded.")
	}, func(cmd *cobra.Command) {
		cmd.Flags().StringVar(&reason, "reason", "", "why, as far as they say")
	})
}

func (p *program) trialLook() *cobra.Command {
	var last bool
	return p.step("look TRIAL", "Look at the results so far, as the protocol plans it; that one looked is kept", func(ctx context.Context, d *trialDesk) error {
		r, err := d.trials.ReadInterim(ctx, &pb.ReadInterimRequest{Name: d.trial.GetName(), Last: last, RequestId: requestID()})
		if err != nil {
			return rpc.Fault(err, "")
		}
		return d.p.say("%s", r.GetLook().GetDescription())
	}, func(cmd *cobra.Command) {
		cmd.Flags().BoolVar(&last, "last", false, "it is the last look: it uses up the error that is left")
	})
}

func (p *program) trialHarm() *cobra.Command {
	var looks int32
	return p.step("harm TRIAL", "Compare arms by their athletes with an adverse event; it shows no outcome", func(ctx context.Context, d *trialDesk) error {
		r, err := d.trials.CompareHarm(ctx, &pb.CompareHarmRequest{Name: d.trial.GetName(), PlannedLooks: looks})
		if err != nil {
			return rpc.Fault(err, "")
		}
		for _, a := range r.GetArms() {
			if err := d.p.say("%s: %d of %d athletes, %d serious events. %s", a.GetArm(), a.GetAthletesStruck(), a.GetAthletes(), a.GetSeriousEvents(), a.GetDescription()); err != nil {
				return err
			}
		}
		return nil
	}, func(cmd *cobra.Command) {
		cmd.Flags().Int32Var(&looks, "looks", 1, "how many looks at harm are planned")
	})
}

func (p *program) trialEnd() *cobra.Command {
	var reason string
	return p.step("end TRIAL", "End the trial; results can be seen then", func(ctx context.Context, d *trialDesk) error {
		r, err := d.trials.EndTrial(ctx, &pb.EndTrialRequest{Name: d.trial.GetName(), Reason: reason, RequestId: requestID()})
		return d.said(r.GetTrial(), err)
	}, func(cmd *cobra.Command) {
		cmd.Flags().StringVar(&reason, "reason", "", "why, where it ends otherwise than planned")
	})
}

func (p *program) trialReveal() *cobra.Command {
	return p.step("reveal TRIAL", "Show the key of a trial that has ended: anyone can draw its arms again", func(ctx context.Context, d *trialDesk) error {
		r, err := d.trials.RevealTrialKey(ctx, &pb.RevealTrialKeyRequest{Name: d.trial.GetName(), RequestId: requestID()})
		if err != nil {
			return rpc.Fault(err, "")
		}
		return d.p.say("key %s", r.GetTrial().GetKey())
	}, nil)
}

func (p *program) trialEvents() *cobra.Command {
	return p.step("events TRIAL", "Print the trial's events as lines of JSON, for verify and report", func(ctx context.Context, d *trialDesk) error {
		var lines strings.Builder
		err := pages(func(token string) (*pb.ListTrialEventsResponse, error) {
			return d.trials.ListTrialEvents(ctx, &pb.ListTrialEventsRequest{Parent: d.trial.GetName(), PageSize: 1000, PageToken: token})
		}, func(r *pb.ListTrialEventsResponse) {
			for _, e := range r.GetEvents() {
				lines.WriteString(e.GetJson() + "\n")
			}
		})
		if err != nil {
			return err
		}
		_, err = fmt.Fprint(d.p.out, lines.String())
		return err
	}, nil)
}
