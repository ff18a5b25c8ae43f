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

	ready   atomic.Bool
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
	a.grpc = rpc.NewServer(service.New(engine), rpc.Options{Log: c.Log, Deadline: c.Deadline})
	if a.conn, err = a.local.Connect(); err != nil {
		return nil, err
	}
	handler, err := gateway.New(a.conn, gateway.Options{
		Read: wire.ReadJSON, Status: rpc.Status, Ready: a.ready.Load, MaxBody: bodyBytes, Log: c.Log, OpenAPI: openapi.JSON,
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
	serve("grpc", func() error { return a.grpc.Serve(bounded(a.listeners[0])) })
	serve("rest to grpc", func() error { return a.grpc.Serve(a.local) })
	serve("http", func() error { return a.http.Serve(bounded(a.listeners[1])) })
	a.grpc.Ready()
	a.ready.Store(true)
	a.log.Info("serving", "grpc", a.GRPCAddr(), "http", a.HTTPAddr())

	select {
	case err := <-failed:
		a.Close()
		return err
	case <-ctx.Done():
	}
	a.drain(failed)
	return a.Close()
}
