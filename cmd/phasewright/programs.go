package main

import (
	"context"
	"fmt"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	pb "github.com/phasewright/phasewright/gen/phasewright/v1"

	"github.com/phasewright/phasewright/engine/compare"
	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/internal/export"
	"github.com/phasewright/phasewright/internal/rpc"
	"github.com/phasewright/phasewright/internal/wire"
)

func (p *program) programs() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "program",
		Short: "Keep programs of athletes, and revise them",
		Long:  "Keep programs of athletes (phasewright athlete): make them, print the next session, and revise\nthem with what was logged since." + whereKept,
		Example: `  phasewright program new kim -f request.yaml
  phasewright program next kim
  phasewright program revise kim --reason "two weeks logged"`,
	}
	cmd.AddCommand(p.programNew(), p.programList(), p.programShow(), p.programNext(), p.programRevise(), p.programRevisions(), p.programDiff())
	return cmd
}

func (p *program) programNew() *cobra.Command {
	var file, name, start string
	var asJSON bool
	cmd := &cobra.Command{
		Use:   "new ATHLETE -f request.yaml",
		Short: "Make a program for an athlete and keep it",
		Long: `Make a program and keep it. The file has constraints, goals and plan (see generate --example); who
trains, and what they have shown, is taken as it is kept. Without a start in the file or
--start it begins next Monday: what is logged can only be taken in by a program with dates.` + whereKept,
		Example: `  phasewright program new kim -f request.yaml --name "Winter block"
  phasewright program new kim -f request.yaml --start 2027-01-04`,
		Args: cobra.ExactArgs(1),
	}
	flags := cmd.Flags()
	flags.StringVarP(&file, "file", "f", "", "constraints, goals and plan in YAML or JSON; - is standard input")
	flags.StringVar(&name, "name", "", "what people call the program")
	flags.StringVar(&start, "start", "", "first day, YYYY-MM-DD, in the place of the file's")
	flags.BoolVar(&asJSON, "json", false, "print what is kept as JSON")
	return p.desked(cmd, func(ctx context.Context, d *desk, args []string) error {
		data, err := p.read(ctx, file)
		if err != nil {
			return err
		}
		a, err := d.athlete(ctx, args[0], false)
		if err != nil {
			return err
		}
		r, other, err := wire.ReadNewProgram(data, a.GetName())
		if err != nil {
			return err
		}
		if other {
			fmt.Fprintf(p.err, "The athlete in %s is not looked at; %s is taken as kept.\n", file, person(a))
		}
		c := r.GetConstraints()
		switch {
		case start != "":
			c.StartDate = start
			if c.GetPreparedOn() > start {
				c.PreparedOn = ""
			}
		case c.GetStartDate() == "":
			today, _ := plan.ParseDate(p.now().Format("2006-01-02"))
			c.StartDate = today.AddDays((7 - int(today.Weekday()-plan.Monday)) % 7).String()
		}
		r.Program, r.RequestId = &pb.ProgramRecord{DisplayName: name}, requestID()
		made, err := d.programs.CreateProgram(ctx, r)
		if err != nil {
			return rpc.Fault(err, "")
		}
		if asJSON {
			return p.json(made)
		}
		program, err := wire.ProgramFromProto(made.GetRevision().GetProgram())
		if err != nil {
			return err
		}
		cat, err := d.catalogue(ctx)
		if err != nil {
			return err
		}
		if err := p.say("Kept as %s of %s.\n", called(made.GetProgram()), person(a)); err != nil {
			return err
		}
		return export.Text(p.out, program, export.Options{Catalogue: cat})
	})
}

