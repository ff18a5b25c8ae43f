package app

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/phasewright/phasewright/engine"
	"github.com/phasewright/phasewright/engine/exercise"
	"github.com/phasewright/phasewright/engine/plan"
)

// curveCheck holds a program's loads against the athlete's curve as curveModel has it,
// and its reserves against the outline.
type curveCheck struct {
	m       *curveModel
	p       *plan.Program
	cat     *exercise.Catalogue
	outline []plan.OutlineWeek
	bad     []string

	held, coarse, open, ends, unlisted, reserves, told int
	misses                                             []float64 // repetitions off, by the cubic
	worst                                              float64
	where                                              string
}

func checkCurve(m *curveModel, cat *exercise.Catalogue, p *plan.Program, o *plan.Outline) *curveCheck {
	c := &curveCheck{m: m, p: p, cat: cat}
	for i := range o.Phases {
		c.outline = append(c.outline, o.Phases[i].Weeks...)
	}
	if len(c.outline) != p.WeekCount() {
		c.wrong("the program has %d weeks, the outline %d", p.WeekCount(), len(c.outline))
		return c
	}
	c.run()
	return c
}

func (c *curveCheck) wrong(format string, args ...any) {
	c.bad = append(c.bad, fmt.Sprintf(format, args...))
}

func (c *curveCheck) run() {
	for i := range c.p.Phases {
		for j := range c.p.Phases[i].Weeks {
			w := &c.p.Phases[i].Weeks[j]
			var train []*plan.Session
			for k := range w.Sessions {
				s := &w.Sessions[k]
				if s.Kind == plan.SessionTraining {
					train = append(train, s)
				}
				for n := range s.Exercises {
					c.exercise(w, s, &s.Exercises[n])
				}
			}
			asked := c.outline[w.Number-1]
			var sessions []*plan.OutlineSession
			for k := range asked.Sessions {
				if asked.Sessions[k].Kind == plan.SessionTraining {
					sessions = append(sessions, &asked.Sessions[k])
				}
			}
			if len(sessions) != len(train) {
				c.wrong("week %d has %d sessions, the outline %d", w.Number, len(train), len(sessions))
				continue
			}
			for k, s := range train {
				for n := range s.Exercises {
					c.reserve(w, s, &s.Exercises[n], sessions[k])
				}
			}
		}
	}
}

// exercise follows an athlete through the sets of an exercise.
func (c *curveCheck) exercise(w *plan.Week, s *plan.Session, e *plan.ProgramExercise) {
	x, ok := c.cat.ByID(e.ExerciseID)
	if !ok {
		c.wrong("week %d has %q, which the catalogue lacks", w.Number, e.ExerciseID)
		return
	}
	i := slices.IndexFunc(c.p.Strengths, func(s plan.Strength) bool { return s.ExerciseID == e.ExerciseID })
	if i < 0 {
		for k := range e.Sets {
			if e.Sets[k].Load.Set {
				c.unlisted++
			}
		}
		return
	}
	known := &c.p.Strengths[i]
	slope := float64(known.Slope) / 1000
	one := float64(known.Planned[w.Number-1])
	body := 0.0
	if b := c.p.Request.Athlete.BodyMass; b.Set {
		body = float64(b.Value.Grams()) * float64(known.Share) / 1000
	}
	last := 0
	for k := range e.Sets {
		if e.Sets[k].Load.Set && e.Sets[k].Kind != plan.SetWarmup {
			last = k
		}
	}
	var d [readings]debt
	for k := range e.Sets {
		set := &e.Sets[k]
		if set.Kind == plan.SetWarmup {
			continue
		}
		if !set.Load.Set || set.Expected <= 0 {
			return // what it costs is not known
		}
		grams := float64(set.Load.Value.Grams()) + body
		sign := 1.0
		if x.Loading == plan.LoadingAssisted { // its load is what it takes off
			sign = -1
			grams = body - float64(set.Load.Value.Grams())
		}
		var can [readings]float64
		half := 0.0
		for r := range readings {
			fresh := c.m.fresh(r, known.Curve, slope, grams/one)
			can[r] = c.m.capacity(fresh, d[r])
			if r == cubic {
				half = c.halfStep(x, s.PlaceID, set.Load.Value, func(to float64) float64 {
					return c.m.capacity(c.m.fresh(r, known.Curve, slope, (sign*to+body)/one), d[r]) - can[r]
				})
				if fresh >= curveReps {
					can[r] = math.Inf(1) // lighter than the curve goes: at least so many
				}
			}
			done := float64(set.Expected)
			if set.ToFailure {
				done = max(done, c.m.capacity(fresh, d[r]))
			}
			d[r] = c.m.after(d[r], fresh, done, set.Rest)
		}
		c.held++
		c.set(set, can, max(0.5, half), k == last, fmt.Sprintf("week %d %s %s set %d: %d–%d @ %s, expected %d, RIR %d", w.Number, s.Weekday, e.ExerciseID, k+1, set.Reps.Min, set.Reps.Max, set.Load.Value, set.Expected, set.RIR.Or(-1)))
	}
}

