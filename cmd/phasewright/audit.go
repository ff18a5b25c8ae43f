package main

import (
	"context"
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/internal/export"
	"github.com/phasewright/phasewright/internal/service"
	"github.com/phasewright/phasewright/internal/wire"
)

func (p *program) audit() *cobra.Command {
	var file string
	var asJSON bool
	cmd := &cobra.Command{
		Use:   "audit -f program.json",
		Short: "Check a program, generated or written by hand",
		Long: `Check a program (as generate --json prints it; YAML will do) against its own request and
against published guidance, from its numbers alone. A violation of a hard limit gives exit
code 1; departures from guidance and wishes that were not met are listed and give 0.`,
		Example: `  phasewright audit -f program.json
  phasewright generate --json | phasewright audit -f -`,
		Args: cobra.NoArgs,
		RunE: p.do(func(cmd *cobra.Command, _ []string) error {
			if file == "" {
				return wrong("-f is needed: a program in JSON or YAML, - for standard input")
			}
			return p.runAudit(cmd, file, asJSON)
		}),
	}
	cmd.Flags().StringVarP(&file, "file", "f", "", "program in JSON or YAML; - is standard input")
	cmd.Flags().BoolVar(&asJSON, "json", false, "print the findings as JSON")
	return p.served(cmd)
}

func (p *program) runAudit(cmd *cobra.Command, file string, asJSON bool) error {
	data, err := p.read(cmd.Context(), file)
	if err != nil {
		return err
	}
	message, err := wire.ReadProgram(data)
	if err != nil {
		return err
	}
	read, err := wire.ProgramFromProto(message)
	if err != nil {
		return err
	}
	m, err := p.maker()
	if err != nil {
		return err
	}
	a, err := m.Audit(cmd.Context(), read)
	if err != nil {
		return err
	}
	if asJSON {
		err = p.auditJSON(a)
	} else {
		err = p.auditText(cmd.Context(), read, a.Findings, m)
	}
	if err == nil && tally(a.Findings)[plan.LevelViolation] > 0 {
		err = errViolations
	}
	return err
}

func (p *program) auditJSON(a service.Audited) error {
	out, err := wire.Marshal(wire.AuditedToProto(a.Findings, a.Rules, a.Intact))
	if err != nil {
		return err
	}
	_, err = p.out.Write(out)
	return err
}

func (p *program) auditText(ctx context.Context, read *plan.Program, findings []plan.Finding, m maker) error {
	catalogue, err := m.Catalogue(ctx)
	if err != nil {
		return err
	}
	n := tally(findings)
	head := fmt.Sprintf("%s, %s, %s, %s in %s.\n", many(n[plan.LevelViolation], "violation"), many(n[plan.LevelShort], "unmet wish"),
		many(n[plan.LevelDeparture], "departure from guidance"), many(n[plan.LevelNote], "note"), many(read.WeekCount(), "week"))
	if len(findings) > 0 {
		head += "\n"
	}
	_, err = fmt.Fprint(p.out, head, export.Findings(read, findings, export.Options{Catalogue: catalogue}))
	return err
}

func tally(findings []plan.Finding) map[plan.FindingLevel]int {
	n := map[plan.FindingLevel]int{}
	for i := range findings {
		n[findings[i].Level]++
	}
	return n
}

// many prints "no violation", "1 violation", "2 violations".
func many(n int, noun string) string {
	switch n {
	case 0:
		return "no " + noun
	case 1:
		return "1 " + noun
	}
	first, after, has := strings.Cut(noun, " from ")
	if strings.HasSuffix(first, "sh") {
		first += "e"
	}
	first += "s"
	if has {
		first += " from " + after
	}
	return fmt.Sprintf("%d %s", n, first)
}
