package conduct

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"math"
	"reflect"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/engine/trial/analyse"
	"github.com/phasewright/phasewright/engine/trial/assign"
	"github.com/phasewright/phasewright/engine/trial/draw"
	"github.com/phasewright/phasewright/engine/trial/report"
	"github.com/phasewright/phasewright/engine/trial/sequential"
)

var secret = draw.Key(strings.Repeat("invented", draw.KeyBytes/8))

func protocol() Protocol {
	return Protocol{
		ID: "strength-first", Title: "Strength first, or size throughout?", Question: "Does a strength phase first build more size?", UnitOf: "athlete",
		Arms: []Arm{{ID: "size", Name: "size throughout", Ratio: 1}, {ID: "strength", Name: "strength first", Ratio: 1, HeavyLow: true}},
		Rule: plan.EquateHardSets, LeadIn: 3, Weeks: 8, Eligible: Eligible{Lift: "back-squat", RatioPermille: 1500, Months: 24},
		Outcomes: []Outcome{
			{ID: "thickness", Name: "muscle thickness", Unit: "mm", Method: "ultrasound", Mid: true, Smallest: 500, Possible: &[2]int64{5_000, 60_000}, Prior: &Prior{SD: 1000}},
			{ID: "squat", Name: "back squat 1RM", Unit: "kg", Method: "a test", OneRM: true, Smallest: 2_500, TypicalError: 3_000},
		},
		Tests:    Tests{FromHours: 48, ToHours: 96, Familiarisation: 2},
		Scheme:   Scheme{Kind: assign.MatchedPairs, Covariates: []string{"squat", "months"}},
		Analysis: Analysis{LevelPermille: 950, Draws: 499, Seed: 1, Spending: sequential.OBrienFleming, PlannedSE: 100},
	}
}

// keeper runs a trial: stamps follow each other, and everything is kept as JSON.
type keeper struct {
	t  require.TestingT
	tr *Trial
	at int64
	z  draw.Normal
}

func start(t require.TestingT, p Protocol) *keeper {
	tr, err := Open(nil)
	require.NoError(t, err)
	k := &keeper{t: t, tr: tr, at: 1_767_600_000_000, z: draw.Normal{Source: draw.Fast(5, 5)}}
	k.must(Body{Created: &Created{p}}, nil)
	return k
}

func (k *keeper) freeze() *keeper {
	hash, err := k.tr.Protocol().Hash()
	require.NoError(k.t, err)
	k.must(Body{Frozen: &Frozen{hash, secret.Commitment()}}, nil)
	return k
}

func (k *keeper) try(b Body, p *Private) error {
	k.at += 1000
	salt := sha256.Sum256(fmt.Append(nil, k.at))
	_, err := k.tr.Append(Stamp{k.at, "coach", salt[:SaltBytes]}, b, p)
	return err
}

func (k *keeper) must(b Body, p *Private) {
	require.NoError(k.t, k.try(b, p))
}

func (k *keeper) measured(id, outcome string, when When, value float64) {
	v := int64(math.Round(1000 * value))
	k.must(Body{Measured: &Measured{Participant: id, Outcome: outcome, When: when, Blind: true}}, &Private{By: "an assessor", Value: &v})
}

// ready lets an athlete join, with baselines and a program under every arm.
func (k *keeper) ready(id, unit string) {
	k.must(Body{Joined: &Joined{id, unit, true}}, nil)
	level := 25 + 3*k.z.Next()
	for _, o := range k.tr.Protocol().Outcomes {
		k.measured(id, o.ID, Baseline, level+0.3*k.z.Next())
		k.measured(id, o.ID, Baseline, level+0.3*k.z.Next())
	}
	k.must(Body{Feasible: &Feasible{Participant: id}}, nil)
}

func (k *keeper) draw(unit string) error {
	list, err := k.tr.Draw(secret, unit)
	if err != nil {
		return err
	}
	for _, b := range list {
		k.must(b, nil)
	}
	return nil
}