func (p *program) programList() *cobra.Command {
	cmd := &cobra.Command{
		Use: "list ATHLETE", Short: "List an athlete's programs, the oldest first", Args: cobra.ExactArgs(1),
		Example: "  phasewright program list kim",
	}
	asJSON := cmd.Flags().Bool("json", false, "print them as JSON")
	return p.desked(cmd, func(ctx context.Context, d *desk, args []string) error {
		a, err := d.athlete(ctx, args[0], true)
		if err != nil {
			return err
		}
		all, err := d.programsOf(ctx, a)
		if err != nil {
			return err
		}
		if *asJSON {
			return p.json(&pb.ListProgramsResponse{Programs: all})
		}
		for _, x := range all {
			if err := p.say("%s · made %s · revision %s", called(x), x.GetCreateTime().AsTime().Format("2006-01-02"), idIn(x.GetLatestRevision())); err != nil {
				return err
			}
		}
		return nil
	})
}

// revision reads one with its program.
func (d *desk) revision(ctx context.Context, name string) (*pb.ProgramRevision, *plan.Program, error) {
	got, err := d.programs.GetProgramRevision(ctx, &pb.GetProgramRevisionRequest{Name: name})
	if err != nil {
		return nil, nil, rpc.Fault(err, "")
	}
	made, err := wire.ProgramFromProto(got.GetRevision().GetProgram())
	return got.GetRevision(), made, err
}

// whichFlags name a program and a revision.
type whichFlags struct {
	program  string
	revision int32
}

func (w *whichFlags) add(cmd *cobra.Command, revision bool) {
	cmd.Flags().StringVar(&w.program, "program", "", "which program; else the newest")
	if revision {
		cmd.Flags().Int32Var(&w.revision, "revision", 0, "which revision; else the newest")
	}
}

func (d *desk) which(ctx context.Context, who string, w *whichFlags) (*pb.AthleteRecord, *pb.ProgramRecord, *pb.ProgramRevision, *plan.Program, error) {
	a, err := d.athlete(ctx, who, true)
	if err != nil {
		return nil, nil, nil, nil, err
	}
	program, err := d.program(ctx, a, w.program)
	if err != nil {
		return nil, nil, nil, nil, err
	}
	name := program.GetLatestRevision()
	if w.revision != 0 {
		if most := idIn(name); w.revision < 1 || fmt.Sprint(w.revision) > most && len(fmt.Sprint(w.revision)) >= len(most) {
			return nil, nil, nil, nil, wrong("--revision: there is no %d; there are 1 to %s", w.revision, most)
		}
		name = program.GetName() + "/revisions/" + fmt.Sprint(w.revision)
	}
	revision, made, err := d.revision(ctx, name)
	return a, program, revision, made, err
}

func (p *program) programShow() *cobra.Command {
	var w whichFlags
	var week int32
	cmd := &cobra.Command{
		Use: "show ATHLETE", Short: "Print a program as it was made", Args: cobra.ExactArgs(1),
		Example: `  phasewright program show kim --week 3
  phasewright program show kim --revision 1 --json > program.json`,
	}
	w.add(cmd, true)
	cmd.Flags().Int32Var(&week, "week", 0, "print only this week, in full")
	why := cmd.Flags().Bool("why", false, "say by which rule and source each number is what it is")
	asJSON := cmd.Flags().Bool("json", false, "print the program as JSON")
	return p.desked(cmd, func(ctx context.Context, d *desk, args []string) error {
		_, _, revision, made, err := d.which(ctx, args[0], &w)
		if err != nil {
			return err
		}
		if *asJSON {
			return p.json(revision.GetProgram())
		}
		if week < 0 || cmd.Flags().Changed("week") && (week == 0 || int(week) > made.WeekCount()) {
			return wrong("--week: there is no week %d; the program has weeks 1 to %d", week, made.WeekCount())
		}
		cat, err := d.catalogue(ctx)
		if err != nil {
			return err
		}
		return export.Text(p.out, made, export.Options{Week: week, Why: *why, Catalogue: cat})
	})
}

