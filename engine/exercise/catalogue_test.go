package exercise

import (
	"bytes"
	"encoding/csv"
	"os"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
)

func builtin(t testing.TB) *Catalogue {
	t.Helper()
	c, err := Load()
	require.NoError(t, err)
	require.GreaterOrEqual(t, c.Len(), 110)
	return c
}

func byID(t testing.TB, id string) *Exercise {
	t.Helper()
	e, ok := builtin(t).ByID(id)
	require.True(t, ok, id)
	return e
}

func TestBuiltinIsSortedAndUnique(t *testing.T) {
	c := builtin(t)
	require.Same(t, c, Builtin(), "parsed once")
	require.Equal(t, "1", c.Version())
	names := map[string]bool{}
	for i, e := range c.All() {
		if i > 0 {
			require.Less(t, c.All()[i-1].ID, e.ID)
		}
		name := strings.ToLower(e.Name)
		require.False(t, names[name], "name %s stands twice", e.Name)
		names[name] = true
		require.NoError(t, Validate(*e), e.ID)
		at, ok := c.Index(e.ID)
		require.True(t, ok)
		require.Equal(t, i, at)
	}
	_, ok := c.ByID("no-such-exercise")
	require.False(t, ok)
}

func TestEveryEnumValueIsUsed(t *testing.T) {
	var muscles [plan.MuscleCount]bool
	var patterns [plan.PatternCount]bool
	var items [plan.EquipmentCount]bool
	var loadings [plan.LoadingCount]bool
	var joints [plan.JointCount]bool
	used := map[Curve]bool{}
	var flags Flag
	for _, e := range builtin(t).All() {
		for m, share := range e.Involvement {
			muscles[m] = muscles[m] || share == Prime
		}
		for _, alt := range slices.Concat(e.Equipment, e.AddedNeeds) {
			for _, item := range alt {
				items[item] = true
			}
		}
		for j, level := range e.Stress {
			joints[j] = joints[j] || level > 0
		}
		patterns[e.Pattern], loadings[e.Loading], used[e.Curve] = true, true, true
		flags |= e.Flags
	}
	for i := 1; i < len(muscles); i++ {
		require.True(t, muscles[i], plan.Muscle(i))
	}
	for i := 1; i < len(patterns); i++ {
		require.True(t, patterns[i], plan.Pattern(i))
	}
	for i := 1; i < len(items); i++ {
		require.True(t, items[i], plan.Equipment(i))
	}
	for i := 1; i < len(loadings); i++ {
		require.True(t, loadings[i], plan.Loading(i))
	}
	for i := 1; i < len(joints); i++ {
		require.True(t, joints[i], plan.Joint(i))
	}
	require.Len(t, used, len(curves))
	require.Equal(t, allFlags, flags)
}

// The table is judgement from memory (see its head); what is tested is that the
// catalogue says the same.
func TestPublishedInvolvement(t *testing.T) {
	text, err := os.ReadFile("testdata/involvement.csv")
	require.NoError(t, err)
	in := csv.NewReader(bytes.NewReader(text))
	in.Comment = '#'
	rows, err := in.ReadAll()
	require.NoError(t, err)
	require.Len(t, rows, 1+69)
	fromTable := map[string]bool{}
	for _, row := range rows[1:] {
		var want [plan.MuscleCount]plan.HalfSets
		for _, s := range split(row[3], ";") {
			m, ok := find(plan.MuscleCount, s)
			require.True(t, ok, s)
			want[m] = 2
		}
		for _, s := range split(row[4], ";") {
			m, ok := find(plan.MuscleCount, s)
			require.True(t, ok, s)
			want[m] = 1
		}
		for i, id := range strings.Split(row[5], "|") {
			e := byID(t, id)
			require.Equal(t, want, e.Involvement, "%s (%s)", id, row[0])
			require.Equal(t, row[1], token(e.Pattern.String()), id)
			if i == 0 {
				require.Equal(t, row[2] == "yes", e.Unilateral, id)
			}
			fromTable[id] = true
		}
	}
	for _, e := range builtin(t).All() {
		require.Equal(t, fromTable[e.ID], e.Source != "judgement", "source of %s", e.ID)
	}
}

