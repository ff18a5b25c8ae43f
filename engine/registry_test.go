package engine

import (
	"context"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
)

type namedStrategy struct{ name, version string }

func (n namedStrategy) Describe() plan.Descriptor {
	return plan.Descriptor{Name: n.name, Version: n.version, Params: []plan.ParamSpec{{Name: "p", Choices: []string{"a", "b"}}}}
}

func (n namedStrategy) Parse([]plan.Param) (Instance, error) { return namedInstance{n}, nil }

type namedInstance struct{ n namedStrategy }

func (i namedInstance) Outline(context.Context, plan.OutlineRequest) (plan.Outline, error) {
	return plan.Outline{Strategy: i.n.name + "@" + i.n.version}, nil
}

func TestRegistryFindsNewestAndNamedVersions(t *testing.T) {
	r, err := NewRegistry(namedStrategy{"wave", "2"}, namedStrategy{"linear", "1"}, namedStrategy{"wave", "10"}, namedStrategy{"wave", "2.1"})
	require.NoError(t, err)
	for id, want := range map[string]string{"wave": "wave@10", "wave@2": "wave@2", "wave@2.1": "wave@2.1", "linear": "linear@1"} {
		s, err := r.Lookup(id)
		require.NoError(t, err, id)
		d := s.Describe()
		require.Equal(t, want, d.ID())
	}
	var ids []string
	for _, d := range r.List() {
		ids = append(ids, d.ID())
	}
	require.Equal(t, []string{"linear@1", "wave@2", "wave@2.1", "wave@10"}, ids)
}

func TestRegistryRefusals(t *testing.T) {
	cases := []struct {
		name       string
		strategies []Strategy
		kind       fault.Kind
		says       string
	}{
		{"nil", []Strategy{nil}, fault.Invalid, "strategies[0]: is nil"},
		{"no name", []Strategy{namedStrategy{"", "1"}}, fault.Invalid, "strategies[0].name"},
		{"spaces", []Strategy{namedStrategy{"a b", "1"}}, fault.Invalid, "strategies[0].name"},
		{"at sign", []Strategy{namedStrategy{"a@1", "1"}}, fault.Invalid, "strategies[0].name"},
		{"no version", []Strategy{namedStrategy{"a", ""}}, fault.Invalid, "strategies[0].version"},
		{"two spellings of a version", []Strategy{namedStrategy{"a", "01"}}, fault.Invalid, "strategies[0].version"},
		{"twice", []Strategy{namedStrategy{"a", "1"}, namedStrategy{"a", "1"}}, fault.Exists, "a@1 is there twice"},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			_, err := NewRegistry(c.strategies...)
			f, ok := fault.As(err)
			require.True(t, ok)
			require.Equal(t, c.kind, f.Kind)
			require.ErrorContains(t, err, c.says)
		})
	}
	_, err := NewRegistry(nil, namedStrategy{"", "1"}, namedStrategy{"a", "1"}, namedStrategy{"a", "1"})
	f, _ := fault.As(err)
	require.Len(t, f.Violations, 3)
	require.Equal(t, fault.Invalid, f.Kind)
}

func TestRegistryLookupSaysWhatThereIs(t *testing.T) {
	r, err := NewRegistry(namedStrategy{"linear", "1"}, namedStrategy{"reverse-linear", "1"}, namedStrategy{"linear", "2"}, namedStrategy{"constant", "1"})
	require.NoError(t, err)
	cases := []struct {
		id   string
		kind fault.Kind
		says string
	}{
		{"linaer", fault.NotFound, `there is no strategy "linaer"; did you mean linear?`},
		{"Reverse_Linear", fault.NotFound, "did you mean reverse-linear?"},
		{"reverse", fault.NotFound, "did you mean reverse-linear?"},
		{"block", fault.NotFound, "there is constant, linear, reverse-linear"},
		{"linear@3", fault.NotFound, `there is no version "3" of linear; there is 2, 1`},
		{"linear@", fault.NotFound, "no version"},
		{"", fault.Invalid, "is empty"},
	}
	for _, c := range cases {
		_, err := r.Lookup(c.id)
		f, ok := fault.As(err)
		require.True(t, ok, c.id)
		require.Equal(t, c.kind, f.Kind, c.id)
		require.Equal(t, "strategy", f.Violations[0].Field)
		require.ErrorContains(t, err, c.says)
	}
	_, err = Registry{}.Lookup("linear")
	require.ErrorContains(t, err, "there are none")
}

func TestRegistryGivesNothingOfItsOwnAway(t *testing.T) {
	r, err := NewRegistry(namedStrategy{"linear", "1"})
	require.NoError(t, err)
	d := r.List()
	d[0].Params[0].Choices[0] = "spoiled"
	d[0].Params[0].Name = "spoiled"
	again := r.List()
	require.Equal(t, "p", again[0].Params[0].Name)
	require.Equal(t, "a", again[0].Params[0].Choices[0])
}

func TestEditDistanceIsAMetric(t *testing.T) {
	word := rapid.StringMatching(`[ab]{0,6}`)
	rapid.Check(t, func(t *rapid.T) {
		a, b, c := word.Draw(t, "a"), word.Draw(t, "b"), word.Draw(t, "c")
		require.Equal(t, editDistance(a, b), editDistance(b, a))
		require.Equal(t, a == b, editDistance(a, b) == 0)
		require.LessOrEqual(t, editDistance(a, c), editDistance(a, b)+editDistance(b, c))
	})
	require.Equal(t, 3, editDistance("kitten", "sitting"))
}
