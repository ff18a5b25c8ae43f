package service_test

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"github.com/phasewright/phasewright/engine/exercise"
	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/internal/service"
	"github.com/phasewright/phasewright/internal/store/memory"
)

// counting makes empty programs and counts them.
type counting struct {
	service.Engine
	made *int
}

func (counting) Catalogue() *exercise.Catalogue { return exercise.Builtin() }

// Estimate finds nothing that can't have been.
func (c counting) Estimate(context.Context, plan.StrengthQuery) (plan.StrengthReport, error) {
	return plan.StrengthReport{}, nil
}

func (c counting) Generate(_ context.Context, r plan.Request) (plan.Program, error) {
	*c.made++
	p := plan.Program{Request: r, Seed: r.Seed}
	return p, p.Seal()
}

type world struct {
	*service.Service
	now  time.Time
	made int
}

func newWorld() *world {
	w := &world{now: time.UnixMilli(1_767_225_600_000)}
	clock := func() time.Time { return w.now }
	w.Service = service.New(counting{made: &w.made}, service.WithStorage(service.Storage{Store: memoryTwice(w), Key: [32]byte{7}, Now: clock}))
	return w
}

// memoryTwice is a store by a world's clock that runs every transaction twice.
func memoryTwice(w *world) service.Store {
	return memory.NewTwice(func() service.Instant { return service.At(w.now) })
}

func as(tenant service.Tenant) context.Context {
	return service.WithCaller(context.Background(), service.Caller{Tenant: tenant})
}

func write(id, body string) service.Write {
	return service.Write{RequestID: id, Method: "m", Body: []byte(body)}
}

func kindOf(t require.TestingT, err error, k fault.Kind, reason string) {
	f, ok := fault.As(err)
	require.True(t, ok, "%v", err)
	require.Equal(t, k, f.Kind, "%v", err)
	require.Equal(t, reason, f.Violations[0].Reason)
}

func measured(i int) service.Measurement {
	return service.Measurement{What: "body mass", Date: plan.Date(20_000 + i), Milli: int64(i)}
}

func TestNobodyAndNothing(t *testing.T) {
	w := newWorld()
	_, err := w.Athletes().Get(context.Background(), service.ID{}, service.ID{})
	kindOf(t, err, fault.Unauthenticated, service.ReasonCredential)
	_, err = service.New(counting{}).Athletes().Create(as("one"), service.Write{}, service.Athlete{})
	kindOf(t, err, fault.Refused, service.ReasonNoStore)
}

// Pages of any sizes give every untouched thing once, in order, while others come and go.
func TestPagesWhileOthersWrite(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		w, ctx := newWorld(), as("one")
		a, err := w.Athletes().Create(ctx, service.Write{}, service.Athlete{})
		require.NoError(t, err)
		add := func(day int) service.Measurement {
			m := measured(day)
			m.Athlete = a.ID
			m, err := w.Measurements().Create(ctx, service.Write{}, m)
			require.NoError(t, err)
			return m
		}
		var stay, other []service.Measurement
		for range rapid.IntRange(0, 30).Draw(t, "n") {
			m := add(rapid.IntRange(0, 9).Draw(t, "day"))
			if rapid.Bool().Draw(t, "stays") {
				stay = append(stay, m)
			} else {
				other = append(other, m)
			}
		}
		seen := map[service.ID]int{}
		last, token := plan.Date(0), ""
		for {
			size := rapid.IntRange(1, 7).Draw(t, "size")
			items, next, err := w.Measurements().List(ctx, service.Query{Athlete: a.ID, Size: size}, token)
			require.NoError(t, err)
			require.LessOrEqual(t, len(items), size)
			for _, m := range items {
				seen[m.ID]++
				require.GreaterOrEqual(t, m.Date, last)
				last = m.Date
			}
			if token = next; token == "" {
				break
			}
			if len(other) > 0 && rapid.Bool().Draw(t, "delete") {
				_, err := w.Measurements().Delete(ctx, service.Write{}, a.ID, other[0].ID)
				require.NoError(t, err)
				other = other[1:]
			}
			if rapid.Bool().Draw(t, "insert") {
				add(rapid.IntRange(0, 9).Draw(t, "day"))
			}
		}
		for _, m := range stay {
			require.Equal(t, 1, seen[m.ID])
		}
		for _, n := range seen {
			require.Equal(t, 1, n)
		}
	})
}

