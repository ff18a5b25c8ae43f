package main

import (
	"fmt"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/internal/export"
	"github.com/phasewright/phasewright/internal/wire"
)

type estimateFlags struct {
	file      string
	exercises []string
	sets      []string
	date      string
	unit      string
	reps      []int32
	json      bool

	age, sex, status, bodyMass string
	layoff                     int32
}

func (p *program) estimate() *cobra.Command {
	var f estimateFlags
	cmd := &cobra.Command{
		Use:   "estimate [EXERCISE SET...]... | -f request.yaml",
		Short: "Estimate strength from what was lifted",
		Long: `Estimate one-repetition maxima with their error from sets that were done, and what can be
lifted for other repetitions: the numbers that programs start from. It is an estimate and no
instruction to test a maximum.

A set is LOADxREPS, as in 100kgx5 (225lbx5, 102.5x5 with --unit kg): the most that was possible.
  100kgx5@2             two repetitions were left in reserve
  100kgx5@rpe8          rated 8 of 10; 7 to 10 in halves
  100kgx5@2,2026-11-20  on that day; a space will do for the comma
  20kgx5                of an exercise with added load: the load that was added; bwx8 without any
Loads are what is on the bar, or in one hand. A single to the utmost counts as a tested 1RM.
A file holds an EstimateStrengthRequest, or the request of a program, in YAML or JSON.
Without anything the invented athlete of generate is taken.`,
		Example: `  phasewright estimate back-squat 100kgx5 110kgx3@1
  phasewright estimate bench-press 225lbx5@2,2026-11-20 back-squat 315lbx3 --reps 1,3,5,8
  phasewright estimate --exercise pull-up --set bwx8 --set 10kgx5 --body-mass 80kg
  phasewright estimate -f request.yaml --exercise deadlift --date 2027-01-04 --json`,
		RunE: p.do(func(cmd *cobra.Command, args []string) error { return p.runEstimate(cmd, &f, args) }),
	}
	flags := cmd.Flags()
	flags.StringVarP(&f.file, "file", "f", "", "request in YAML or JSON; - is standard input")
	flags.StringArrayVar(&f.exercises, "exercise", nil, "exercise of the --set flags; with a file: only this one (may be repeated)")
	flags.StringArrayVar(&f.sets, "set", nil, "a set of --exercise, such as 100kgx5@1 (may be repeated)")
	flags.StringVar(&f.date, "date", "", "day to estimate for, YYYY-MM-DD; for dated sets on the command line today, else the last set's or the file's")
	flags.StringVar(&f.unit, "unit", "", "kg or lb: of the answer, and of sets that name none")
	flags.Int32SliceVar(&f.reps, "reps", nil, "repetitions whose loads are wanted, 1 to 30")
	flags.BoolVar(&f.json, "json", false, "print the estimate as JSON")
	flags.StringVar(&f.age, "age-band", "adult", "of sets on the command line: "+strings.Join(tokens(plan.AgeChild, plan.AgeOlder), ", "))
	flags.StringVar(&f.sex, "sex", "", "female or male")
	flags.StringVar(&f.status, "status", "", "training status: "+strings.Join(tokens(plan.Novice, plan.Advanced), ", "))
	flags.StringVar(&f.bodyMass, "body-mass", "", "such as 80kg; needed where the body is moved too")
	flags.Int32Var(&f.layoff, "layoff-weeks", 0, "weeks without training up to now")
	return p.served(cmd)
}

// ofAthlete are the flags that a file answers itself.
var ofAthlete = [...]string{"set", "age-band", "sex", "status", "body-mass", "layoff-weeks"}

func (p *program) runEstimate(cmd *cobra.Command, f *estimateFlags, args []string) error {
	var q plan.StrengthQuery
	var typed []string // the sets as they were typed, by performance
	unit, err := parseUnit(f.unit)
	if err != nil {
		return err
	}
	if len(args)+len(f.sets) > 0 {
		if cmd.Flags().Changed("file") {
			return wrong("give either a file or sets on the command line")
		}
		if q.Athlete, err = f.athlete(unit); err != nil {
			return err
		}
		if typed, err = f.lifted(&q, args, unit); err != nil {
			return err
		}
		for _, s := range q.Athlete.Performances {
			if s.Date.Set && f.date == "" {
				f.date = p.now().Format("2006-01-02")
			}
		}
	} else {
		if len(f.exercises) > 0 && !cmd.Flags().Changed("file") {
			return wrong("--exercise goes with --set or a file; or: estimate %s 100kgx5", f.exercises[0])
		}
		for _, name := range ofAthlete {
			if cmd.Flags().Changed(name) {
				return wrong("--%s goes with sets on the command line; a file says it itself", name)
			}
		}
		if q, err = p.readQuery(cmd, f); err != nil {
			return err
		}
	}
	if f.date != "" {
		day, err := plan.ParseDate(f.date)
		if err != nil {
			return wrong("--date: %s", err)
		}
		q.Date = plan.Some(day)
	}
	if unit != plan.UnitUnspecified {
		q.Unit = unit
	}
	if cmd.Flags().Changed("reps") {
		q.Reps = f.reps
	}
	m, err := p.maker()
	if err != nil {
		return err
	}
	if len(typed) > 0 || len(q.ExerciseIDs) > 0 {
		cat, err := m.Catalogue(cmd.Context())
		if err != nil {
			return err
		}
		if cat, err = cat.WithOwn(q.Own); err != nil {
			return err
		}
		for _, s := range q.Athlete.Performances {
			if _, ok := cat.ByID(s.ExerciseID); !ok && len(typed) > 0 {
				return unknownExercise(cat, s.ExerciseID)
			}
		}
		for _, id := range q.ExerciseIDs {
			if _, ok := cat.ByID(id); !ok {
				return unknownExercise(cat, id)
			}
		}
	}
	report, err := m.Estimate(cmd.Context(), q)
	if err != nil {
		return asTyped(err, typed)
	}
	if f.json {
		out, err := wire.Marshal(wire.StrengthReportToProto(&report))
		if err != nil {
			return err
		}
		_, err = p.out.Write(out)
		return err
	}
	return export.Strength(p.out, q.Athlete.Performances, &report)
}

