package app

import (
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/netip"
	"time"
)

// Config is what a server can be told.
type Config struct {
	GRPCAddr string // host:port of gRPC; port 0 takes a free one
	HTTPAddr string // host:port of REST

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

	// FirstKey is given the key that is made when the data is new. Nil: none is made.
	FirstKey func(secret string) error

	Log *slog.Logger
}

// DefaultConfig listens on this machine only.
func DefaultConfig() Config {
	return Config{
		GRPCAddr: "127.0.0.1:9090", HTTPAddr: "127.0.0.1:8080",
		Deadline: 30 * time.Second, DrainDelay: 3 * time.Second, DrainTimeout: 25 * time.Second,
		Rate: 50, Burst: 100,
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
	if (c.TLSCert == "") != (c.TLSKey == "") {
		bad = append(bad, errors.New("tls-cert, tls-key: both are needed, or none"))
	}
	if c.Rate < 0 || c.Rate > 1e6 || c.Rate > 0 && (c.Burst < 1 || c.Burst > 1e6) {
		bad = append(bad, fmt.Errorf("rate, burst: %g and %d; 0 (any) to 1000000 and 1 to 1000000 are possible", c.Rate, c.Burst))
	}
	if !c.Dev && c.Data == (Data{}) {
		bad = append(bad, errors.New("data-dir, database-url-file: one is needed, to keep keys in"))
	}
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

// loopback says whether only this machine reaches an address.
func loopback(host string) bool {
	ip, err := netip.ParseAddr(host)
	return err == nil && ip.IsLoopback() || host == "localhost"
}
