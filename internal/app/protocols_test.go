package app

import (
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/phasewright/phasewright/engine/plan"
)

const protocols = "../../testdata/protocols"

// protocolRoles are the roles that a table may tell of.
var protocolRoles = [...]plan.Role{plan.GoalLift, plan.MultiJoint, plan.SingleJoint}

// TestProtocols holds the plans in testdata/protocols against the studies they stand
// for. A subtest's name ends with where its numbers are from.
func TestProtocols(t *testing.T) {
	t.Parallel()
	e, err := NewEngine()
	require.NoError(t, err)
	files, err := filepath.Glob(filepath.Join(protocols, "*.yaml"))
	require.NoError(t, err)
	require.GreaterOrEqual(t, len(files), 12)
	for _, file := range files {
		data, err := os.ReadFile(file)
		require.NoError(t, err)
		s, err := readStudy(data)
		require.NoError(t, err, file)
		t.Run(s.Short, func(t *testing.T) {
			t.Log(s.Study)
			totals := map[string]totals{}
			for i := range s.Arms {
				a := &s.Arms[i]
				t.Run(fmt.Sprintf("%s (%s)", a.Name, a.Evidence), func(t *testing.T) {
					o, err := e.Outline(t.Context(), a.request(t))
					require.NoError(t, err)
					a.compare(t, &o)
					a.compareAdjust(t, &o)
					totals[a.Name] = count(&o)
				})
			}
			for i := range s.Arms {
				s.Arms[i].total(t, totals)
			}
			for _, q := range s.Equal {
				t.Run(fmt.Sprintf("as many %s in %s (%s)", q.What, strings.Join(q.Arms, ", "), q.Evidence), func(t *testing.T) {
					for _, name := range q.Arms {
						require.Equal(t, totals[q.Arms[0]].of(t, q.What), totals[name].of(t, q.What), name)
					}
				})
			}
			for i := range s.Arms {
				a := &s.Arms[i]
				t.Run(fmt.Sprintf("program, %s (%s)", a.Name, a.Evidence), func(t *testing.T) { a.wholeProgram(t, e) })
			}
		})
	}
}

// sessionsOf gives the training sessions of each week.
func sessionsOf(o *plan.Outline) [][]*plan.OutlineSession {
	var out [][]*plan.OutlineSession
	for i := range o.Phases {
		for j := range o.Phases[i].Weeks {
			var week []*plan.OutlineSession
			w := &o.Phases[i].Weeks[j]
			for k := range w.Sessions {
				if w.Sessions[k].Kind == plan.SessionTraining {
					week = append(week, &w.Sessions[k])
				}
			}
			out = append(out, week)
		}
	}
	return out
}

// row finds the only line of the table that holds for a week and role; nil where the
// study says nothing of the role.
func (a *arm) row(week int32, role plan.Role) (*tableRow, error) {
	var found *tableRow
	told := false
	for i := range a.Table {
		r := &a.Table[i]
		if !r.Weeks.has(week) {
			continue
		}
		told = true
		if !r.of(role).given() {
			continue
		}
		if found != nil {
			return nil, fmt.Errorf("two lines tell of week %d", week)
		}
		found = r
	}
	if !told || found == nil && role == plan.GoalLift {
		return nil, fmt.Errorf("no line tells of week %d", week)
	}
	return found, nil
}

func (a *arm) compare(t *testing.T, o *plan.Outline) {
	weeks := sessionsOf(o)
	require.Len(t, weeks, int(a.Weeks))
	for w, sessions := range weeks {
		require.Len(t, sessions, int(a.Days))
		for _, role := range protocolRoles {
			row, err := a.row(int32(w+1), role)
			require.NoError(t, err)
			if row == nil {
				continue
			}
			for i, s := range sessions {
				text, err := row.of(role).session(i, len(sessions))
				require.NoError(t, err)
				want, err := readSets(text)
				require.NoError(t, err)
				var got []one
				for _, scheme := range s.Find(role, "") {
					got = append(got, fromScheme(&scheme)...)
				}
				where := fmt.Sprintf("week %d, session %d, %s", w+1, i+1, role)
				require.Len(t, got, len(want), where)
				for k := range want {
					require.Equal(t, want[k].String(), got[k].as(want[k]).String(), "%s, set %d", where, k+1)
				}
			}
		}
		if len(a.Groups) > 0 {
			for i, s := range sessions {
				require.Equal(t, a.Groups[i], s.Group, "week %d, session %d", w+1, i+1)
			}
		}
	}
}

// compareAdjust holds the tables of open-ended sets against the study's.
func (a *arm) compareAdjust(t *testing.T, o *plan.Outline) {
	seen := 0
	for _, week := range sessionsOf(o) {
		for _, s := range week {
			var open []plan.Scheme
			for _, scheme := range s.Find(plan.GoalLift, "") {
				if scheme.OpenEnded {
					open = append(open, scheme)
				}
			}
			if len(open) == 0 {
				continue
			}
			i := slices.IndexFunc(a.Adjust, func(x adjustment) bool { return x.Maximum == open[0].Effort.Reference.RM })
			require.GreaterOrEqual(t, i, 0, "no table for the %dRM", open[0].Effort.Reference.RM)
			seen |= 1 << i
			require.Len(t, open, 2)
			for k, want := range [][][4]int64{a.Adjust[i].Set, a.Adjust[i].Next} {
				require.NotEmpty(t, want)
				var got [][4]int64
				for _, b := range open[k].Adjust {
					require.Equal(t, a.Adjust[i].Unit, b.Unit.String())
					require.Zero(t, b.From%1000+b.To%1000)
					got = append(got, [4]int64{int64(b.Reps.Min), int64(b.Reps.Max), b.From / 1000, b.To / 1000})
				}
				require.Equal(t, want, got)
			}
		}
	}
	require.Equal(t, 1<<len(a.Adjust)-1, seen, "every table is used")
}