func TestShareOfBodyMass(t *testing.T) {
	for _, row := range []struct {
		id        string
		low, high plan.Permille
		source    string
	}{
		{"push-up", 640, 640, "Ebben et al. 2011 (from memory and second-hand)"},
		{"push-up-knees", 490, 490, "Ebben et al. 2011 (from memory)"},
		{"push-up-hands-raised", 550, 550, "Ebben et al. 2011, 30 cm box (from memory)"},
		{"push-up-feet-raised", 700, 700, "Ebben et al. 2011, 30 cm box (from memory)"},
		{"push-up-narrow", 640, 640, "as push-up"},
		{"pull-up", 950, 1000, "Winter's segment masses (from memory)"},
		{"chin-up", 950, 1000, "Winter's segment masses (from memory)"},
		{"dip", 950, 1000, "Winter's segment masses (from memory)"},
		{"inverted-row", 500, 600, "Melrose & Dawes 2015 (from memory, low)"},
		{"bodyweight-squat", 880, 880, "body less shanks and feet, Winter (from memory)"},
		{"bodyweight-split-squat", 880, 880, "body less shanks and feet, Winter (from memory)"},
		{"back-extension", 680, 680, "head, arms and trunk, Winter (from memory)"},
	} {
		share := byID(t, row.id).BodyMassShare
		require.GreaterOrEqual(t, share, row.low, "%s: %s", row.id, row.source)
		require.LessOrEqual(t, share, row.high, "%s: %s", row.id, row.source)
	}
	require.Zero(t, byID(t, "back-squat").BodyMassShare, "a 1RM squat is stated as the bar")
}

func TestFlagsThatSafetyReads(t *testing.T) {
	for _, id := range []string{"back-squat", "front-squat", "bench-press", "close-grip-bench-press", "incline-bench-press",
		"overhead-press", "good-morning", "lying-triceps-extension", "barbell-split-squat", "barbell-floor-press",
		"loaded-jump-squat", "smith-squat"} {
		require.True(t, byID(t, id).Is(UnderBar), id)
		require.False(t, byID(t, id).Is(FailureOK), id)
	}
	for _, id := range []string{"leg-press", "leg-extension", "machine-chest-press", "lateral-raise", "dumbbell-curl",
		"seated-leg-curl", "push-up"} {
		require.True(t, byID(t, id).Is(FailureOK), id)
	}
	for _, id := range []string{"deadlift", "romanian-deadlift", "bent-over-row", "back-squat", "good-morning"} {
		require.True(t, byID(t, id).Is(HardOnLowerBack), id)
	}
	for _, id := range []string{"front-plank", "side-plank", "farmer-carry", "suitcase-carry", "kettlebell-suitcase-carry", "wall-sit"} {
		require.True(t, byID(t, id).Is(Timed), id)
	}
	for _, e := range builtin(t).All() {
		if e.Role == plan.SingleJoint || e.Role == plan.Unloadable && !e.Is(Timed) {
			require.GreaterOrEqual(t, e.MinReps, int32(3), "%s: no doubles", e.ID)
			require.False(t, e.Is(MaxTest), e.ID)
		}
		require.False(t, e.Is(HardOnLowerBack|FailureOK), e.ID)
	}
	require.EqualValues(t, 1, byID(t, "back-squat").MinReps)
	require.EqualValues(t, 6, byID(t, "barbell-curl").MinReps)
	require.EqualValues(t, 8, byID(t, "lateral-raise").MinReps)
}

func TestRatios(t *testing.T) {
	for _, row := range []struct {
		id, of    string
		low, high plan.Permille
	}{ // judgement, wide
		{"front-squat", "back-squat", 800, 900},
		{"incline-bench-press", "bench-press", 780, 860},
		{"romanian-deadlift", "deadlift", 650, 800},
		{"overhead-press", "bench-press", 580, 670},
	} {
		e := byID(t, row.id)
		require.Equal(t, row.of, e.RelatedTo, row.id)
		require.GreaterOrEqual(t, e.RelatedRatio, row.low, row.id)
		require.LessOrEqual(t, e.RelatedRatio, row.high, row.id)
	}
	for _, e := range builtin(t).All() {
		if e.RelatedTo != "" {
			base := byID(t, e.RelatedTo)
			require.True(t, base.Is(MaxTest), "%s is related to %s, which nobody tests", e.ID, base.ID)
			require.Empty(t, base.RelatedTo)
		}
	}
}

func TestCounting(t *testing.T) {
	squat := byID(t, "back-squat")
	require.Equal(t, Prime, squat.SetCountsFor(plan.Quads))
	require.True(t, squat.Direct(plan.Quads))
	require.Equal(t, Secondary, squat.SetCountsFor(plan.Adductors))
	require.False(t, squat.Direct(plan.Adductors))
	require.Zero(t, squat.SetCountsFor(plan.Hamstrings))
	require.Zero(t, squat.SetCountsFor(plan.MuscleCount))
	require.Equal(t, 2, squat.Stresses(plan.Knee))
	require.Zero(t, squat.Stresses(plan.JointCount))
	for _, id := range []string{"power-clean", "power-snatch", "kettlebell-swing", "loaded-jump-squat", "push-press"} {
		e := byID(t, id)
		require.Equal(t, plan.Explosive, e.Role)
		for m := plan.Muscle(0); m < plan.MuscleCount; m++ {
			require.Zero(t, e.SetCountsFor(m), "%s counts for no size", id)
			require.False(t, e.Direct(m))
		}
	}
	require.Equal(t, plan.Kg(2500), squat.Step(plan.Kilogram))
	require.Equal(t, plan.Lb(5000), squat.Step(plan.Pound))
}