// byTenths is what counting in tenths loses: half a tenth each in the fresh repetitions,
// in what is left of them, and in what the sets before have cost.
const byTenths = 0.15

// apart is the most that the reading between anchors may excuse. What is published leaves
// it open: cubic and log-linear differ by up to 0.4 repetitions above 75 %, and by 1.9 in
// the leg press at 65 %, where studies of different people meet.
const apart = 0.35

// set holds repetitions and reserve against what is possible, to the repetitions that the
// step of the equipment allows.
func (c *curveCheck) set(set *plan.Set, can [readings]float64, step float64, last bool, where string) {
	least, most := slices.Min(can[:]), slices.Max(can[:])
	said := float64(set.Expected)
	if !set.RIR.Set { // an intensity alone, or a single: it has to be possible
		if said > most+step+byTenths {
			c.wrong("%s: %.2f to %.2f are possible", where, least, most)
		}
		return
	}
	if lo := float64(set.Reps.Min + set.RIR.Value); last && lo > most+step+byTenths {
		c.wrong("%s: the lower end of the range leaves less, %.2f to %.2f are possible", where, least, most)
	}
	said += float64(set.RIR.Value)
	if math.IsInf(can[cubic], 1) && said <= curveReps {
		c.ends++
		return
	}
	off := math.Abs(said - can[cubic])
	c.misses = append(c.misses, off)
	if off > c.worst {
		c.worst, c.where = off, where
	}
	if off > 0.5 {
		c.coarse++
	}
	if off > step {
		c.open++
	}
	if said > most+step+byTenths || said < least-step-byTenths || off > step+apart {
		c.wrong("%s: %.2f to %.2f are possible, half a step is %.2f", where, least, most, step)
	}
}

// halfStep is half of what the next load, up or down, changes in repetitions.
func (c *curveCheck) halfStep(x *exercise.Exercise, place string, l plan.Load, moves func(grams float64) float64) float64 {
	i := slices.IndexFunc(c.p.Request.Constraints.Places, func(p plan.Place) bool { return p.ID == place })
	here := &c.p.Request.Constraints.Places[i]
	g := float64(l.Grams())
	up, down := g, g
	switch x.Loading {
	case plan.LoadingBar, plan.LoadingPlateMachine, plan.LoadingAdded:
		least, pair := math.Inf(1), int32(2)
		if x.Loading == plan.LoadingAdded {
			pair = 1
		}
		for _, p := range here.Plates {
			if p.Count >= pair {
				least = min(least, float64(pair)*float64(p.Mass.Grams()))
			}
		}
		if !math.IsInf(least, 1) {
			up, down = g+least, g-least
		}
	case plan.LoadingStack, plan.LoadingAssisted:
		for _, k := range here.Stacks {
			if x.Loading == plan.LoadingAssisted && k.Kind != plan.AssistedPullUpMachine && k.Kind != plan.EquipmentUnspecified {
				continue
			}
			up, down = g+float64(k.Step.Grams()), g-float64(k.Step.Grams())
		}
	default:
		up, down = math.Inf(1), math.Inf(-1)
		for _, h := range slices.Concat(here.Dumbbells, here.Kettlebells) {
			if m := float64(h.Mass.Grams()); m > g {
				up = min(up, m)
			} else if m < g {
				down = max(down, m)
			}
		}
	}
	half := 0.0
	for _, to := range []float64{up, down} {
		if to > 0 && !math.IsInf(to, 1) {
			half = max(half, math.Abs(moves(to))/2)
		}
	}
	return half
}

