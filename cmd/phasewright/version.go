package main

import (
	"fmt"
	"runtime/debug"

	"github.com/spf13/cobra"

	"github.com/phasewright/phasewright/engine"
	"github.com/phasewright/phasewright/engine/load"
	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/internal/app"
)

func (p *program) version() *cobra.Command {
	return &cobra.Command{
		Use:   "version",
		Short: "Print the versions that decide a program",
		Args:  cobra.NoArgs,
		RunE: p.do(func(*cobra.Command, []string) error {
			e, err := app.NewEngine()
			if err != nil {
				return err
			}
			_, err = fmt.Fprintf(p.out, "phasewright %s\nengine %s, rules %s, catalogue %s, curves %s, document %s\n",
				build(), engine.Version, engine.RulesVersion, e.Catalogue().Version(), load.CurveVersion, plan.DocumentVersion)
			return err
		}),
	}
}

// released is the version that tools/release.sh stamps in.
var released string

// build gives the version of the program: as released, else that of the module, as far as
// the binary knows it.
func build() string {
	if released != "" {
		return released
	}
	if info, ok := debug.ReadBuildInfo(); ok && info.Main.Version != "" {
		return info.Main.Version
	}
	return "(unknown)"
}
