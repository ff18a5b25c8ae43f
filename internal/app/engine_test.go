package app

import (
	"testing"

	"github.com/stretchr/testify/require"
)

func TestNewEngine(t *testing.T) {
	e, err := NewEngine()
	require.NoError(t, err)
	require.Greater(t, e.Catalogue().Len(), 80)
	var names []string
	for _, d := range e.Strategies() {
		names = append(names, d.Name)
	}
	require.Subset(t, names, []string{"constant", "linear", "reverse-linear", "strength-then-size"})
}
