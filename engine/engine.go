package engine

import (
	"context"
	"fmt"
	"slices"

	"github.com/phasewright/phasewright/engine/audit"
	"github.com/phasewright/phasewright/engine/dose"
	"github.com/phasewright/phasewright/engine/exercise"
	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/load"
	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/engine/schedule"
)

// Versions of what decides a program beside the request; a change of behaviour in the
// engine or its rules is a new one.
const (
	Version      = "1"
	RulesVersion = "1"
)

// Engine turns requests into programs. It is immutable and safe for concurrent use.
type Engine struct {
	registry  Registry
	catalogue *exercise.Catalogue
	budget    int64
	brought   []plan.External    // what external strategies answered for a program that is made again
	observe   func(stage string) // called after each stage; for benchmarks
	watch     func(*schedule.Model, *schedule.Assignment)
	more      *extra // of the program being made; nil: none
}

// extra is work beyond the usual that a program's windows share.
type extra struct {
	work   int64
	solves int64 // that it is for
}

// New makes an engine with the strategies it may use.
func New(r Registry, cat *exercise.Catalogue) *Engine {
	return &Engine{registry: r, catalogue: cat, budget: schedule.DefaultBudget}
}

// WithBudget returns an engine that spends at most so much work (solver nodes) on the
// allocation of one window. Another budget may give another program.
func (e *Engine) WithBudget(work int64) *Engine {
	c := *e
	c.budget = work
	return &c
}

// Watched returns an engine that shows each allocation problem before it is solved, with the
// prior that it is solved against, or nil. They are lent: f copies what it keeps.
func (e *Engine) Watched(f func(m *schedule.Model, prior *schedule.Assignment)) *Engine {
	c := *e
	c.watch = f
	return &c
}

// searching gives the engine that looks as long as one program's request wants: a thorough
// search has for all windows together what is a thorough search of one, as a caller waits.
func (e *Engine) searching(s plan.Search) *Engine {
	if s != plan.SearchThorough {
		return e
	}
	c := *e
	c.more = &extra{work: e.budget * (schedule.ThoroughBudget/schedule.DefaultBudget - 1)}
	return &c
}

// expect says how many windows are still to be solved, each so many times.
func (e *Engine) expect(windows, times int) {
	if e.more != nil {
		e.more.solves = int64(windows * times)
	}
}

// solve has a window's problem solved within the engine's budget.
func (e *Engine) solve(ctx context.Context, m *schedule.Model, prior *schedule.Assignment) (schedule.Assignment, error) {
	if e.watch != nil {
		e.watch(m, prior)
	}
	budget := e.budget
	if e.more != nil {
		budget += max(0, e.more.work) / max(1, e.more.solves)
	}
	a, err := schedule.Solve(ctx, m, prior, budget)
	if e.more != nil && err == nil {
		e.more.work -= max(0, a.Work-e.budget)
		e.more.solves--
	}
	return a, err
}

// Strategies lists what the engine can run.
func (e *Engine) Strategies() []plan.Descriptor { return e.registry.List() }

// Strategy describes the strategy with this name (its newest version) or name@version;
// faults are those of Registry.Lookup.
func (e *Engine) Strategy(id string) (plan.Descriptor, error) {
	s, err := e.registry.Lookup(id)
	if err != nil {
		return plan.Descriptor{}, err
	}
	return s.Describe(), nil
}

// Catalogue gives the exercises.
func (e *Engine) Catalogue() *exercise.Catalogue { return e.catalogue }

