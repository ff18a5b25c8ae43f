package app

import (
	"context"
	"crypto/rand"
	"errors"
	"io"
	"runtime"
	"time"

	"google.golang.org/grpc"

	"github.com/phasewright/phasewright/internal/job"
	"github.com/phasewright/phasewright/internal/rpc"
	"github.com/phasewright/phasewright/internal/service"
)

// Embedded is the server in this process, on data of its own and without a port: whoever
// can read the data may do everything with it. Calls go the same way as to any other.
type Embedded struct {
	Conn   *grpc.ClientConn
	server *rpc.Server
	store  service.Store
	jobs   *job.Runner
}

// Embed opens the data. Now and random are those of times and ids; nil are the system's.
func Embed(ctx context.Context, d Data, tenant service.Tenant, now func() time.Time, random io.Reader) (*Embedded, error) {
	engine, err := NewEngine()
	if err != nil {
		return nil, err
	}
	if now == nil {
		now = time.Now
	}
	store, pepper, err := d.open(ctx, func() service.Instant { return service.At(now()) })
	if err != nil {
		return nil, err
	}
	e := &Embedded{store: store}
	if err := store.Admit(ctx, tenant); err != nil {
		return nil, errors.Join(err, e.Close())
	}
	s := service.New(engine, service.WithStorage(service.Storage{Store: store, Key: pepper.For("page tokens"), Now: now, Random: random}))
	if random == nil {
		random = rand.Reader
	}
	e.jobs = job.New(job.Config{Service: s, Store: store, Mint: service.NewMint(now, random), Workers: runtime.GOMAXPROCS(0), Poll: embeddedPoll})
	local := rpc.NewLocal()
	e.server, err = rpc.NewServer(s, rpc.Options{Callers: owner{tenant}, Access: service.NewAccess(store, pepper, now), Deadline: embeddedTime})
	if err == nil {
		go func() { _ = e.server.Serve(local) }()
		e.Conn, err = local.Connect()
	}
	if err != nil {
		return nil, errors.Join(err, e.Close())
	}
	return e, nil
}

// Work does the bulk work that there is in the data, of every tenant, until ctx ends.
func (e *Embedded) Work(ctx context.Context) { e.jobs.Run(ctx) }

// embeddedPoll is short: somebody waits.
const embeddedPoll = 100 * time.Millisecond

// embeddedTime is the most time of a call: whoever waits can interrupt it.
const embeddedTime = 10 * time.Minute

// Close ends calls and closes the data.
func (e *Embedded) Close() error {
	var errs []error
	if e.Conn != nil {
		errs = append(errs, e.Conn.Close())
	}
	if e.server != nil {
		e.server.Stop()
	}
	return errors.Join(append(errs, e.store.Close())...)
}

// owner lets everybody in as a tenant: there is no way in but through this process.
type owner struct{ tenant service.Tenant }

func (o owner) Authenticate(context.Context, string) (service.Caller, error) {
	return service.Open(o.tenant), nil
}
