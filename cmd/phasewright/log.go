package main

import (
	"context"
	"fmt"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	pb "github.com/phasewright/phasewright/gen/phasewright/v1"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/internal/rpc"
	"github.com/phasewright/phasewright/internal/service"
	"github.com/phasewright/phasewright/internal/wire"
)

type logFlags struct {
	date, session, program, note, unit string
	missed, extra, json                bool
}

func (p *program) log() *cobra.Command {
	var f logFlags
	cmd := &cobra.Command{
		Use:   "log ATHLETE [EXERCISE SETS...]...",
		Short: "Log what was done in a session; without sets, list what was logged",
		Long: `Log what was done in a session of the athlete's program: the next one that is not logged, or the
one of the day or number that is given. Without sets what was logged is listed.

Sets are written as for estimate, with repetitions at the same load in a row:
  100kgx5,5,4@1         three sets, 1 left in reserve in each
  100kgx5@3,5@2,4@0     said set by set; 0: no further one was possible
  100kgx5,5,5           nothing is said of what was left: kept, but no word about strength
  60kgx8@3 80kgx5@1     another load
What is left can be a rating too: @rpe8. The heaviest set with a reserve speaks for the
exercise; the next revision takes it in.` + whereKept,
		Example: `  phasewright log kim back-squat 100kgx5,5,4@1 bench-press 70kgx6,6,6@2
  phasewright log kim --missed
  phasewright log kim --session 2.1 --date 2027-01-12 deadlift 150kgx3,3@1 --note "slept badly"
  phasewright log kim --extra back-squat 140kgx1@0
  phasewright log kim`,
		Args: cobra.MinimumNArgs(1),
	}
	flags := cmd.Flags()
	flags.StringVar(&f.date, "date", "", "day of the session, YYYY-MM-DD; else that of the program, or today if it is later")
	flags.StringVar(&f.session, "session", "", "which session: week and place in it, such as 2.1")
	flags.StringVar(&f.program, "program", "", "which program; else the newest")
	flags.BoolVar(&f.missed, "missed", false, "the session was not done")
	flags.BoolVar(&f.extra, "extra", false, "this was no session of the program")
	flags.StringVar(&f.note, "note", "", "for people")
	flags.StringVar(&f.unit, "unit", "", "kg or lb: of sets that name none")
	flags.BoolVar(&f.json, "json", false, "print what is kept as JSON")
	return p.desked(cmd, func(ctx context.Context, d *desk, args []string) error {
		if len(args) == 1 && !f.missed {
			return d.listLogs(ctx, args[0], &f)
		}
		return d.log(ctx, args, &f)
	})
}

func (d *desk) log(ctx context.Context, args []string, f *logFlags) error {
	switch {
	case f.missed && len(args) > 1:
		return wrong("--missed: a session that was missed has no sets")
	case f.extra && (f.missed || f.session != "" || f.program != ""):
		return wrong("--extra: that is no session of a program; leave out --missed, --session and --program")
	}
	a, err := d.athlete(ctx, args[0], false)
	if err != nil {
		return err
	}
	l := service.SessionLog{Note: f.note}
	if f.date != "" {
		if l.Date, err = plan.ParseDate(f.date); err != nil {
			return wrong("--date: %s", err)
		}
	}
	today, _ := plan.ParseDate(d.p.now().Format("2006-01-02"))
	var at *place
	if !f.extra {
		if at, err = d.place(ctx, a, f, l.Date); err != nil {
			return err
		}
		if l.Date == 0 {
			l.Date = min(today, at.session.Date.Or(today))
		}
		l.Week, l.Session = at.week, at.number
	}
	if l.Date == 0 {
		l.Date = today
	}
	if l.Date > today {
		return wrong("--date: %s is not yet", l.Date)
	}
	if l.Exercises, err = d.typed(ctx, args[1:], f.unit, at); err != nil {
		return err
	}
	message := wire.SessionLogToProto(&l)
	message.Name, message.Etag = "", ""
	if at != nil {
		message.ProgramRevision = at.revision.GetName()
	}
	made, err := d.logs.CreateSessionLog(ctx, &pb.CreateSessionLogRequest{Parent: a.GetName(), SessionLog: message, RequestId: requestID()})
	if err != nil {
		return asLogged(rpc.Fault(err, "session_log"), &l)
	}
	if f.json {
		return d.p.json(made.GetSessionLog())
	}
	cat, err := d.catalogue(ctx)
	if err != nil {
		return err
	}
	if err := d.p.say("Logged %s", logLine(cat, &l)); err != nil {
		return err
	}
	if at == nil {
		return nil
	}
	return d.after(ctx, a, at, &l)
}

