package main

import (
	"log/slog"

	"github.com/spf13/cobra"

	"github.com/phasewright/phasewright/internal/app"
)

func (p *program) serve() *cobra.Command {
	c := app.DefaultConfig()
	var level string
	cmd := &cobra.Command{
		Use:   "serve",
		Short: "Answer over gRPC and REST",
		Long: `Answer over gRPC (with health and reflection) and REST (with its OpenAPI document at
/openapi.json). Nothing is stored. Without TLS and without keys: listen on an address that only
those who may use it can reach. An interrupt or SIGTERM lets running calls end.`,
		Example: `  phasewright serve
  phasewright serve --grpc-addr 127.0.0.1:9090 --http-addr 127.0.0.1:8080
  curl -s 127.0.0.1:8080/v1/strategies`,
		Args: cobra.NoArgs,
		RunE: p.do(func(cmd *cobra.Command, _ []string) error {
			var at slog.Level
			if err := at.UnmarshalText([]byte(level)); err != nil {
				return wrong("--log-level: %q is none of debug, info, warn, error", level)
			}
			c.Log = slog.New(slog.NewJSONHandler(p.err, &slog.HandlerOptions{Level: at}))
			server, err := app.New(c)
			if err != nil {
				return wrong("%s", err)
			}
			return server.Run(cmd.Context())
		}),
	}
	flags := cmd.Flags()
	flags.StringVar(&c.GRPCAddr, "grpc-addr", c.GRPCAddr, "HOST:PORT for gRPC; port 0 takes a free one")
	flags.StringVar(&c.HTTPAddr, "http-addr", c.HTTPAddr, "HOST:PORT for REST; port 0 takes a free one")
	flags.DurationVar(&c.Deadline, "deadline", c.Deadline, "most time of a call, whatever the caller allows")
	flags.DurationVar(&c.DrainDelay, "drain-delay", c.DrainDelay, "on the way out: time for balancers to notice before connections are refused")
	flags.DurationVar(&c.DrainTimeout, "drain-timeout", c.DrainTimeout, "on the way out: most time for running calls after that")
	flags.StringVar(&level, "log-level", "info", "debug, info, warn or error; the log goes to standard error as JSON lines")
	return cmd
}
