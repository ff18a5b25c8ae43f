package main

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"unicode"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/types/known/structpb"
	"sigs.k8s.io/yaml"

	pb "github.com/phasewright/phasewright/gen/phasewright/v1"

	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/internal/export"
	"github.com/phasewright/phasewright/internal/service"
	"github.com/phasewright/phasewright/internal/wire"
)

type compareFlags struct {
	file, equal     string
	arms            []string
	plots, programs string
	json            bool
}

// equalities are what --equal may say.
var equalities = map[string]plan.Equating{
	"hard-sets": plan.EquateHardSets, "volume-load": plan.EquateVolumeLoad, "minutes": plan.EquateMinutes, "nothing": plan.EquateNothing,
}

const equalityNames = "hard-sets, volume-load, minutes or nothing"

// usualArms are compared where none are named.
var usualArms = []string{"constant", "linear", "undulating", "block", "strength-then-size"}

func (p *program) compare() *cobra.Command {
	var f compareFlags
	cmd := &cobra.Command{
		Use:   "compare",
		Short: "Set strategies beside each other for one athlete, with nothing but the strategy between them",
		Long: `Make one program for each of two to eight strategies, for the same athlete, with the same
exercises on the same days, and print what they come to, week by week and phase by phase: hard
sets, sets near failure, repetitions by zone, volume load, intensity, minutes, sets for each
muscle. --equal says what is made equal; what can't be is printed with the gap.

The file holds a request, as for generate, and --arm names what is compared; or, without
--arm, a request with its arms (message CompareStrategiesRequest). An arm is a strategy with
parameters, and a label before it where it needs one.`,
		Example: `  phasewright compare
  phasewright compare -f request.yaml --arm linear --arm block
  phasewright compare -f request.yaml --arm "heavy: linear last_reps=2-4" --arm "light: linear last_reps=8-10"
  phasewright compare -f request.yaml --arm linear --arm block --equal volume-load --plots ./plots
  phasewright compare -f comparison.yaml --programs ./programs`,
		Args: cobra.NoArgs,
		RunE: p.do(func(cmd *cobra.Command, _ []string) error { return p.runCompare(cmd, &f) }),
	}
	flags := cmd.Flags()
	flags.StringVarP(&f.file, "file", "f", "", "request in YAML or JSON; - is standard input")
	flags.StringArrayVar(&f.arms, "arm", nil, `strategy to compare, such as linear or "heavy: linear last_reps=2-4" (repeated)`)
	flags.StringVar(&f.equal, "equal", "", "what is made equal: "+equalityNames+" (hard-sets)")
	flags.StringVar(&f.plots, "plots", "", "directory for drawings (SVG)")
	flags.StringVar(&f.programs, "programs", "", "directory for the arms' programs, as text and JSON")
	flags.BoolVar(&f.json, "json", false, "print the comparison as JSON")
	return p.served(cmd)
}

func (p *program) runCompare(cmd *cobra.Command, f *compareFlags) error {
	message, err := p.comparison(cmd, f)
	if err != nil {
		return err
	}
	q, err := wire.ComparisonQueryFromProto(message)
	if err != nil {
		return err
	}
	if f.equal != "" {
		rule, ok := equalities[token(f.equal)]
		if !ok {
			return wrong("--equal: there is no %q; %s is possible", f.equal, equalityNames)
		}
		q.Rule = rule
	}
	q.Plots, q.Programs = q.Plots || f.plots != "", q.Programs || f.programs != ""
	m, err := p.maker()
	if err != nil {
		return err
	}
	made, err := m.CompareStrategies(cmd.Context(), q)
	if err != nil {
		return f.asTyped(err)
	}
	return p.showComparison(cmd.Context(), f, &made, m)
}

// comparison reads what is compared.
func (p *program) comparison(cmd *cobra.Command, f *compareFlags) (*pb.CompareStrategiesRequest, error) {
	data, arms := demo, f.arms
	given := cmd.Flags().Changed("file")
	if given {
		var err error
		if data, err = p.read(cmd.Context(), f.file); err != nil {
			return nil, err
		}
		if len(arms) == 0 {
			return wire.ReadComparison(data)
		}
	} else {
		fmt.Fprintln(p.err, "No request given: this is for an invented athlete. Yours: phasewright compare -f request.yaml --arm linear --arm block")
		if len(arms) == 0 {
			arms = usualArms
		}
	}
	request, err := wire.ReadRequest(data)
	if err != nil {
		return nil, err
	}
	if n := len(request.GetPlan().GetTracks()); n > 0 {
		if given {
			fmt.Fprintln(p.err, "The request's own strategies give way to those of --arm.")
		}
		request.Plan.Tracks = nil
	}
	out := &pb.CompareStrategiesRequest{Request: request}
	for _, s := range arms {
		a, err := armOf(s)
		if err != nil {
			return nil, wrong("--arm %s: %s", s, err)
		}
		out.Arms = append(out.Arms, a)
	}
	return out, nil
}

