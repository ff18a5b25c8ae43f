package app

import (
	"context"
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"os"
	"reflect"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"github.com/phasewright/phasewright/engine"
	"github.com/phasewright/phasewright/engine/exercise"
	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/internal/service"
	"github.com/phasewright/phasewright/strategies"
	"github.com/phasewright/phasewright/strategies/remote"
)

// A strategy of another process is set as NAME=HOST:PORT, in plain text and on this machine
// only; with tls:// before the host its certificate is checked; plain:// says that plain
// text to another machine is meant.
const (
	schemeTLS   = "tls://"
	schemePlain = "plain://"
)

// DialPlugin makes the connection to a plug-in at [SCHEME]HOST:PORT. Its strategy has to have
// the name, or any for "". ca is a file of certificates to trust in place of the system's.
func DialPlugin(name, at, ca string, timeout time.Duration) (*remote.Plugin, error) {
	c := remote.Config{Name: name, Timeout: timeout}
	var secure, meant bool
	if c.Address, secure = strings.CutPrefix(at, schemeTLS); !secure {
		c.Address, meant = strings.CutPrefix(c.Address, schemePlain)
	}
	host, port, err := net.SplitHostPort(c.Address)
	switch {
	case err != nil || host == "" || port == "" || strings.Contains(host, "/"):
		return nil, fmt.Errorf("%q is not HOST:PORT, such as 127.0.0.1:7100 or tls://strategies.example:443", at)
	case secure:
		if c.TLS, err = trusting(ca); err != nil {
			return nil, err
		}
	case !meant && !loopback(host):
		return nil, fmt.Errorf("%q is on another machine, and would be spoken to in plain text: write tls://%s, or plain://%s where the network between is your own", at, at, at)
	}
	return remote.New(c)
}

func trusting(ca string) (*tls.Config, error) {
	c := &tls.Config{MinVersion: tls.VersionTLS13}
	if ca == "" {
		return c, nil
	}
	text, err := os.ReadFile(ca)
	if err != nil {
		return nil, fmt.Errorf("strategy-ca: %w", err)
	}
	c.RootCAs = x509.NewCertPool()
	if !c.RootCAs.AppendCertsFromPEM(text) {
		return nil, fmt.Errorf("strategy-ca: %s holds no certificate in PEM", ca)
	}
	return c, nil
}

// dialPlugins makes the connections that the configuration names; the error names all that
// is wrong with it.
func (c *Config) dialPlugins() ([]*remote.Plugin, error) {
	var out []*remote.Plugin
	var bad []error
	taken := map[string]string{}
	for _, s := range strategies.Builtin() {
		taken[s.Describe().Name] = "is the name of a built-in strategy; choose another"
	}
	for _, spec := range c.Strategies {
		name, at, ok := strings.Cut(spec, "=")
		switch {
		case !ok || name == "":
			bad = append(bad, fmt.Errorf("strategy: %q is not NAME=HOST:PORT, such as wave=127.0.0.1:7100", spec))
			continue
		case taken[name] != "":
			bad = append(bad, fmt.Errorf("strategy: %s %s", name, taken[name]))
			continue
		}
		taken[name] = "is there twice"
		p, err := DialPlugin(name, at, c.StrategyCA, c.StrategyTimeout)
		if err != nil {
			bad = append(bad, fmt.Errorf("strategy: %s: %w", name, err))
			continue
		}
		out = append(out, p)
	}
	if err := errors.Join(bad...); err != nil {
		closePlugins(out)
		return nil, err
	}
	return out, nil
}

func closePlugins(list []*remote.Plugin) {
	for _, p := range list {
		_ = p.Close()
	}
}

// plugins is an engine whose external strategies come and go. What runs goes on with the
// engine that it began with.
type plugins struct {
	list      []*remote.Plugin
	catalogue *exercise.Catalogue
	log       *slog.Logger
	now       atomic.Pointer[engine.Engine]

	known  []*remote.Strategy // by plug-in, as last connected; nil: never
	failed []string           // why the last attempt failed; "": it did not
}

// connectPlugins asks every plug-in once. One that does not answer is waited for later; one
// that answers what can't be is an error.
func connectPlugins(ctx context.Context, c *Config, log *slog.Logger) (*plugins, error) {
	catalogue, err := exercise.Load()
	if err != nil {
		return nil, err
	}
	list, err := c.dialPlugins()
	if err != nil {
		return nil, err
	}
	p := &plugins{list: list, catalogue: catalogue, log: log, known: make([]*remote.Strategy, len(list)), failed: make([]string, len(list))}
	var bad []error
	for i, err := range p.ask(ctx) {
		if f, ok := fault.As(err); ok && f.Kind == fault.Broken {
			bad = append(bad, fmt.Errorf("strategy: %s at %s: %w", list[i].Name(), list[i].Address(), err))
		}
	}
	if err := errors.Join(append(bad, p.assemble())...); err != nil {
		return nil, errors.Join(err, p.Close())
	}
	return p, nil
}