// runs makes a whole trial of n athletes in pairs, with a look in the middle.
func runs(t require.TestingT, n int, effect float64, leave func(i int, arm int) bool) *keeper {
	k := start(t, protocol()).freeze()
	k.must(Body{Excluded: &Excluded{}}, &Private{Text: "squat below 1.5 times body mass"})
	for i := range n {
		id := fmt.Sprintf("p%02d", i+1)
		k.ready(id, id)
		k.must(Body{Enrolled: &Enrolled{Unit: id, Covariates: []int64{int64(110 + i*37%60), int64(24 + i*23%70)}}}, nil)
	}
	k.must(Body{Closed: &Closed{}}, nil)
	for _, u := range k.tr.Enrolled() {
		if err := k.draw(u.ID); err != nil {
			require.ErrorContains(t, err, "has its arm", "told with its partner")
		}
	}
	for i, a := range k.tr.Assigned() {
		k.must(Body{Adherence: &Adherence{a.Unit, 900, true}}, nil)
		if leave(i, a.Arm) {
			k.must(Body{Withdrawn: &Withdrawn{a.Unit}}, &Private{Text: "no time"})
			continue
		}
		if i%9 == 4 {
			k.must(Body{Happened: &Happened{Participant: a.Unit, Kind: report.Adverse}}, &Private{Text: "knee pain"})
		}
		for _, o := range k.tr.Protocol().Outcomes {
			level := k.tr.byID[a.Unit].value(o.ID, Baseline).Value
			k.measured(a.Unit, o.ID, End, level+1+effect*float64(a.Arm)+0.4*k.z.Next())
		}
		if i == n/2 && effect != 0 {
			l, shown, err := k.tr.Look(plan.Date(20_500), false)
			require.NoError(t, err)
			require.NotEmpty(t, shown.Says)
			k.must(Body{Looked: &l}, nil)
		}
	}
	k.must(Body{Ended: &Ended{}}, nil)
	k.must(Body{Revealed: &Revealed{hex.EncodeToString(secret)}}, nil)
	return k
}

func nobody(int, int) bool { return false }

// stored is what a store gives back.
func stored(t require.TestingT, events []Event) []Event {
	text, err := json.Marshal(events)
	require.NoError(t, err)
	var out []Event
	require.NoError(t, json.Unmarshal(text, &out))
	return out
}

// A trial from protocol to report, with an effect and without, kept as JSON and opened
// again: the same answer, every arm drawn again from the key.
func TestTrialFromProtocolToReport(t *testing.T) {
	for effect, want := range map[float64]analyse.Reading{1.2: analyse.HigherWorth, 0: analyse.Alike} {
		k := runs(t, 60, effect, func(i, _ int) bool { return i%14 == 5 })
		events := stored(t, k.tr.Events())
		v, err := Verify(events)
		require.NoError(t, err)
		require.True(t, v.Replayed)
		require.Equal(t, 60, v.Arms)
		again, err := Open(events)
		require.NoError(t, err)
		a, err := again.Answer(0)
		require.NoError(t, err)
		require.Equal(t, want, a.Answers[0].Reading, "%+v", a.Answers[0].Primary)
		in, err := again.Report()
		require.NoError(t, err)
		r, err := report.Make(in)
		require.NoError(t, err)
		require.True(t, r.Verified)
		require.Equal(t, 61, r.Flow.Assessed)
		require.Equal(t, 60, r.Flow.Enrolled)
		require.Len(t, r.Looks, map[bool]int{true: 2}[effect != 0], "one on the way, and then the end's")
		require.Equal(t, 60, r.Outcomes[0].Reliability.Athletes, "from repeats")
		require.InDelta(t, 0.3, *r.Outcomes[0].TypicalError, 0.15)
		require.Contains(t, r.Markdown(nil), "60 were measured twice at the start: typical error 0.")
		require.Contains(t, r.Page(), "a practised test")
		require.NotContains(t, r.Markdown(nil), "NaN")
		other, err := k.tr.Answer(0)
		require.NoError(t, err)
		require.Equal(t, other, a)
	}
}