// after says what of the session was left out, and what comes next.
func (d *desk) after(ctx context.Context, a *pb.AthleteRecord, at *place, l *service.SessionLog) error {
	var left []string
	for _, e := range at.session.Exercises {
		done := len(l.Exercises) == 0
		for _, x := range l.Exercises {
			done = done || x.ExerciseID == e.ExerciseID
		}
		if !done {
			left = append(left, e.Name)
		}
	}
	if len(left) > 0 {
		if err := d.p.say("  not logged of it: %s", strings.Join(left, ", ")); err != nil {
			return err
		}
	}
	next, err := d.next(ctx, a, at.program)
	if err != nil || next == nil {
		return err
	}
	return d.p.say("  next: %s", next)
}

// asLogged names what is wrong by exercise and set.
func asLogged(err error, l *service.SessionLog) error {
	f, ok := fault.As(err)
	if !ok {
		return err
	}
	out := &fault.Error{Kind: f.Kind, Violations: append([]fault.Violation(nil), f.Violations...)}
	for i := range out.Violations {
		v := &out.Violations[i]
		var e, s int
		if n, _ := fmt.Sscanf(v.Field, "exercises[%d].sets[%d]", &e, &s); n == 0 || e >= len(l.Exercises) {
			continue
		} else if v.Field = l.Exercises[e].ExerciseID; n == 2 && s < len(l.Exercises[e].Sets) {
			v.Field += " " + setLine(l.Exercises[e].Sets[s:s+1])
		}
	}
	return out
}

// typed reads exercises with their sets. An exercise of the session may be shortened.
func (d *desk) typed(ctx context.Context, args []string, unit string, at *place) ([]service.LoggedExercise, error) {
	u, err := parseUnit(unit)
	if err != nil {
		return nil, err
	}
	if u == plan.UnitUnspecified && at != nil {
		u = at.made.Request.Constraints.Unit
	}
	cat, err := d.catalogue(ctx)
	if err != nil {
		return nil, err
	}
	var out []service.LoggedExercise
	for i, arg := range args {
		if !maybeSet(arg) {
			if i > 0 && !maybeSet(args[i-1]) {
				return nil, wrong("%s has no set; one looks like 100kgx5@1", args[i-1])
			}
			id := token(arg)
			if _, ok := cat.ByID(id); !ok {
				if id, err = at.meant(id); err != nil {
					return nil, err
				}
			}
			if _, ok := cat.ByID(id); !ok {
				return nil, unknownExercise(cat, id)
			}
			out = append(out, service.LoggedExercise{ExerciseID: id})
			continue
		}
		if len(out) == 0 {
			return nil, wrong("%q comes without its exercise: log kim back-squat %s", arg, arg)
		}
		sets, err := parseSets(arg, u)
		if err != nil {
			return nil, wrong("%q: %s", arg, err)
		}
		e := &out[len(out)-1]
		e.Sets = append(e.Sets, sets...)
	}
	if n := len(args); n > 0 && !maybeSet(args[n-1]) {
		return nil, wrong("%s has no set; one looks like 100kgx5@1", args[n-1])
	}
	return out, nil
}

// meant finds the one exercise of a session that begins so, or has a word that does.
func (at *place) meant(word string) (string, error) {
	if at == nil {
		return word, nil
	}
	var found []string
	for _, e := range at.session.Exercises {
		if strings.HasPrefix(e.ExerciseID, word) || strings.Contains(e.ExerciseID, "-"+word) {
			found = append(found, e.ExerciseID)
		}
	}
	switch len(found) {
	case 0:
		return word, nil
	case 1:
		return found[0], nil
	}
	return "", wrong("%q may be %s; write more of it", word, strings.Join(found, " or "))
}