// totals are what an outline adds up to for a goal lift.
type totals struct {
	reps, sets int64
	first      int64   // repetitions of the first session of every week
	sessions   []int64 // repetitions of the sessions of each week, -1 where they differ
	index      []int64 // repetitions times percent, of every session
}

func count(o *plan.Outline) totals {
	var out totals
	for _, week := range sessionsOf(o) {
		same := int64(-1)
		for i, s := range week {
			reps, index := int64(0), int64(0)
			for _, scheme := range s.Find(plan.GoalLift, "") {
				n := int64(scheme.Sets.Max) * int64(scheme.Reps.Max)
				reps += n
				index += n * int64(scheme.Effort.Intensity.Value)
				out.sets += int64(scheme.Sets.Max)
			}
			out.reps += reps
			out.index = append(out.index, index/10)
			if i == 0 {
				out.first += reps
				same = reps
			}
			if reps != same {
				same = -1
			}
		}
		out.sessions = append(out.sessions, same)
	}
	return out
}

// of gives a total by the name that the files use for it.
func (c totals) of(t *testing.T, what string) any {
	every := func(list []int64) int64 {
		require.NotEmpty(t, list)
		require.Equal(t, slices.Repeat(list[:1], len(list)), list, "the same in every session")
		return list[0]
	}
	switch what {
	case "repetitions":
		return c.reps
	case "sets":
		return c.sets
	case "repetitions of the first session a week":
		return c.first
	case "repetitions a session":
		return every(c.sessions)
	case "repetitions a session by week":
		return c.sessions
	case "load index a session":
		return every(c.index)
	}
	require.Fail(t, "there is no total called "+what)
	return nil
}

func (a *arm) total(t *testing.T, all map[string]totals) {
	var names []string
	for what := range a.Totals {
		names = append(names, what)
	}
	slices.Sort(names)
	for _, what := range names {
		t.Run(fmt.Sprintf("%s added up, %s (%s)", what, a.Name, a.Evidence), func(t *testing.T) {
			got, err := json.Marshal(all[a.Name].of(t, what))
			require.NoError(t, err)
			require.JSONEq(t, string(a.Totals[what]), string(got))
		})
	}
}

// request asks for the arm's plan for an invented athlete who may do all of it.
func (a *arm) request(t testing.TB) plan.Request {
	p, err := a.plan()
	require.NoError(t, err)
	start, err := plan.ParseDate("2027-01-04") // a Monday
	require.NoError(t, err)
	weekdays := map[int32][]plan.Weekday{
		2: {plan.Monday, plan.Thursday}, 3: {plan.Monday, plan.Wednesday, plan.Friday}, 4: {plan.Monday, plan.Tuesday, plan.Thursday, plan.Friday},
	}[a.Days]
	require.NotEmpty(t, weekdays)
	r := plan.Request{
		Athlete: plan.Athlete{
			Name: "Rowan Example (invented)", Age: plan.AgeAdult, BodyMass: plan.Some(plan.Kg(80_000)),
			Status: plan.Intermediate, TrainingAgeMonths: plan.Some(int32(48)), CurrentSetsEach: plan.Some(plan.HalfSets(24)),
			Screening: plan.Some(plan.Screening{RegularExercise: plan.Some(true), KnownDisease: plan.Some(false), Symptoms: plan.Some(false)}),
			Spotter:   plan.Some(true),
		},
		Constraints: plan.Constraints{
			Unit: plan.Kilogram, PreparedOn: plan.Some(start - 7), Start: plan.Some(start), Weeks: plan.Some(a.Weeks),
			Places: []plan.Place{{ID: "gym", Name: "Example Gym (invented)", Preset: plan.PresetFullGym, Safeties: plan.Some(true)}},
		},
		Plan: p,
	}
	if a.Spare {
		weekdays = append(slices.Clone(weekdays), plan.Saturday)
	}
	for _, d := range weekdays {
		r.Constraints.Days = append(r.Constraints.Days, plan.Day{Weekday: d, Minutes: 150})
	}
	ones := map[string]int64{"bench-press": 100, "back-squat": 150, "leg-press": 260, "lat-pulldown": 90, "leg-extension": 90}
	for _, lift := range a.Lifts {
		id, group, grouped := strings.Cut(lift, " ")
		require.Contains(t, ones, id)
		r.Athlete.Performances = append(r.Athlete.Performances, plan.Performance{
			ExerciseID: id, Load: plan.Some(plan.Kg(1000 * ones[id])), Reps: 1, RIR: plan.Some(int32(0)), Date: plan.Some(start - 8),
		})
		r.Goals = append(r.Goals, plan.Goal{Kind: plan.GoalRaise1RM, ExerciseID: id, Priority: 1})
		r.Constraints.Pinned = append(r.Constraints.Pinned, plan.Pin{ExerciseID: id, Group: group, EverySession: !grouped})
	}
	return r
}
