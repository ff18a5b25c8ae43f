package service_test

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"os"
	"regexp"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/engine/trial/assign"
	"github.com/phasewright/phasewright/engine/trial/conduct"
	"github.com/phasewright/phasewright/engine/trial/draw"
	"github.com/phasewright/phasewright/internal/service"
	"github.com/phasewright/phasewright/internal/store/memory"
)

// twoSources is randomness of which only what the key is made from differs between twins.
type twoSources struct {
	shared, key io.Reader
	freezing    bool
}

func (s *twoSources) Read(p []byte) (int, error) {
	if s.freezing {
		return s.key.Read(p)
	}
	return s.shared.Read(p)
}

// twin is one of two trials that are alike in all but the key.
type twin struct {
	*service.Service
	t     *testing.T
	ctx   context.Context
	id    service.ID
	now   time.Time
	calls int
}

func newTwin(t *testing.T, p conduct.Protocol, seed, key byte) *twin {
	w := &twin{t: t, ctx: as("one"), now: time.UnixMilli(1_767_225_600_000)}
	random := &twoSources{shared: rand.NewChaCha8([32]byte{1, seed}), key: rand.NewChaCha8([32]byte{2, seed, key})}
	store := memory.New(func() service.Instant { return service.At(w.now) })
	made := 0
	w.Service = service.New(joining{counting{made: &made}}, service.WithStorage(service.Storage{Store: store, Key: [32]byte{7}, Now: func() time.Time { return w.now }, Random: random}))
	v, err := w.CreateTrial(w.ctx, w.w(), p)
	require.NoError(t, err)
	w.id = v.Head.ID
	random.freezing = true
	_, err = w.FreezeTrial(w.ctx, w.w(), w.id)
	random.freezing = false
	require.NoError(t, err)
	return w
}

func (w *twin) w() service.Write {
	w.calls++
	w.now = w.now.Add(time.Minute)
	return write(fmt.Sprint("call-", w.calls), fmt.Sprint(w.calls))
}

// enrol brings someone up to the draw, and gives their pseudonym.
func (w *twin) enrol(levels []string, covariates []int64) service.ID {
	a, err := w.Athletes().Create(w.ctx, w.w(), service.Athlete{})
	require.NoError(w.t, err)
	j, err := w.JoinTrial(w.ctx, w.w(), service.Joining{
		Trial: w.id, Athlete: a.ID, Consent: true, Request: plan.Request{Constraints: plan.Constraints{Days: make([]plan.Day, 2)}},
	})
	require.NoError(w.t, err)
	who, value := j.Participant.String(), int64(25_000)
	_, err = w.RecordTrial(w.ctx, w.w(), w.id, conduct.Body{Measured: &conduct.Measured{Participant: who, Outcome: "thickness", When: conduct.Baseline}}, &conduct.Private{Value: &value})
	require.NoError(w.t, err)
	_, err = w.CheckParticipant(w.ctx, w.w(), w.id, j.Participant)
	require.NoError(w.t, err)
	_, err = w.RecordTrial(w.ctx, w.w(), w.id, conduct.Body{Enrolled: &conduct.Enrolled{Unit: who, Levels: levels, Covariates: covariates}}, nil)
	require.NoError(w.t, err)
	return j.Participant
}

// digests depend on the commitment to the key, and tell nothing of it.
var digests = regexp.MustCompile(`[0-9a-f]{64}`)

// seen is all that a trial's user can read, but for digests.
func (w *twin) seen(who service.ID) string {
	var all []any
	add := func(v any, err error) {
		if f, is := fault.As(err); err != nil {
			require.True(w.t, is && f.Kind == fault.Infeasible, "%v", err)
			v = err.Error()
		}
		all = append(all, v)
	}
	views, _, err := w.Trials(w.ctx, 10, "", true)
	add(views, err)
	v, err := w.Trial(w.ctx, w.id)
	add(v, err)
	events, err := w.TrialEvents(w.ctx, w.id)
	add(events, err)
	page, _, err := w.TrialEventsPage(w.ctx, w.id, 1000, "")
	add(page, err)
	people, _, err := w.Participants(w.ctx, w.id, 100, "")
	add(people, err)
	one, err := w.Participant(w.ctx, w.id, who)
	add(one, err)
	add(w.VerifyTrial(w.ctx, w.id))
	answer, err := w.AnalyseTrial(w.ctx, w.id, 0)
	add(answer, err)
	report, err := w.ReportTrial(w.ctx, w.id)
	add(report, err)
	_, _, err = w.ProgramParticipant(w.ctx, service.Write{DryRun: true}, w.id, who)
	add(nil, err)
	text, err := json.Marshal(all)
	require.NoError(w.t, err)
	return digests.ReplaceAllString(string(text), "#")
}