func (p *program) programNext() *cobra.Command {
	var w whichFlags
	cmd := &cobra.Command{
		Use: "next ATHLETE", Short: "Print the next session: the first that is not logged", Args: cobra.ExactArgs(1),
		Example: "  phasewright program next kim",
	}
	w.add(cmd, false)
	return p.desked(cmd, func(ctx context.Context, d *desk, args []string) error {
		a, err := d.athlete(ctx, args[0], true)
		if err != nil {
			return err
		}
		program, err := d.program(ctx, a, w.program)
		if err != nil {
			return err
		}
		next, err := d.next(ctx, a, program)
		if err != nil {
			return err
		}
		if next == nil {
			return p.say("Every session of %s is logged.", called(program))
		}
		cat, err := d.catalogue(ctx)
		if err != nil {
			return err
		}
		return export.Session(p.out, next.made, next.week, next.number, export.Options{Catalogue: cat})
	})
}

func (p *program) programRevisions() *cobra.Command {
	var w whichFlags
	cmd := &cobra.Command{
		Use: "revisions ATHLETE", Short: "List what was made of a program, the oldest first", Args: cobra.ExactArgs(1),
		Example: "  phasewright program revisions kim",
	}
	w.add(cmd, false)
	asJSON := cmd.Flags().Bool("json", false, "print them as JSON")
	return p.desked(cmd, func(ctx context.Context, d *desk, args []string) error {
		a, err := d.athlete(ctx, args[0], true)
		if err != nil {
			return err
		}
		program, err := d.program(ctx, a, w.program)
		if err != nil {
			return err
		}
		var all []*pb.ProgramRevision
		if err := pages(func(token string) (*pb.ListProgramRevisionsResponse, error) {
			return d.programs.ListProgramRevisions(ctx, &pb.ListProgramRevisionsRequest{Parent: program.GetName(), PageToken: token})
		}, func(r *pb.ListProgramRevisionsResponse) { all = append(all, r.GetRevisions()...) }); err != nil {
			return err
		}
		if *asJSON {
			return p.json(&pb.ListProgramRevisionsResponse{Revisions: all})
		}
		for _, r := range all {
			line := fmt.Sprintf("%s  made %s", idIn(r.GetName()), r.GetCreateTime().AsTime().Format("2006-01-02"))
			if r.GetFromDate() != "" {
				line += ", from " + r.GetFromDate() + " on"
			}
			if r.GetReason() != "" {
				line += ": " + r.GetReason()
			}
			if err := p.say("%s", line); err != nil {
				return err
			}
		}
		return nil
	})
}

func (p *program) programDiff() *cobra.Command {
	var w whichFlags
	cmd := &cobra.Command{
		Use: "diff ATHLETE", Short: "Print in what two revisions differ: the last two, or those of --revisions", Args: cobra.ExactArgs(1),
		Example: "  phasewright program diff kim --revisions 1,3",
	}
	w.add(cmd, false)
	which := cmd.Flags().String("revisions", "", "two numbers, such as 1,3")
	return p.desked(cmd, func(ctx context.Context, d *desk, args []string) error {
		a, err := d.athlete(ctx, args[0], true)
		if err != nil {
			return err
		}
		program, err := d.program(ctx, a, w.program)
		if err != nil {
			return err
		}
		most, _ := strconv.Atoi(idIn(program.GetLatestRevision()))
		from, to := most-1, most
		if *which != "" {
			x, y, _ := strings.Cut(*which, ",")
			var err1, err2 error
			from, err1 = strconv.Atoi(strings.TrimSpace(x))
			to, err2 = strconv.Atoi(strings.TrimSpace(y))
			if err1 != nil || err2 != nil {
				return wrong("--revisions: %q is not two numbers, such as 1,3", *which)
			}
		}
		if from < 1 || to < 1 || from > most || to > most {
			return wrong("--revisions: %d and %d; there are 1 to %d", from, to, most)
		}
		_, was, err := d.revision(ctx, fmt.Sprintf("%s/revisions/%d", program.GetName(), from))
		if err != nil {
			return err
		}
		_, is, err := d.revision(ctx, fmt.Sprintf("%s/revisions/%d", program.GetName(), to))
		if err != nil {
			return err
		}
		cat, err := d.catalogue(ctx)
		if err != nil {
			return err
		}
		return export.Changes(p.out, was, is, compare.Programs(was, is), export.Options{Catalogue: cat})
	})
}
