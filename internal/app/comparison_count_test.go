package app

import (
	"fmt"
	"math"
	"sort"
	"testing"

	"github.com/stretchr/testify/require"

	pb "github.com/phasewright/phasewright/gen/phasewright/v1"

	"github.com/phasewright/phasewright/engine/exercise"
	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/internal/service"
)

// tallied adds sets up.
type tallied struct {
	f     jsonFigures
	rated float64 // repetitions × percent
	sets  map[string]float64
	prime map[string]float64
}

// recount reads the programs of an answer, counts every figure of every week, phase and arm,
// and wants the answer's to be the same.
func recount(t *testing.T, cat *exercise.Catalogue, got *service.Compared) []armCount {
	answer := answerJSON(t, got)
	var out []armCount
	for i, arm := range answer.Comparison.Arms {
		c := armCount{sets: map[string]float64{}}
		var weeks []tallied
		for _, ph := range arm.Program.Phases {
			for _, w := range ph.Weeks {
				k := tallied{sets: map[string]float64{}, prime: map[string]float64{}}
				byWeek := map[string]string{}
				for _, s := range w.Sessions {
					k.f.Sessions++
					k.f.Seconds += s.Seconds
					line := s.Date + " " + s.Kind
					for _, x := range s.Exercises {
						line += " " + x.ID
						n := 0
						for _, set := range x.Sets {
							if set.Kind == "SET_KIND_WORKING" || set.Kind == "SET_KIND_CALIBRATION" {
								k.add(cat, x.ID, &set)
								n++
							}
						}
						c.sets[x.ID] += float64(n)
						byWeek[s.Date+" "+x.ID] = fmt.Sprint(n)
					}
					c.days = append(c.days, line)
				}
				weeks = append(weeks, k)
				c.byWeek = append(c.byWeek, byWeek)
			}
		}
		require.Len(t, arm.Weeks, len(weeks))
		for w := range weeks {
			agrees(t, fmt.Sprintf("arm %d, week %d", i+1, w+1), weeks[w:w+1], arm.Weeks[w].Figures)
		}
		last := 0
		for _, ph := range arm.Phases {
			require.Equal(t, last+1, ph.From)
			last = ph.To
			agrees(t, fmt.Sprintf("arm %d, weeks %d to %d", i+1, ph.From, ph.To), weeks[ph.From-1:ph.To], ph.Figures)
		}
		require.Equal(t, len(weeks), last)
		c.total = agrees(t, fmt.Sprintf("arm %d", i+1), weeks, arm.Total)
		out = append(out, c)
	}
	return out
}

func (k *tallied) add(cat *exercise.Catalogue, id string, s *jsonSet) {
	x, _ := cat.ByID(id)
	k.f.HardSets++
	if s.RIR != nil || s.Failure {
		k.f.Stated++
		if s.Failure || *s.RIR <= 3 {
			k.f.NearFailure++
		}
	}
	for m := 1; m < int(plan.MuscleCount); m++ {
		name := pb.Muscle(m).String()
		switch {
		case x.Pattern.Explosive(): // counts for no size
		case x.Involvement[m] == exercise.Prime:
			k.sets[name]++
			k.prime[name]++
		case x.Involvement[m] == exercise.Secondary:
			k.sets[name] += 0.5
		}
	}
	reps := s.Expected
	if reps == 0 {
		reps = s.Reps.Max
	}
	if reps == 0 {
		return
	}
	k.f.Reps += reps
	switch {
	case reps <= 5:
		k.f.Low += reps
	case reps <= 12:
		k.f.Middle += reps
	default:
		k.f.High += reps
	}
	if s.Intensity != nil {
		k.f.Rated += reps
		k.rated += reps * *s.Intensity
	}
	if s.Load != nil && x.Loading != plan.LoadingAssisted {
		k.f.Loaded++
		k.f.Volume.Kilograms += reps * s.Load.Kilograms
	}
}

// agrees adds weeks up, compares the sum with what the answer says, and gives it.
func agrees(t *testing.T, at string, weeks []tallied, says jsonFigures) jsonFigures {
	sum := tallied{sets: map[string]float64{}, prime: map[string]float64{}}
	for i := range weeks {
		a, b := &sum.f, &weeks[i].f
		for k, to := range []*float64{&a.Sessions, &a.HardSets, &a.Stated, &a.NearFailure, &a.Reps, &a.Low, &a.Middle, &a.High, &a.Loaded, &a.Volume.Kilograms, &a.Rated, &a.Seconds} {
			*to += *[]*float64{&b.Sessions, &b.HardSets, &b.Stated, &b.NearFailure, &b.Reps, &b.Low, &b.Middle, &b.High, &b.Loaded, &b.Volume.Kilograms, &b.Rated, &b.Seconds}[k]
		}
		sum.rated += weeks[i].rated
		for m := range weeks[i].sets {
			sum.sets[m] += weeks[i].sets[m]
			sum.prime[m] += weeks[i].prime[m]
		}
	}
	if sum.f.Rated > 0 {
		sum.f.Intensity = sum.rated / sum.f.Rated
	}
	require.InDelta(t, sum.f.Intensity, says.Intensity, 0.05+1e-9, "%s: mean intensity", at)
	require.InDelta(t, sum.f.Volume.Kilograms, says.Volume.Kilograms, 1e-6, "%s: volume load", at)
	var names []string
	for m, n := range sum.sets {
		if n > 0 {
			names = append(names, m)
		}
	}
	sort.Strings(names)
	var said []string
	for _, m := range says.Muscles {
		said = append(said, m.Muscle)
		require.Equal(t, sum.sets[m.Muscle], m.Sets, "%s: %s", at, m.Muscle)
		require.Equal(t, sum.prime[m.Muscle], m.Direct, "%s: %s, direct", at, m.Muscle)
	}
	sort.Strings(said)
	require.Equal(t, names, said, at)
	out := sum.f
	says.Muscles, says.Intensity, sum.f.Intensity = nil, 0, 0
	says.Volume.Kilograms = math.Round(says.Volume.Kilograms*1000) / 1000
	sum.f.Volume.Kilograms = math.Round(sum.f.Volume.Kilograms*1000) / 1000
	require.Equal(t, sum.f, says, at)
	return out
}