// generation is the state of making one program.
type generation struct {
	engine     *Engine
	brief      *Brief
	safety     Safety
	bender     bender
	slots      [][]Slot
	outline    plan.Outline
	weeks      []*plan.OutlineWeek
	weekKind   []plan.WeekKind
	weekShare  []plan.Permille
	tests      []test
	caps       [plan.MuscleCount]plan.HalfSets
	doses      []dose.WeekDose
	strengths  *strengths
	excluded   map[string]bool
	menus      map[menuKey]*load.Menu
	found      map[foundKey]calibration
	finding    map[string]calibration            // in the session being made
	before     map[beforeKey]before              // what schemes came to the last time
	being      map[beforeKey]before              // the same of the session being made
	made       []timed                           // sessions, for what they took
	missed     [plan.MuscleCount]plan.HalfSets   // what the window's findings cover
	lastDirect [plan.MuscleCount]plan.Opt[int32] // day of the program
	blocked    [][plan.MuscleCount]bool          // by column of the window: trained too short a time before it
	noRamp     bool                              // the session being made has no time to find loads
	told       map[string]bool                   // exercises whose softened schemes have been told
	different  map[roleKey][]*occurrence
	twins      map[roleKey]int
	swapped    map[swapKey][]string
	findings   []plan.Finding
	rework     *rework // nil: made from nothing

	settledSets [][][]int32 // by week, candidate, column, where arms are compared; else nil
	program     plan.Program
}

// done tells an observer that a stage has ended.
func (e *Engine) done(stage string) {
	if e.observe != nil {
		e.observe(stage)
	}
}

// timed is what one session of a window's column took.
type timed struct {
	window *window
	column int
	took   plan.Seconds
	sets   int32
	moves  int32 // exercises
	direct [plan.MuscleCount]plan.HalfSets
}

// Generate makes the program of a request. Errors are faults: Invalid with every
// violation, Refused where safety says no, Infeasible where mandatory wishes clash, with
// ways out that were tried, Canceled when ctx ends. Equal requests give equal programs,
// byte for byte.
func (e *Engine) Generate(ctx context.Context, r plan.Request) (plan.Program, error) {
	p, err := e.generate(ctx, r)
	if err != nil {
		return plan.Program{}, e.relaxed(ctx, r, err)
	}
	return p, nil
}

func (e *Engine) generate(ctx context.Context, r plan.Request) (plan.Program, error) {
	requested, err := plan.DigestOf(r)
	if err != nil {
		return plan.Program{}, fault.Wrap(fault.Internal, "ENCODING", err)
	}
	g, err := e.prepare(ctx, r, plan.Opt[plan.Date]{})
	if err != nil {
		return plan.Program{}, err
	}
	return g.complete(ctx, requested)
}

// prepare settles a request and lays it out: calendar, outline, weekly wishes, strengths.
// last is as in settleBy.
func (e *Engine) prepare(ctx context.Context, r plan.Request, last plan.Opt[plan.Date]) (*generation, error) {
	b, err := e.settle(r, last)
	if err != nil {
		return nil, err
	}
	g := &generation{engine: e.searching(b.Request.Search), brief: b, menus: map[menuKey]*load.Menu{}, found: map[foundKey]calibration{}, finding: map[string]calibration{}, before: map[beforeKey]before{}, being: map[beforeKey]before{}, told: map[string]bool{}, different: map[roleKey][]*occurrence{}, twins: map[roleKey]int{}, swapped: map[swapKey][]string{}, excluded: map[string]bool{}}
	if g.safety, err = Judge(b); err != nil {
		return nil, err
	}
	g.bender = bender{safety: g.safety, spotted: b.Request.Athlete.Spotter.Value}
	for _, id := range b.Request.Constraints.Excluded {
		g.excluded[id] = true
	}
	for _, l := range b.Request.Constraints.Limits.MuscleSetsPerWeek {
		g.caps[l.Muscle] = l.Sets
	}
	if err := g.mandatory(); err != nil {
		return nil, err
	}
	e.done("settle")
	if err := g.shape(ctx); err != nil {
		return nil, err
	}
	return g, nil
}

// complete makes the sessions, audits them and seals the program.
func (g *generation) complete(ctx context.Context, requested string) (plan.Program, error) {
	e := g.engine
	if err := g.strengths.entry(); err != nil {
		return plan.Program{}, err
	}
	e.done("outline+dose")
	if err := g.fill(ctx); err != nil {
		return plan.Program{}, err
	}
	return g.seal(requested)
}

// seal adds all that is no set, audits the program and closes it.
func (g *generation) seal(requested string) (plan.Program, error) {
	e := g.engine
	g.finish(requested)
	e.done("finish")
	if err := g.check(); err != nil {
		return plan.Program{}, err
	}
	e.done("audit")
	if err := g.program.Seal(); err != nil {
		return plan.Program{}, fault.Wrap(fault.Internal, "ENCODING", err)
	}
	e.done("seal")
	return g.program, nil
}