// guess is the best that can be made of the arms told so far and of who is enrolled.
func (w *twin) guess(coin draw.Source) int {
	v, err := w.Trial(w.ctx, w.id)
	require.NoError(w.t, err)
	events, err := w.TrialEvents(w.ctx, w.id)
	require.NoError(w.t, err)
	var units []conduct.Enrolled
	arms := map[string]assign.Assignment{}
	for _, e := range events {
		if e.Body.Enrolled != nil {
			units = append(units, *e.Body.Enrolled)
		}
	}
	for _, a := range v.Assigned {
		arms[a.Unit] = a
	}
	told, next := units[:len(units)-1], units[len(units)-1]
	odds := []float64{1, 1}
	switch d := v.Protocol.Design(); d.Scheme {
	case assign.PermutedBlocks:
		if n := len(v.Assigned); n > 0 && v.Assigned[n-1].Place < v.Assigned[n-1].Size {
			last := v.Assigned[n-1]
			odds = []float64{float64(last.Size) / 2, float64(last.Size) / 2}
			for _, a := range v.Assigned[n-last.Place:] {
				odds[a.Arm]--
			}
		}
	case assign.Minimisation:
		counts := make([][]int64, len(d.Factors))
		for f := range counts {
			counts[f] = []int64{0, 0}
			for _, u := range told {
				if u.Levels[f] == next.Levels[f] {
					counts[f][arms[u.Unit].Arm]++
				}
			}
		}
		for i, c := range d.Minimise.Chances(d.Minimise.Measure.Imbalance(counts, nil)) {
			odds[i] = float64(c)
		}
	case assign.SequentialPairs:
		taken := map[string]bool{}
		for i, u := range told { // the pairs so far, made again
			if p := partner(&d, told[:i], taken, &u); p != "" {
				taken[p], taken[u.Unit] = true, true
			}
		}
		if a, is := arms[partner(&d, told, taken, &next)]; is {
			odds[a.Arm] = 0
		}
	}
	switch {
	case odds[0] > odds[1]:
		return 0
	case odds[1] > odds[0]:
		return 1
	}
	return int(draw.Below(coin, 2))
}

// partner is the nearest of those who have none, within the caliper.
func partner(d *assign.Design, before []conduct.Enrolled, taken map[string]bool, u *conduct.Enrolled) string {
	best, nearest := "", d.Sequential.CaliperMilli*d.Sequential.Spread[0]/1000+1
	for _, o := range before {
		if far := max(o.Covariates[0]-u.Covariates[0], u.Covariates[0]-o.Covariates[0]); !taken[o.Unit] && far < nearest {
			best, nearest = o.Unit, far
		}
	}
	return best
}

// Whoever reads all that a trial's user can read guesses no more of the next arms than the
// protocol's warning says. And what is read is the same under another key, as long as both
// have told the same arms: nothing in it comes of the arm to be told.
// PHASEWRIGHT_LONG=1 makes it 10,000 enrolments by each scheme.
func TestNobodyReadsTheNextArm(t *testing.T) {
	const each = 12 // enrolments in a trial
	total := 240
	if os.Getenv("PHASEWRIGHT_LONG") != "" {
		total = 10_008
	}
	pairs := func(together bool) conduct.Scheme {
		return conduct.Scheme{Kind: assign.SequentialPairs, Covariates: []string{"thickness"}, Sequential: assign.Sequential{Spread: []int64{300}, CaliperMilli: 1000, Together: together}}
	}
	for name, s := range map[string]conduct.Scheme{
		"complete":       {Kind: assign.Complete},
		"blocks":         {Kind: assign.PermutedBlocks, Blocks: []int{4, 6}},
		"minimisation":   {Kind: assign.Minimisation, Factors: []string{"sex", "status"}, Minimise: assign.Minimise{BestPermille: 800}},
		"pairs":          pairs(false),
		"pairs together": pairs(true),
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			p := inPairs()
			p.Scheme, p.Eligible, p.Analysis.PlannedSE = s, conduct.Eligible{}, 0
			d := p.Design()
			d.Trial = "invented"
			theory, err := d.Predict()
			require.NoError(t, err)
			coin, people := draw.Fast(8, 8), draw.Fast(9, 9)
			right, asked, compared := 0, 0, 0
			for seed := range total / each {
				l, other := newTwin(t, p, byte(seed), byte(seed>>8)), newTwin(t, p, byte(seed), 255)
				for range each {
					var levels []string
					var covariates []int64
					for range s.Factors {
						levels = append(levels, []string{"x", "y"}[draw.Below(people, 2)])
					}
					for range s.Covariates {
						covariates = append(covariates, int64(draw.Below(people, 1000)))
					}
					who := l.enrol(levels, covariates)
					if other != nil {
						require.Equal(t, who, other.enrol(levels, covariates))
						require.Equal(t, l.seen(who), other.seen(who))
						compared++
					}
					name := l.guess(coin)
					told, err := l.AssignTrial(l.ctx, l.w(), l.id)
					require.NoError(t, err)
					if other != nil {
						if theirs, err := other.AssignTrial(other.ctx, other.w(), other.id); err != nil || !slices.EqualFunc(told, theirs, sameArm) {
							require.NoError(t, err)
							other = nil
						}
					}
					if i := slices.IndexFunc(told, func(a assign.Assignment) bool { return a.Unit == who.String() }); i >= 0 {
						asked++
						if told[i].Arm == name {
							right++
						}
					}
				}
			}
			got, slack := float64(right)/float64(asked), 4*math.Sqrt(0.25/float64(asked))
			t.Logf("%d of %d guessed, %.3f; at most %.3f; %d times compared with another key", right, asked, got, theory.Most, compared)
			require.LessOrEqual(t, got, theory.Most+slack)
			require.GreaterOrEqual(t, got, theory.Chance-slack)
			require.Greater(t, compared, total/each, "twins part only once arms differ")
		})
	}
}

func sameArm(a, b assign.Assignment) bool {
	return a.Unit == b.Unit && a.Arm == b.Arm && a.Size == b.Size
}
