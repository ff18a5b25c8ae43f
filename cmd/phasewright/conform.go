package main

import (
	"context"
	"errors"
	"fmt"
	"reflect"
	"time"

	"github.com/spf13/cobra"

	"github.com/phasewright/phasewright/engine"
	"github.com/phasewright/phasewright/engine/conform"
	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/internal/app"
	"github.com/phasewright/phasewright/internal/export"
	"github.com/phasewright/phasewright/strategies/remote"
)

func (p *program) conform() *cobra.Command {
	var ca string
	timeout := remote.DefaultTimeout
	cmd := &cobra.Command{
		Use:   "conform ADDRESS",
		Short: "Ask a strategy in another process all that the built-in ones have to pass",
		Long: `Connect to a strategy plug-in (docs/strategy-plugin.md) at HOST:PORT, tls://HOST:PORT or
plain://HOST:PORT and ask it all laws of strategies, the same that every built-in strategy passes. Each
law is printed with what was found against it: what was asked, and the field of the answer. It makes
some thousands of calls, on a busy machine for a minute.

Refusing unknown parameters and bad requests, sharing no memory and ending with the caller's context are
kept on this side of the connection; they are asked all the same.`,
		Example: `  phasewright conform 127.0.0.1:7100`,
		Args:    cobra.ExactArgs(1),
	}
	cmd.Flags().StringVar(&ca, "ca-file", "", "file with certificates, PEM, to trust for tls://; empty: the system's")
	cmd.Flags().DurationVar(&timeout, "timeout", timeout, "most time of a call")
	cmd.RunE = p.do(func(cmd *cobra.Command, args []string) error {
		plugin, err := app.DialPlugin("", args[0], ca, timeout)
		if err != nil {
			return wrong("%s", err)
		}
		defer plugin.Close()
		begun := time.Now()
		s, err := plugin.Connect(cmd.Context())
		if err != nil {
			if why := errors.Unwrap(err); why != nil {
				fmt.Fprintln(p.err, why)
			}
			return err
		}
		d := s.Describe()
		fmt.Fprintf(p.out, "%s at %s, %d to %d weeks\n%s\n", d.ID(), plugin.Address(), d.MinWeeks, d.MaxWeeks, export.Paragraph("  ", d.Says))
		laws, broken := 0, 0
		law := func(name, says string, found []conform.Finding) {
			laws++
			kept := "kept"
			if len(found) > 0 {
				kept = "BROKEN"
				broken++
			}
			fmt.Fprintf(p.out, "%-7s %-12s %s\n", kept, name, says)
			for _, f := range found {
				fmt.Fprint(p.out, export.Paragraph("        ", f.Says))
			}
		}
		law("handshake", fmt.Sprintf("speaks version %d of the contract", remote.Protocol), nil)
		law("stable", "describes itself again as before", stable(cmd.Context(), plugin, d))
		for _, c := range conform.Checks() {
			found := c.Run(cmd.Context(), func() engine.Strategy { return s })
			if err := cmd.Context().Err(); err != nil {
				return err
			}
			law(c.Name, c.Says, found)
		}
		fmt.Fprintf(p.out, "\n%d of %d laws kept, in %s\n", laws-broken, laws, time.Since(begun).Round(100*time.Millisecond))
		if broken > 0 {
			return errViolations
		}
		return nil
	})
	return cmd
}

// stable asks for the description once more: a strategy is cached by it.
func stable(ctx context.Context, plugin *remote.Plugin, d plan.Descriptor) []conform.Finding {
	again, err := plugin.Connect(ctx)
	switch {
	case err != nil:
		return []conform.Finding{{Says: err.Error()}}
	case !reflect.DeepEqual(again.Describe(), d):
		return []conform.Finding{{Says: "description: differs from call to call"}}
	}
	return nil
}
