package storetest

import (
	"context"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/internal/service"
)

// Durable measures durable writes a second: measurements created one a transaction by
// so many workers, in turn with bare, which puts the same row into the same table with
// the driver alone. Turns are short, as a disk's speed changes with its neighbours. It
// reports both rates and ours as a share of bare.
func Durable(b *testing.B, s service.Store, workers int, bare func(m service.Measurement, doc []byte) error) {
	ctx := context.Background()
	clock := NewClock()
	m := newMaker(1, clock)
	a := m.athlete()
	require.NoError(b, s.Update(ctx, ours, func(tx service.Tx) error { return only(tx.Athletes().Create(a)) }))
	const turn = 64
	rows := make([]service.Measurement, 2*turn)
	var took [2]time.Duration
	done := 0
	for b.Loop() {
		for i := range rows {
			rows[i] = m.measurement(a.ID)
			rows[i].Version, rows[i].Created, rows[i].Updated = 1, clock.Now(), clock.Now()
		}
		for side, write := range []func(service.Measurement) error{
			func(v service.Measurement) error {
				return s.Update(ctx, ours, func(tx service.Tx) error { return only(tx.Measurements().Create(v)) })
			},
			func(v service.Measurement) error {
				doc, err := plan.Canonical(&v)
				if err != nil {
					return err
				}
				return bare(v, doc)
			},
		} {
			var next atomic.Int64
			began := time.Now()
			require.NoError(b, together(workers, func(int) error {
				for {
					i := int(next.Add(1)) - 1
					if i >= turn {
						return nil
					}
					if err := write(rows[side*turn+i]); err != nil {
						return err
					}
				}
			}))
			took[side] += time.Since(began)
		}
		done += turn
	}
	rate := func(d time.Duration) float64 { return float64(done) / d.Seconds() }
	b.ReportMetric(rate(took[0]), "writes/s")
	b.ReportMetric(rate(took[1]), "bare/s")
	b.ReportMetric(100*rate(took[0])/rate(took[1]), "%ofbare")
	b.ReportMetric(0, "ns/op")
}

// Programs measures adding a revision of so many weeks and reading it back.
func Programs(b *testing.B, s service.Store) {
	ctx := context.Background()
	m := newMaker(1, NewClock())
	a := m.athlete()
	p, r := m.program(a.ID), m.revision(12)
	require.NoError(b, s.Update(ctx, ours, func(tx service.Tx) error {
		_, err := tx.Athletes().Create(a)
		if err == nil {
			p, err = tx.Programs().Create(p)
		}
		return err
	}))
	b.Run("revise", func(b *testing.B) {
		for b.Loop() {
			before := p
			require.NoError(b, s.Update(ctx, ours, func(tx service.Tx) (err error) { p, _, err = tx.Revise(before, r); return err }))
		}
	})
	b.Run("read", func(b *testing.B) {
		for b.Loop() {
			require.NoError(b, s.View(ctx, ours, func(tx service.Tx) error { return only(tx.Revision(p.ID, 0)) }))
		}
	})
	b.Run("athlete", func(b *testing.B) {
		for b.Loop() {
			require.NoError(b, s.View(ctx, ours, func(tx service.Tx) error { return only(tx.Athletes().Get(a.ID)) }))
		}
	})
}
