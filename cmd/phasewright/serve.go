package main

import (
	"fmt"
	"io"
	"log/slog"
	"os"

	"github.com/spf13/cobra"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/internal/app"
)

func (p *program) serve() *cobra.Command {
	c := app.DefaultConfig()
	var level string
	var printKey bool
	cmd := &cobra.Command{
		Use:   "serve",
		Short: "Answer over gRPC and REST",
		Long: `Answer over gRPC (with health and reflection) and REST (with its OpenAPI document at
/openapi.json). Every call needs an API key: Authorization: Bearer and the key. When the data is new,
one key that may do everything is printed to the terminal, this once; others are made with the command
key, or over the API.

With --dev no key is needed and, without --data-dir, nothing outlives the process; it listens on this
machine only. Other addresses need a certificate, or --insecure behind something that has one.
Certificates are read again when their files change. An interrupt or SIGTERM lets running calls end.`,
		Example: `  phasewright serve --dev
  phasewright serve --data-dir ./data
  phasewright serve --database-url-file db.url --pepper-file pepper --grpc-addr :9090 --http-addr :8443 \
    --tls-cert cert.pem --tls-key key.pem
  curl -s -H "Authorization: Bearer $PHASEWRIGHT_KEY" 127.0.0.1:8080/v1/strategies`,
		Args: cobra.NoArgs,
	}
	d := p.data(cmd)
	cmd.RunE = p.do(func(cmd *cobra.Command, _ []string) error {
		var at slog.Level
		if err := at.UnmarshalText([]byte(level)); err != nil {
			return wrong("--log-level: %q is none of debug, info, warn, error", level)
		}
		c.Log = slog.New(slog.NewJSONHandler(p.err, &slog.HandlerOptions{Level: at}))
		var err error
		if !c.Dev || d.given("data-dir") || d.urlFile != "" {
			if c.Data, err = d.read(); err != nil {
				return err
			}
		}
		if c.Dev && !d.given("rate") {
			c.Rate = 0
		}
		if printKey || isTerminal(p.out) {
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
	flags := cmd.Flags()
	flags.BoolVar(&c.Dev, "dev", false, "ask for no key, on addresses of this machine only")
	flags.BoolVar(&printKey, "print-first-key", false, "print the first key also where standard output is no terminal")
	flags.StringVar(&c.GRPCAddr, "grpc-addr", c.GRPCAddr, "HOST:PORT for gRPC; port 0 takes a free one")
	flags.StringVar(&c.HTTPAddr, "http-addr", c.HTTPAddr, "HOST:PORT for REST; port 0 takes a free one")
	flags.StringVar(&c.TLSCert, "tls-cert", "", "file with the certificate chain, PEM")
	flags.StringVar(&c.TLSKey, "tls-key", "", "file with its private key, PEM")
	flags.BoolVar(&c.Insecure, "insecure", false, "let others connect without TLS, where something in front has it")
	flags.Float64Var(&c.Rate, "rate", c.Rate, "calls a second that a tenant may make; 0: any (and with --dev)")
	flags.IntVar(&c.Burst, "burst", c.Burst, "calls at once that a tenant may make after a pause")
	flags.DurationVar(&c.Deadline, "deadline", c.Deadline, "most time of a call, whatever the caller allows")
	flags.DurationVar(&c.DrainDelay, "drain-delay", c.DrainDelay, "on the way out: time for balancers to notice before connections are refused")
	flags.DurationVar(&c.DrainTimeout, "drain-timeout", c.DrainTimeout, "on the way out: most time for running calls after that")
	flags.StringVar(&level, "log-level", "info", "debug, info, warn or error; the log goes to standard error as JSON lines")
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
