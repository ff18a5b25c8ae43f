package power

import (
	"context"
	"fmt"
	"math"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/trial/analyse"
	"github.com/phasewright/phasewright/engine/trial/stat"
)

// sums gathers the runs.
type sums struct {
	t          *Trial
	truth      float64
	measured   moments
	width      moments
	estimate   moments
	size       moments // of significant estimates
	hits       map[string]float64
	unanswered int
}

type moments struct{ n, mean, ss float64 }

func (m *moments) add(x float64) {
	m.n++
	d := x - m.mean
	m.mean += d / m.n
	m.ss += float64(d * (x - m.mean))
}

func (m *moments) share(scale float64) Share {
	if m.n < 2 {
		return Share{m.mean * scale, 0}
	}
	return Share{m.mean * scale, math.Sqrt(m.ss/(m.n-1)/m.n) * math.Abs(scale)}
}

func newSums(t *Trial) *sums {
	return &sums{t: t, truth: t.World.Gain[1] - t.World.Gain[0], hits: map[string]float64{}}
}

func (s *sums) add(d *analyse.Data) {
	n := 0.0
	for _, o := range d.Outcome {
		if o.Set {
			n++
		}
	}
	s.measured.add(n)
	e, err := analyse.Primary(d, 1, 1-s.t.Alpha)
	if err != nil {
		s.unanswered++
		return
	}
	s.estimate.add(e.Value)
	s.width.add(e.High - e.Low)
	if e.P < s.t.Alpha {
		s.hits["significant"]++
		s.size.add(math.Abs(e.Value))
		if e.Value*s.truth < 0 {
			s.hits["wrong"]++
		}
	}
	if e.Low <= s.truth && s.truth <= e.High {
		s.hits["covered"]++
	}
	if r := analyse.Read(e.Low, e.High, s.t.Smallest); r == analyse.HigherWorth || r == analyse.LowerWorth {
		s.hits["worth"]++
	}
	if q, err := stat.TOST(e, -s.t.Smallest, s.t.Smallest, s.t.Alpha); err == nil && q.P < s.t.Alpha {
		s.hits["alike"]++
	}
}

func proportion(hits, n float64) Share {
	if n == 0 {
		return Share{}
	}
	p := hits / n
	return Share{p, math.Sqrt(p * (1 - p) / n)}
}

func (s *sums) outlook() *Outlook {
	runs, answered := float64(s.t.Runs), float64(s.t.Runs-s.unanswered)
	significant := s.hits["significant"]
	o := &Outlook{
		Runs: s.t.Runs, Units: s.t.Units, True: s.truth, Unanswered: s.unanswered,
		Power: proportion(significant, runs), Width: s.width.share(1), Estimate: s.estimate.share(1), Measured: s.measured.share(1),
		Coverage: proportion(s.hits["covered"], answered), Worth: proportion(s.hits["worth"], runs), Alike: proportion(s.hits["alike"], runs),
	}
	if s.truth != 0 {
		o.WrongSign = proportion(s.hits["wrong"], significant)
		o.Exaggeration = s.size.share(1 / math.Abs(s.truth))
	}
	o.Says = o.words(s.t)
	return o
}

// words say what a coach should know before starting.
func (o *Outlook) words(t *Trial) []string {
	var out []string
	say := func(format string, args ...any) { out = append(out, fmt.Sprintf(format, args...)) }
	if o.True == 0 {
		say("Were the arms alike, this trial would call them different in %.1f %% of cases, and show that they are alike in %.0f %%.", 100*o.Power.Value, 100*o.Alike.Value)
	} else {
		say("Were the difference %.3g, this trial would find it in %.0f %% of cases.", o.True, 100*o.Power.Value)
		if o.Power.Value < 0.8 {
			say("It misses that difference in more than one case of five: finding none would not mean that there is none.")
		}
		if o.Exaggeration.Value > 1.1 {
			say("Where it found one, it would show it %.1f times as large as it is.", o.Exaggeration.Value)
		}
		if o.WrongSign.Value > 0.01 {
			say("%.0f %% of the differences found would point the wrong way.", 100*o.WrongSign.Value)
		}
	}
	say("Its interval would be %.3g wide, from end to end; the smallest difference of interest is %.3g.", o.Width.Value, t.Smallest)
	if o.Width.Value > 2*t.Smallest {
		say("That is too wide to tell a difference that matters from none.")
	}
	if o.Unanswered > 0 {
		say("In %d of %d simulated trials too few were left for any answer.", o.Unanswered, o.Runs)
	}
	return out
}

// Size searches the number of units at which simulated power reaches a target: the least
// even one found by halving, between 4 and most. Its power carries the Monte Carlo error
// of Runs. A target that most does not reach is an Infeasible fault that says what it
// does reach.
func Size(ctx context.Context, t Trial, target float64, most int) (*Outlook, error) {
	if err := unit("power", target); err != nil {
		return nil, err
	}
	if most < 4 || most > 20_000 {
		return nil, invalid("most", "is %d; want 4 to 20000", most)
	}
	at := func(units int) (*Outlook, error) {
		t.Units = units
		return Simulate(ctx, t)
	}
	high, err := at(most - most%2)
	if err != nil {
		return nil, err
	}
	if high.Power.Value < target {
		return nil, fault.New(fault.Infeasible, ReasonRange, "power", fmt.Sprintf("of %v is not reached with %d units: they give %.2f", target, high.Units, high.Power.Value))
	}
	for low := 2; high.Units-low > 2; {
		mid := (low + high.Units) / 4 * 2
		if mid <= low {
			mid = low + 2
		}
		o, err := at(mid)
		if err != nil {
			return nil, err
		}
		if o.Power.Value >= target {
			high = o
		} else {
			low = mid
		}
	}
	return high, nil
}