// Whatever is changed, lost, doubled, moved or put in is found.
func TestTamperingIsFound(t *testing.T) {
	events := runs(t, 8, 0, nobody).tr.Events()
	_, err := Verify(stored(t, events))
	require.NoError(t, err)
	for name, spoil := range map[string]func(e []Event) []Event{
		"time":     func(e []Event) []Event { e[4].At++; return e },
		"actor":    func(e []Event) []Event { e[4].Actor = "x"; return e },
		"protocol": func(e []Event) []Event { e[0].Body.Created.Protocol.Weeks++; return e },
		"covariate": func(e []Event) []Event {
			find(e, func(b *Body) bool { return b.Enrolled != nil }).Body.Enrolled.Covariates[0]++
			return e
		},
		"arm": func(e []Event) []Event {
			a := find(e, func(b *Body) bool { return b.Assigned != nil })
			a.Body.Assigned.Assignment.Arm ^= 1
			return e
		},
		"value": func(e []Event) []Event {
			*find(e, func(b *Body) bool { return b.Measured != nil }).Private.Value += 1
			return e
		},
		"text":  func(e []Event) []Event { e[2].Private.Text = "another"; return e },
		"lost":  func(e []Event) []Event { return slices.Delete(e, 5, 6) },
		"twice": func(e []Event) []Event { return slices.Insert(e, 5, e[4]) },
		"moved": func(e []Event) []Event { e[5], e[6] = e[6], e[5]; return e },
		"none":  func([]Event) []Event { return nil },
	} {
		_, err := Verify(spoil(stored(t, events)))
		f, is := fault.As(err)
		require.True(t, is, name)
		require.Equal(t, ReasonChain, f.Violations[0].Reason, name)
	}
}

func find(events []Event, fits func(*Body) bool) *Event {
	for i := range events {
		if fits(&events[i].Body) {
			return &events[i]
		}
	}
	return nil
}

// Someone who writes a whole chain anew, with hashes that fit, still can't change an arm.
func TestRewrittenChainFailsReplay(t *testing.T) {
	events := stored(t, runs(t, 8, 0, nobody).tr.Events())
	for i := range events {
		if a := events[i].Body.Assigned; a != nil {
			a.Assignment.Arm ^= 1
		}
		if i > 0 {
			events[i].Prev = events[i-1].Hash
		}
		var err error
		events[i].Hash, err = events[i].digest()
		require.NoError(t, err)
	}
	_, err := Open(events)
	require.NoError(t, err, "the chain itself is whole")
	_, err = Verify(events)
	f, is := fault.As(err)
	require.True(t, is)
	require.Equal(t, assign.ReasonReplay, f.Violations[0].Reason)
}

// Erasing takes values and words away for good; the chain and every arm still hold.
func TestErasing(t *testing.T) {
	events := stored(t, runs(t, 20, 0, nobody).tr.Events())
	held := 0
	for _, e := range events {
		if e.Body.Participant() == "p03" && e.Private != nil {
			held++
		}
	}
	n := Erase(events, "p03")
	require.Equal(t, held, n)
	require.GreaterOrEqual(t, n, 6, "four values at the start, two at the end")
	text, err := json.Marshal(events)
	require.NoError(t, err)
	v, err := Verify(stored(t, events))
	require.NoError(t, err)
	require.True(t, v.Replayed)
	require.Equal(t, n, v.Erased)
	for _, e := range events {
		if e.Body.Participant() == "p03" {
			require.Nil(t, e.Private)
			require.Empty(t, e.Salt)
		}
	}
	require.NotContains(t, string(text), `"private":null`)
	again, err := Open(events)
	require.NoError(t, err)
	in, err := again.Report()
	require.NoError(t, err)
	r, err := report.Make(in)
	require.NoError(t, err)
	require.Equal(t, 19, r.Outcomes[0].Arms[0].End.N+r.Outcomes[0].Arms[1].End.N)
	require.Zero(t, Erase(events, "p03"))
}

