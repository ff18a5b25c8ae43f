package main

import (
	"context"
	"fmt"
	"strings"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/types/known/fieldmaskpb"

	pb "github.com/phasewright/phasewright/gen/phasewright/v1"

	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/internal/rpc"
	"github.com/phasewright/phasewright/internal/service"
	"github.com/phasewright/phasewright/internal/wire"
)

func (p *program) athlete() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "athlete",
		Short: "Keep athletes",
		Long:  "Keep athletes: who they are, what they have shown, and with phasewright program and log what\nthey are to do and did. An athlete is named by your own id, by name or its beginning, or by id." + whereKept,
		Example: `  phasewright athlete add --name "Kim Example" --id kim --age-band adult --status intermediate
  phasewright athlete show kim`,
	}
	cmd.AddCommand(p.athleteAdd(), p.athleteList(), p.athleteShow(), p.athleteEdit(), p.athleteRemove(), p.athleteExport(), p.athleteErase())
	return cmd
}

// profileFlags are what of an athlete fits into flags; a file holds the rest.
type profileFlags struct {
	estimateFlags
	name, id string
	birth    int32
	months   int32
}

func (f *profileFlags) add(cmd *cobra.Command) {
	flags := cmd.Flags()
	flags.StringVarP(&f.file, "file", "f", "", "athlete, or the request of a program with one, in YAML or JSON; - is standard input")
	flags.StringVar(&f.name, "name", "", "what people call the athlete")
	flags.StringVar(&f.id, "id", "", "your own id of the athlete, no other one's")
	flags.StringVar(&f.age, "age-band", "", strings.Join(tokens(plan.AgeChild, plan.AgeOlder), ", "))
	flags.Int32Var(&f.birth, "birth-year", 0, "instead of an age band")
	flags.StringVar(&f.sex, "sex", "", "female or male")
	flags.StringVar(&f.status, "status", "", "training status: "+strings.Join(tokens(plan.Novice, plan.Advanced), ", "))
	flags.Int32Var(&f.months, "training-months", 0, "months of resistance training so far")
	flags.StringVar(&f.bodyMass, "body-mass", "", "such as 80kg")
	flags.Int32Var(&f.layoff, "layoff-weeks", 0, "weeks without training up to now")
}

// read gives what file and flags say; flags go before.
func (f *profileFlags) read(ctx context.Context, p *program, cmd *cobra.Command) (*pb.Athlete, error) {
	out := &pb.Athlete{}
	if cmd.Flags().Changed("file") {
		data, err := p.read(ctx, f.file)
		if err != nil {
			return nil, err
		}
		if out, err = wire.ReadAthlete(data); err != nil {
			return nil, err
		}
	}
	a, err := f.athlete(plan.UnitUnspecified)
	if err != nil {
		return nil, err
	}
	a.Name, a.CallerID = f.name, f.id
	if f.birth != 0 {
		a.BirthYear = plan.Some(f.birth)
	}
	if f.months != 0 {
		a.TrainingAgeMonths = plan.Some(f.months)
	}
	typed := wire.AthleteToRecord(&service.Athlete{Profile: a}).GetProfile()
	return out, wire.Merge(out, typed, nil)
}

func (p *program) athleteAdd() *cobra.Command {
	var f profileFlags
	cmd := &cobra.Command{
		Use:   "add",
		Short: "Keep a new athlete",
		Long: `Keep a new athlete, from flags, a file, or both (flags go before). The file may be the request of a
program: its athlete is taken, and what they have shown is kept beside.` + whereKept,
		Example: `  phasewright athlete add --name "Kim Example" --id kim --age-band adult --status intermediate --body-mass 72kg
  phasewright athlete add -f request.yaml --id kim`,
		Args: cobra.NoArgs,
	}
	f.add(cmd)
	return p.desked(cmd, func(ctx context.Context, d *desk, _ []string) error {
		profile, err := f.read(ctx, p, cmd)
		if err != nil {
			return err
		}
		if profile.GetAgeBand() == pb.AgeBand_AGE_BAND_UNSPECIFIED && profile.BirthYear == nil {
			return wrong("--age-band or --birth-year is needed: at least whether the athlete is an adult")
		}
		shown := profile.GetPerformances()
		profile.Performances = nil
		made, err := d.athletes.CreateAthlete(ctx, &pb.CreateAthleteRequest{Athlete: &pb.AthleteRecord{Profile: profile}, RequestId: requestID()})
		if err != nil {
			return rpc.Fault(err, "athlete.profile")
		}
		for _, s := range shown {
			if _, err := d.shown.CreatePerformance(ctx, &pb.CreatePerformanceRequest{
				Parent: made.GetAthlete().GetName(), Performance: &pb.PerformanceRecord{Performance: s}, RequestId: requestID(),
			}); err != nil {
				return fmt.Errorf("the athlete is kept, but not all that they have shown: %w", rpc.Fault(err, ""))
			}
		}
		also := ""
		if n := len(shown); n > 0 {
			also = fmt.Sprintf(", with %d performances", n)
		}
		return p.say("Added %s%s.", person(made.GetAthlete()), also)
	})
}