var (
	saysKeep = regexp.MustCompile(`Keep at least (\d+) in reserve`)
	saysStop = regexp.MustCompile(`stop with (\d+) in reserve`)
)

// reserve wants the reserve of working sets within one of what the outline asks, or a
// word on why not.
func (c *curveCheck) reserve(w *plan.Week, s *plan.Session, e *plan.ProgramExercise, asked *plan.OutlineSession) {
	lo, hi := int32(math.MaxInt32), int32(-1)
	for _, scheme := range asked.Find(e.Role, e.Track) {
		if want := scheme.Effort.Wanted(); want.Set {
			lo, hi = min(lo, want.Value), max(hi, want.Value)
		}
	}
	if hi < 0 {
		return
	}
	for _, re := range []*regexp.Regexp{saysKeep, saysStop} {
		if said := re.FindStringSubmatch(e.Note); said != nil {
			n, _ := strconv.Atoi(said[1])
			lo, hi = max(lo, int32(n)), max(hi, int32(n))
		}
	}
	for k := range e.Sets {
		set := &e.Sets[k]
		if set.Kind != plan.SetWorking || !set.RIR.Set || !set.Load.Set {
			continue
		}
		c.reserves++
		if set.RIR.Value >= lo-1 && set.RIR.Value <= hi+1 {
			continue
		}
		if slices.ContainsFunc(c.p.Findings, func(f plan.Finding) bool {
			return (f.Rule == engine.RuleOff || f.Rule == engine.RuleSoftened) && (f.ExerciseID == e.ExerciseID || f.ExerciseID == "") && f.Week <= w.Number
		}) {
			c.told++
			continue
		}
		c.wrong("week %d %s %s set %d: RIR %d, the outline asks %d to %d, note %q", w.Number, s.Weekday, e.ExerciseID, k+1, set.RIR.Value, lo, hi, e.Note)
	}
}

// add joins another program's counts.
func (c *curveCheck) add(o *curveCheck) {
	c.held, c.coarse, c.open, c.ends, c.unlisted = c.held+o.held, c.coarse+o.coarse, c.open+o.open, c.ends+o.ends, c.unlisted+o.unlisted
	c.reserves, c.told = c.reserves+o.reserves, c.told+o.told
	c.misses = append(c.misses, o.misses...)
	if o.worst > c.worst {
		c.worst, c.where = o.worst, o.where
	}
}

// within gives how far off that share of the sets is at most.
func (c *curveCheck) within(share float64) float64 {
	if len(c.misses) == 0 {
		return 0
	}
	slices.Sort(c.misses)
	return c.misses[int(share*float64(len(c.misses)-1))]
}

func (c *curveCheck) String() string {
	return fmt.Sprintf("%4d sets; by the cubic half within %.2f, 99 of 100 within %.2f, all within %.2f; %d beyond half a repetition, %d beyond half a step too; %d lighter than the curve goes; %d of no listed strength; %d reserves, %d told; worst %s",
		c.held, c.within(0.5), c.within(0.99), c.worst, c.coarse, c.open, c.ends, c.unlisted, c.reserves, c.told, c.where)
}

// TestLoadsAgreeWithCurve: in every program of the scenarios and the protocols, what a
// set's repetitions and reserve add up to is what is possible at its load after the sets
// before it, to half a repetition or half a step of the equipment; and the reserve is
// within one of the outline's, or the program says why not.
func TestLoadsAgreeWithCurve(t *testing.T) {
	t.Parallel()
	e, err := NewEngine()
	require.NoError(t, err)
	m := readCurveModel(t)
	programs := 0
	var all curveCheck
	check := func(t *testing.T, name string, p *plan.Program, o *plan.Outline) {
		c := checkCurve(m, catalogueOf(t, e, p), p, o)
		t.Logf("%-34s %s", name, c)
		for _, b := range c.bad {
			t.Errorf("%s: %s", name, b)
		}
		if c.held > 0 {
			programs++
		}
		all.add(c)
	}
	for _, name := range scenarioNames(t) {
		if _, err := os.Stat(filepath.Join(scenarios, name, "refusal.txt")); err == nil {
			continue
		}
		p, err := generate(e, name)
		require.NoError(t, err)
		o, err := e.Outline(t.Context(), p.Request)
		require.NoError(t, err)
		check(t, name, &p, &o)
	}
	require.GreaterOrEqual(t, programs, 14)
	files, err := filepath.Glob(filepath.Join(protocols, "*.yaml"))
	require.NoError(t, err)
	for _, file := range files {
		data, err := os.ReadFile(file)
		require.NoError(t, err)
		s, err := readStudy(data)
		require.NoError(t, err)
		for i := range s.Arms {
			r := s.Arms[i].request(t)
			p, err := e.Generate(t.Context(), r)
			require.NoError(t, err)
			o, err := e.Outline(t.Context(), r)
			require.NoError(t, err)
			check(t, strings.TrimSuffix(filepath.Base(file), ".yaml")+" "+s.Arms[i].Name, &p, &o)
		}
	}
	t.Logf("%d programs with known strengths: %s", programs, &all)
	require.Greater(t, all.held, 5000)
	require.Greater(t, all.reserves, 3000)
	require.Less(t, all.within(0.98), 0.6, "by the cubic alone")
}

