package main

import (
	"context"
	"fmt"
	"os"
	"slices"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/internal/export"
	"github.com/phasewright/phasewright/internal/service"
	"github.com/phasewright/phasewright/internal/wire"
)

type changeFlags struct {
	file, request, out        string
	from                      string
	week                      int32
	swaps, locks              []string
	minutes, excluded, pinned []string
	full, json                bool
}

func (p *program) change() *cobra.Command {
	var f changeFlags
	cmd := &cobra.Command{
		Use:   "change -f program.json",
		Short: "Make a program again from a day on, and say what changes",
		Long: `Make a program (as generate --json prints it) again from a day or week on, for its own request
or a changed one. What lies before stays; what is locked stays; the rest changes as little as
the best answer allows. The changes are printed, the new program goes where -o says.

A swap is EXERCISE=EXERCISE, a lock EXERCISE, a weekday or a workout that rotates. Both may be
for some sessions only: thursday:back-squat=front-squat, A:bench-press.`,
		Example: `  phasewright generate --json > program.json
  phasewright change -f program.json --from-week 3 --minutes thursday=45
  phasewright change -f program.json --from 2027-02-01 --swap leg-press=hack-squat -o program2.json
  phasewright change -f program.json --lock monday --lock bench-press --exclude good-morning
  phasewright change -f program.json --request new-request.yaml --from-week 5 --full`,
		Args: cobra.NoArgs,
		RunE: p.do(func(cmd *cobra.Command, _ []string) error { return p.runChange(cmd, &f) }),
	}
	flags := cmd.Flags()
	flags.StringVarP(&f.file, "file", "f", "", "program in JSON or YAML; - is standard input")
	f.editFlags(flags)
	flags.StringVarP(&f.out, "out", "o", "", "file for the new program as JSON")
	flags.BoolVar(&f.full, "full", false, "print the new program after the changes")
	flags.BoolVar(&f.json, "json", false, "print the new program as JSON instead of the changes")
	return p.served(cmd)
}

func (p *program) runChange(cmd *cobra.Command, f *changeFlags) error {
	switch {
	case f.file == "":
		return wrong("-f is needed: a program in JSON or YAML, - for standard input")
	case f.json && f.full:
		return wrong("--json prints the whole program; --full is for text")
	case f.from != "" && cmd.Flags().Changed("from-week"):
		return wrong("--from and --from-week say the same; give one of them")
	case cmd.Flags().Changed("from-week") && f.week < 1:
		return wrong("--from-week: weeks are counted from 1")
	case f.file == "-" && f.request == "-":
		return wrong("only one of -f and --request can be standard input")
	}
	base, err := p.readProgram(cmd.Context(), f.file)
	if err != nil {
		return err
	}
	a := asked{base: base, request: base.Request, typed: map[string]string{}}
	if f.request != "" {
		if a.request, err = p.readRequest(cmd.Context(), f.request); err != nil {
			return err
		}
	}
	if err := a.read(f); err != nil {
		return err
	}
	m, err := p.maker()
	if err != nil {
		return err
	}
	made, err := m.Regenerate(cmd.Context(), base, a.request, a.how)
	if err != nil {
		return a.asTyped(err)
	}
	return p.showChange(cmd.Context(), f, base, &made, m)
}

func (p *program) readProgram(ctx context.Context, file string) (*plan.Program, error) {
	data, err := p.read(ctx, file)
	if err != nil {
		return nil, err
	}
	message, err := wire.ReadProgram(data)
	if err != nil {
		return nil, err
	}
	return wire.ProgramFromProto(message)
}

func (p *program) readRequest(ctx context.Context, file string) (plan.Request, error) {
	data, err := p.read(ctx, file)
	if err != nil {
		return plan.Request{}, err
	}
	message, err := wire.ReadRequest(data)
	if err != nil {
		return plan.Request{}, err
	}
	return wire.RequestFromProto(message)
}

func (p *program) showChange(ctx context.Context, f *changeFlags, base *plan.Program, made *service.Regenerated, m maker) error {
	data, err := wire.Marshal(wire.ProgramToProto(&made.Program))
	if err != nil {
		return err
	}
	if f.out != "" {
		if err := os.WriteFile(f.out, data, 0o644); err != nil {
			return wrong("%s: %s", f.out, cause(err))
		}
	}
	if f.json {
		_, err := p.out.Write(data)
		return err
	}
	catalogue, err := m.Catalogue(ctx)
	if err != nil {
		return err
	}
	o := export.Options{Catalogue: catalogue}
	if err := export.Changes(p.out, base, &made.Program, made.Changes, o); err != nil {
		return err
	}
	switch {
	case f.full:
		fmt.Fprintln(p.out)
		return export.Text(p.out, &made.Program, o)
	case f.out != "":
		fmt.Fprintf(p.err, "The new program is in %s; change it again from there.\n", f.out)
	default:
		fmt.Fprintln(p.err, "Nothing is kept: -o program2.json writes the new program, --full prints it.")
	}
	return nil
}

// asked is what the flags make of a program and its request.
type asked struct {
	base    *plan.Program
	request plan.Request
	how     plan.Rework
	typed   map[string]string // by path of the engine's faults
}

