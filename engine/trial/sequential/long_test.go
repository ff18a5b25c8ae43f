package sequential

import (
	"os"
	"testing"
)

// repetitions of a simulation: 12 times as many with PHASEWRIGHT_LONG, a
// quarter with -short.
func repetitions(short int) int {
	if os.Getenv("PHASEWRIGHT_LONG") != "" {
		return 12 * short
	}
	if testing.Short() {
		return short / 4
	}
	return short
}
