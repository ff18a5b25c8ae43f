package main

import (
	"fmt"
	"io"
	"log/slog"
	"os"

	"github.com/spf13/cobra"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/internal/app"
	"github.com/phasewright/phasewright/internal/telemetry"
)

// serverSettings are the flags of a server.
type serverSettings struct {
	app.Config
	data     *dataFlags
	level    string
	at       slog.Level
	printKey bool
}

// settings adds the flags of a server to a command.
func (p *program) settings(cmd *cobra.Command) *serverSettings {
	s := &serverSettings{Config: app.DefaultConfig(), data: p.data(cmd)}
	flags := cmd.Flags()
	flags.BoolVar(&s.Dev, "dev", false, "ask for no key, on addresses of this machine only")
	flags.BoolVar(&s.printKey, "print-first-key", false, "print the first key also where standard output is no terminal")
	flags.StringVar(&s.GRPCAddr, "grpc-addr", s.GRPCAddr, "HOST:PORT for gRPC; port 0 takes a free one")
	flags.StringVar(&s.HTTPAddr, "http-addr", s.HTTPAddr, "HOST:PORT for REST; port 0 takes a free one")
	flags.StringVar(&s.Admin, "admin-addr", "", "HOST:PORT for /metrics, /livez and /readyz, without keys: not for the public; empty: none")
	flags.StringVar(&s.TLSCert, "tls-cert", "", "file with the certificate chain, PEM")
	flags.StringVar(&s.TLSKey, "tls-key", "", "file with its private key, PEM")
	flags.BoolVar(&s.Insecure, "insecure", false, "let others connect without TLS, where something in front has it")
	flags.Float64Var(&s.Rate, "rate", s.Rate, "calls a second that a tenant may make; 0: any (and with --dev)")
	flags.IntVar(&s.Burst, "burst", s.Burst, "calls at once that a tenant may make after a pause")
	flags.IntVar(&s.Slots, "slots", s.Slots, "programs made at once; 0: as many as there are processors")
	flags.IntVar(&s.BulkWorkers, "bulk-workers", s.BulkWorkers, "chunks of bulk jobs done at once; 0: one fewer than slots, at least 1")
	flags.DurationVar(&s.BulkKeep, "bulk-keep", s.BulkKeep, "how long bulk jobs stay after their end, with their results; 0: until they are deleted")
	flags.DurationVar(&s.DeletedKeep, "deleted-keep", s.DeletedKeep, "how long deleted things stay before they are removed for good; 0: for ever, else at least 96h")
	flags.DurationVar(&s.MaxWait, "max-wait", s.MaxWait, "for a slot; a call that would wait longer is refused at once, with when to come back")
	flags.DurationVar(&s.Deadline, "deadline", s.Deadline, "most time of a call, whatever the caller allows")
	flags.DurationVar(&s.DrainDelay, "drain-delay", s.DrainDelay, "on the way out: time for balancers to notice before connections are refused")
	flags.DurationVar(&s.DrainTimeout, "drain-timeout", s.DrainTimeout, "on the way out: most time for running calls after that")
	flags.StringSliceVar(&s.Strategies, "strategy", nil, "NAME=HOST:PORT of a strategy in another process, may be repeated; tls://HOST:PORT for other machines")
	flags.StringVar(&s.StrategyCA, "strategy-ca", "", "file with certificates, PEM, to trust for those with tls://; empty: the system's")
	flags.DurationVar(&s.StrategyTimeout, "strategy-timeout", s.StrategyTimeout, "most time of a call to a strategy in another process")
	flags.StringVar(&s.level, "log-level", "info", "debug, info, warn or error; the log goes to standard error as JSON lines")
	return s
}

// read gives what the settings come to.
func (s *serverSettings) read() (app.Config, error) {
	if err := s.at.UnmarshalText([]byte(s.level)); err != nil {
		return s.Config, wrong("--log-level: %q is none of debug, info, warn, error", s.level)
	}
	c := s.Config
	var err error
	if !c.Dev || s.data.given("data-dir") || s.data.urlFile != "" {
		if c.Data, err = s.data.read(); err != nil {
			return c, err
		}
	}
	if c.Dev && !s.data.given("rate") {
		c.Rate = 0
	}
	return c, nil
}

func (p *program) serve() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "serve",
		Short: "Answer over gRPC and REST",
		Long: `Answer over gRPC (with health and reflection) and REST (with its OpenAPI document at
/openapi.json). Every call needs an API key: Authorization: Bearer and the key. When the data is new,
one key that may do everything is printed to the terminal, this once; others are made with the command
key, or over the API.

With --dev no key is needed and, without --data-dir, nothing outlives the process; it listens on this
machine only. Other addresses need a certificate, or --insecure behind something that has one.
Certificates are read again when their files change. An interrupt or SIGTERM lets running calls end.

Strategies of other processes (docs/strategy-plugin.md) are asked who they are at the start. One that
does not answer is waited for; until then requests that name it are UNAVAILABLE and all others are
answered. One that answers what can't be, as another version of the contract, ends the start.

Answers kept for repeated requests are removed after their three days, and bulk jobs --bulk-keep after
their end. Deleted things can be brought back for ever, unless --deleted-keep says for how long: then
they are removed for good.

Settings may also stand in the environment or in a file: see config --help. With --admin-addr there are
metrics for Prometheus; spans are sent over OTLP where OTEL_EXPORTER_OTLP_ENDPOINT says so.`,
		Example: `  phasewright serve --dev
  phasewright serve --data-dir ./data
  phasewright serve --database-url-file db.url --pepper-file pepper --grpc-addr :9090 --http-addr :8443 \
    --tls-cert cert.pem --tls-key key.pem
  phasewright serve --dev --strategy wave=127.0.0.1:7100
  phasewright serve --config /etc/phasewright.yaml
  curl -s -H "Authorization: Bearer $PHASEWRIGHT_KEY" 127.0.0.1:8080/v1/strategies`,
		Args: cobra.NoArgs,
	}
	s := p.settings(cmd)
	cmd.RunE = p.do(func(cmd *cobra.Command, _ []string) error {
		c, err := s.read()
		if err != nil {
			return err
		}
		c.Version, c.Traces = build(), telemetry.TracesWanted()
		c.Log = slog.New(slog.NewJSONHandler(p.err, &slog.HandlerOptions{Level: s.at}))
		for _, l := range strays() {
			c.Log.Warn("environment: " + l)
		}
		if s.printKey || isTerminal(p.out) {
			c.FirstKey = func(secret string) error {
				_, err := fmt.Fprintf(p.out, "The data is new. This key may do everything; it is shown this once:\n\n%s\n\n", secret)
				return err
			}
		}
		server, err := app.New(c)
		if _, ok := fault.As(err); ok {
			return err
		}
		if err != nil {
			return wrong("%s", err)
		}
		return server.Run(cmd.Context())
	})
	return cmd
}

// isTerminal says whether someone reads along.
func isTerminal(w io.Writer) bool {
	f, ok := w.(*os.File)
	if !ok {
		return false
	}
	info, err := f.Stat()
	return err == nil && info.Mode()&os.ModeCharDevice != 0 && f.Name() != os.DevNull
}
