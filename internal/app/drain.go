package app

import (
	"context"
	"errors"
	"net"
	"time"
)

// drain is the way out. REST ends before gRPC, through which it answers.
func (a *App) drain(failed <-chan error) {
	a.ready.Store(false)
	a.grpc.Leaving()
	a.log.Info("draining", "delay", a.config.DrainDelay.String(), "timeout", a.config.DrainTimeout.String())
	select {
	case <-time.After(a.config.DrainDelay):
	case err := <-failed:
		a.log.Error("while draining", "error", err.Error())
	}
	ctx, cancel := context.WithTimeout(context.Background(), a.config.DrainTimeout)
	defer cancel()
	if err := a.http.Shutdown(ctx); err != nil {
		a.log.Warn("cutting off REST calls", "error", err.Error())
	}
	a.grpc.Drain(ctx)
	if ctx.Err() != nil {
		a.log.Warn("calls were cut off after the drain timeout")
	}
	a.log.Info("drained")
}

// flushTime is how long the last spans may take on their way.
const flushTime = 5 * time.Second

// Close gives everything back at once. It may be called twice.
func (a *App) Close() error {
	a.closing.Do(func() {
		a.ready.Store(false)
		var errs []error
		if a.http != nil {
			errs = append(errs, a.http.Close())
		}
		if a.grpc != nil {
			a.grpc.Stop()
		}
		errs = append(errs, a.local.Close())
		if a.conn != nil {
			errs = append(errs, a.conn.Close())
		}
		// Those that were served are closed by now; those that never were are not.
		for _, l := range a.listeners {
			if err := l.Close(); err != nil && !errors.Is(err, net.ErrClosed) {
				errs = append(errs, err)
			}
		}
		if a.plugins != nil {
			errs = append(errs, a.plugins.Close())
		}
		if a.store != nil {
			errs = append(errs, a.store.Close())
		}
		if a.admin != nil {
			errs = append(errs, a.admin.close())
		}
		if a.meter != nil {
			ctx, cancel := context.WithTimeout(context.Background(), flushTime)
			defer cancel()
			if err := a.meter.Close(ctx); err != nil {
				a.log.Warn("the last measurements were not sent", "error", err.Error())
			}
		}
		a.closed = errors.Join(errs...)
	})
	return a.closed
}