// Audit re-checks a program, generated or written by hand, from its numbers alone.
func (e *Engine) Audit(p *plan.Program) []plan.Finding { return audit.Program(p, e.catalogue) }

// mandatory refuses pins and goal lifts that safety, restrictions or equipment rule
// out, naming both sides.
func (g *generation) mandatory() error {
	bad := fault.NewCollector(fault.Infeasible)
	r := &g.brief.Request
	check := func(path, id string) {
		ex, ok := g.brief.Catalogue.ByID(id)
		if !ok {
			return
		}
		if i := g.restriction(ex); i >= 0 {
			bad.Add("RESTRICTED", path, fmt.Sprintf("%s is ruled out by athlete.restrictions[%d]; take one of the two back", ex.Name, i))
		}
		if ex.Flags&g.safety.Forbidden != 0 {
			bad.Add("FORBIDDEN", path, ex.Name+" is not done in this stage of pregnancy; choose another exercise")
		}
		if ex.Pattern.Explosive() && !g.skilled(ex) {
			bad.Add("SKILL", path, ex.Name+" needs skill that athlete.skills does not state; state it, or learn it first with a coach")
		}
		if !g.somewhere(ex) {
			bad.Add("EQUIPMENT", path, fmt.Sprintf("%s can't be done at any place of the training days: %s", ex.Name, g.lacking(ex)))
		}
	}
	for i, goal := range r.Goals {
		if goal.Lift() {
			check(fmt.Sprintf("goals[%d].exercise_id", i), goal.ExerciseID)
		}
	}
	for i, p := range r.Constraints.Pinned {
		check(fmt.Sprintf("constraints.pinned[%d].exercise_id", i), p.ExerciseID)
	}
	return bad.Err()
}

func (g *generation) somewhere(ex *exercise.Exercise) bool {
	for i := range g.brief.Request.Constraints.Days {
		if ex.Available(g.place(g.brief.Request.Constraints.Days[i].PlaceID)) {
			return true
		}
	}
	return false
}

func (g *generation) lacking(ex *exercise.Exercise) string {
	p := g.place(g.brief.Request.Constraints.Days[0].PlaceID)
	says := ""
	for i, m := range ex.Missing(p) {
		if i > 0 {
			says += ", "
		}
		says += m.String()
	}
	if says == "" {
		return "no load that fits is there"
	}
	return placeName(p) + " lacks " + says
}

func (g *generation) place(id string) *plan.Place {
	places := g.brief.Request.Constraints.Places
	for i := range places {
		if places[i].ID == id {
			return &places[i]
		}
	}
	return &places[0]
}

func (g *generation) goalOf(id string) int {
	for i, goal := range g.brief.Request.Goals {
		if goal.Lift() && goal.ExerciseID == id {
			return i
		}
	}
	return -1
}

func (g *generation) pinOf(id string) int {
	for i, p := range g.brief.Request.Constraints.Pinned {
		if p.ExerciseID == id {
			return i
		}
	}
	return -1
}

// shape lays out calendar, outline, weekly wishes and strengths.
func (g *generation) shape(ctx context.Context) error {
	b := g.brief
	g.slots = Calendar(&b.Request)
	any := false
	for w := range g.slots {
		any = any || len(g.slots[w]) > 0
	}
	if !any {
		return fault.New(fault.Infeasible, "NO_SESSION", "constraints.no_training", "leaves no day to train on in the whole program")
	}
	var err error
	if g.outline, g.tests, err = g.engine.compose(ctx, b, g.slots); err != nil {
		return err
	}
	g.weeks = weeksOf(&g.outline)
	in := dose.Input{Status: b.Request.Athlete.Status, Goals: b.Request.Goals, Current: b.Current, Caps: g.caps,
		Costly: func(id string) bool {
			e, ok := b.Catalogue.ByID(id)
			return ok && e.Is(exercise.HardOnLowerBack) && e.Pattern == plan.Hinge
		}}
	for _, w := range g.weeks {
		g.weekKind = append(g.weekKind, w.Kind)
		g.weekShare = append(g.weekShare, w.Dose)
		kind, share := w.Of("")
		in.Weeks = append(in.Weeks, dose.Week{Kind: kind, Dose: share})
	}
	g.doseTracks(&in)
	g.doses = dose.Plan(in)
	g.strengths = newStrengths(b, g.weekKind, g.slots)
	return nil
}

