package main

import (
	"fmt"
	"io"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"github.com/phasewright/phasewright/engine/plan"
	pb "github.com/phasewright/phasewright/gen/phasewright/v1"
	"github.com/phasewright/phasewright/internal/export"
	"github.com/phasewright/phasewright/internal/wire"
)

func (p *program) strategies() *cobra.Command {
	var asJSON bool
	cmd := &cobra.Command{
		Use:   "strategies [NAME]",
		Short: "List the strategies with their parameters and what they may claim",
		Example: `  phasewright strategies
  phasewright strategies linear`,
		Args: cobra.MaximumNArgs(1),
		RunE: p.do(func(cmd *cobra.Command, args []string) error {
			m, err := p.maker()
			if err != nil {
				return err
			}
			list, err := m.Strategies(cmd.Context())
			if err != nil {
				return err
			}
			if len(args) == 1 {
				if list, err = pick(list, args[0]); err != nil {
					return err
				}
			}
			if asJSON {
				return p.strategiesJSON(list)
			}
			return printStrategies(p.out, list, len(args) == 1)
		}),
	}
	cmd.Flags().BoolVar(&asJSON, "json", false, "print them as JSON")
	return p.served(cmd)
}

func pick(list []plan.Descriptor, name string) ([]plan.Descriptor, error) {
	var out []plan.Descriptor
	var names []string
	for _, d := range list {
		names = append(names, d.Name)
		if d.Name == name || d.ID() == name {
			out = append(out, d)
		}
	}
	if len(out) > 0 {
		return out, nil
	}
	if near := nearest(name, names); near != "" {
		return nil, wrong("there is no strategy %q; did you mean %s?", name, near)
	}
	return nil, wrong("there is no strategy %q; there is %s", name, strings.Join(names, ", "))
}

func (p *program) strategiesJSON(list []plan.Descriptor) error {
	m := &pb.ListStrategiesResponse{}
	for i := range list {
		m.Strategies = append(m.Strategies, wire.StrategyToProto(&list[i]))
	}
	out, err := wire.Marshal(m)
	if err != nil {
		return err
	}
	_, err = p.out.Write(out)
	return err
}

// printStrategies prints each strategy; in full with its parameters and claims.
func printStrategies(w io.Writer, list []plan.Descriptor, full bool) error {
	var b strings.Builder
	for i := range list {
		d := &list[i]
		if i > 0 {
			b.WriteByte('\n')
		}
		where := ""
		if d.External {
			where = " · in a process of its own"
		}
		fmt.Fprintf(&b, "%s · %d to %d weeks%s\n", d.ID(), d.MinWeeks, d.MaxWeeks, where)
		b.WriteString(export.Paragraph("  ", d.Says))
		if !full {
			var names []string
			for _, s := range d.Params {
				names = append(names, s.Name)
			}
			b.WriteString(export.Paragraph("  ", "Parameters: "+strings.Join(names, ", ")))
			continue
		}
		b.WriteString(export.Paragraph("  ", "What may be claimed: "+d.Claims))
		for k := range d.Params {
			printParam(&b, &d.Params[k])
		}
	}
	if !full && len(list) > 0 {
		b.WriteString("\nParameters in full: phasewright strategies " + list[0].Name + "\n")
	}
	_, err := io.WriteString(w, b.String())
	return err
}

func printParam(b *strings.Builder, s *plan.ParamSpec) {
	fmt.Fprintf(b, "\n  %s = %s", s.Name, valueText(s.Default))
	if s.Unit != "" {
		b.WriteString(" " + s.Unit)
	}
	switch s.Kind {
	case plan.ValueNumber:
		fmt.Fprintf(b, "  (%s to %s)", plan.Load{Milli: s.Min}.Number(), plan.Load{Milli: s.Max}.Number())
	case plan.ValueRange, plan.ValueList:
		fmt.Fprintf(b, "  (%d to %d)", s.Min, s.Max)
	case plan.ValueText:
		b.WriteString("  (" + strings.Join(s.Choices, ", ") + ")")
	case plan.ValueBool:
		b.WriteString("  (true or false)")
	case plan.ValueSets:
		b.WriteString("  (sets such as 3x8-12 or 5x5@80%/3min, joined by commas)")
	}
	b.WriteByte('\n')
	b.WriteString(export.Paragraph("    ", s.Says))
	if s.Varies != "" {
		b.WriteString(export.Paragraph("    ", "Without it, by athlete: "+s.Varies))
	}
	b.WriteString(export.Paragraph("    ", "Source: "+s.Source))
}

func valueText(v plan.Value) string {
	switch v.Kind {
	case plan.ValueNumber:
		return plan.Load{Milli: v.Milli}.Number()
	case plan.ValueRange:
		return fmt.Sprintf("%d-%d", v.Lo, v.Hi)
	case plan.ValueText:
		if v.Text == "" {
			return "none"
		}
		return v.Text
	case plan.ValueBool:
		return strconv.FormatBool(v.Bool)
	}
	var out []string
	for _, n := range v.List {
		out = append(out, strconv.Itoa(int(n)))
	}
	return "[" + strings.Join(out, ", ") + "]"
}
