package telemetry

import (
	"context"
	"errors"
	"strconv"
	"strings"
	"time"

	"go.opentelemetry.io/otel/attribute"
	"go.opentelemetry.io/otel/metric"
	metricnoop "go.opentelemetry.io/otel/metric/noop"
	semconv "go.opentelemetry.io/otel/semconv/v1.43.0"
	"go.opentelemetry.io/otel/semconv/v1.43.0/dbconv"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/internal/service"
)

type attr = attribute.KeyValue

// silent measures nothing: the REST side's own calls are measured where they come in.
func (*Telemetry) silent() metric.MeterProvider { return metricnoop.NewMeterProvider() }

// outcome of something: ok, or the kind of its fault.
func outcome(err error) string {
	if err == nil {
		return "ok"
	}
	if f, ok := fault.As(err); ok {
		return strings.ReplaceAll(strings.ToLower(f.Kind.String()), " ", "_")
	}
	if errors.Is(err, context.Canceled) || errors.Is(err, context.DeadlineExceeded) {
		return "canceled"
	}
	return "internal"
}

type engine struct {
	service.Engine
	duration metric.Float64Histogram
	work     metric.Int64Counter
	levels   metric.Int64Counter
	t        *Telemetry
}

// Engine measures what an engine makes: phasewright.program.duration by operation and
// outcome, the solver's nodes, and how many levels of allocations ended proven.
func (t *Telemetry) Engine(e service.Engine) (service.Engine, error) {
	out := engine{Engine: e, t: t}
	var errs [3]error
	out.duration, errs[0] = t.meter.Float64Histogram("phasewright.program.duration", metric.WithUnit("s"),
		metric.WithDescription("Time to make a program, by operation (generate, rework, compare) and outcome."),
		metric.WithExplicitBucketBoundaries(0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1, 2.5, 5, 10))
	out.work, errs[1] = t.meter.Int64Counter("phasewright.allocation.work", metric.WithUnit("{node}"),
		metric.WithDescription("Nodes that the allocation of exercises to days took."))
	out.levels, errs[2] = t.meter.Int64Counter("phasewright.allocation.levels", metric.WithUnit("{level}"),
		metric.WithDescription("Levels of the objective that were solved, by level and whether the value is proven to be the optimum."))
	return out, errors.Join(errs[:]...)
}

func (e engine) Generate(ctx context.Context, r plan.Request) (plan.Program, error) {
	return e.made(ctx, "generate", func(ctx context.Context) (plan.Program, error) { return e.Engine.Generate(ctx, r) })
}

func (e engine) Rework(ctx context.Context, p *plan.Program, r plan.Request, w plan.Rework) (plan.Program, error) {
	return e.made(ctx, "rework", func(ctx context.Context) (plan.Program, error) { return e.Engine.Rework(ctx, p, r, w) })
}

// Arms counts as one operation, however many programs it makes.
func (e engine) Arms(ctx context.Context, r plan.Request, arms []plan.Arm, rule plan.Equating) (c plan.Comparison, err error) {
	err = e.timed(ctx, "compare", func(ctx context.Context) (err error) {
		c, err = e.Engine.Arms(ctx, r, arms, rule)
		return err
	})
	return c, err
}

func (e engine) timed(ctx context.Context, operation string, run func(context.Context) error) error {
	ctx, span := e.t.tracer.Start(ctx, "program "+operation)
	defer span.End()
	began := time.Now()
	err := run(ctx)
	of := []attr{attribute.String("phasewright.operation", operation), attribute.String("phasewright.outcome", outcome(err))}
	span.SetAttributes(of...)
	e.duration.Record(ctx, time.Since(began).Seconds(), metric.WithAttributes(of...))
	return err
}

func (e engine) made(ctx context.Context, operation string, run func(context.Context) (plan.Program, error)) (p plan.Program, err error) {
	err = e.timed(ctx, operation, func(ctx context.Context) (err error) {
		p, err = run(ctx)
		return err
	})
	for i := range p.Allocations {
		a := &p.Allocations[i]
		e.work.Add(ctx, a.Work)
		for level, proven := range a.Proven {
			e.levels.Add(ctx, 1, metric.WithAttributes(attribute.String("phasewright.level", strconv.Itoa(level+1)), attribute.Bool("phasewright.proven", proven)))
		}
	}
	return p, err
}

// Bulk counts what bulk work came to: phasewright.bulk.programs by outcome.
func (t *Telemetry) Bulk() (func(error), error) {
	programs, err := t.meter.Int64Counter("phasewright.bulk.programs", metric.WithUnit("{program}"),
		metric.WithDescription("Programs of bulk jobs that are finished, by outcome: ok, or the kind of fault."))
	return func(err error) {
		programs.Add(context.Background(), 1, metric.WithAttributes(attribute.String("phasewright.outcome", outcome(err))))
	}, err
}

type store struct {
	service.Store
	duration dbconv.ClientOperationDuration
	system   dbconv.SystemNameAttr
}

// Store measures transactions: db.client.operation.duration, the operation being view or
// update, with all that runs inside. The system is sqlite, postgresql or memory.
func (t *Telemetry) Store(s service.Store, system string) (service.Store, error) {
	d, err := dbconv.NewClientOperationDuration(t.meter)
	return store{s, d, dbconv.SystemNameAttr(system)}, err
}

func (s store) View(ctx context.Context, t service.Tenant, fn func(service.Tx) error) error {
	return s.timed(ctx, "view", func() error { return s.Store.View(ctx, t, fn) })
}

func (s store) Update(ctx context.Context, t service.Tenant, fn func(service.Tx) error) error {
	return s.timed(ctx, "update", func() error { return s.Store.Update(ctx, t, fn) })
}

func (s store) timed(ctx context.Context, operation string, run func() error) error {
	began := time.Now()
	err := run()
	of := []attr{semconv.DBOperationName(operation)}
	if f, ok := fault.As(err); ok && len(f.Violations) > 0 && (f.Kind == fault.Unavailable || f.Kind == fault.Internal) {
		of = append(of, semconv.ErrorTypeKey.String(f.Violations[0].Reason))
	}
	s.duration.Record(ctx, time.Since(began).Seconds(), s.system, of...)
	return err
}
