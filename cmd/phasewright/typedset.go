package main

import (
	"errors"
	"fmt"
	"regexp"
	"strconv"
	"strings"

	"github.com/phasewright/phasewright/engine/load"
	"github.com/phasewright/phasewright/engine/plan"
)

var (
	setForm = regexp.MustCompile(`^(?:(bw)|(?:bw)?\+?([0-9]+(?:[.,][0-9]+)?) ?(kg|lbs?)?) ?[x×*] ?([0-9]+)(?: ?@ ?(rir|rpe)? ?([0-9]+(?:[.,][0-9])?))?$`)
	setDate = regexp.MustCompile(`^(.*[^ ,])(?:, ?| )([0-9]{4}-[0-9]{2}-[0-9]{2})$`)
	mass    = regexp.MustCompile(`^([0-9]+(?:[.,][0-9]+)?) ?(kg|lbs?)?$`)
)

// maybeSet tells a set from the id of an exercise, which starts with another letter.
func maybeSet(s string) bool {
	s = strings.ToLower(strings.TrimSpace(s))
	return s != "" && (s[0] < 'a' || s[0] > 'z') || strings.HasPrefix(s, "bwx") || strings.HasPrefix(s, "bw+") || strings.HasPrefix(s, "bw×") || strings.HasPrefix(s, "bw*") || strings.HasPrefix(s, "bw ")
}

// mostTyped bounds numbers before the engine says what is possible.
const mostTyped = 1_000_000

// parseSet reads a set as a coach writes it: 100kgx5@1,2026-11-20.
func parseSet(s string, unit plan.MassUnit) (plan.Performance, error) {
	var p plan.Performance
	s = strings.ToLower(strings.Join(strings.Fields(s), " "))
	if m := setDate.FindStringSubmatch(s); m != nil {
		day, err := plan.ParseDate(m[2])
		if err != nil {
			return p, err
		}
		p.Date, s = plan.Some(day), m[1]
	}
	m := setForm.FindStringSubmatch(s)
	if m == nil {
		return p, errors.New("is no set; write it as 100kgx5, 100kgx5@2 (2 in reserve), 100kgx5@rpe8, or bwx8 for body mass alone, with ,2026-11-20 for the day")
	}
	if m[1] == "" {
		l, err := massOf(m[2], m[3], unit)
		if err != nil {
			return p, err
		}
		p.Load = plan.Some(l)
	}
	n, err := strconv.ParseInt(m[4], 10, 32)
	if err != nil || n > mostTyped {
		return p, fmt.Errorf("%s are too many repetitions", m[4])
	}
	p.Reps = int32(n)
	return p, effort(&p, m[5], strings.Replace(m[6], ",", ".", 1))
}

// effort reads what stands behind the @.
func effort(p *plan.Performance, scale, number string) error {
	if number == "" {
		p.ToFailure = true
		return nil
	}
	v, err := strconv.ParseFloat(number, 64)
	if err != nil {
		return err
	}
	tenths := int32(min(v, mostTyped)*10 + 0.5)
	switch {
	case scale == "rpe":
		low, _, ok := load.RIRFromRating(tenths)
		if !ok {
			return fmt.Errorf("a rating of %s stands for no number of repetitions; 7 to 10 in halves do, or write the reserve: @rir4", number)
		}
		p.RIR = plan.Some(low) // the fewer of two: the estimate errs to the safe side
	case tenths%10 != 0:
		return fmt.Errorf("@%s is no whole number of repetitions in reserve; for a rating write @rpe%s", number, number)
	case scale == "" && tenths > 50 && tenths <= 100:
		return fmt.Errorf("@%s may be a rating or a reserve; write @rpe%s or @rir%s", number, number, number)
	default:
		p.RIR = plan.Some(tenths / 10)
	}
	return nil
}

func parseUnit(s string) (plan.MassUnit, error) {
	switch strings.ToLower(s) {
	case "":
		return plan.UnitUnspecified, nil
	case "kg":
		return plan.Kilogram, nil
	case "lb", "lbs":
		return plan.Pound, nil
	}
	return 0, wrong("--unit: there is no %q; kg or lb", s)
}

func parseMass(s string, unit plan.MassUnit) (plan.Load, error) {
	m := mass.FindStringSubmatch(strings.ToLower(strings.TrimSpace(s)))
	if m == nil {
		return plan.Load{}, fmt.Errorf("%q is no mass; write it as 80kg or 176lb", s)
	}
	return massOf(m[1], m[2], unit)
}

// massOf reads a number to the thousandth, exactly, in its unit or the one that was given.
func massOf(number, unit string, given plan.MassUnit) (plan.Load, error) {
	u, err := parseUnit(unit)
	if err != nil {
		return plan.Load{}, err
	}
	if u == plan.UnitUnspecified {
		u = given
	}
	if u == plan.UnitUnspecified {
		return plan.Load{}, fmt.Errorf("%s of what? Write %skg or %slb, or add --unit", number, number, number)
	}
	whole, part, _ := strings.Cut(strings.Replace(number, ",", ".", 1), ".")
	if len(part) > 3 || len(whole) > 7 {
		return plan.Load{}, fmt.Errorf("%s can't be kept; at most three decimals are possible", number)
	}
	milli, err := strconv.ParseInt(whole+(part + "000")[:3], 10, 64)
	return plan.Load{Milli: milli, Unit: u}, err
}

func parseSex(s string) (plan.Sex, error) {
	switch token(s) {
	case "":
		return plan.SexUnspecified, nil
	case "female":
		return plan.Female, nil
	case "male":
		return plan.Male, nil
	}
	return 0, wrong("--sex: there is no %q; female or male", s)
}
