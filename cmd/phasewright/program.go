package main

import (
	"context"
	"crypto/tls"
	"crypto/x509"
	"io"
	"net"
	"net/netip"
	"os"
	"time"

	"github.com/spf13/cobra"
	"google.golang.org/grpc"

	"github.com/phasewright/phasewright/engine"
	"github.com/phasewright/phasewright/engine/exercise"
	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/internal/rpc"
	"github.com/phasewright/phasewright/internal/service"
)

// maker is what the commands need: the service in this process, or a server.
type maker interface {
	Generate(context.Context, plan.Request) (plan.Program, error)
	Regenerate(context.Context, *plan.Program, plan.Request, plan.Rework) (service.Regenerated, error)
	CompareStrategies(context.Context, plan.ComparisonQuery) (service.Compared, error)
	Relaxations(context.Context, plan.Request) ([]engine.Relaxation, error)
	Audit(context.Context, *plan.Program) (service.Audited, error)
	Estimate(context.Context, plan.StrengthQuery) (plan.StrengthReport, error)
	Strategies(context.Context) ([]plan.Descriptor, error)
	Catalogue(context.Context) (*exercise.Catalogue, error)
}

// program is the command line with what it reads and writes, so that tests run it in
// their own process.
type program struct {
	in       io.Reader
	out, err io.Writer
	newMaker func(server string, with ...grpc.DialOption) (maker, error) // "" is the one in this process
	now      func() time.Time
	random   io.Reader // of ids; nil is the system's

	server  string  // --server
	keyFile string  // --key-file
	caFile  string  // --ca-file
	tls     bool    // --tls
	from    origins // where the values of flags came from
	started bool    // a command runs: errors are no longer about the command line
}

// run executes a command line and gives the exit code.
func (p *program) run(ctx context.Context, args []string) int {
	root := p.root()
	root.SetArgs(args)
	root.SetIn(p.in)
	root.SetOut(p.out)
	root.SetErr(p.err)
	// Who runs this program on their own data may do everything with it.
	cmd, err := root.ExecuteContextC(service.WithCaller(ctx, service.Open(service.MainTenant)))
	return p.finish(ctx, cmd, err)
}

func (p *program) root() *cobra.Command {
	root := &cobra.Command{
		Use:   "phasewright",
		Short: "Make and check resistance-training programs",
		Long: `Phasewright turns an athlete, goals and constraints into a concrete resistance-training
program of several weeks, and checks programs against their own request and against
published guidance.

` + exitCodes,
		Example: `  phasewright generate
  phasewright generate -f request.yaml
  phasewright generate --json | phasewright audit -f -
  phasewright estimate back-squat 140kgx5 150kgx3@1
  phasewright serve`,
		SilenceErrors:     true,
		SilenceUsage:      true,
		CompletionOptions: cobra.CompletionOptions{HiddenDefaultCmd: true},
	}
	root.SetFlagErrorFunc(flagError)
	root.AddCommand(p.athlete(), p.programs(), p.log(), p.bulk(), p.generate(), p.change(), p.compare(), p.suggest(), p.audit(), p.estimate(), p.trial(), p.strategies(), p.conform(), p.exercises(), p.serve(), p.config(), p.key(), p.migrate(), p.backup(), p.restore(), p.erasures(), p.version())
	return root
}

// maker gives what answers the command.
func (p *program) maker() (maker, error) {
	if p.server == "" {
		return p.newMaker("")
	}
	host, _, err := net.SplitHostPort(p.server)
	if err != nil {
		return nil, wrong("--server: %q is not HOST:PORT, such as 127.0.0.1:9090", p.server)
	}
	var with []grpc.DialOption
	if p.tls || p.caFile != "" {
		c, err := p.trust()
		if err != nil {
			return nil, err
		}
		with = append(with, rpc.WithTLS(c))
	}
	key, err := secret(p.keyFile, "--key-file", envKey)
	if err != nil {
		return nil, err
	}
	if key != "" {
		if len(with) == 0 && !thisMachine(host) {
			return nil, wrong("--server: the key would travel to %s in plain text; add --tls, or --ca-file with the certificate to trust", host)
		}
		with = append(with, rpc.WithKey(key))
	}
	return p.newMaker(p.server, with...)
}

// trust says which servers are believed.
func (p *program) trust() (*tls.Config, error) {
	c := &tls.Config{MinVersion: tls.VersionTLS13}
	if p.caFile == "" {
		return c, nil
	}
	pem, err := os.ReadFile(p.caFile)
	if err != nil {
		return nil, wrong("--ca-file: %s: %s", p.caFile, cause(err))
	}
	c.RootCAs = x509.NewCertPool()
	if !c.RootCAs.AppendCertsFromPEM(pem) {
		return nil, wrong("--ca-file: %s holds no certificate in PEM", p.caFile)
	}
	return c, nil
}

func thisMachine(host string) bool {
	ip, err := netip.ParseAddr(host)
	return host == "localhost" || err == nil && ip.IsLoopback()
}

// served adds the flags of commands that a server can answer too.
func (p *program) served(cmd *cobra.Command) *cobra.Command {
	flags := cmd.Flags()
	flags.StringVar(&p.server, "server", "", "let the server at this HOST:PORT (gRPC) answer, instead of this process")
	flags.StringVar(&p.keyFile, "key-file", "", "with --server: file with the API key (or $"+envKey+")")
	flags.BoolVar(&p.tls, "tls", false, "with --server: connect with TLS")
	flags.StringVar(&p.caFile, "ca-file", "", "with --server: file with the certificates to trust, PEM; implies --tls")
	return cmd
}

// do marks the point from which errors are no longer about the command line.
func (p *program) do(run func(*cobra.Command, []string) error) func(*cobra.Command, []string) error {
	return func(cmd *cobra.Command, args []string) error {
		p.started = true
		var err error
		if p.from, err = settle(cmd); err != nil {
			return err
		}
		return run(cmd, args)
	}
}
