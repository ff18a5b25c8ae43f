package app

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/netip"
	"time"

	sdktrace "go.opentelemetry.io/otel/sdk/trace"

	"github.com/phasewright/phasewright/internal/service"
	"github.com/phasewright/phasewright/strategies/remote"
)

// Config is what a server can be told.
type Config struct {
	GRPCAddr string // host:port of gRPC; port 0 takes a free one
	HTTPAddr string // host:port of REST
	Admin    string // host:port of metrics and health; empty: none
	Version  string // of the program, for telemetry
	Traces   bool   // send spans over OTLP, to where the standard variables say

	Deadline     time.Duration // most time of a call
	DrainDelay   time.Duration // from saying "not ready" to refusing connections, so that balancers notice
	DrainTimeout time.Duration // most time for running calls to end after that

	Dev      bool // ask for no key; on this machine only
	Data     Data // where data is kept; with Dev nothing: in memory
	TLSCert  string
	TLSKey   string // files in PEM; both or none
	Insecure bool   // let others connect without TLS: something in front of the server has it
	Rate     float64
	Burst    int // calls of one tenant: so many a second, so many at once; 0: any

	Slots   int           // programs made at once; 0: as many as there are processors
	MaxWait time.Duration // for a slot; who would wait longer is refused

	BulkWorkers int           // chunks of bulk jobs done at once; 0: one fewer than slots, at least 1
	BulkKeep    time.Duration // how long bulk jobs that have ended stay, with their results; 0: until they are deleted

	DeletedKeep time.Duration // how long deleted things stay, and can be brought back; 0: for ever

	Strategies      []string      // of other processes, as NAME=HOST:PORT, NAME=tls://HOST:PORT or NAME=plain://HOST:PORT
	StrategyCA      string        // file of certificates, PEM, that those with tls:// are checked against; empty: the system's
	StrategyTimeout time.Duration // most time of a call to one

	// FirstKey is given the key that is made when the data is new. Nil: none is made.
	FirstKey func(secret string) error

	Log *slog.Logger

	// Of tests.
	spans sdktrace.SpanProcessor
	lease time.Duration                                                // of bulk work, see job.Config
	sweep time.Duration                                                // how often old data is removed, where not the usual
	open  func(context.Context) (service.Store, service.Pepper, error) // instead of Data
}

// DefaultConfig listens on this machine only.
func DefaultConfig() Config {
	return Config{
		GRPCAddr: "127.0.0.1:9090", HTTPAddr: "127.0.0.1:8080",
		Deadline: 30 * time.Second, DrainDelay: 3 * time.Second, DrainTimeout: 25 * time.Second,
		Rate: 50, Burst: 100, MaxWait: time.Second, BulkKeep: 30 * 24 * time.Hour, StrategyTimeout: remote.DefaultTimeout,
	}
}

// Check names every value that can't be.
func (c *Config) Check() error {
	var bad []error
	address := func(name, value string) {
		if _, _, err := net.SplitHostPort(value); err != nil {
			bad = append(bad, fmt.Errorf("%s: %q is not HOST:PORT, such as 127.0.0.1:8080", name, value))
		}
	}
	address("grpc-addr", c.GRPCAddr)
	address("http-addr", c.HTTPAddr)
	for _, at := range [...]struct{ name, value string }{{"grpc-addr", c.GRPCAddr}, {"http-addr", c.HTTPAddr}} {
		host, _, err := net.SplitHostPort(at.value)
		switch {
		case err != nil || loopback(host):
		case c.Dev:
			bad = append(bad, fmt.Errorf("%s: %q can be reached by others; without keys (dev) only an address of this machine is possible, such as 127.0.0.1:8080", at.name, at.value))
		case c.TLSCert == "" && !c.Insecure:
			bad = append(bad, fmt.Errorf("%s: %q can be reached by others, and keys and data would travel in plain text: give tls-cert and tls-key, or insecure where a proxy in front has TLS", at.name, at.value))
		}
	}
	if c.Admin != "" {
		address("admin-addr", c.Admin)
	}
	if (c.TLSCert == "") != (c.TLSKey == "") {
		bad = append(bad, errors.New("tls-cert, tls-key: both are needed, or none"))
	}
	if c.Rate < 0 || c.Rate > 1e6 || c.Rate > 0 && (c.Burst < 1 || c.Burst > 1e6) {
		bad = append(bad, fmt.Errorf("rate, burst: %g and %d; 0 (any) to 1000000 and 1 to 1000000 are possible", c.Rate, c.Burst))
	}
	if !c.Dev && c.Data == (Data{}) && c.open == nil {
		bad = append(bad, errors.New("data-dir, database-url-file: one is needed, to keep keys in"))
	}
	if c.Deadline < 100*time.Millisecond || c.Deadline > 10*time.Minute {
		bad = append(bad, fmt.Errorf("deadline: %s; 100ms to 10m is possible", c.Deadline))
	}
	if c.Slots < 0 || c.Slots > 1024 {
		bad = append(bad, fmt.Errorf("slots: %d; 0 (the processors) to 1024 is possible", c.Slots))
	}
	if c.BulkWorkers < 0 || c.BulkWorkers > 1024 {
		bad = append(bad, fmt.Errorf("bulk-workers: %d; 0 (one fewer than slots) to 1024 is possible", c.BulkWorkers))
	}
	if c.BulkKeep < 0 || c.BulkKeep > 0 && c.BulkKeep < time.Minute || c.BulkKeep > 87600*time.Hour {
		bad = append(bad, fmt.Errorf("bulk-keep: %s; 0s (until they are deleted), or 1m to 87600h is possible", c.BulkKeep))
	}
	if c.DeletedKeep != 0 && (c.DeletedKeep < service.LeastDeletedKeep || c.DeletedKeep > 87600*time.Hour) {
		bad = append(bad, fmt.Errorf("deleted-keep: %s; 0s (for ever), or 96h to 87600h is possible", c.DeletedKeep))
	}
	if c.MaxWait < 0 || c.MaxWait > time.Minute {
		bad = append(bad, fmt.Errorf("max-wait: %s; 0s to 1m is possible", c.MaxWait))
	}
	if c.StrategyTimeout < 10*time.Millisecond || c.StrategyTimeout > time.Minute {
		bad = append(bad, fmt.Errorf("strategy-timeout: %s; 10ms to 1m is possible", c.StrategyTimeout))
	}
	if list, err := c.dialPlugins(); err != nil {
		bad = append(bad, err)
	} else {
		closePlugins(list)
	}
	if c.DrainDelay < 0 || c.DrainDelay > 5*time.Minute {
		bad = append(bad, fmt.Errorf("drain-delay: %s; 0s to 5m is possible", c.DrainDelay))
	}
	if c.DrainTimeout <= 0 || c.DrainTimeout > 10*time.Minute {
		bad = append(bad, fmt.Errorf("drain-timeout: %s; above 0s, to 10m, is possible", c.DrainTimeout))
	}
	return errors.Join(bad...)
}

// loopback says whether only this machine reaches an address.
func loopback(host string) bool {
	ip, err := netip.ParseAddr(host)
	return err == nil && ip.IsLoopback() || host == "localhost"
}