// asTyped names what is wrong with an arm by what was typed.
func (f *compareFlags) asTyped(err error) error {
	a := asked{typed: map[string]string{}}
	for i, s := range f.arms {
		a.typed[fmt.Sprintf("arms[%d]", i)] = "--arm " + s
	}
	if len(f.arms) > 0 {
		a.typed["arms"] = "--arm"
	}
	return a.asTyped(err)
}

// armOf reads "label: strategy parameter=value …".
func armOf(s string) (*pb.Arm, error) {
	label, rest, labelled := strings.Cut(s, ":")
	if !labelled {
		rest = s
	}
	words := strings.Fields(rest)
	if len(words) == 0 {
		return nil, fmt.Errorf("names no strategy")
	}
	if !labelled {
		label = strings.Join(words, " ")
	}
	seg := &pb.Segment{Strategy: words[0]}
	if len(words) > 1 {
		values := map[string]any{}
		for _, w := range words[1:] {
			name, text, ok := strings.Cut(w, "=")
			if !ok || name == "" || text == "" {
				return nil, fmt.Errorf("%q is no parameter; write name=value", w)
			}
			var v any
			if err := yaml.Unmarshal([]byte(text), &v); err != nil {
				v = text
			}
			values[name] = v
		}
		var err error
		if seg.Parameters, err = structpb.NewStruct(values); err != nil {
			return nil, err
		}
	}
	return &pb.Arm{Label: strings.TrimSpace(label), Plan: &pb.Plan{Tracks: []*pb.Track{{Segments: []*pb.Segment{seg}}}}}, nil
}

func (p *program) showComparison(ctx context.Context, f *compareFlags, made *service.Compared, m maker) error {
	catalogue, err := m.Catalogue(ctx)
	if err != nil {
		return err
	}
	o := export.Options{Catalogue: catalogue}
	if f.plots != "" {
		for i := range made.Plots {
			if err := written(f.plots, made.Plots[i].ID+".svg", []byte(made.Plots[i].SVG)); err != nil {
				return err
			}
		}
		fmt.Fprintf(p.err, "%d drawings are in %s.\n", len(made.Plots), f.plots)
	}
	if f.programs != "" {
		for i := range made.Comparison.Arms {
			a := &made.Comparison.Arms[i]
			name := fmt.Sprintf("%d-%s", i+1, slug(a.Label))
			data, err := wire.Marshal(wire.ProgramToProto(&a.Program))
			if err != nil {
				return err
			}
			var text strings.Builder
			if err := export.Text(&text, &a.Program, o); err != nil {
				return err
			}
			if err := written(f.programs, name+".json", data); err != nil {
				return err
			}
			if err := written(f.programs, name+".txt", []byte(text.String())); err != nil {
				return err
			}
		}
		fmt.Fprintf(p.err, "%d programs are in %s.\n", len(made.Comparison.Arms), f.programs)
	}
	if !f.json {
		return export.Comparison(p.out, &made.Comparison, o)
	}
	out, err := wire.Marshal(wire.ComparisonToProto(&made.Comparison, made.Plots))
	if err != nil {
		return err
	}
	_, err = p.out.Write(out)
	return err
}

func written(dir, name string, data []byte) error {
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return wrong("%s: %s", dir, cause(err))
	}
	if err := os.WriteFile(filepath.Join(dir, name), data, 0o644); err != nil {
		return wrong("%s: %s", filepath.Join(dir, name), cause(err))
	}
	return nil
}

// slug makes a label fit for a file name.
func slug(label string) string {
	return strings.Trim(strings.Map(func(c rune) rune {
		if unicode.IsLetter(c) || unicode.IsDigit(c) {
			return unicode.ToLower(c)
		}
		return '-'
	}, label), "-")
}
