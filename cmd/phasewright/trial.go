package main

import (
	"bytes"
	"context"
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/trial/assign"
	"github.com/phasewright/phasewright/engine/trial/conduct"
	"github.com/phasewright/phasewright/engine/trial/power"
	"github.com/phasewright/phasewright/engine/trial/report"
	"github.com/phasewright/phasewright/internal/chart"
)

func (p *program) trial() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "trial",
		Short: "Ask what a trial would show, run one, check it, and tell what it showed",
		Long: `What would this trial likely show, before anyone trains (predict); are its arms and records what
they are said to be (verify); what did it show (report). show, verify and report work on the file of
a trial's events, a line of JSON each (events), and ask nobody else. The other commands run a trial:
create, freeze, then for each athlete join, lead-in, measure, check and enrol; close, assign,
program; measure again; end, reveal. Training can hurt people, and research with people may need
ethics review and consent under the law of the place.`,
		Example: `  phasewright trial predict --athletes 60 --scheme matched-pairs --difference 0.5 --smallest 0.5 --spread 3 --typical-error 0.8 --response 0.5 --unit mm
  phasewright trial verify events.jsonl
  phasewright trial report events.jsonl -o ./report`,
	}
	cmd.AddCommand(p.trialPredict(), p.trialShow(), p.trialVerify(), p.trialReport())
	cmd.AddCommand(p.trialSteps()...)
	return cmd
}

// predictFlags are what is believed of a trial with two arms.
type predictFlags struct {
	athletes, groupSize, runs        int
	scheme, unit                     string
	difference, smallest, gain       float64
	spread, error, response, dropout float64
	icc, level                       float64
	seed                             uint64
}

// schemes are those that need nothing but athletes with a baseline.
var schemes = map[string]assign.Design{
	"complete":        {Scheme: assign.Complete},
	"fixed-totals":    {Scheme: assign.FixedTotals},
	"permuted-blocks": {Scheme: assign.PermutedBlocks, Blocks: []int{4, 6}},
	"matched-pairs":   {Scheme: assign.MatchedPairs, Covariates: []string{"baseline"}},
	// One draw in ten balances as well as this: the tenth part of chi-squared with one
	// degree of freedom.
	"rerandomisation": {Scheme: assign.Rerandomisation, Covariates: []string{"baseline"}, Rerandomise: assign.Rerandomise{MostMicro: 15_790}},
}

const schemeNames = "complete, fixed-totals, permuted-blocks, matched-pairs or rerandomisation"

func (p *program) trialPredict() *cobra.Command {
	var f predictFlags
	cmd := &cobra.Command{
		Use:   "predict --athletes N --difference D --smallest S --spread SD --typical-error SD",
		Short: "Run a trial of two arms many times, before anyone trains, and say what it would likely show",
		Long: `Invent athletes, deal them to two arms, measure them before and after, and analyse the trial as it
would be, a thousand times and more; then the same for other numbers of athletes, by formula.
All quantities are in the outcome's unit (mm, kg). --spread is the SD of athletes' true levels,
--typical-error that of one measurement's error, --response that of athletes' own responses to
the same training. --smallest is the smallest difference that would matter to you, and
--difference what you believe the true one to be; 0 asks how well the trial would show that
the arms are alike.`,
		Example: `  phasewright trial predict --athletes 60 --scheme matched-pairs --difference 0.5 --smallest 0.5 --spread 3 --typical-error 0.8 --response 0.5 --unit mm
  phasewright trial predict --athletes 80 --difference 2.5 --smallest 2.5 --spread 20 --typical-error 3 --dropout 15 --unit kg
  phasewright trial predict --athletes 120 --group-size 10 --icc 0.05 --difference 0.5 --smallest 0.5 --spread 3 --typical-error 0.8`,
		Args: cobra.NoArgs,
	}
	flags := cmd.Flags()
	flags.IntVar(&f.athletes, "athletes", 60, "in both arms together")
	flags.StringVar(&f.scheme, "scheme", "fixed-totals", "how arms are drawn: "+schemeNames)
	flags.StringVar(&f.unit, "unit", "", "of the outcome, for the answer only")
	flags.Float64Var(&f.difference, "difference", 0, "true difference between the arms at the end")
	flags.Float64Var(&f.smallest, "smallest", 0, "smallest difference that would matter")
	flags.Float64Var(&f.gain, "gain", 0, "what the first arm gains")
	flags.Float64Var(&f.spread, "spread", 0, "SD of true levels")
	flags.Float64Var(&f.error, "typical-error", 0, "SD of one measurement's error")
	flags.Float64Var(&f.response, "response", 0, "SD of athletes' own responses")
	flags.Float64Var(&f.dropout, "dropout", 0, "per cent who are not measured at the end")
	flags.IntVar(&f.groupSize, "group-size", 0, "deal whole groups (a coach's athletes) of so many; 0 deals athletes")
	flags.Float64Var(&f.icc, "icc", 0, "with --group-size: share of the variance between groups")
	flags.Float64Var(&f.level, "level", 95, "of intervals, in per cent")
	flags.IntVar(&f.runs, "runs", 2000, "trials to invent, 100 to 20000")
	flags.Uint64Var(&f.seed, "seed", 1, "the same seed gives the same answer")
	cmd.RunE = p.do(func(cmd *cobra.Command, _ []string) error {
		t, err := f.trial()
		if err != nil {
			return err
		}
		o, err := power.Simulate(cmd.Context(), t)
		if err != nil {
			return f.asTyped(err)
		}
		return p.showOutlook(&f, t, o)
	})
	return cmd
}