func (p *program) athleteList() *cobra.Command {
	cmd := &cobra.Command{
		Use: "list", Short: "List athletes, the oldest first", Args: cobra.NoArgs,
		Example: "  phasewright athlete list --removed",
	}
	removed := cmd.Flags().Bool("removed", false, "also those who were removed")
	asJSON := cmd.Flags().Bool("json", false, "print them as JSON")
	return p.desked(cmd, func(ctx context.Context, d *desk, _ []string) error {
		all, err := d.everyone(ctx, *removed)
		if err != nil {
			return err
		}
		if *asJSON {
			return p.json(&pb.ListAthletesResponse{Athletes: all})
		}
		if len(all) == 0 {
			fmt.Fprintln(p.err, "There is no athlete yet; phasewright athlete add makes one.")
		}
		for _, a := range all {
			if err := p.say("%s", person(a)); err != nil {
				return err
			}
		}
		return nil
	})
}

func (p *program) athleteShow() *cobra.Command {
	cmd := &cobra.Command{
		Use: "show ATHLETE", Short: "Show an athlete, with programs and sessions", Args: cobra.ExactArgs(1),
		Example: "  phasewright athlete show kim --json",
	}
	asJSON := cmd.Flags().Bool("json", false, "print what is kept of the athlete as JSON")
	return p.desked(cmd, func(ctx context.Context, d *desk, args []string) error {
		a, err := d.athlete(ctx, args[0], true)
		if err != nil {
			return err
		}
		if *asJSON {
			return p.json(a)
		}
		return d.showAthlete(ctx, a)
	})
}

func (d *desk) showAthlete(ctx context.Context, a *pb.AthleteRecord) error {
	stored, err := wire.AthleteFromRecord(a)
	if err != nil {
		return err
	}
	who := &stored.Profile
	about := []string{}
	for _, s := range [...]string{who.Age.String(), [...]string{"", "female", "male"}[min(who.Sex, plan.Male)], who.Status.String()} {
		if s != "" && !strings.Contains(s, "(") {
			about = append(about, s)
		}
	}
	if who.BodyMass.Set {
		about = append(about, who.BodyMass.Value.String())
	}
	if n := len(who.Restrictions); n > 0 {
		about = append(about, fmt.Sprintf("%d restrictions", n))
	}
	programs, err := d.programsOf(ctx, a)
	if err != nil {
		return err
	}
	logs, err := d.logsOf(ctx, a, "")
	if err != nil {
		return err
	}
	if err := d.p.say("%s\n%s\n%d sessions logged", person(a), strings.Join(about, ", "), len(logs)); err != nil {
		return err
	}
	for _, p := range programs {
		if err := d.p.say("program %s, revision %s", called(p), idIn(p.GetLatestRevision())); err != nil {
			return err
		}
	}
	return nil
}

func (p *program) athleteEdit() *cobra.Command {
	var f profileFlags
	cmd := &cobra.Command{
		Use:   "edit ATHLETE",
		Short: "Change what is kept of an athlete",
		Long: `Change what is kept of an athlete: what flags or a file have goes in the place of what there was,
the rest stays. --clear empties fields, named as in the schema.` + whereKept,
		Example: `  phasewright athlete edit kim --body-mass 73kg --status advanced
  phasewright athlete edit kim --clear layoff_weeks`,
		Args: cobra.ExactArgs(1),
	}
	f.add(cmd)
	clear := cmd.Flags().StringSlice("clear", nil, "fields to empty, such as layoff_weeks or restrictions")
	return p.desked(cmd, func(ctx context.Context, d *desk, args []string) error {
		a, err := d.athlete(ctx, args[0], false)
		if err != nil {
			return err
		}
		profile, err := f.read(ctx, p, cmd)
		if err != nil {
			return err
		}
		if len(profile.GetPerformances()) > 0 {
			return wrong("the file has performances; log what was lifted with phasewright log")
		}
		changed := a.GetProfile()
		if err := wire.Merge(changed, profile, nil); err != nil {
			return err
		}
		for _, path := range *clear {
			if err := wire.Merge(changed, &pb.Athlete{}, &fieldmaskpb.FieldMask{Paths: []string{path}}); err != nil {
				return wrong("--clear: there is no field %q", path)
			}
		}
		got, err := d.athletes.UpdateAthlete(ctx, &pb.UpdateAthleteRequest{
			Athlete: a, UpdateMask: &fieldmaskpb.FieldMask{Paths: []string{"profile"}}, RequestId: requestID(),
		})
		if err != nil {
			return rpc.Fault(err, "athlete.profile")
		}
		return p.say("Changed %s.", person(got.GetAthlete()))
	})
}

func (p *program) athleteRemove() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "remove ATHLETE",
		Short: "Put an athlete away; --undo brings them back",
		Example: `  phasewright athlete remove kim
  phasewright athlete remove kim --undo`,
		Args: cobra.ExactArgs(1),
	}
	undo := cmd.Flags().Bool("undo", false, "bring back one who was removed")
	return p.desked(cmd, func(ctx context.Context, d *desk, args []string) error {
		a, err := d.athlete(ctx, args[0], *undo)
		if err != nil {
			return err
		}
		if *undo {
			got, err := d.athletes.UndeleteAthlete(ctx, &pb.UndeleteAthleteRequest{Name: a.GetName(), Etag: a.GetEtag(), RequestId: requestID()})
			if err != nil {
				return rpc.Fault(err, "")
			}
			return p.say("%s is back.", person(got.GetAthlete()))
		}
		if _, err := d.athletes.DeleteAthlete(ctx, &pb.DeleteAthleteRequest{Name: a.GetName(), Etag: a.GetEtag(), RequestId: requestID()}); err != nil {
			return rpc.Fault(err, "")
		}
		return p.say("Removed %s. Nothing is lost: --undo brings them back.", person(a))
	})
}