// readQuery reads the file, or takes the invented athlete.
func (p *program) readQuery(cmd *cobra.Command, f *estimateFlags) (plan.StrengthQuery, error) {
	data := demo
	if cmd.Flags().Changed("file") {
		var err error
		if data, err = p.read(cmd.Context(), f.file); err != nil {
			return plan.StrengthQuery{}, err
		}
	} else {
		fmt.Fprintln(p.err, "Nothing given: this is for an invented athlete. Yours: phasewright estimate back-squat 100kgx5 110kgx3@1")
	}
	message, err := wire.ReadStrengthQuery(data)
	if err != nil {
		return plan.StrengthQuery{}, err
	}
	q, err := wire.StrengthQueryFromProto(message)
	if len(f.exercises) > 0 {
		q.ExerciseIDs = f.exercises
	}
	return q, err
}

// athlete reads the flags about who has lifted.
func (f *estimateFlags) athlete(unit plan.MassUnit) (a plan.Athlete, err error) {
	if a.Age, err = parse("age-band", f.age, plan.AgeChild, plan.AgeOlder); err != nil {
		return a, err
	}
	if a.Sex, err = parseSex(f.sex); err != nil {
		return a, err
	}
	if a.Status, err = parse("status", f.status, plan.Novice, plan.Advanced); err != nil {
		return a, err
	}
	if f.bodyMass != "" {
		mass, err := parseMass(f.bodyMass, unit)
		if err != nil {
			return a, wrong("--body-mass: %s", err)
		}
		a.BodyMass = plan.Some(mass)
	}
	if f.layoff != 0 {
		a.LayoffWeeks = plan.Some(f.layoff)
	}
	return a, nil
}

// lifted reads the sets, each under the exercise before it.
func (f *estimateFlags) lifted(q *plan.StrengthQuery, args []string, unit plan.MassUnit) (typed []string, err error) {
	if len(f.sets) > 0 && len(f.exercises) != 1 {
		return nil, wrong("--set needs one --exercise; several are written in a row: estimate back-squat 100kgx5 bench-press 80kgx5")
	}
	if len(f.sets) == 0 && len(f.exercises) > 0 {
		return nil, wrong("--exercise goes with --set or a file; here: estimate %s 100kgx5", f.exercises[0])
	}
	if len(f.sets) > 0 {
		args = append(append([]string{}, args...), f.exercises[0])
		args = append(args, f.sets...)
	}
	exercise := ""
	for i, arg := range args {
		if !maybeSet(arg) {
			if exercise != "" && !maybeSet(args[i-1]) {
				return nil, wrong("%s has no set; one looks like 100kgx5", exercise)
			}
			exercise = token(arg)
			continue
		}
		if exercise == "" {
			return nil, wrong("%q comes without its exercise: estimate back-squat %s", arg, arg)
		}
		s, err := parseSet(arg, unit)
		if err != nil {
			return nil, wrong("%q: %s", arg, err)
		}
		s.ExerciseID = exercise
		q.Athlete.Performances = append(q.Athlete.Performances, s)
		typed = append(typed, exercise+" "+arg)
	}
	if !maybeSet(args[len(args)-1]) {
		return nil, wrong("%s has no set; one looks like 100kgx5", exercise)
	}
	return typed, nil
}

// asTyped names what is wrong by what was typed.
func asTyped(err error, typed []string) error {
	f, ok := fault.As(err)
	if !ok || len(typed) == 0 {
		return err
	}
	out := &fault.Error{Kind: f.Kind, Violations: append([]fault.Violation(nil), f.Violations...)}
	for i := range out.Violations {
		v := &out.Violations[i]
		for at := len(typed) - 1; at >= 0; at-- {
			v.Says = strings.ReplaceAll(v.Says, fmt.Sprintf("athlete.performances[%d]", at), typed[at])
		}
		for _, flag := range [...][2]string{
			{"athlete.body_mass", "--body-mass"}, {"athlete.layoff_weeks", "--layoff-weeks"}, {"date", "--date"}, {"reps", "--reps"},
		} {
			if v.Field == flag[0] || strings.HasPrefix(v.Field, flag[0]+"[") {
				v.Field = flag[1]
			}
		}
		if rest, ok := strings.CutPrefix(v.Field, "athlete.performances["); ok {
			n, part, _ := strings.Cut(rest, "]")
			if at, err := strconv.Atoi(n); err == nil && at < len(typed) {
				v.Field = typed[at]
				if part != "" {
					v.Field += ", " + part[1:]
				}
			}
		}
	}
	return out
}
