package main

import (
	"context"
	"io"
	"net"
	"time"

	"github.com/spf13/cobra"

	"github.com/phasewright/phasewright/engine/exercise"
	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/internal/service"
)

// maker is what the commands need: the service in this process, or a server.
type maker interface {
	Generate(context.Context, plan.Request) (plan.Program, error)
	Regenerate(context.Context, *plan.Program, plan.Request, plan.Rework) (service.Regenerated, error)
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
	newMaker func(server string) (maker, error) // "" is the one in this process
	now      func() time.Time

	server  string // --server
	started bool   // a command runs: errors are no longer about the command line
}

// run executes a command line and gives the exit code.
func (p *program) run(ctx context.Context, args []string) int {
	root := p.root()
	root.SetArgs(args)
	root.SetIn(p.in)
	root.SetOut(p.out)
	root.SetErr(p.err)
	cmd, err := root.ExecuteContextC(ctx)
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
	root.AddCommand(p.generate(), p.change(), p.audit(), p.estimate(), p.strategies(), p.exercises(), p.serve(), p.version())
	return root
}

// maker gives what answers the command.
func (p *program) maker() (maker, error) {
	if p.server != "" {
		if _, _, err := net.SplitHostPort(p.server); err != nil {
			return nil, wrong("--server: %q is not HOST:PORT, such as 127.0.0.1:9090", p.server)
		}
	}
	return p.newMaker(p.server)
}

// served adds the flag of commands that a server can answer too.
func (p *program) served(cmd *cobra.Command) *cobra.Command {
	cmd.Flags().StringVar(&p.server, "server", "", "let the server at this HOST:PORT (gRPC) answer, instead of this process")
	return cmd
}

// do marks the point from which errors are no longer about the command line.
func (p *program) do(run func(*cobra.Command, []string) error) func(*cobra.Command, []string) error {
	return func(cmd *cobra.Command, args []string) error {
		p.started = true
		return run(cmd, args)
	}
}
