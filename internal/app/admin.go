package app

import (
	"errors"
	"fmt"
	"net"
	"net/http"

	"github.com/phasewright/phasewright/internal/gateway"
)

// admin is the listener of whoever operates the server: metrics, and the health that
// REST shows too. It asks for no key and shows nothing of tenants; who may reach it is
// for the network to say.
type admin struct {
	listener net.Listener
	server   *http.Server
}

func (a *App) newAdmin() (*admin, error) {
	l, err := net.Listen("tcp", a.config.Admin)
	if err != nil {
		return nil, fmt.Errorf("admin-addr: %w", err)
	}
	mux := http.NewServeMux()
	mux.Handle("GET /metrics", a.meter.Metrics())
	mux.HandleFunc("GET /livez", func(w http.ResponseWriter, _ *http.Request) { fmt.Fprintln(w, "live") })
	mux.HandleFunc("GET /readyz", func(w http.ResponseWriter, _ *http.Request) {
		if !a.isReady() {
			w.WriteHeader(http.StatusServiceUnavailable)
			fmt.Fprintln(w, "not ready: starting, stopping, or the store does not answer")
			return
		}
		fmt.Fprintln(w, "ready")
	})
	return &admin{l, gateway.Server(mux, a.config.Deadline, a.log)}, nil
}

func (s *admin) serve() error { return s.server.Serve(bounded(s.listener)) }

// close ends the server first: a listener that is closed under a server that still runs is
// closed twice, and the second time is an error. One that never ran closes no listener.
func (s *admin) close() error {
	err := s.server.Close()
	if closed := s.listener.Close(); !errors.Is(closed, net.ErrClosed) {
		err = errors.Join(err, closed)
	}
	return err
}