func (f *predictFlags) trial() (power.Trial, error) {
	d, ok := schemes[token(f.scheme)]
	if !ok {
		return power.Trial{}, wrong("--scheme: there is no %q; there is %s", f.scheme, schemeNames)
	}
	if f.runs > 20_000 {
		return power.Trial{}, wrong("--runs: %d are too many; want 100 to 20000", f.runs)
	}
	d.Trial, d.Arms = "predict", []assign.Arm{{ID: "first", Ratio: 1}, {ID: "second", Ratio: 1}}
	units := f.athletes
	if f.groupSize > 0 {
		units /= f.groupSize
	}
	return power.Trial{
		Design: d, Units: units, Alpha: 1 - f.level/100, Smallest: f.smallest, Runs: f.runs, Seed: f.seed,
		World: power.World{
			Spread: f.spread, TypicalError: f.error, Gain: []float64{f.gain, f.gain + f.difference},
			Response: []float64{f.response, f.response}, Dropout: []float64{f.dropout / 100, f.dropout / 100},
			ClusterSize: f.groupSize, ClusterICC: f.icc,
		},
	}, nil
}

// asTyped names what is wrong by the flag.
func (f *predictFlags) asTyped(err error) error {
	a := asked{typed: map[string]string{
		"units": "--athletes", "runs": "--runs", "alpha": "--level", "smallest": "--smallest", "world.spread": "--spread", "world.typical_error": "--typical-error",
		"world.gain[0]": "--gain", "world.gain[1]": "--difference", "world.response[0]": "--response", "world.response[1]": "--response",
		"world.dropout[0]": "--dropout", "world.dropout[1]": "--dropout", "world.cluster_size": "--group-size", "world.cluster_icc": "--icc",
	}}
	return a.asTyped(err)
}

func (p *program) showOutlook(f *predictFlags, t power.Trial, o *power.Outlook) error {
	what := fmt.Sprintf("%d athletes", f.athletes)
	if f.groupSize > 0 {
		what = fmt.Sprintf("%d groups of %d", t.Units, f.groupSize)
	}
	if err := p.say("%s, %s, %d invented trials. Quantities are in %s.\n", what, t.Design.Scheme, o.Runs, orUnit(f.unit)); err != nil {
		return err
	}
	for _, s := range o.Says {
		if err := p.say("- %s", s); err != nil {
			return err
		}
	}
	if err := p.say("\nCalled different: %.0f %% (± %.1f). Shown to be at least what matters: %.0f %%. Shown to be alike: %.0f %%.", 100*o.Power.Value, 100*o.Power.Error, 100*o.Worth.Value, 100*o.Alike.Value); err != nil {
		return err
	}
	if f.groupSize > 0 || f.difference == 0 {
		return nil
	}
	if err := p.say("\nBy formula, if all stay:\n%12s %8s %10s", "athletes", "found", "interval"); err != nil {
		return err
	}
	for _, n := range [...]int{10, 20, 30, 40, 60, 80, 120, 200, 400} {
		c, err := t.World.Predict(n/2, t.Alpha)
		if err != nil {
			return f.asTyped(err)
		}
		if err := p.say("%12d %6.0f %% %10s", n, 100*c.Ancova, fmt.Sprintf("± %.3g", c.HalfWidth)); err != nil {
			return err
		}
	}
	return nil
}

func orUnit(unit string) string {
	if unit == "" {
		return "the outcome's unit"
	}
	return unit
}

// trialFile reads the events of a trial.
func (p *program) trialFile(ctx context.Context, name string) ([]conduct.Event, error) {
	data, err := p.read(ctx, name)
	if err != nil {
		return nil, err
	}
	events, err := conduct.Read(bytes.NewReader(data))
	return events, fault.Within(name, err)
}

