package app

import (
	"errors"
	"fmt"
	"log/slog"
	"net"
	"time"
)

// Config is what a server can be told.
type Config struct {
	GRPCAddr string // host:port of gRPC; port 0 takes a free one
	HTTPAddr string // host:port of REST

	Deadline     time.Duration // most time of a call
	DrainDelay   time.Duration // from saying "not ready" to refusing connections, so that balancers notice
	DrainTimeout time.Duration // most time for running calls to end after that

	Log *slog.Logger
}

// DefaultConfig listens on this machine only.
func DefaultConfig() Config {
	return Config{
		GRPCAddr: "127.0.0.1:9090", HTTPAddr: "127.0.0.1:8080",
		Deadline: 30 * time.Second, DrainDelay: 3 * time.Second, DrainTimeout: 25 * time.Second,
	}
}

// check names every value that can't be.
func (c *Config) check() error {
	var bad []error
	address := func(name, value string) {
		if _, _, err := net.SplitHostPort(value); err != nil {
			bad = append(bad, fmt.Errorf("%s: %q is not HOST:PORT, such as 127.0.0.1:8080", name, value))
		}
	}
	address("grpc-addr", c.GRPCAddr)
	address("http-addr", c.HTTPAddr)
	if c.Deadline < 100*time.Millisecond || c.Deadline > 10*time.Minute {
		bad = append(bad, fmt.Errorf("deadline: %s; 100ms to 10m is possible", c.Deadline))
	}
	if c.DrainDelay < 0 || c.DrainDelay > 5*time.Minute {
		bad = append(bad, fmt.Errorf("drain-delay: %s; 0s to 5m is possible", c.DrainDelay))
	}
	if c.DrainTimeout <= 0 || c.DrainTimeout > 10*time.Minute {
		bad = append(bad, fmt.Errorf("drain-timeout: %s; above 0s, to 10m, is possible", c.DrainTimeout))
	}
	return errors.Join(bad...)
}
