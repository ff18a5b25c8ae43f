package app

import (
	"cmp"
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	runtime "runtime"
	"sync"
	"sync/atomic"
	"time"

	"google.golang.org/grpc"

	"github.com/phasewright/phasewright/gen/openapi"
	"github.com/phasewright/phasewright/internal/apidoc"
	"github.com/phasewright/phasewright/internal/gate"
	"github.com/phasewright/phasewright/internal/gateway"
	"github.com/phasewright/phasewright/internal/job"
	"github.com/phasewright/phasewright/internal/rpc"
	"github.com/phasewright/phasewright/internal/service"
	"github.com/phasewright/phasewright/internal/telemetry"
	"github.com/phasewright/phasewright/internal/wire"
)

// App is a server: gRPC on one port, REST on another, the second through the first
// over memory.
type App struct {
	config Config
	log    *slog.Logger

	grpc  *rpc.Server
	http  *http.Server
	local rpc.Local
	conn  *grpc.ClientConn // from REST to gRPC
	admin *admin           // nil: none
	meter *telemetry.Telemetry
	gate  *gate.Gate
	jobs  *job.Runner

	listeners []net.Listener // gRPC, REST
	tls       *certificate   // nil: none

	plugins *plugins // nil: none

	store  service.Store
	access *service.Access
	tokens [32]byte // key of page tokens

	ready   atomic.Bool // serving, and not on the way out
	stored  atomic.Bool // the store answers
	closing sync.Once
	closed  error
}

// New makes a server and takes its ports, so that its addresses are known before Run.
func New(c Config) (*App, error) {
	if len(c.Strategies) == 0 {
		engine, err := NewEngine()
		if err != nil {
			return nil, err
		}
		return with(c, engine)
	}
	if err := c.Check(); err != nil {
		return nil, err
	}
	if c.Log == nil {
		c.Log = slog.New(slog.DiscardHandler)
	}
	p, err := connectPlugins(context.Background(), &c, c.Log)
	if err != nil {
		return nil, err
	}
	a, err := with(c, p)
	if err != nil {
		return nil, errors.Join(err, p.Close())
	}
	a.plugins = p
	return a, nil
}

func with(c Config, engine service.Engine) (*App, error) {
	err := c.Check()
	if err != nil {
		return nil, err
	}
	if c.Log == nil {
		c.Log = slog.New(slog.DiscardHandler)
	}
	c.Log = slog.New(telemetry.Traced(c.Log.Handler()))
	a := &App{config: c, log: c.Log, local: rpc.NewLocal()}
	if err := a.open(); err != nil {
		return nil, errors.Join(err, a.Close())
	}
	callers := rpc.Callers(a.access)
	if c.Dev {
		callers = rpc.Anyone{}
	}
	if engine, err = a.meter.Engine(engine); err != nil {
		return nil, errors.Join(err, a.Close())
	}
	slots := c.Slots
	if slots == 0 {
		slots = runtime.GOMAXPROCS(0)
	}
	a.gate = gate.New(gate.Config{Slots: slots, MaxWait: c.MaxWait})
	engine = a.gate.Engine(engine)
	use := service.New(engine, service.WithStorage(service.Storage{Store: a.store, Key: a.tokens}))
	if a.jobs, err = a.newJobs(use, slots); err != nil {
		return nil, errors.Join(err, a.Close())
	}
	var methods telemetry.Methods
	if a.grpc, err = rpc.NewServer(use, rpc.Options{
		Log: c.Log, Deadline: c.Deadline, Callers: callers, Access: a.access, Rate: rpc.Rate{PerSecond: c.Rate, Burst: c.Burst},
		Server: []grpc.ServerOption{a.meter.Server(&methods, a.local.Made)},
	}); err != nil {
		return nil, errors.Join(err, a.Close())
	}
	methods.Set(a.grpc.Server)
	if a.conn, err = a.local.Connect(a.meter.Client()); err != nil {
		return nil, errors.Join(err, a.Close())
	}
	observe, err := a.meter.Requests()
	if err != nil {
		return nil, errors.Join(err, a.Close())
	}
	docs, err := docPages()
	if err != nil {
		return nil, errors.Join(err, a.Close())
	}
	handler, err := gateway.New(a.conn, gateway.Options{
		Read: wire.ReadJSON, Status: rpc.Status,
		Allow: func(ctx context.Context, header string) error { return rpc.Allow(ctx, callers, header) },
		Ready: a.isReady, Observe: observe, MaxBody: bodyBytes, Log: c.Log, OpenAPI: openapi.JSON, Docs: docs,
	})
	if err != nil {
		return nil, errors.Join(err, a.Close())
	}
	a.http = gateway.Server(handler, c.Deadline, c.Log)
	if c.Admin != "" {
		if a.admin, err = a.newAdmin(); err != nil {
			return nil, errors.Join(err, a.Close())
		}
	}
	for _, at := range [...]struct{ name, address string }{{"grpc-addr", c.GRPCAddr}, {"http-addr", c.HTTPAddr}} {
		l, err := net.Listen("tcp", at.address)
		if err != nil {
			return nil, errors.Join(fmt.Errorf("%s: %w", at.name, err), a.Close())
		}
		a.listeners = append(a.listeners, l)
	}
	return a, nil
}

// docPages are those about the REST API: the same for every server of the process.
var docPages = sync.OnceValues(func() (map[string]gateway.Doc, error) {
	pages, err := apidoc.Pages(openapi.JSON)
	docs := make(map[string]gateway.Doc, len(pages))
	for path, p := range pages {
		docs[path] = gateway.Doc(p)
	}
	return docs, err
})

