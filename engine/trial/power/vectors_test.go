package power

import (
	"encoding/json"
	"math"
	"os"
	"testing"

	"github.com/stretchr/testify/require"
)

type vector struct {
	Name, Source string
	Inputs       map[string]json.RawMessage
	Expected     map[string]json.RawMessage
	Tolerance    struct{ Rel, Abs float64 }
}

func published(t *testing.T, name string) vector {
	t.Helper()
	text, err := os.ReadFile("../testdata/stats_vectors.json")
	require.NoError(t, err)
	var all []vector
	require.NoError(t, json.Unmarshal(text, &all))
	for _, v := range all {
		if v.Name == name {
			return v
		}
	}
	t.Fatal("no vector ", name)
	return vector{}
}

func read[T any](t *testing.T, from map[string]json.RawMessage, field string) T {
	t.Helper()
	var out T
	require.Contains(t, from, field)
	require.NoError(t, json.Unmarshal(from[field], &out), field)
	return out
}

// near checks a value within the vector's own tolerance.
func (v vector) near(t *testing.T, field string, want, got float64) {
	t.Helper()
	require.True(t, math.Abs(got-want) <= max(v.Tolerance.Rel*math.Abs(want), v.Tolerance.Abs), "%s %s: want %v, got %v (%s)", v.Name, field, want, got, v.Source)
}
