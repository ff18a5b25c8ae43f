package chart

import (
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/phasewright/phasewright/engine/plan"
)

// invented gives arms with numbers of their own in every week.
func invented(weeks int, labels ...string) *plan.Comparison {
	c := &plan.Comparison{Rule: plan.EquateHardSets, Unit: plan.Kilogram}
	for i, l := range labels {
		a := plan.ArmReport{Label: l}
		for w := range weeks {
			n := int32(20 + 3*i + w)
			f := plan.Figures{Sessions: 4, HardSets: n, NearFailure: n / 2, Reps: 8 * n, Zones: [plan.ZoneCount]int32{n, 5 * n, 2 * n}, Seconds: plan.Seconds(90 * n),
				VolumeLoad: plan.Some(plan.Kg(int64(n) * 400_000)), Intensity: plan.Some(plan.Permille(650 + 5*w + i))}
			k := plan.WeekTraining
			if w%4 == 3 {
				k = plan.WeekDeload
			}
			a.Weeks = append(a.Weeks, plan.ArmWeek{Number: int32(w + 1), Kind: k, Figures: f})
		}
		a.Total.Muscles = []plan.MuscleWork{{Muscle: plan.Chest, Sets: 80}, {Muscle: plan.Quads, Sets: plan.HalfSets(90 + i)}}
		c.Arms = append(c.Arms, a)
	}
	return c
}

// texts reads what a drawing says, and fails where it is no XML or holds no numbers.
func texts(t *testing.T, svg string) string {
	t.Helper()
	require.NotContains(t, svg, "NaN")
	require.NotContains(t, svg, "Inf")
	var out strings.Builder
	for d := xml.NewDecoder(strings.NewReader(svg)); ; {
		token, err := d.Token()
		if errors.Is(err, io.EOF) {
			return out.String()
		}
		require.NoError(t, err)
		if text, ok := token.(xml.CharData); ok {
			out.Write(text)
			out.WriteByte('\n')
		}
	}
}

func TestEveryLineIsNamed(t *testing.T) {
	labels := []string{"a & b <c>", `"quoted"`, "ærlig", strings.Repeat("long ", 12) + "end", "e", "f", "g", "h"}
	for _, weeks := range []int{1, 2, 12, 24, 52} {
		plots, err := Arms(invented(weeks, labels...))
		require.NoError(t, err)
		require.Len(t, plots, 7)
		for _, p := range plots {
			says := texts(t, p.SVG)
			require.Contains(t, says, p.Title)
			for _, l := range labels {
				require.Contains(t, says, l, "%s, %d weeks", p.ID, weeks)
			}
			require.NotContains(t, p.SVG, "style=\"font-family:Liberation Sans;", "a reader without that font needs another")
		}
		again, err := Arms(invented(weeks, labels...))
		require.NoError(t, err)
		require.Equal(t, plots, again)
	}
}

// Arms are told apart without colour: by dash and by marker.
func TestLinesDifferWithoutColour(t *testing.T) {
	seen := map[string]bool{}
	for i := range colours {
		key := fmt.Sprint(dashes(i))
		require.False(t, seen[key], "dashes %d", i)
		seen[key] = true
		for k := range i {
			require.NotEqual(t, glyphs[k], glyphs[i])
			require.NotEqual(t, colours[k], colours[i])
		}
	}
	require.Len(t, glyphs, len(colours))
}

// Equal lines are one, with all their names; nothing to draw is drawn as nothing.
func TestEqualLinesAreOne(t *testing.T) {
	c := invented(6, "one", "two", "three")
	c.Arms[1].Weeks = c.Arms[0].Weeks
	plots, err := Arms(c)
	require.NoError(t, err)
	require.Contains(t, texts(t, plots[0].SVG), "one, two")
	c.Arms[2].Weeks = c.Arms[0].Weeks
	plots, err = Arms(c)
	require.NoError(t, err)
	require.Contains(t, texts(t, plots[0].SVG), "all arms alike")
	for i := range c.Arms {
		c.Arms[i].Weeks = make([]plan.ArmWeek, 3)
		c.Arms[i].Total = plan.Figures{}
	}
	plots, err = Arms(c)
	require.NoError(t, err)
	for _, p := range plots {
		texts(t, p.SVG)
	}
}

func TestMarksAreRound(t *testing.T) {
	for _, c := range []struct {
		lo, hi float64
		want   string
	}{
		{0, 54, "0 10 20 30 40 50"}, {0, 1, "0 0.25 0.5 0.75 1"}, {0, 31000, "0 5,000 10,000 15,000 20,000 25,000 30,000"}, {64.2, 79, "65 67.5 70 72.5 75 77.5"},
	} {
		var got []string
		for _, x := range steps(c.lo, c.hi) {
			got = append(got, x.Label)
		}
		require.Equal(t, c.want, strings.Join(got, " "))
	}
}

// To be looked at: PHASEWRIGHT_PLOTS=directory writes drawings of eight invented arms.
func TestDrawingsToLookAt(t *testing.T) {
	dir := os.Getenv("PHASEWRIGHT_PLOTS")
	if dir == "" {
		t.Skip("PHASEWRIGHT_PLOTS is not set")
	}
	plots, err := Arms(invented(24, "constant", "linear", "reverse", "undulating", "block", "autoregulated", "strength then size", "two blocks and a half"))
	require.NoError(t, err)
	for _, p := range plots {
		require.NoError(t, os.WriteFile(filepath.Join(dir, p.ID+".svg"), []byte(p.SVG), 0o644))
	}
}