// A step that comes too early, too late or twice is refused and changes nothing.
func TestOrderIsKept(t *testing.T) {
	value := int64(25_000)
	is := &Private{Value: &value}
	joined := func(k *keeper) { k.ready("a", "a") }
	enrolled := func(k *keeper) {
		joined(k)
		k.must(Body{Enrolled: &Enrolled{Unit: "a", Covariates: []int64{1, 2}}}, nil)
	}
	ended := func(k *keeper) { k.must(Body{Ended: &Ended{}}, nil) }
	for name, c := range map[string]struct {
		before func(*keeper)
		body   Body
		with   *Private
		says   string
	}{
		"created twice":        {nil, Body{Created: &Created{protocol()}}, nil, "a second time"},
		"frozen twice":         {nil, Body{Frozen: &Frozen{}}, nil, "a second time"},
		"no consent":           {nil, Body{Joined: &Joined{"a", "a", false}}, nil, "nobody joins without it"},
		"joined twice":         {joined, Body{Joined: &Joined{"a", "a", true}}, nil, "has joined"},
		"another unit":         {nil, Body{Joined: &Joined{"a", "b", true}}, nil, "it is the participant"},
		"enrolled unknown":     {nil, Body{Enrolled: &Enrolled{Unit: "x", Covariates: []int64{1, 2}}}, nil, "nobody who joined"},
		"enrolled too early":   {func(k *keeper) { k.must(Body{Joined: &Joined{"a", "a", true}}, nil) }, Body{Enrolled: &Enrolled{Unit: "a", Covariates: []int64{1, 2}}}, nil, "no baseline of thickness"},
		"without covariates":   {joined, Body{Enrolled: &Enrolled{Unit: "a"}}, nil, "unit.covariates"},
		"enrolled twice":       {enrolled, Body{Enrolled: &Enrolled{Unit: "a", Covariates: []int64{1, 2}}}, nil, "is enrolled"},
		"infeasible":           {func(k *keeper) { joined(k); k.must(Body{Feasible: &Feasible{"a", []string{"strength"}}}, nil) }, Body{Enrolled: &Enrolled{Unit: "a", Covariates: []int64{1, 2}}}, nil, "under strength"},
		"unknown arm":          {joined, Body{Feasible: &Feasible{"a", []string{"x"}}}, nil, "ids of arms"},
		"feasible afterwards":  {enrolled, Body{Feasible: &Feasible{Participant: "a"}}, nil, "enrolled already"},
		"baseline afterwards":  {enrolled, Body{Measured: &Measured{Participant: "a", Outcome: "thickness", When: Baseline, Blind: true}}, is, "enrolled already"},
		"end before the arm":   {enrolled, Body{Measured: &Measured{Participant: "a", Outcome: "thickness", When: End, Blind: true}}, is, "no arm yet"},
		"unknown outcome":      {joined, Body{Measured: &Measured{Participant: "a", Outcome: "x", When: Baseline, Blind: true}}, is, "no such outcome"},
		"no value":             {joined, Body{Measured: &Measured{Participant: "a", Outcome: "squat", When: Baseline, Blind: true}}, nil, "is missing"},
		"empty value":          {joined, Body{Measured: &Measured{Participant: "a", Outcome: "squat", When: Baseline, Blind: true}}, &Private{By: "x"}, "is missing"},
		"arm before the close": {enrolled, Body{Assigned: &Assigned{assign.Assignment{Unit: "a"}}}, nil, "before enrolment is closed"},
		"arm of nobody":        {nil, Body{Assigned: &Assigned{assign.Assignment{Unit: "x"}}}, nil, "not enrolled"},
		"closed twice":         {func(k *keeper) { k.must(Body{Closed: &Closed{}}, nil) }, Body{Closed: &Closed{}}, nil, "a second time"},
		"joined when closed":   {func(k *keeper) { k.must(Body{Closed: &Closed{}}, nil) }, Body{Joined: &Joined{"b", "b", true}}, nil, "after enrolment was closed"},
		"key before the end":   {nil, Body{Revealed: &Revealed{hex.EncodeToString(secret)}}, nil, "before the trial has ended"},
		"another key":          {ended, Body{Revealed: &Revealed{strings.Repeat("ab", draw.KeyBytes)}}, nil, ""},
		"after the end":        {ended, Body{Excluded: &Excluded{}}, nil, "after the trial has ended"},
		"amended why":          {nil, Body{Amended: &Amended{Protocol: protocol()}}, nil, "says why"},
		"event of a stranger":  {nil, Body{Withdrawn: &Withdrawn{"x"}}, nil, "has not joined"},
		"nothing happened":     {joined, Body{Happened: &Happened{Participant: "a"}}, nil, "what happened"},
		"no body":              {nil, Body{}, nil, "0 kinds"},
		"two bodies":           {nil, Body{Closed: &Closed{}, Ended: &Ended{}}, nil, "2 kinds"},
	} {
		t.Run(name, func(t *testing.T) {
			k := start(t, protocol()).freeze()
			if c.before != nil {
				c.before(k)
			}
			before := stored(t, k.tr.Events())
			err := k.try(c.body, c.with)
			_, is := fault.As(err)
			require.True(t, is, "%v", err)
			require.ErrorContains(t, err, c.says)
			require.Equal(t, before, stored(t, k.tr.Events()))
		})
	}
	k := start(t, protocol())
	require.ErrorContains(t, k.try(Body{Joined: &Joined{"a", "a", true}}, nil), "before the protocol is frozen")
	require.ErrorContains(t, k.try(Body{Frozen: &Frozen{"x", secret.Commitment()}}, nil), "the protocol's is")
	_, err := k.tr.Append(Stamp{At: 1, Actor: "coach"}, Body{Closed: &Closed{}}, nil)
	require.ErrorContains(t, err, "clocks differ")
}

