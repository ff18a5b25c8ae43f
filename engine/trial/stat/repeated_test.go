package stat

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/trial/draw"
)

// twoVisits are athletes of two arms at a middle and an end; who did badly at the middle
// is likelier to be gone at the end.
func twoVisits(z *draw.Normal, n int, effect, lost float64) (m Repeated, whole [2][]float64) {
	m.Columns = make([][]float64, 4)
	for i := range n {
		arm := float64(i % 2)
		level := z.Next()
		for visit, y := range [2]float64{level + 0.5*z.Next(), level + effect*arm + 0.5*z.Next()} {
			if visit == 1 {
				if m.Y[len(m.Y)-1] < 0 && draw.Uniform(z.Source) < lost {
					continue
				}
				whole[int(arm)] = append(whole[int(arm)], y)
			}
			m.Y, m.Subject, m.Visit = append(m.Y, y), append(m.Subject, i), append(m.Visit, visit)
			for k, x := range [4]float64{float64(1 - visit), float64(visit), float64(1-visit) * arm, float64(visit) * arm} {
				m.Columns[k] = append(m.Columns[k], x)
			}
		}
	}
	return m, whole
}

// One visit is the pooled t test.
func TestRepeatedOfOneVisit(t *testing.T) {
	z := &draw.Normal{Source: draw.Fast(1, 1)}
	var m Repeated
	var groups [2][]float64
	m.Columns = make([][]float64, 2)
	for i := range 20 {
		y := 100 + 7*z.Next()
		m.Y, m.Subject, m.Visit = append(m.Y, y), append(m.Subject, i), append(m.Visit, 0)
		m.Columns[0], m.Columns[1] = append(m.Columns[0], 1), append(m.Columns[1], float64(i%2))
		groups[i%2] = append(groups[i%2], y)
	}
	f, err := Unstructured(m)
	require.NoError(t, err)
	e, err := f.Contrast([]float64{0, 1}, 0.95)
	require.NoError(t, err)
	want, err := Pooled(summary(t, groups[1]), summary(t, groups[0]), 0.95)
	require.NoError(t, err)
	require.InDelta(t, want.Value, e.Value, 1e-6)
	require.InEpsilon(t, want.SE, e.SE, 1e-5)
	require.InEpsilon(t, 18, e.DF, 1e-3)
}

// Where the poor leave, complete cases show an arm's mean too high; the model that knows
// the middle does not, and its interval keeps its level.
func TestRepeatedMendsWhatIsMissing(t *testing.T) {
	const trials = 80
	var whole, mended, covered float64
	for i := range trials {
		z := &draw.Normal{Source: draw.Fast(2, uint64(i))}
		m, ends := twoVisits(z, 60, 0.5, 0.7)
		f, err := Unstructured(m)
		require.NoError(t, err)
		whole += (mean(ends[0])) / trials
		mended += f.Coef[1] / trials
		e, err := f.Contrast([]float64{0, 0, 0, 1}, 0.95)
		require.NoError(t, err)
		if e.Low <= 0.5 && 0.5 <= e.High {
			covered++
		}
	}
	se := math.Sqrt(1.25/30) / math.Sqrt(trials)
	t.Logf("an arm's mean, true 0: of those measured %.3f, by the model %.3f ± %.3f; interval holds the effect in %.3f of %d", whole, mended, se, covered/trials, trials)
	require.Greater(t, whole, 0.15)
	require.InDelta(t, 0, mended, 5*se)
	require.InDelta(t, 0.95, covered/trials, 4*math.Sqrt(0.95*0.05/trials))
}

func TestRepeatedNeverNaN(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(0, 24).Draw(t, "n")
		value := rapid.OneOf(rapid.Float64Range(-3, 3), rapid.SampledFrom([]float64{0, 1, 1e9}))
		m := Repeated{Columns: make([][]float64, rapid.IntRange(1, 3).Draw(t, "columns"))}
		for i := range n {
			if rapid.IntRange(0, 4).Draw(t, "missing") == 0 {
				continue
			}
			m.Y = append(m.Y, value.Draw(t, "y"))
			m.Subject, m.Visit = append(m.Subject, i/2), append(m.Visit, i%2)
			for k := range m.Columns {
				m.Columns[k] = append(m.Columns[k], value.Draw(t, "x"))
			}
		}
		f, err := Unstructured(m)
		if err != nil {
			told(t, nil, err)
			return
		}
		sane(t, *f)
		e, err := f.Contrast(append([]float64{1}, make([]float64, len(f.Coef)-1)...), 0.95)
		told(t, e, err)
	})
}

func TestRepeatedRefuses(t *testing.T) {
	z := &draw.Normal{Source: draw.Fast(3, 1)}
	for reason, spoil := range map[string]func(m *Repeated){
		"visit":   func(m *Repeated) { m.Visit[0] = MostVisits },
		"subject": func(m *Repeated) { m.Subject = m.Subject[1:] },
		"y":       func(m *Repeated) { m.Y[3] = math.NaN() },
		"columns": func(m *Repeated) { m.Columns[1] = m.Columns[0] },
	} {
		m, _ := twoVisits(z, 20, 0, 0)
		spoil(&m)
		_, err := Unstructured(m)
		f, is := fault.As(err)
		require.True(t, is, reason)
		require.Contains(t, f.Violations[0].Field, reason)
	}
	m, _ := twoVisits(z, 20, 0, 0)
	m.Visit[1] = m.Visit[0]
	_, err := Unstructured(m)
	require.ErrorContains(t, err, "is there twice")
	m, _ = twoVisits(z, 3, 0, 0)
	_, err = Unstructured(m)
	require.Error(t, err)
	m, _ = twoVisits(z, 20, 0, 0)
	f, err := Unstructured(m)
	require.NoError(t, err)
	_, err = f.Contrast([]float64{1}, 0.95)
	require.ErrorContains(t, err, "weights")
}
