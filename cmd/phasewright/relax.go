package main

import (
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"github.com/phasewright/phasewright/engine"
	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/internal/wire"
)

type suggestFlags struct {
	file string
	json bool
}

func (p *program) suggest() *cobra.Command {
	var f suggestFlags
	cmd := &cobra.Command{
		Use:   "suggest",
		Short: "Say what small changes of a request would gain",
		Long: `Say what small changes of a request would gain where its program misses sets that are wanted:
some minutes on a day, a session more, an item of equipment, a pin given up. Each change is
tried by making the program again, which takes as long as a few dozen programs. What a
request that can't be met needs is said by generate too.
Without -f the request of the invented athlete is taken.`,
		Example: `  phasewright suggest -f request.yaml
  phasewright suggest -f request.yaml --json`,
		Args: cobra.NoArgs,
		RunE: p.do(func(cmd *cobra.Command, _ []string) error { return p.runSuggest(cmd, &f) }),
	}
	cmd.Flags().StringVarP(&f.file, "file", "f", "", "request in YAML or JSON; - is standard input")
	cmd.Flags().BoolVar(&f.json, "json", false, "print the changes as JSON")
	return p.served(cmd)
}

func (p *program) runSuggest(cmd *cobra.Command, f *suggestFlags) error {
	data := demo
	if cmd.Flags().Changed("file") {
		var err error
		if data, err = p.read(cmd.Context(), f.file); err != nil {
			return err
		}
	} else {
		fmt.Fprintln(p.err, "No request given: this is for an invented athlete. Yours: phasewright suggest -f request.yaml")
	}
	message, err := wire.ReadRequest(data)
	if err != nil {
		return err
	}
	request, err := wire.RequestFromProto(message)
	if err != nil {
		return err
	}
	m, err := p.maker()
	if err != nil {
		return err
	}
	list, err := m.Relaxations(cmd.Context(), request)
	if err != nil {
		return err
	}
	if f.json {
		out, err := wire.Marshal(wire.RelaxationsToProto(list, "request"))
		if err != nil {
			return err
		}
		_, err = p.out.Write(out)
		return err
	}
	return printRelaxations(p.out, list)
}

func printRelaxations(w io.Writer, list []engine.Relaxation) error {
	if len(list) == 0 {
		_, err := fmt.Fprintln(w, "The program has all sets that are wanted, or no small change would gain any.")
		return err
	}
	fmt.Fprintln(w, "Each of these was tried on its own; the first gains the most for what it asks.")
	for i := range list {
		fmt.Fprintf(w, "\n%d. %s\n", i+1, list[i].Says)
		printChanges(w, list[i].Changes)
	}
	return nil
}

func printChanges(w io.Writer, list []fault.Change) {
	for _, c := range list {
		switch {
		case c.From == "":
			fmt.Fprintf(w, "   %s: add %s\n", c.Field, c.To)
		case c.To == "":
			fmt.Fprintf(w, "   %s: take out %s\n", c.Field, c.From)
		default:
			fmt.Fprintf(w, "   %s: %s instead of %s\n", c.Field, c.To, c.From)
		}
	}
}

// printWays tells what would make possible what is not.
func printWays(w io.Writer, list []fault.Way) {
	if len(list) == 0 {
		return
	}
	fmt.Fprintln(w, "Any one of these is enough, the cheapest first:")
	for i := range list {
		fmt.Fprintf(w, "%d. %s\n", i+1, list[i].Says)
		printChanges(w, list[i].Changes)
	}
}