// Nothing of the results can be asked for before the end, but what a planned look shows.
func TestResultsAreLocked(t *testing.T) {
	k := start(t, protocol())
	_, _, err := k.tr.Look(1, false)
	require.ErrorContains(t, err, "no results")
	k.freeze()
	_, err = k.tr.Answer(0)
	require.ErrorContains(t, err, "no results")
	_, err = k.tr.Report()
	require.ErrorContains(t, err, "no results")
	p := protocol()
	p.Analysis.PlannedSE = 0
	k = start(t, p).freeze()
	require.ErrorContains(t, k.try(Body{Looked: &Looked{Share: 500_000}}, nil), "does not plan")
	k.must(Body{Ended: &Ended{}}, nil)
	_, err = k.tr.Report()
	require.ErrorContains(t, err, "nothing to report")
}

// An amendment keeps what arms are drawn by, and the report tells of it.
func TestAmendments(t *testing.T) {
	k := start(t, protocol()).freeze()
	k.ready("a", "a")
	p := protocol()
	p.Scheme.Kind = assign.Complete
	require.ErrorContains(t, k.try(Body{Amended: &Amended{Protocol: p, Reason: "simpler"}}, nil), "can't change once someone has joined")
	p = protocol()
	p.Outcomes = p.Outcomes[1:]
	require.ErrorContains(t, k.try(Body{Amended: &Amended{Protocol: p, Reason: "simpler"}}, nil), "has to stay")
	p = protocol()
	p.Weeks = 10
	k.must(Body{Amended: &Amended{p, "two weeks more", true}}, nil)
	require.EqualValues(t, 10, k.tr.Protocol().Weeks)
	enrolled := Body{Enrolled: &Enrolled{Unit: "a", Covariates: []int64{100_000, 36}}}
	require.ErrorContains(t, k.try(enrolled, nil), "has not been found a program", "that of a was one of 8 weeks")
	k.must(Body{Feasible: &Feasible{Participant: "a"}}, nil)
	p.Title = "Strength first"
	k.must(Body{Amended: &Amended{p, "shorter", false}}, nil)
	k.must(enrolled, nil)
}

// A byte that is changed anywhere in the file is found, or changes nothing that is read.
func TestEveryChangedByteIsFound(t *testing.T) {
	var b bytes.Buffer
	events := runs(t, 4, 0, nobody).tr.Events()
	require.NoError(t, Write(&b, events))
	rapid.Check(t, func(t *rapid.T) {
		text := slices.Clone(b.Bytes())
		at := rapid.IntRange(0, len(text)-1).Draw(t, "at")
		text[at] = rapid.Byte().Filter(func(x byte) bool { return x != b.Bytes()[at] }).Draw(t, "byte")
		read, err := Read(bytes.NewReader(text))
		if err == nil {
			_, err = Verify(read)
		}
		require.True(t, err != nil || reflect.DeepEqual(read, events), "byte %d", at)
	})
}