// ask connects to all plug-ins and notes what changed; the errors are by plug-in.
func (p *plugins) ask(ctx context.Context) []error {
	errs := make([]error, len(p.list))
	got := make([]*remote.Strategy, len(p.list))
	var all sync.WaitGroup
	for i := range p.list {
		all.Go(func() { got[i], errs[i] = p.list[i].Connect(ctx) })
	}
	all.Wait()
	if ctx.Err() != nil {
		return errs // on the way out
	}
	for i, err := range errs {
		name, address := p.list[i].Name(), p.list[i].Address()
		switch {
		case err == nil && (p.known[i] == nil || p.failed[i] != ""):
			d := got[i].Describe()
			p.log.Info("strategy connected", "strategy", d.ID(), "address", address)
		case err != nil && p.failed[i] != err.Error():
			says := err.Error()
			if cause := errors.Unwrap(err); cause != nil {
				says += ": " + cause.Error()
			}
			p.log.Error("strategy not usable", "strategy", name, "address", address, "error", says)
		}
		if p.failed[i] = ""; err != nil {
			p.failed[i] = err.Error()
			continue
		}
		p.known[i] = got[i]
	}
	return errs
}

// assemble makes the engine of what is known. A strategy that went away keeps its place, as
// its calls say by themselves that it does not answer.
func (p *plugins) assemble() error {
	all := strategies.Builtin()
	for _, s := range p.known {
		if s != nil {
			all = append(all, s)
		}
	}
	registry, err := engine.NewRegistry(all...)
	if err != nil {
		return err
	}
	for i, s := range p.known {
		if s == nil {
			registry = registry.WithAbsent(p.list[i].Name(), "the plug-in "+p.list[i].Name()+" has not answered yet; what asks for other strategies is answered, and this will be once it runs")
		}
	}
	p.now.Store(engine.New(registry, p.catalogue))
	return nil
}

// pluginEvery is how often plug-ins are asked who they are.
const pluginEvery = 5 * time.Second

// watch keeps the engine in step with the plug-ins.
func (p *plugins) watch(ctx context.Context) {
	tick := time.NewTicker(pluginEvery)
	defer tick.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
		}
		p.refresh(ctx)
	}
}

func (p *plugins) refresh(ctx context.Context) {
	before := p.describe()
	p.ask(ctx)
	if ctx.Err() != nil || reflect.DeepEqual(before, p.describe()) {
		return
	}
	if err := p.assemble(); err != nil {
		p.log.Error("strategies can't stand beside each other; those before stay", "error", err.Error())
	}
}

// describe gives what is known of the plug-ins.
func (p *plugins) describe() []plan.Descriptor {
	out := make([]plan.Descriptor, len(p.known))
	for i, s := range p.known {
		if s != nil {
			out[i] = s.Describe()
		}
	}
	return out
}

// Close ends the connections.
func (p *plugins) Close() error {
	closePlugins(p.list)
	return nil
}

var _ service.Engine = (*plugins)(nil)

func (p *plugins) Generate(ctx context.Context, r plan.Request) (plan.Program, error) {
	return p.now.Load().Generate(ctx, r)
}

func (p *plugins) Rework(ctx context.Context, base *plan.Program, r plan.Request, how plan.Rework) (plan.Program, error) {
	return p.now.Load().Rework(ctx, base, r, how)
}

func (p *plugins) Arms(ctx context.Context, r plan.Request, arms []plan.Arm, rule plan.Equating) (plan.Comparison, error) {
	return p.now.Load().Arms(ctx, r, arms, rule)
}

func (p *plugins) Relaxations(ctx context.Context, r plan.Request) ([]engine.Relaxation, error) {
	return p.now.Load().Relaxations(ctx, r)
}

func (p *plugins) Audit(d *plan.Program) []plan.Finding { return p.now.Load().Audit(d) }

func (p *plugins) Estimate(ctx context.Context, q plan.StrengthQuery) (plan.StrengthReport, error) {
	return p.now.Load().Estimate(ctx, q)
}

func (p *plugins) Strategies() []plan.Descriptor { return p.now.Load().Strategies() }

func (p *plugins) Strategy(id string) (plan.Descriptor, error) { return p.now.Load().Strategy(id) }

func (p *plugins) Catalogue() *exercise.Catalogue { return p.catalogue }
