package main

import (
	"context"
	"io"

	"github.com/spf13/cobra"

	"github.com/phasewright/phasewright/engine/exercise"
	"github.com/phasewright/phasewright/engine/plan"
)

// maker is what the commands need of the engine.
type maker interface {
	Generate(context.Context, plan.Request) (plan.Program, error)
	Audit(*plan.Program) []plan.Finding
	Strategies() []plan.Descriptor
	Catalogue() *exercise.Catalogue
}

// program is the command line with what it reads and writes, so that tests run it in
// their own process.
type program struct {
	in        io.Reader
	out, err  io.Writer
	newEngine func() (maker, error)

	started bool // a command runs: errors are no longer about the command line
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
  phasewright generate --json | phasewright audit -f -`,
		SilenceErrors:     true,
		SilenceUsage:      true,
		CompletionOptions: cobra.CompletionOptions{HiddenDefaultCmd: true},
	}
	root.SetFlagErrorFunc(flagError)
	root.AddCommand(p.generate(), p.audit(), p.strategies(), p.exercises(), p.version())
	return root
}

// do marks the point from which errors are no longer about the command line.
func (p *program) do(run func(*cobra.Command, []string) error) func(*cobra.Command, []string) error {
	return func(cmd *cobra.Command, args []string) error {
		p.started = true
		return run(cmd, args)
	}
}