// newJobs makes what does bulk work, so that one slot is left for those who wait.
func (a *App) newJobs(use *service.Service, slots int) (*job.Runner, error) {
	seen, err := a.meter.Bulk()
	if err != nil {
		return nil, err
	}
	workers := a.config.BulkWorkers
	if workers == 0 {
		workers = max(1, slots-1)
	}
	return job.New(job.Config{
		Service: use, Store: a.store, Mint: service.NewMint(time.Now, rand.Reader), Workers: workers, Lease: a.config.lease,
		Sweep: cmp.Or(a.config.sweep, sweepEvery), Keep: a.config.BulkKeep, DeletedKeep: a.config.DeletedKeep, Log: a.log, Seen: seen, Mark: gate.Bulk,
	}), nil
}

// sweepEvery is how often old data is looked for.
const sweepEvery = 10 * time.Minute

// open takes what the server needs besides its ports: the store, the first key, the
// certificate.
func (a *App) open() error {
	ctx, cancel := context.WithTimeout(context.Background(), storeTime)
	defer cancel()
	c := &a.config
	if c.TLSCert != "" {
		var err error
		if a.tls, err = loadCertificate(c.TLSCert, c.TLSKey, a.log); err != nil {
			return err
		}
	}
	var err error
	if a.meter, err = telemetry.New(ctx, telemetry.Config{Version: c.Version, Traces: c.Traces, Spans: c.spans}); err != nil {
		return err
	}
	open := c.Data.Open
	if c.open != nil {
		open = c.open
	}
	var pepper service.Pepper
	if a.store, pepper, err = open(ctx); err != nil {
		return err
	}
	a.stored.Store(true)
	if a.store, err = a.meter.Store(a.store, c.Data.system()); err != nil {
		return err
	}
	a.tokens = pepper.For("page tokens")
	a.access = service.NewAccess(a.store, pepper, time.Now)
	if c.Dev {
		return a.store.Admit(ctx, service.DevTenant)
	}
	if c.FirstKey == nil {
		have, err := a.store.Tenants(ctx, "", 1)
		if err == nil && len(have) == 0 {
			a.log.Warn("there is no key yet: stop, and make one with phasewright key create")
		}
		return err
	}
	secret, made, err := a.access.FirstKey(ctx)
	if err != nil || !made {
		return err
	}
	return c.FirstKey(secret)
}

// storeTime is how long the store may take to open, migrations included.
const storeTime = time.Minute

// watch keeps what probes are told in step with the store.
func (a *App) watch(ctx context.Context) {
	tick := time.NewTicker(watchEvery)
	defer tick.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
		}
		within, cancel := context.WithTimeout(ctx, watchEvery)
		err := a.store.Ready(within)
		cancel()
		if ctx.Err() != nil || (err == nil) == a.stored.Load() {
			continue
		}
		a.stored.Store(err == nil)
		if err != nil {
			a.grpc.NotReady()
			a.log.Error("not ready: the store does not answer", "error", err.Error())
			continue
		}
		a.grpc.Ready()
		a.log.Info("ready again")
	}
}

const watchEvery = 500 * time.Millisecond

// bodyBytes bounds a REST body. A program of half a year comes back for an audit with
// about 6 MB of JSON; as a message it is a quarter of that.
const bodyBytes = 8 << 20

func bounded(l net.Listener) net.Listener {
	return gateway.Limit(l, gateway.MaxConns, gateway.MaxConnsPerIP)
}

// GRPCAddr gives where gRPC listens.
func (a *App) GRPCAddr() string { return a.listeners[0].Addr().String() }

// HTTPAddr gives where REST listens.
func (a *App) HTTPAddr() string { return a.listeners[1].Addr().String() }

// AdminAddr gives where metrics and health are asked for; "" is nowhere.
func (a *App) AdminAddr() string {
	if a.admin == nil {
		return ""
	}
	return a.admin.listener.Addr().String()
}

func (a *App) isReady() bool { return a.ready.Load() && a.stored.Load() }

// Run serves until ctx ends, then says "not ready", waits for balancers to notice, lets
// running calls end and returns nil; or the first error of a listener.
func (a *App) Run(ctx context.Context) error {
	failed := make(chan error, 4) // one for each that serves
	serve := func(name string, run func() error) {
		go func() {
			if err := run(); err != nil && !errors.Is(err, http.ErrServerClosed) && !errors.Is(err, grpc.ErrServerStopped) {
				failed <- fmt.Errorf("%s: %w", name, err)
			}
		}()
	}
	watching, stop := context.WithCancel(ctx)
	defer stop()
	go a.watch(watching)
	worked := make(chan struct{})
	go func() { a.jobs.Run(watching); close(worked) }()
	if a.plugins != nil {
		go a.plugins.watch(watching)
	}
	serve("grpc", func() error { return a.grpc.Serve(a.tls.around(bounded(a.listeners[0]), "h2")) })
	serve("rest to grpc", func() error { return a.grpc.Serve(a.local) })
	serve("http", func() error { return a.http.Serve(a.tls.around(bounded(a.listeners[1]), "http/1.1")) })
	if a.admin != nil {
		serve("admin", a.admin.serve)
	}
	a.grpc.Ready()
	a.ready.Store(true)
	a.log.Info("serving", "grpc", a.GRPCAddr(), "http", a.HTTPAddr(), "admin", a.AdminAddr(), "tls", a.tls != nil, "keys", !a.config.Dev, "data", a.config.Data.String())

	select {
	case err := <-failed:
		stop()
		<-worked
		a.Close()
		return err
	case <-ctx.Done():
	}
	a.drain(failed)
	<-worked
	return a.Close()
}
