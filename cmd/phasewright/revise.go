package main

import (
	"context"
	"fmt"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	pb "github.com/phasewright/phasewright/gen/phasewright/v1"

	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/internal/export"
	"github.com/phasewright/phasewright/internal/rpc"
	"github.com/phasewright/phasewright/internal/wire"
)

// editFlags adds what can be changed of a program.
func (f *changeFlags) editFlags(flags *pflag.FlagSet) {
	flags.StringVar(&f.request, "request", "", "the request from then on, in YAML or JSON; without it the program's own")
	flags.StringVar(&f.from, "from", "", "first day that is made again, YYYY-MM-DD")
	flags.Int32Var(&f.week, "from-week", 0, "first week that is made again, instead of --from")
	flags.StringArrayVar(&f.swaps, "swap", nil, "put an exercise in the place of another, such as leg-press=hack-squat (may be repeated)")
	flags.StringArrayVar(&f.locks, "lock", nil, "keep an exercise, a weekday or a workout as it is (may be repeated)")
	flags.StringArrayVar(&f.minutes, "minutes", nil, "other minutes of a day, such as thursday=45 (may be repeated)")
	flags.StringArrayVar(&f.excluded, "exclude", nil, "exercise to leave out (may be repeated)")
	flags.StringArrayVar(&f.pinned, "pin", nil, "exercise to put in (may be repeated)")
}

func (p *program) programRevise() *cobra.Command {
	var f changeFlags
	var w whichFlags
	var reason string
	var dry bool
	cmd := &cobra.Command{
		Use:   "revise ATHLETE",
		Short: "Make a program again from a day on, with what was logged since, and say what changes",
		Long: `Make the newest revision of a program again from a day on and keep it as the next one. The athlete is
taken as kept now, and what was logged and shown by that day moves the loads from then on. What lies
before stays. Without --from it is the first session after the last one that is logged, not before
today. Swaps and locks are written as for change.` + whereKept,
		Example: `  phasewright program revise kim
  phasewright program revise kim --swap thursday:back-squat=front-squat --reason "wrist is sore"
  phasewright program revise kim --from 2027-02-01 --minutes thursday=45 --dry-run`,
		Args: cobra.ExactArgs(1),
	}
	w.add(cmd, false)
	flags := cmd.Flags()
	f.editFlags(flags)
	flags.StringVar(&reason, "reason", "", "why, for people")
	flags.BoolVar(&dry, "dry-run", false, "say what would change, and keep nothing")
	flags.BoolVar(&f.full, "full", false, "print the new revision after the changes")
	flags.BoolVar(&f.json, "json", false, "print what is kept as JSON instead of the changes")
	return p.desked(cmd, func(ctx context.Context, d *desk, args []string) error {
		switch {
		case f.json && f.full:
			return wrong("--json prints all of it; --full is for text")
		case f.from != "" && flags.Changed("from-week"):
			return wrong("--from and --from-week say the same; give one of them")
		case flags.Changed("from-week") && f.week < 1:
			return wrong("--from-week: weeks are counted from 1")
		}
		a, program, was, base, err := d.which(ctx, args[0], &w)
		if err != nil {
			return err
		}
		ask, r, err := d.revising(ctx, a, program, was, base, &f)
		if err != nil {
			return err
		}
		r.Reason, r.ValidateOnly, r.RequestId = reason, dry, requestID()
		if dry {
			r.RequestId = ""
		}
		got, err := d.programs.ReviseProgram(ctx, r)
		if err != nil {
			return ask.asTyped(rpc.Fault(err, "request"))
		}
		if f.json {
			return p.json(got)
		}
		return d.showRevised(ctx, got, base, dry, f.full)
	})
}

// revising puts the call together. The request goes along only where flags change it.
func (d *desk) revising(ctx context.Context, a *pb.AthleteRecord, program *pb.ProgramRecord, was *pb.ProgramRevision, base *plan.Program, f *changeFlags) (*asked, *pb.ReviseProgramRequest, error) {
	request, err := wire.RequestFromProto(was.GetRequest())
	if err != nil {
		return nil, nil, err
	}
	request.Constraints.Days = base.Request.Constraints.Days // with their weekdays
	ask := &asked{base: base, request: request, typed: map[string]string{}}
	if f.request != "" {
		if ask.request, err = d.p.readRequest(ctx, f.request); err != nil {
			return nil, nil, err
		}
	}
	if err := ask.read(f); err != nil {
		return nil, nil, err
	}
	if f.from == "" && f.week == 0 {
		if err := d.fromNow(ctx, a, program, ask); err != nil {
			return nil, nil, err
		}
	}
	r := &pb.ReviseProgramRequest{Name: program.GetName(), Etag: program.GetEtag(), Rework: wire.ReworkToProto(&ask.how)}
	if f.request != "" || len(f.minutes)+len(f.excluded)+len(f.pinned) > 0 {
		r.Request = wire.RequestToProto(ask.request)
	}
	return ask, r, nil
}

// fromNow has the program made again from the session after the last one that is logged,
// not before today.
func (d *desk) fromNow(ctx context.Context, a *pb.AthleteRecord, program *pb.ProgramRecord, ask *asked) error {
	logs, err := d.logsOf(ctx, a, program.GetName())
	if err != nil {
		return err
	}
	start := ask.base.Request.Constraints.Start
	if !start.Set {
		for _, l := range logs {
			ask.how.FromWeek = max(ask.how.FromWeek, l.GetWeek()+1)
		}
		return nil
	}
	today, err := plan.ParseDate(d.p.now().Format("2006-01-02"))
	if err != nil {
		return err
	}
	from := max(start.Value, today)
	if n := len(logs); n > 0 {
		last, err := plan.ParseDate(logs[n-1].GetDate())
		if err != nil {
			return err
		}
		from = max(from, last.AddDays(1))
	}
	if from = trainsFrom(ask.base, from); from > start.Value {
		ask.how.From = plan.Some(from)
	}
	return nil
}

// trainsFrom gives the first day with a session from a day on, that day where none comes.
func trainsFrom(p *plan.Program, from plan.Date) plan.Date {
	for i := range p.Phases {
		for j := range p.Phases[i].Weeks {
			for _, s := range p.Phases[i].Weeks[j].Sessions {
				if s.Date.Set && s.Date.Value >= from {
					return s.Date.Value
				}
			}
		}
	}
	return from
}

func (d *desk) showRevised(ctx context.Context, got *pb.ReviseProgramResponse, base *plan.Program, dry, full bool) error {
	made, err := wire.ProgramFromProto(got.GetRevision().GetProgram())
	if err != nil {
		return err
	}
	changes, err := wire.ChangesFromProto(got.GetChanges())
	if err != nil {
		return err
	}
	cat, err := d.catalogue(ctx)
	if err != nil {
		return err
	}
	o := export.Options{Catalogue: cat}
	head := fmt.Sprintf("Kept as revision %s of %s.", idIn(got.GetRevision().GetName()), called(got.GetProgram()))
	if dry {
		head = "Nothing is kept (--dry-run)."
	}
	if err := d.p.say("%s\n", head); err != nil {
		return err
	}
	if err := export.Changes(d.p.out, base, made, changes, o); err != nil {
		return err
	}
	if full {
		fmt.Fprintln(d.p.out)
		return export.Text(d.p.out, made, o)
	}
	return nil
}
