package storetest

import (
	"context"
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/internal/service"
)

// testChains: events come in order, once, with the head's version; what is private of them
// is the athlete's, and goes with the athlete or the trial.
func testChains(t *testing.T, b *fixture) {
	ctx := context.Background()
	a, other := b.newAthlete(), b.newAthlete()
	trial := b.trial()
	n := 0
	text := func() string { n++; return fmt.Sprint("private-", n) }
	fails := func(v service.Trial, more []service.TrialEvent, kind fault.Kind, reason string) {
		t.Helper()
		refused(t, b.s.Update(ctx, ours, func(tx service.Tx) error { return only(tx.Continue(v, more)) }), kind, reason)
	}
	links, fresh := b.links(trial.ID, a.ID, text), trial
	fails(trial, links, fault.NotFound, service.ReasonUnknown)
	b.update(func(tx service.Tx) (err error) { trial, err = tx.Trials().Create(fresh); return err })
	fails(trial, links[1:], fault.Stale, service.ReasonStale)
	unhashed := b.links(trial.ID, a.ID, text)
	unhashed[0].Event.Hash = ""
	fails(trial, unhashed, fault.Invalid, service.ReasonFixed)

	b.clock.Move(time.Second)
	old := trial
	b.update(func(tx service.Tx) (err error) { trial, err = tx.Continue(old, links); return err })
	require.Equal(t, int32(2), trial.Latest)
	require.Equal(t, int64(2), trial.Version)
	fails(old, links, fault.Stale, service.ReasonStale)
	third := b.links(trial.ID, other.ID, text)[1]
	third.Event.Number, third.Event.Prev, third.Event.Hash = 3, "first", "third"
	fails(trial, []service.TrialEvent{third}, fault.Stale, service.ReasonStale)
	third.Event.Prev = "second"
	old = trial
	b.update(func(tx service.Tx) (err error) {
		trial, err = tx.Continue(old, []service.TrialEvent{third})
		return err
	})

	chain := func(after int32, size int) (got []service.TrialEvent) {
		b.view(func(tx service.Tx) (err error) { got, err = tx.Chain(trial.ID, after, size); return err })
		return got
	}
	require.Equal(t, append(links, third), chain(0, 10))
	require.Equal(t, links[1:], chain(1, 1))
	require.Empty(t, chain(3, 10))
	refused(t, b.s.View(ctx, ours, func(tx service.Tx) error { return only(tx.Continue(trial, nil)) }), fault.Internal, service.ReasonReadOnly)

	b.update(func(tx service.Tx) error { _, err := tx.Erase(a.ID, "asked for"); return err })
	blank := links[1]
	blank.Athlete, blank.Event.Private, blank.Event.Salt = service.ID{}, nil, ""
	require.Equal(t, []service.TrialEvent{links[0], blank, third}, chain(0, 10), "the chain stays, without what is the athlete's")

	who := b.participant(other.ID, trial.ID)
	b.update(func(tx service.Tx) error {
		if err := only(tx.Participants().Create(who)); err != nil {
			return err
		}
		_, err := tx.Trials().Delete(trial.ID, trial.Version)
		return err
	})
	b.clock.Move(time.Minute)
	b.update(func(tx service.Tx) error { _, err := tx.Purge(b.clock.Now(), 100); return err })
	require.Empty(t, chain(0, 10))
	b.view(func(tx service.Tx) error {
		_, err := tx.Participants().Get(who.ID)
		refused(t, err, fault.NotFound, service.ReasonUnknown)
		return nil
	})
}