// Whatever is tried in whatever order: what is taken can be opened again, nobody has two
// arms, nobody has one who was not enrolled before with all that is needed, and no
// results are seen before the end.
func TestAnyOrderKeepsWhatHasToBe(t *testing.T) {
	most := 0
	rapid.Check(t, func(rt *rapid.T) {
		p := protocol()
		p.Scheme = Scheme{Kind: rapid.SampledFrom([]assign.Scheme{assign.Complete, assign.FixedTotals}).Draw(rt, "scheme")}
		p.Outcomes = p.Outcomes[:1]
		k := start(rt, p)
		value := int64(25_000)
		id := rapid.SampledFrom([]string{"a", "b", "c"})
		steps := []func(){
			func() { k.freezeIf() },
			func() {
				w := id.Draw(rt, "who")
				_ = k.try(Body{Joined: &Joined{w, w, rapid.Bool().Draw(rt, "consent")}}, nil)
			},
			func() {
				m := Measured{Participant: id.Draw(rt, "who"), Outcome: "thickness", When: When(rapid.IntRange(0, 3).Draw(rt, "when")), Blind: true}
				_ = k.try(Body{Measured: &m}, &Private{Value: &value})
			},
			func() { _ = k.try(Body{Feasible: &Feasible{Participant: id.Draw(rt, "who")}}, nil) },
			func() { _ = k.try(Body{Enrolled: &Enrolled{Unit: id.Draw(rt, "who")}}, nil) },
			func() { _ = k.draw(id.Draw(rt, "who")) },
			func() { _ = k.try(Body{Withdrawn: &Withdrawn{id.Draw(rt, "who")}}, &Private{Text: "x"}) },
			func() { _ = k.try(Body{Closed: &Closed{}}, nil) },
			func() {
				if rapid.IntRange(0, 9).Draw(rt, "end") == 0 {
					_ = k.try(Body{Ended: &Ended{}}, nil)
				}
			},
		}
		k.freezeIf()
		if rapid.Bool().Draw(rt, "ready") {
			k.ready("a", "a")
			if rapid.Bool().Draw(rt, "drawn") { // or nobody might come so far
				_ = k.try(Body{Enrolled: &Enrolled{Unit: "a"}}, nil)
				_ = k.draw("a")
			}
		}
		for range rapid.IntRange(1, 120).Draw(rt, "steps") {
			steps[rapid.IntRange(0, len(steps)-1).Draw(rt, "step")]()
			if _, err := k.tr.Answer(0); k.tr.ended == nil {
				require.Error(rt, err)
			}
		}
		events := k.tr.Events()
		most = max(most, len(k.tr.order))
		again, err := Open(stored(rt, events))
		require.NoError(rt, err)
		require.Equal(rt, k.tr.order, again.order)
		arms, enrolled, baseline, consent := map[string]int{}, map[string]bool{}, map[string]bool{}, map[string]bool{}
		for _, e := range events {
			switch b := e.Body; {
			case b.Joined != nil:
				consent[b.Joined.Participant] = b.Joined.Consent
			case b.Measured != nil && b.Measured.When == Baseline:
				baseline[b.Measured.Participant] = true
			case b.Enrolled != nil:
				require.True(rt, consent[b.Enrolled.Unit] && baseline[b.Enrolled.Unit])
				enrolled[b.Enrolled.Unit] = true
			case b.Assigned != nil:
				u := b.Assigned.Assignment.Unit
				arms[u]++
				require.True(rt, enrolled[u] && arms[u] == 1)
			}
		}
	})
	require.NotZero(t, most, "some came so far as to have an arm")
}

// freezeIf freezes where that is still to be done.
func (k *keeper) freezeIf() {
	hash, err := k.tr.Protocol().Hash()
	require.NoError(k.t, err)
	_ = k.try(Body{Frozen: &Frozen{hash, secret.Commitment()}}, nil)
}

// Hard cases are an answer or a refusal.
func TestHardTrials(t *testing.T) {
	for name, c := range map[string]struct {
		n     int
		leave func(i, arm int) bool
	}{
		"all of an arm": {10, func(_, arm int) bool { return arm == 1 }}, "all": {6, func(int, int) bool { return true }},
		"one pair": {2, nobody}, "odd": {7, nobody}, "one": {1, nobody},
	} {
		k := runs(t, c.n, 0, c.leave)
		in, err := k.tr.Report()
		if err != nil {
			_, is := fault.As(err)
			require.True(t, is, "%s: %v", name, err)
			continue
		}
		r, err := report.Make(in)
		require.NoError(t, err, name)
		text, err := r.JSON()
		require.NoError(t, err, name)
		require.NotContains(t, string(text)+r.Markdown(nil), "NaN", name)
	}
}