// place is a session of a stored program.
type place struct {
	program  *pb.ProgramRecord
	revision *pb.ProgramRevision
	made     *plan.Program
	session  *plan.Session
	week     int32
	number   int32 // in the week, 1-based
}

func (at *place) String() string {
	when := strings.ToLower(at.session.Weekday.String())
	if at.session.Date.Set {
		when = dayName(at.session.Date.Value)
	}
	return fmt.Sprintf("%s, week %d session %d", when, at.week, at.number)
}

func dayName(d plan.Date) string { return d.Weekday().String()[:3] + " " + d.String() }

// place finds the session that is meant.
func (d *desk) place(ctx context.Context, a *pb.AthleteRecord, f *logFlags, day plan.Date) (*place, error) {
	p, err := d.program(ctx, a, f.program)
	if err != nil {
		return nil, err
	}
	open, err := d.open(ctx, a, p)
	if err != nil {
		return nil, err
	}
	if f.session != "" {
		w, n, _ := strings.Cut(f.session, ".")
		week, err1 := strconv.ParseInt(w, 10, 32)
		number, err2 := strconv.ParseInt(n, 10, 32)
		if err1 != nil || err2 != nil {
			return nil, wrong("--session: %q is not week and place in it, such as 2.1", f.session)
		}
		for i := range open {
			if int64(open[i].week) == week && int64(open[i].number) == number {
				return &open[i], nil
			}
		}
		return nil, wrong("--session: %s is not in the program, or logged already; phasewright log %s lists what is", f.session, idIn(a.GetName()))
	}
	for i := range open {
		if day != 0 && open[i].session.Date.Set && open[i].session.Date.Value == day {
			return &open[i], nil
		}
	}
	if len(open) == 0 {
		return nil, wrong("every session of %s is logged; with --extra this is kept beside it", called(p))
	}
	return &open[0], nil
}

// open lists the sessions of a program's newest revision that are not logged, in order.
func (d *desk) open(ctx context.Context, a *pb.AthleteRecord, p *pb.ProgramRecord) ([]place, error) {
	revision, made, err := d.revision(ctx, p.GetLatestRevision())
	if err != nil {
		return nil, err
	}
	logs, err := d.logsOf(ctx, a, p.GetName())
	if err != nil {
		return nil, err
	}
	done := map[[2]int32]bool{}
	for _, l := range logs {
		done[[2]int32{l.GetWeek(), l.GetSession()}] = true
	}
	var out []place
	for i := range made.Phases {
		for j := range made.Phases[i].Weeks {
			w := &made.Phases[i].Weeks[j]
			for k := range w.Sessions {
				if n := int32(k + 1); !done[[2]int32{w.Number, n}] {
					out = append(out, place{p, revision, made, &w.Sessions[k], w.Number, n})
				}
			}
		}
	}
	return out, nil
}

// next gives the first session that is not logged, nil where all are.
func (d *desk) next(ctx context.Context, a *pb.AthleteRecord, p *pb.ProgramRecord) (*place, error) {
	open, err := d.open(ctx, a, p)
	if err != nil || len(open) == 0 {
		return nil, err
	}
	return &open[0], nil
}

func (d *desk) listLogs(ctx context.Context, who string, f *logFlags) error {
	a, err := d.athlete(ctx, who, true)
	if err != nil {
		return err
	}
	logs, err := d.logsOf(ctx, a, "")
	if err != nil {
		return err
	}
	if f.json {
		return d.p.json(&pb.ListSessionLogsResponse{SessionLogs: logs})
	}
	cat, err := d.catalogue(ctx)
	if err != nil {
		return err
	}
	if len(logs) == 0 {
		fmt.Fprintln(d.p.err, "Nothing is logged yet.")
	}
	for _, m := range logs {
		l, err := wire.SessionLogFromProto(m)
		if err != nil {
			return err
		}
		if err := d.p.say("%s", logLine(cat, &l)); err != nil {
			return err
		}
	}
	return nil
}
