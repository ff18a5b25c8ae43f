// Package power says before a trial starts what it would likely show.
//
// formula.go and designs.go hold the closed forms, each with the table or package it
// agrees with; world.go what is believed of athletes and measurements, with its own
// closed forms; simulate.go runs the trial from its protocol many times: it enrols,
// assigns by the design itself, loses athletes, measures with error, and analyses as the
// protocol will. What it gives is more than power: how much a significant result would
// exaggerate (type M), how often it would point the wrong way (type S; Gelman & Carlin
// 2014, Perspect Psychol Sci 9:641-651), how wide the interval would be, and the error of
// all these from simulating (Monte Carlo SE).
//
// Most coaching trials are small, and two sensible plans differ little. Says puts that
// into words.
package power

import (
	"fmt"
	"math"

	"github.com/phasewright/phasewright/engine/fault"
)

// Reasons of faults.
const (
	ReasonInput = "POWER_INPUT"
	ReasonRange = "POWER_RANGE"
)

func invalid(field, format string, args ...any) error {
	return fault.New(fault.Invalid, ReasonInput, field, fmt.Sprintf(format, args...))
}

func unit(field string, x float64) error {
	if !(x > 0 && x < 1) {
		return invalid(field, "is %v; want between 0 and 1", x)
	}
	return nil
}

// level checks the level of a test.
func level(alpha float64) error {
	if !(alpha >= 1e-9 && alpha <= 0.5) {
		return invalid("alpha", "is %v; want a level such as 0.05, at least 1e-9", alpha)
	}
	return nil
}

func number(field string, x float64) error {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return invalid(field, "is %v; want a number", x)
	}
	return nil
}

func first(errs ...error) error {
	for _, err := range errs {
		if err != nil {
			return err
		}
	}
	return nil
}