// fill allocates window by window and prescribes week by week.
func (g *generation) fill(ctx context.Context) error {
	wins := windows(&g.outline, g.slots)
	if err := g.everywhere(wins); err != nil {
		return err
	}
	wins = g.rework.remaining(g, wins)
	of := make([]int, len(g.slots))
	for i := range wins {
		for _, week := range wins[i].list {
			of[week] = i
		}
	}
	done := make([]*allocated, len(wins))
	for week := range of {
		if g.rework.past(week, everyDay-1) {
			g.keepWeek(week)
			continue
		}
		w := &wins[of[week]]
		if len(w.sessions) == 0 {
			if err := g.emptyWeek(w, week); err != nil {
				return err
			}
			continue
		}
		if done[of[week]] == nil {
			g.engine.expect(len(wins)-of[week], g.solves())
			a, err := g.allocate(ctx, w, done)
			if err != nil {
				return err
			}
			done[of[week]] = a
			g.engine.done("allocate")
		}
		if err := g.prescribe(w, done[of[week]], week); err != nil {
			return err
		}
		g.engine.done("prescribe")
	}
	for i := range wins {
		switch {
		case done[i] == nil:
		case g.unmoved(done[i]):
			g.keepFindings(func(f *plan.Finding) bool { return slices.Contains(wins[i].list, int(f.Week)-1) })
		default:
			g.shortfalls(&wins[i], done[i])
			g.weekMisses(&wins[i])
		}
	}
	return g.filled()
}

// filled refuses a program without a session.
func (g *generation) filled() error {
	for _, ph := range g.program.Phases {
		for _, w := range ph.Weeks {
			if len(w.Sessions) > 0 {
				return nil
			}
		}
	}
	return fault.New(fault.Infeasible, "NOTHING_FITS", "constraints.days",
		"leave no session: nothing that trains something fits into any day with the equipment, restrictions and limits given; more minutes or equipment would help")
}

// everywhere refuses pins and goal lifts that no window can hold: a rotation has one
// list of exercises for all the places that its sessions fall on.
func (g *generation) everywhere(wins []window) error {
	bad := fault.NewCollector(fault.Infeasible)
	check := func(path, id string) {
		ex, ok := g.brief.Catalogue.ByID(id)
		if !ok {
			return
		}
		hard := false
		for i := range wins {
			switch {
			case !g.possible(ex, &wins[i]):
			case g.outOfReach(ex, &wins[i]):
				hard = true
			default:
				return
			}
		}
		if hard {
			bad.Add("TOO_HARD", path, "what the athlete has shown is too little for sets of "+ex.Name+" with repetitions in reserve at the lightest that is there; choose an easier version")
			return
		}
		bad.Add("EQUIPMENT", path, ex.Name+" can't be done at all the places that any one kind of session falls on; move those days to one place, or choose a strategy without rotating workouts")
	}
	for i, goal := range g.brief.Request.Goals {
		if goal.Lift() {
			check(fmt.Sprintf("goals[%d].exercise_id", i), goal.ExerciseID)
		}
	}
	for i, p := range g.brief.Request.Constraints.Pinned {
		check(fmt.Sprintf("constraints.pinned[%d].exercise_id", i), p.ExerciseID)
	}
	return bad.Err()
}

// allocated is a window's answer.
type allocated struct {
	window *window
	picks  []pick
	model  *schedule.Model
	tapers bool // sets are held to the taper's share of those before it
	answer schedule.Assignment
	held   *hold  // what stays of an earlier program
	whole  []bool // columns that do, all of them
}

// solves is how many times a window may be solved.
func (g *generation) solves() int {
	if g.rework != nil {
		return reallocations
	}
	return 1
}

