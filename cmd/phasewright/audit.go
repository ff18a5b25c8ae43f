package main

import (
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"github.com/phasewright/phasewright/engine/audit"
	"github.com/phasewright/phasewright/engine/plan"
	pb "github.com/phasewright/phasewright/gen/phasewright/v1"
	"github.com/phasewright/phasewright/internal/export"
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
	return cmd
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
	engine, err := p.newEngine()
	if err != nil {
		return err
	}
	intact, err := read.Intact()
	if err != nil {
		return err
	}
	findings := engine.Audit(read)
	if asJSON {
		err = p.auditJSON(findings, intact)
	} else {
		err = p.auditText(read, findings, export.Options{Catalogue: engine.Catalogue()})
	}
	if err == nil && tally(findings)[plan.LevelViolation] > 0 {
		err = errViolations
	}
	return err
}

func (p *program) auditJSON(findings []plan.Finding, intact bool) error {
	named := map[plan.RuleID]bool{}
	for i := range findings {
		named[findings[i].Rule] = true
	}
	var rules []plan.Rule
	for _, r := range audit.Rules() {
		if named[r.ID] {
			rules = append(rules, r)
		}
	}
	out, err := wire.Marshal(&pb.AuditProgramResponse{Findings: wire.FindingsToProto(findings), Intact: intact, Rules: wire.RulesToProto(rules)})
	if err != nil {
		return err
	}
	_, err = p.out.Write(out)
	return err
}

func (p *program) auditText(read *plan.Program, findings []plan.Finding, o export.Options) error {
	n := tally(findings)
	head := fmt.Sprintf("%s, %s, %s, %s in %s.\n", many(n[plan.LevelViolation], "violation"), many(n[plan.LevelShort], "unmet wish"),
		many(n[plan.LevelDeparture], "departure from guidance"), many(n[plan.LevelNote], "note"), many(read.WeekCount(), "week"))
	if len(findings) > 0 {
		head += "\n"
	}
	_, err := fmt.Fprint(p.out, head, export.Findings(read, findings, o))
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