// TestLoadsAgreeWithCurveCatches spoils a program in one place at a time.
func TestLoadsAgreeWithCurveCatches(t *testing.T) {
	e, err := NewEngine()
	require.NoError(t, err)
	m := readCurveModel(t)
	const name, id = "intermediate-squat-bench", "bench-press"
	for _, c := range []struct {
		what, says string
		spoil      func(p *plan.Program, sets []plan.Set)
	}{
		{"nothing", "", func(*plan.Program, []plan.Set) {}},
		{"a load two steps heavier", "are possible", func(_ *plan.Program, s []plan.Set) { s[0].Load.Value.Milli += 5000 }},
		{"a load two steps lighter", "are possible", func(_ *plan.Program, s []plan.Set) { s[0].Load.Value.Milli -= 5000 }},
		{"the last set two repetitions longer", "are possible", func(_ *plan.Program, s []plan.Set) { s[len(s)-1].Expected += 2 }},
		{"all sets with a minute's rest", "are possible", func(_ *plan.Program, s []plan.Set) {
			for i := range s {
				s[i].Rest = 60
			}
		}},
		{"a range that starts too high", "the lower end of the range", func(_ *plan.Program, s []plan.Set) {
			for i := range s {
				s[i].Reps = plan.Range{Min: 8, Max: 10}
			}
		}},
		{"a 1RM 5 % too high", "are possible", func(p *plan.Program, _ []plan.Set) {
			i := slices.IndexFunc(p.Strengths, func(s plan.Strength) bool { return s.ExerciseID == id })
			for w := range p.Strengths[i].Planned {
				p.Strengths[i].Planned[w] += p.Strengths[i].Planned[w] / 20
			}
		}},
		{"another slope", "are possible", func(p *plan.Program, _ []plan.Set) {
			for i := range p.Strengths {
				p.Strengths[i].Slope = 1250
			}
		}},
		{"repetitions for reserve", "the outline asks", func(_ *plan.Program, s []plan.Set) {
			for i := range s {
				s[i].Expected -= 3
				s[i].RIR.Value += 3
			}
		}},
		{"a session fewer", "sessions, the outline", func(p *plan.Program, _ []plan.Set) {
			w := &p.Phases[0].Weeks[0]
			w.Sessions = w.Sessions[:len(w.Sessions)-1]
		}},
	} {
		t.Run(c.what, func(t *testing.T) {
			p, err := generate(e, name)
			require.NoError(t, err)
			o, err := e.Outline(t.Context(), p.Request)
			require.NoError(t, err)
			var work []plan.Set
			for _, s := range p.Phases[0].Weeks[0].Sessions {
				for k := range s.Exercises {
					x := &s.Exercises[k]
					first := slices.IndexFunc(x.Sets, func(s plan.Set) bool { return s.Kind != plan.SetWarmup })
					if x.ExerciseID == id && work == nil {
						work = x.Sets[first:]
					}
				}
			}
			require.NotEmpty(t, work)
			c.spoil(&p, work)
			bad := checkCurve(m, catalogueOf(t, e, &p), &p, &o).bad
			if c.says == "" {
				require.Empty(t, bad)
				return
			}
			require.Contains(t, strings.Join(bad, "\n"), c.says)
		})
	}
}