// With all that a trial shows while it runs, nobody guesses the next arm better than the
// protocol's warning says: 10,000 athletes one by one.
func TestNobodyGuessesTheNextArm(t *testing.T) {
	n := 10_000
	if testing.Short() {
		n = 2000
	}
	for _, s := range []Scheme{
		{Kind: assign.Complete}, {Kind: assign.PermutedBlocks, Blocks: []int{4, 6}}, {Kind: assign.Minimisation, Factors: []string{"sex"}, Minimise: assign.Minimise{BestPermille: 800}},
		{Kind: assign.SequentialPairs, Covariates: []string{"squat"}, Sequential: assign.Sequential{Spread: []int64{20}, CaliperMilli: 500}},
	} {
		n := n
		if s.Kind == assign.SequentialPairs {
			n = 3000 // the most that pairs take, and half of them need no guess
		}
		p := protocol()
		p.Scheme, p.Outcomes = s, p.Outcomes[:1]
		k := start(t, p).freeze()
		right := 0
		var tally [2]int
		for i := range n {
			id := fmt.Sprintf("p%05d", i)
			k.must(Body{Joined: &Joined{id, id, true}}, nil)
			k.measured(id, "thickness", Baseline, 25)
			k.must(Body{Feasible: &Feasible{Participant: id}}, nil)
			e := Enrolled{Unit: id}
			for range s.Factors {
				e.Levels = append(e.Levels, "f")
			}
			for range s.Covariates {
				e.Covariates = append(e.Covariates, int64(100+i*37%80))
			}
			k.must(Body{Enrolled: &e}, nil)
			require.Equal(t, i, len(k.tr.order), "an enrolment shows no arm")
			guess := 0
			if tally[0] > tally[1] {
				guess = 1 // the arm that is behind
			}
			require.NoError(t, k.draw(id))
			arm := k.tr.order[i].Arm
			tally[arm]++
			if arm == guess {
				right++
			}
		}
		d := p.Design()
		theory, err := d.Predict()
		require.NoError(t, err)
		share := float64(right) / float64(n)
		t.Logf("%s: %.4f of %d guesses right; theory allows %.4f", s.Kind, share, n, theory.Most)
		require.LessOrEqual(t, share, theory.Most+4*0.5/math.Sqrt(float64(n)))
	}
}

// How far a trial is: who waits, and for what.
func TestStanding(t *testing.T) {
	_, ok := (&Trial{}).Standing()
	require.False(t, ok)
	k := start(t, protocol()).freeze()
	k.ready("a", "a")
	k.must(Body{Enrolled: &Enrolled{Unit: "a", Covariates: []int64{1, 2}}}, nil)
	k.must(Body{Joined: &Joined{"b", "b", true}}, nil)
	s, ok := k.tr.Standing()
	require.True(t, ok)
	require.Equal(t, []string{"a"}, s.Waiting)
	require.Equal(t, []Unready{{"b", []string{"has no baseline of thickness", "has no baseline of squat", "has not been found a program under every arm"}}}, s.Unready)
	s, _ = runs(t, 20, 0, func(i, _ int) bool { return i == 3 }).tr.Standing()
	require.True(t, s.Ended && s.Revealed && s.Closed)
	require.Empty(t, s.Waiting)
	require.Equal(t, 20, s.Arms[0].Assigned+s.Arms[1].Assigned)
	require.Equal(t, 19, s.Arms[0].Measured+s.Arms[1].Measured)
	require.Equal(t, 1, s.Arms[0].Withdrawn+s.Arms[1].Withdrawn)
}

// Everyone the same at the start and at the end: no spread, so no standard error, and that
// is said.
func TestNoSpreadIsSaid(t *testing.T) {
	p := protocol()
	p.Scheme, p.Outcomes = Scheme{Kind: assign.FixedTotals}, p.Outcomes[:1]
	k := start(t, p).freeze()
	for _, id := range []string{"a", "b", "c", "d", "e", "f"} {
		k.must(Body{Joined: &Joined{id, id, true}}, nil)
		k.measured(id, "thickness", Baseline, 25)
		k.must(Body{Feasible: &Feasible{Participant: id}}, nil)
		k.must(Body{Enrolled: &Enrolled{Unit: id}}, nil)
	}
	k.must(Body{Closed: &Closed{}}, nil)
	for _, u := range k.tr.Enrolled() {
		require.NoError(t, k.draw(u.ID))
		k.measured(u.ID, "thickness", End, 26)
	}
	k.must(Body{Ended: &Ended{}}, nil)
	in, err := k.tr.Report()
	require.NoError(t, err)
	r, err := report.Make(in)
	require.NoError(t, err)
	require.Equal(t, "no_answer", r.Outcomes[0].Answers[0].Reading)
	require.Contains(t, r.Page(), "No answer")
	require.NotContains(t, r.Markdown(nil), "NaN")
}