func (g *generation) allocate(ctx context.Context, w *window, done []*allocated) (*allocated, error) {
	if g.rework != nil {
		return g.reallocate(ctx, w, done)
	}
	a := &allocated{window: w, picks: g.shortlist(w)}
	g.blocked = g.tooSoon(w, done)
	var err error
	for _, try := range tries(g.taperSets(w)) {
		if a.model, err = g.allocationModel(w, a.picks, try.zones); err != nil {
			return nil, err
		}
		if a.tapers = try.most > 0; a.tapers {
			w.limitSets(a.model, try.most)
		}
		g.engine.done("model")
		a.answer, err = g.engine.solve(ctx, a.model, g.prior(a, nearest(w, done)))
		if f, ok := fault.As(err); !ok || f.Kind != fault.Infeasible {
			break
		}
	}
	if err != nil {
		return nil, err
	}
	return g.settled(a), nil
}

// try is how much a window's model asks of its answer.
type try struct {
	zones bool  // goal lifts on as many days as they have different work
	most  int32 // sets a week; 0: as many as fit
}

// tries are what is asked one after the other until something can be done: every zone
// and a taper's share of the sets, then more sets, as pins and lifts have a least of
// theirs, and last neither.
func tries(most int32) []try {
	var out []try
	if most > 0 {
		out = append(out, try{true, most})
		for _, more := range [...]int32{4, 5, 6, 7} {
			out = append(out, try{false, most * more / 4})
		}
	}
	return append(out, try{true, 0}, try{false, 0})
}

// nearest is the window that a new one should be like: the latest before it at the same
// places, else the latest.
func nearest(w *window, done []*allocated) *allocated {
	var last, alike *allocated
	for _, a := range done {
		if a == nil {
			continue
		}
		last = a
		same := true
		for i := range w.columns {
			for j := range a.window.columns {
				x, y := &w.columns[i], &a.window.columns[j]
				same = same && (x.key != y.key || slices.Equal(x.places, y.places))
			}
		}
		if same {
			alike = a
		}
	}
	if alike != nil {
		return alike
	}
	return last
}

// prior carries another window over, exercise by exercise and column by column, so
// that exercises change only for a reason. Where less is wanted than there, as in a
// taper, sets are carried over in proportion.
func (g *generation) prior(a, before *allocated) *schedule.Assignment {
	if before == nil {
		return nil
	}
	share := min(1000, g.wantedSets(a.window)*1000/max(1, g.wantedSets(before.window)))
	out := &schedule.Assignment{Sets: make([][]int32, len(a.picks))}
	for i := range a.picks {
		out.Sets[i] = make([]int32, len(a.window.columns))
		for j := range before.picks {
			if before.picks[j].ex.ID != a.picks[i].ex.ID {
				continue
			}
			for c := range a.window.columns {
				for d := range before.window.columns {
					if before.window.columns[d].key == a.window.columns[c].key {
						n := before.answer.Sets[j][d]
						out.Sets[i][c] = max(min(n, 1), int32((int64(n)*share+500)/1000))
					}
				}
			}
		}
	}
	return out
}

// wantedSets sums a window's wishes for all muscles, in half sets.
func (g *generation) wantedSets(w *window) int64 {
	sum, peak := int64(0), g.heaviest(w)
	for m := range peak.Muscles {
		sum += int64(peak.Muscles[m].Wanted)
	}
	return sum
}

// check audits what was made; a violation is a bug and is never returned.
func (g *generation) check() error {
	var bad []string
	for _, f := range audit.Program(&g.program, g.engine.catalogue) {
		if f.Level == plan.LevelViolation {
			bad = append(bad, fmt.Sprintf("%s (week %d, session %d, %s): %s", f.Rule, f.Week, f.Session, f.ExerciseID, f.Says))
			continue
		}
		g.program.Findings = append(g.program.Findings, f)
	}
	if len(bad) == 0 {
		return nil
	}
	err := fault.NewCollector(fault.Internal)
	for _, b := range bad {
		err.Add("AUDIT", "", b)
	}
	return err.Err()
}