// Whatever is wrong with a token, the fault is the same.
func TestTokensFitOneQuestion(t *testing.T) {
	w := newWorld()
	tokens := map[service.Tenant]string{}
	owner := map[service.Tenant]service.ID{}
	for _, tenant := range []service.Tenant{"one", "two"} {
		a, err := w.Athletes().Create(as(tenant), service.Write{}, service.Athlete{})
		require.NoError(t, err)
		owner[tenant] = a.ID
		for i := range 3 {
			m := measured(i)
			m.Athlete = a.ID
			_, err = w.Measurements().Create(as(tenant), service.Write{}, m)
			require.NoError(t, err)
		}
		_, tokens[tenant], err = w.Measurements().List(as(tenant), service.Query{Athlete: a.ID, Size: 1}, "")
		require.NoError(t, err)
		require.NotEmpty(t, tokens[tenant])
	}
	good := tokens["one"]
	same := func(change func(*service.Query), tenant service.Tenant, token string) error {
		q := service.Query{Athlete: owner["one"], Size: 2}
		if change != nil {
			change(&q)
		}
		_, _, err := w.Measurements().List(as(tenant), q, token)
		return err
	}
	require.NoError(t, same(nil, "one", good), "another size is fine")
	garbage := same(nil, "one", "garbage")
	kindOf(t, garbage, fault.Invalid, service.ReasonPageToken)
	flipped := []byte(good)
	flipped[10] ^= 1
	_, _, err := w.Athletes().List(as("one"), service.Query{Size: 1}, good)
	for name, err := range map[string]error{
		"flipped": same(nil, "one", string(flipped)), "shorter": same(nil, "one", good[:len(good)-1]), "another list": err,
		"another tenant": same(nil, "two", good), "theirs": same(nil, "one", tokens["two"]),
		"label":   same(func(q *service.Query) { q.Label = "x" }, "one", good),
		"deleted": same(func(q *service.Query) { q.Deleted = true }, "one", good),
		"from":    same(func(q *service.Query) { q.From = plan.Some(plan.Date(1)) }, "one", good),
		"athlete": same(func(q *service.Query) { q.Athlete = owner["two"] }, "one", good),
	} {
		require.EqualError(t, err, garbage.Error(), name)
	}
	w.now = w.now.Add(72*time.Hour - time.Second)
	require.NoError(t, same(nil, "one", good))
	w.now = w.now.Add(time.Second)
	require.EqualError(t, same(nil, "one", good), garbage.Error())
}

// Duplicates at the same time have one effect and one answer, and programs are not made
// again for them afterwards.
func TestDuplicates(t *testing.T) {
	w, ctx := newWorld(), as("one")
	var mu sync.Mutex
	answers := map[string]int{}
	var wg sync.WaitGroup
	for i := range 100 {
		for range 5 {
			wg.Go(func() {
				a, err := w.Athletes().Create(ctx, write(fmt.Sprint(i), "b"), service.Athlete{Profile: plan.Athlete{CallerID: fmt.Sprint(i)}})
				mu.Lock()
				defer mu.Unlock()
				if err != nil {
					answers[err.Error()]++
					return
				}
				answers[fmt.Sprintf("%+v", a)]++
			})
		}
	}
	wg.Wait()
	require.Len(t, answers, 100)
	for a, n := range answers {
		require.Equal(t, 5, n, a)
	}

	list, _, err := w.Athletes().List(ctx, service.Query{Size: 1000}, "")
	require.NoError(t, err)
	require.Len(t, list, 100)
	n := service.NewProgram{Athlete: list[0].ID, Name: "p"}
	p, r, err := w.CreateProgram(ctx, write("p", "b"), n)
	require.NoError(t, err)
	again, revision, err := w.CreateProgram(ctx, write("p", "b"), n)
	require.NoError(t, err)
	require.Equal(t, 1, w.made)
	require.Equal(t, p, again)
	require.Equal(t, r.Facts, revision.Facts)
	require.Equal(t, r.Made.Digest, revision.Made.Digest)
	_, _, err = w.CreateProgram(ctx, write("p", "another"), n)
	kindOf(t, err, fault.Exists, service.ReasonRequestOther)
}