func TestProtocolFaultsNameFields(t *testing.T) {
	for field, spoil := range map[string]func(*Protocol){
		"title": func(p *Protocol) { p.Title = "" }, "unit_of": func(p *Protocol) { p.UnitOf = "club" }, "rule": func(p *Protocol) { p.Rule = 0 },
		"weeks": func(p *Protocol) { p.Weeks = 0 }, "lead_in_weeks": func(p *Protocol) { p.LeadIn = -1 }, "arms": func(p *Protocol) { p.Arms = p.Arms[:1] },
		"arms[1].id": func(p *Protocol) { p.Arms[1].ID = "size" }, "arms[0].name": func(p *Protocol) { p.Arms[0].Name = "" }, "arms[0].ratio": func(p *Protocol) { p.Arms[0].Ratio = 0 },
		"outcomes": func(p *Protocol) { p.Outcomes = nil }, "outcomes[1].id": func(p *Protocol) { p.Outcomes[1].ID = "thickness" }, "outcomes[0].unit": func(p *Protocol) { p.Outcomes[0].Unit = "" },
		"outcomes[0].smallest": func(p *Protocol) { p.Outcomes[0].Smallest = 0 }, "outcomes[0].possible": func(p *Protocol) { p.Outcomes[0].Possible = &[2]int64{2, 1} },
		"outcomes[0].prior": func(p *Protocol) { p.Outcomes[0].Prior = &Prior{} }, "outcomes[1].typical_error": func(p *Protocol) { p.Outcomes[1].TypicalError = -1 },
		"eligible.ratio_permille": func(p *Protocol) { p.Eligible.Lift = "" }, "eligible.training_months": func(p *Protocol) { p.Eligible.Months = -1 },
		"tests": func(p *Protocol) { p.Tests.FromHours = 0 }, "tests.familiarisation": func(p *Protocol) { p.Tests.Familiarisation = -1 },
		"analysis.level_permille": func(p *Protocol) { p.Analysis.LevelPermille = 95 }, "analysis.draws": func(p *Protocol) { p.Analysis.Draws = 1 }, "analysis.planned_se": func(p *Protocol) { p.Analysis.PlannedSE = -1 },
		"scheme.covariates": func(p *Protocol) { p.Scheme.Covariates = nil },
	} {
		p := protocol()
		spoil(&p)
		f, is := fault.As(p.Check())
		require.True(t, is, field)
		var got []string
		for _, v := range f.Violations {
			got = append(got, v.Field)
		}
		require.Contains(t, got, field)
	}
	p := protocol()
	require.NoError(t, p.Check())
	hash, err := p.Hash()
	require.NoError(t, err)
	p.Outcomes[0].Smallest++
	other, err := p.Hash()
	require.NoError(t, err)
	require.NotEqual(t, hash, other)
}

func TestEligible(t *testing.T) {
	e := protocol().Eligible
	kg := func(x int64) plan.Opt[plan.Load] { return plan.Some(plan.Kg(1000 * x)) }
	require.Empty(t, e.Excludes(Facts{kg(120), kg(80), plan.Some(int32(24))}))
	require.Equal(t, []string{"back-squat below 1.5 times body mass", "trained for less than 24 months"}, e.Excludes(Facts{kg(119), kg(80), plan.Some(int32(23))}))
	require.Equal(t, []string{"back-squat or body mass is not known", "training age is not known"}, e.Excludes(Facts{}))
	require.Empty(t, Eligible{}.Excludes(Facts{}))
}

func TestWarnings(t *testing.T) {
	p := protocol()
	p.Tests.Familiarisation = 0
	p.Scheme = Scheme{Kind: assign.PermutedBlocks, Blocks: []int{4}}
	list, err := p.Warnings()
	require.NoError(t, err)
	all := strings.Join(list, "\n")
	for _, s := range []string{"guesses", "practises the test of back squat 1RM", "not learnt", "typical error of muscle thickness", "ethics review"} {
		require.Contains(t, all, s)
	}
}

// The hash of this protocol never changes: trials that are frozen depend on it.
func TestHashIsPinned(t *testing.T) {
	p := protocol()
	hash, err := p.Hash()
	require.NoError(t, err)
	require.Equal(t, "sha256:8aaf58f1ca7e66e142f5760e7b2482c55ebde7ec2a997ff0a7ecbb98b205df05", hash)
}
