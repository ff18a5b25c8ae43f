package app

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"sync"
	"sync/atomic"
	"time"

	"google.golang.org/grpc"

	"github.com/phasewright/phasewright/gen/openapi"
	"github.com/phasewright/phasewright/internal/gateway"
	"github.com/phasewright/phasewright/internal/rpc"
	"github.com/phasewright/phasewright/internal/service"
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

	listeners []net.Listener // gRPC, REST
	tls       *certificate   // nil: none

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
	engine, err := NewEngine()
	if err != nil {
		return nil, err
	}
	return with(c, engine)
}

func with(c Config, engine service.Engine) (*App, error) {
	err := c.check()
	if err != nil {
		return nil, err
	}
	if c.Log == nil {
		c.Log = slog.New(slog.DiscardHandler)
	}
	a := &App{config: c, log: c.Log, local: rpc.NewLocal()}
	if err := a.open(); err != nil {
		return nil, errors.Join(err, a.Close())
	}
	callers := rpc.Callers(a.access)
	if c.Dev {
		callers = rpc.Anyone{}
	}
	if a.grpc, err = rpc.NewServer(service.New(engine, service.WithStorage(service.Storage{Store: a.store, Key: a.tokens, Extend: ExtendEngine})), rpc.Options{
		Log: c.Log, Deadline: c.Deadline, Callers: callers, Access: a.access, Rate: rpc.Rate{PerSecond: c.Rate, Burst: c.Burst},
	}); err != nil {
		return nil, errors.Join(err, a.Close())
	}
	if a.conn, err = a.local.Connect(); err != nil {
		return nil, errors.Join(err, a.Close())
	}
	handler, err := gateway.New(a.conn, gateway.Options{
		Read: wire.ReadJSON, Status: rpc.Status,
		Allow: func(ctx context.Context, header string) error { return rpc.Allow(ctx, callers, header) },
		Ready: func() bool { return a.ready.Load() && a.stored.Load() }, MaxBody: bodyBytes, Log: c.Log, OpenAPI: openapi.JSON,
	})
	if err != nil {
		return nil, errors.Join(err, a.Close())
	}
	a.http = gateway.Server(handler, c.Deadline, c.Log)
	for _, at := range [...]struct{ name, address string }{{"grpc-addr", c.GRPCAddr}, {"http-addr", c.HTTPAddr}} {
		l, err := net.Listen("tcp", at.address)
		if err != nil {
			return nil, errors.Join(fmt.Errorf("%s: %w", at.name, err), a.Close())
		}
		a.listeners = append(a.listeners, l)
	}
	return a, nil
}

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
	var pepper service.Pepper
	var err error
	if a.store, pepper, err = c.Data.Open(ctx); err != nil {
		return err
	}
	a.stored.Store(true)
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

// Run serves until ctx ends, then says "not ready", waits for balancers to notice, lets
// running calls end and returns nil; or the first error of a listener.
func (a *App) Run(ctx context.Context) error {
	failed := make(chan error, 3)
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
	serve("grpc", func() error { return a.grpc.Serve(a.tls.around(bounded(a.listeners[0]), "h2")) })
	serve("rest to grpc", func() error { return a.grpc.Serve(a.local) })
	serve("http", func() error { return a.http.Serve(a.tls.around(bounded(a.listeners[1]), "http/1.1")) })
	a.grpc.Ready()
	a.ready.Store(true)
	a.log.Info("serving", "grpc", a.GRPCAddr(), "http", a.HTTPAddr(), "tls", a.tls != nil, "keys", !a.config.Dev, "data", a.config.Data.String())

	select {
	case err := <-failed:
		a.Close()
		return err
	case <-ctx.Done():
	}
	a.drain(failed)
	return a.Close()
}