func (a *asked) read(f *changeFlags) error {
	a.how.FromWeek = f.week
	a.typed["rework.from_date"], a.typed["rework.from_week"] = "--from", "--from-week"
	if f.from != "" {
		day, err := plan.ParseDate(f.from)
		if err != nil {
			return wrong("--from: %s", err)
		}
		a.how.From = plan.Some(day)
	}
	for _, s := range f.locks {
		day, group, id, err := a.sessions(s)
		if err != nil {
			return wrong("--lock %s: %s", s, err)
		}
		a.typed[fmt.Sprintf("rework.locks[%d]", len(a.how.Locks))] = "--lock " + s
		a.how.Locks = append(a.how.Locks, plan.Lock{ExerciseID: id, Weekday: day, Group: group})
	}
	for _, s := range f.swaps {
		from, with, ok := strings.Cut(s, "=")
		day, group, id, err := a.sessions(from)
		if err != nil {
			return wrong("--swap %s: %s", s, err)
		}
		if with = strings.TrimSpace(with); !ok || id == "" || with == "" {
			return wrong("--swap %s: write what goes and what comes, such as leg-press=hack-squat or thursday:leg-press=hack-squat", s)
		}
		a.typed[fmt.Sprintf("rework.swaps[%d]", len(a.how.Swaps))] = "--swap " + s
		a.how.Swaps = append(a.how.Swaps, plan.Swap{ExerciseID: id, With: with, Weekday: day, Group: group})
	}
	c := &a.request.Constraints
	c.Days, c.Excluded, c.Pinned = slices.Clone(c.Days), slices.Clone(c.Excluded), slices.Clone(c.Pinned)
	for _, s := range f.minutes {
		if err := a.minutes(s); err != nil {
			return err
		}
	}
	for _, s := range f.excluded {
		a.typed[fmt.Sprintf("constraints.excluded_exercise_ids[%d]", len(c.Excluded))] = "--exclude " + s
		c.Excluded = append(c.Excluded, s)
	}
	for _, s := range f.pinned {
		a.typed[fmt.Sprintf("constraints.pinned[%d]", len(c.Pinned))] = "--pin " + s
		c.Pinned = append(c.Pinned, plan.Pin{ExerciseID: s})
	}
	return nil
}

// sessions reads "thursday:leg-press", "A:leg-press", "thursday", "A" or "leg-press".
func (a *asked) sessions(s string) (plan.Weekday, string, string, error) {
	of, id, two := strings.Cut(strings.TrimSpace(s), ":")
	if day := weekdayOf(of); day != plan.WeekdayUnspecified {
		return day, "", id, nil
	}
	groups := a.groups()
	for _, g := range groups {
		if strings.EqualFold(g, of) {
			return 0, g, id, nil
		}
	}
	if two {
		says := "is no weekday"
		if len(groups) > 0 {
			says += " and no workout of the program, which has " + strings.Join(groups, ", ")
		}
		return 0, "", "", fmt.Errorf("%q %s", of, says)
	}
	if of == "" {
		return 0, "", "", fmt.Errorf("names nothing; give an exercise, a weekday or both, such as thursday:leg-press")
	}
	return 0, "", of, nil
}

func (a *asked) groups() []string {
	var out []string
	for i := range a.base.Phases {
		for _, w := range a.base.Phases[i].Weeks {
			for _, s := range w.Sessions {
				if s.Group != "" && !slices.Contains(out, s.Group) {
					out = append(out, s.Group)
				}
			}
		}
	}
	return out
}

// weekdayOf knows a day by its name or the first three letters.
func weekdayOf(s string) plan.Weekday {
	for d := plan.Monday; d <= plan.Sunday; d++ {
		if name := d.String(); strings.EqualFold(s, name) || strings.EqualFold(s, name[:3]) {
			return d
		}
	}
	return plan.WeekdayUnspecified
}

func (a *asked) minutes(s string) error {
	name, number, _ := strings.Cut(s, "=")
	n, err := strconv.ParseInt(strings.TrimSpace(number), 10, 32)
	day := weekdayOf(strings.TrimSpace(name))
	if err != nil || day == plan.WeekdayUnspecified {
		return wrong("--minutes %s: write a weekday and its minutes, such as thursday=45", s)
	}
	if n < 15 || n > 240 {
		return wrong("--minutes %s: 15 to 240 are possible", s)
	}
	found := false
	var days []string
	for i := range a.request.Constraints.Days {
		d := &a.request.Constraints.Days[i]
		days = append(days, strings.ToLower(d.Weekday.String()))
		if d.Weekday == day {
			d.Minutes, found = int32(n), true
			a.typed[fmt.Sprintf("constraints.days[%d]", i)] = "--minutes " + s
		}
	}
	if !found {
		return wrong("--minutes %s: the request has no such day; it has %s", s, strings.Join(days, ", "))
	}
	return nil
}

// asTyped names what is wrong by what was typed.
func (a *asked) asTyped(err error) error {
	f, ok := fault.As(err)
	if !ok {
		return err
	}
	out := *f
	out.Violations = slices.Clone(f.Violations)
	for i := range out.Violations {
		v := &out.Violations[i]
		v.Field = a.typedFor(v.Field)
		v.Says = strings.ReplaceAll(v.Says, "rework.from_week", "--from-week")
	}
	out.Ways = slices.Clone(f.Ways)
	for i := range out.Ways {
		out.Ways[i].Changes = slices.Clone(f.Ways[i].Changes)
		for j := range out.Ways[i].Changes {
			c := &out.Ways[i].Changes[j]
			c.Field = a.typedFor(c.Field)
		}
	}
	return &out
}

// typedFor gives what was typed for a field, else the field.
func (a *asked) typedFor(field string) string {
	for path, typed := range a.typed {
		if rest, is := strings.CutPrefix(field, path); is && (rest == "" || rest[0] == '.') {
			return typed // of paths with such an end no other begins as this one does
		}
	}
	return field
}