func TestNearest(t *testing.T) {
	c := builtin(t)
	for _, row := range []struct{ typed, want string }{
		{"bench-pres", "bench-press"},
		{"back_squat", "back-squat"},
		{"Back Squat", "back-squat"},
		{"bakc-squat", "back-squat"},
		{"romanian", "romanian-deadlift"},
		{"pullup", "pull-up"},
		{"deadlfit", "deadlift"},
		{"squat-front", "front-squat"},
	} {
		got := c.Nearest(row.typed, 3)
		require.Contains(t, got, row.want, row.typed)
		require.LessOrEqual(t, len(got), 3)
		require.Equal(t, got, c.Nearest(row.typed, 3))
	}
	require.Equal(t, "bench-press", c.Nearest("bench-press", 1)[0])
	require.Empty(t, c.Nearest("xqzzywvvkj", 5))
	require.Empty(t, c.Nearest("", 5))
	require.Empty(t, c.Nearest("bench-press", 0))
	require.Empty(t, c.Nearest(strings.Repeat("squat-", 1000), 5))
	require.Equal(t, 1, distance("abcd", "acbd"), "a swap is one slip")
	require.Equal(t, 3, distance("kitten", "sitting"))
	require.Equal(t, 4, distance("", "abcd"))
}

func TestWith(t *testing.T) {
	c := builtin(t)
	own := byID(t, "hip-thrust").clone()
	own.ID, own.Name, own.CallerID = "club-thrust", "Club thrust", "ex-77"
	bigger, err := c.With([]Exercise{*own})
	require.NoError(t, err)
	require.Equal(t, c.Len()+1, bigger.Len())
	require.True(t, slices.IsSortedFunc(bigger.All(), func(a, b *Exercise) int { return strings.Compare(a.ID, b.ID) }))
	got, ok := bigger.ByID("club-thrust")
	require.True(t, ok)
	require.Equal(t, "ex-77", got.CallerID)
	_, ok = c.ByID("club-thrust")
	require.False(t, ok, "the first catalogue is unchanged")
	require.Regexp(t, "^"+c.Version()+`\+[0-9a-f]{12}$`, bigger.Version())
	other := *own
	other.Setup++
	changed, err := c.With([]Exercise{other})
	require.NoError(t, err)
	require.NotEqual(t, bigger.Version(), changed.Version())
	same, err := c.With(nil)
	require.NoError(t, err)
	require.Equal(t, c.Version(), same.Version())
	own.Equipment[0][0] = plan.TrapBar
	require.Equal(t, plan.Barbell, got.Equipment[0][0], "arguments are copied")
	require.Equal(t, plan.Barbell, byID(t, "hip-thrust").Equipment[0][0])

	spoil := func(change func(*Exercise)) []Exercise {
		e := byID(t, "hip-thrust").clone()
		e.ID, e.Name = "club-thrust", "Club thrust"
		change(e)
		return []Exercise{*e}
	}
	for _, row := range []struct {
		name          string
		list          []Exercise
		reason, field string
	}{
		{"id clash", spoil(func(e *Exercise) { e.ID = "back-squat" }), ReasonDuplicate, "exercises[0].id"},
		{"name clash", spoil(func(e *Exercise) { e.Name = "BACK squat" }), ReasonDuplicate, "exercises[0].display_name"},
		{"clash among them", append(spoil(func(*Exercise) {}), spoil(func(*Exercise) {})...), ReasonDuplicate, "exercises[1].id"},
		{"unknown related", spoil(func(e *Exercise) { e.RelatedTo, e.RelatedRatio = "no-lift", 500 }), ReasonUnknown, "exercises[0].related_to"},
		{"related chain", spoil(func(e *Exercise) { e.RelatedTo, e.RelatedRatio = "front-squat", 500 }), ReasonInvalid, "exercises[0].related_to"},
		{"invalid", spoil(func(e *Exercise) { e.Group = "Not Kebab" }), ReasonInvalid, "exercises[0].group"},
	} {
		_, err := c.With(row.list)
		f, ok := fault.As(err)
		require.True(t, ok, row.name)
		require.Equal(t, fault.Invalid, f.Kind)
		require.Len(t, f.Violations, 1, row.name)
		require.Equal(t, row.reason, f.Violations[0].Reason, row.name)
		require.Equal(t, row.field, f.Violations[0].Field, row.name)
	}
}