// Of writers that all change what they read, none goes over another.
func TestNoLostUpdate(t *testing.T) {
	w, ctx := newWorld(), as("one")
	a, err := w.Athletes().Create(ctx, service.Write{}, service.Athlete{})
	require.NoError(t, err)
	done := make(chan bool)
	for range 64 {
		go func() {
			got, err := w.Athletes().Get(ctx, service.ID{}, a.ID)
			if err == nil {
				_, err = w.Athletes().Update(ctx, service.Write{Etag: got.Etag()}, service.ID{}, a.ID, func(old service.Athlete) (service.Athlete, error) {
					old.Profile.TrainingAgeMonths = plan.Some(old.Profile.TrainingAgeMonths.Value + 1)
					return old, nil
				})
			}
			f, stale := fault.As(err)
			done <- err == nil || !stale || f.Kind != fault.Stale
		}()
	}
	wrote := int32(0)
	for range 64 {
		if <-done {
			wrote++
		}
	}
	got, err := w.Athletes().Get(ctx, service.ID{}, a.ID)
	require.NoError(t, err)
	require.Equal(t, wrote, got.Profile.TrainingAgeMonths.Value)
	require.EqualValues(t, wrote+1, got.Version)
}

// A dry run says what the real one would, and keeps nothing.
func TestDryRuns(t *testing.T) {
	w, ctx := newWorld(), as("one")
	make := func(dry bool, caller string) error {
		_, err := w.Athletes().Create(ctx, service.Write{DryRun: dry, RequestID: ""}, service.Athlete{Profile: plan.Athlete{CallerID: caller}})
		return err
	}
	r := rand.New(rand.NewPCG(1, 2))
	for range 200 {
		caller := strings.Repeat("x", r.IntN(20))
		before, _, err := w.Athletes().List(ctx, service.Query{Size: 1000}, "")
		require.NoError(t, err)
		tried := make(true, caller)
		after, _, err := w.Athletes().List(ctx, service.Query{Size: 1000}, "")
		require.NoError(t, err)
		require.Equal(t, before, after)
		done := make(false, caller)
		require.Equal(t, fmt.Sprint(tried), fmt.Sprint(done))
	}
	a, err := w.Athletes().Create(ctx, service.Write{}, service.Athlete{})
	require.NoError(t, err)
	_, _, err = w.CreateProgram(ctx, service.Write{DryRun: true}, service.NewProgram{Athlete: a.ID})
	require.NoError(t, err)
	list, _, err := w.Programs().List(ctx, service.Query{Athlete: a.ID, Size: 10}, "")
	require.NoError(t, err)
	require.Empty(t, list)
}

// What an answer remembers is the thing as it was.
func TestAnswersAreWhole(t *testing.T) {
	w, ctx := newWorld(), as("one")
	a, err := w.Athletes().Create(ctx, service.Write{}, service.Athlete{})
	require.NoError(t, err)
	l := service.SessionLog{Athlete: a.ID, Date: 20_000, Note: "n", Exercises: []service.LoggedExercise{{ExerciseID: "back-squat", Sets: []service.LoggedSet{{Reps: 5, RIR: plan.Some[int32](0), Load: plan.Some(plan.Lb(225_000))}}}}}
	first, err := w.SessionLogs().Create(ctx, write("r", "b"), l)
	require.NoError(t, err)
	_, err = w.SessionLogs().Update(ctx, service.Write{}, a.ID, first.ID, func(old service.SessionLog) (service.SessionLog, error) {
		old.Note = "changed"
		return old, nil
	})
	require.NoError(t, err)
	again, err := w.SessionLogs().Create(ctx, write("r", "b"), l)
	require.NoError(t, err)
	require.Equal(t, first, again)
}

// A source of random bytes that fails is a fault, and no id is made without it.
func TestRandomFails(t *testing.T) {
	store := memory.New(func() service.Instant { return 1 })
	s := service.New(counting{}, service.WithStorage(service.Storage{Store: store, Random: broken{}}))
	_, err := s.Athletes().Create(as("one"), service.Write{}, service.Athlete{})
	kindOf(t, err, fault.Internal, "RANDOM")
}

type broken struct{}

func (broken) Read([]byte) (int, error) { return 0, errors.New("no entropy") }
