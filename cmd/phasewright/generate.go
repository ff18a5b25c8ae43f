package main

import (
	_ "embed"
	"fmt"
	"os"

	"github.com/spf13/cobra"

	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/internal/export"
	"github.com/phasewright/phasewright/internal/wire"
)

// demo is a ready request of an invented athlete at an invented gym.
//
//go:embed demo.yaml
var demo []byte

type generateFlags struct {
	file    string
	out     string
	json    bool
	why     bool
	week    int32
	longer  bool
	example bool
}

func (p *program) generate() *cobra.Command {
	var f generateFlags
	cmd := &cobra.Command{
		Use:   "generate",
		Short: "Make a program from a request",
		Long: `Make a program from a request in YAML or JSON and print it as a coach reads it, or as
JSON. Without -f a ready request of an invented athlete is taken.`,
		Example: `  phasewright generate                          the invented athlete
  phasewright generate --example > request.yaml its request, to start from
  phasewright generate -f request.yaml
  phasewright generate -f request.yaml --week 3 one week, session by session
  phasewright generate -f request.yaml -o program.json --thorough
  phasewright generate -f - --json < request.json`,
		Args: cobra.NoArgs,
		RunE: p.do(func(cmd *cobra.Command, _ []string) error { return p.runGenerate(cmd, &f) }),
	}
	flags := cmd.Flags()
	flags.StringVarP(&f.file, "file", "f", "", "request in YAML or JSON; - is standard input")
	flags.StringVarP(&f.out, "out", "o", "", "file for the program as JSON, beside what is printed")
	flags.BoolVar(&f.json, "json", false, "print the program as JSON")
	flags.BoolVar(&f.why, "why", false, "say by which rule and source each number is what it is")
	flags.Int32Var(&f.week, "week", 0, "print only this week, in full")
	flags.BoolVar(&f.longer, "thorough", false, "look longer for the best exercises and sets, some ten seconds")
	flags.BoolVar(&f.example, "example", false, "print the request of the invented athlete and stop")
	return p.served(cmd)
}

func (p *program) runGenerate(cmd *cobra.Command, f *generateFlags) error {
	if f.json && (f.why || cmd.Flags().Changed("week")) {
		return wrong("--json prints the whole program with its reasons; --why and --week are for text")
	}
	if f.example {
		_, err := p.out.Write(demo)
		return err
	}
	data := demo
	if cmd.Flags().Changed("file") {
		var err error
		if data, err = p.read(cmd.Context(), f.file); err != nil {
			return err
		}
	} else {
		fmt.Fprintln(p.err, "No request given: this is for an invented athlete. Yours: phasewright generate -f request.yaml")
	}
	message, err := wire.ReadRequest(data)
	if err != nil {
		return err
	}
	request, err := wire.RequestFromProto(message)
	if err != nil {
		return err
	}
	if f.longer {
		request.Search = plan.SearchThorough
	}
	m, err := p.maker()
	if err != nil {
		return err
	}
	made, err := m.Generate(cmd.Context(), request)
	if err != nil {
		return err
	}
	if f.json || f.out != "" {
		out, err := wire.Marshal(wire.ProgramToProto(&made))
		if err != nil {
			return err
		}
		if f.out != "" {
			if err := os.WriteFile(f.out, out, 0o644); err != nil {
				return wrong("--out: %s: %s", f.out, cause(err))
			}
		}
		if f.json {
			_, err = p.out.Write(out)
			return err
		}
	}
	if f.week < 0 || cmd.Flags().Changed("week") && (f.week == 0 || int(f.week) > made.WeekCount()) {
		return wrong("--week: there is no week %d; the program has weeks 1 to %d", f.week, made.WeekCount())
	}
	catalogue, err := m.Catalogue(cmd.Context())
	if err != nil {
		return err
	}
	return export.Text(p.out, &made, export.Options{Week: f.week, Why: f.why, Catalogue: catalogue})
}