func (p *program) trialShow() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "show EVENTS",
		Short: "Tell how far a trial is, without its results",
		Long: `Tell how far a trial is, from its events (a file of JSON lines; - is standard input): the
protocol, who joined, what is missing before somebody can be enrolled, how many each arm has.
Nothing of the results is shown.`,
		Example: "  phasewright trial show events.jsonl",
		Args:    cobra.ExactArgs(1),
	}
	cmd.RunE = p.do(func(cmd *cobra.Command, args []string) error {
		events, err := p.trialFile(cmd.Context(), args[0])
		if err != nil {
			return err
		}
		t, err := conduct.Open(events)
		if err != nil {
			return err
		}
		s, ok := t.Standing()
		if !ok {
			return wrong("%s: has no event", args[0])
		}
		_, err = fmt.Fprint(p.out, standing(&s))
		return err
	})
	return cmd
}

// standing is how far a trial is, in lines.
func standing(s *conduct.Standing) string {
	var w strings.Builder
	fmt.Fprintf(&w, "%s\n%s\nProtocol version %d, begun %s, %s\n", s.Title, s.Question, s.Version, s.Began, s.Hash)
	state := "not frozen yet"
	switch {
	case s.Revealed:
		state = "ended, the key is shown"
	case s.Ended:
		state = "ended, the key is not shown yet"
	case s.Closed:
		state = "enrolment is closed"
	case s.Frozen:
		state = "frozen, enrolment is open"
	}
	fmt.Fprintf(&w, "State: %s. Looks at results: %d.\n", state, s.Looks)
	fmt.Fprintf(&w, "Not to join: %d. Joined: %d. Enrolled: %d, of whom %d wait for an arm.\n", s.Excluded, s.Joined, s.Enrolled, len(s.Waiting))
	for _, a := range s.Arms {
		fmt.Fprintf(&w, "%s: %d, withdrawn %d, measured at the end %d; adverse events %d, serious %d\n", a.Name, a.Assigned, a.Withdrawn, a.Measured, a.Adverse, a.Serious)
	}
	for _, u := range s.Unready {
		fmt.Fprintf(&w, "%s can't be enrolled yet: %s\n", u.Participant, strings.Join(u.Misses, "; "))
	}
	return w.String()
}

func (p *program) trialVerify() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "verify EVENTS",
		Short: "Check that nothing of a trial's events was changed, and draw every arm again",
		Long: `Check the chain of a trial's events (a file of JSON lines; - is standard input): that none was
changed, lost or put in since, that each could come when it did, and, once the key is shown,
that it is the one committed to and gives every arm as it was told. What is wrong gives exit
code 2.`,
		Example: "  phasewright trial verify events.jsonl",
		Args:    cobra.ExactArgs(1),
	}
	cmd.RunE = p.do(func(cmd *cobra.Command, args []string) error {
		events, err := p.trialFile(cmd.Context(), args[0])
		if err != nil {
			return err
		}
		v, err := conduct.Verify(events)
		if err != nil {
			return err
		}
		if err := p.say("%s\nThe last hash is %s.", v.Says, v.Hash); err != nil {
			return err
		}
		if v.Erased > 0 {
			return p.say("Private text was erased from %d events.", v.Erased)
		}
		return nil
	})
	return cmd
}

func (p *program) trialReport() *cobra.Command {
	var dir string
	cmd := &cobra.Command{
		Use:   "report EVENTS",
		Short: "Analyse a trial that has ended and print the page for coaches; -o writes all of it",
		Long: `Verify and analyse a trial that has ended, from its events (a file of JSON lines; - is standard
input), and print the page that a coach reads. With -o a folder gets the whole report:
report.html (with its drawings, needs no other file), report.md, the drawings as SVG, every
number as report.json, and the data as data.csv with codebook.csv for whoever wants to analyse
it again.`,
		Example: `  phasewright trial report events.jsonl
  phasewright trial report events.jsonl -o ./report`,
		Args: cobra.ExactArgs(1),
	}
	cmd.Flags().StringVarP(&dir, "output", "o", "", "folder for the whole report")
	cmd.RunE = p.do(func(cmd *cobra.Command, args []string) error {
		events, err := p.trialFile(cmd.Context(), args[0])
		if err != nil {
			return err
		}
		t, err := conduct.Open(events)
		if err != nil {
			return err
		}
		in, err := t.Report()
		if err != nil {
			return err
		}
		r, err := report.Make(in)
		if err != nil {
			return err
		}
		if dir == "" {
			_, err := fmt.Fprint(p.out, r.Page())
			return err
		}
		return p.writeReport(dir, in, r)
	})
	return cmd
}

// writeReport writes every form of a report into a folder, and prints the page.
func (p *program) writeReport(dir string, in *report.Input, r *report.Report) error {
	files, err := chart.Files(in)
	if err != nil {
		return err
	}
	for _, f := range files {
		if err := written(dir, f.Name, f.Content); err != nil {
			return err
		}
	}
	fmt.Fprintf(p.err, "%d files are in %s; begin with %s.\n", len(files), dir, strings.TrimSuffix(dir, "/")+"/report.html")
	_, err = fmt.Fprint(p.out, r.Page())
	return err
}
