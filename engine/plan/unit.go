package plan

import (
	"cmp"
	"fmt"
	"strconv"
	"strings"
)

// Opt is a value that may be unset; unset and zero stay different. Unset is the zero
// Opt, which the canonical encoding leaves out.
type Opt[T any] struct {
	Value T    `json:"v"`
	Set   bool `json:"set"`
}

// Some returns a set Opt.
func Some[T any](v T) Opt[T] { return Opt[T]{Value: v, Set: true} }

// Or returns the value, or the fallback where unset.
func (o Opt[T]) Or(fallback T) T {
	if o.Set {
		return o.Value
	}
	return fallback
}

// MassUnit is the unit in which a load is declared and shown.
type MassUnit uint8

// Mass units.
const (
	UnitUnspecified MassUnit = iota
	Kilogram
	Pound
)

// String gives the trade's abbreviation.
func (u MassUnit) String() string {
	switch u {
	case Kilogram:
		return "kg"
	case Pound:
		return "lb"
	}
	return "unit?"
}

// Load is a mass in thousandths of its own unit, so that 225 lb stays 225 lb.
// Loads of different units are compared exactly through 1 lb = 0.45359237 kg.
type Load struct {
	Milli int64    `json:"milli"`
	Unit  MassUnit `json:"unit"`
}

// Kg and Lb build loads from thousandths.
func Kg(milli int64) Load { return Load{Milli: milli, Unit: Kilogram} }

// Lb builds a load in thousandths of a pound.
func Lb(milli int64) Load { return Load{Milli: milli, Unit: Pound} }

// The exact definition 1 lb = 0.45359237 kg, scaled to integers.
const (
	nanoPerLb = 45_359_237
	nanoPerKg = 100_000_000
)

// exact gives the load in 1e-11 kg, the grid on which both units are integers.
// It is exact up to 92,000 kg.
func (l Load) exact() int64 {
	if l.Unit == Pound {
		return l.Milli * nanoPerLb
	}
	return l.Milli * nanoPerKg
}

// Cmp compares two loads of any units exactly.
func (l Load) Cmp(o Load) int { return cmp.Compare(l.exact(), o.exact()) }

// Grams gives the load in grams, rounded to the nearest gram (half away from zero).
func (l Load) Grams() int64 { return divRound(l.exact(), nanoPerKg) }

// In converts to a unit, rounded to the nearest thousandth of it; a load already
// in that unit is returned unchanged. A load that is a gym load of that unit, a multiple
// of 0.25, as nearly as its own thousandths can say, becomes that one: 0.454 kg is 1 lb.
// So gym loads of either unit come back unchanged from the other.
func (l Load) In(u MassUnit) Load {
	if l.Unit == u {
		return l
	}
	near := l.rounded(u)
	if gym := (Load{Milli: divRound(near.Milli, gymStep) * gymStep, Unit: u}); gym.rounded(l.Unit) == l {
		return gym
	}
	return near
}

// gymStep is what all loads of gyms are multiples of, in thousandths of either unit.
const gymStep = 250

func (l Load) rounded(u MassUnit) Load {
	per := int64(nanoPerKg)
	if u == Pound {
		per = nanoPerLb
	}
	return Load{Milli: divRound(l.exact(), per), Unit: u}
}

// IsZero reports a load of nothing (bodyweight alone).
func (l Load) IsZero() bool { return l.Milli == 0 }

// String prints the load as a coach writes it: "102.5 kg", "225 lb".
func (l Load) String() string { return l.Short() + " " + l.Unit.String() }

// Short is Number without thousandths where nothing is marked in them: sums across units
// (60.823 kg is 60.82).
func (l Load) Short() string {
	if l.Milli%125 != 0 && (l.Milli > 100 || l.Milli < -100) {
		l.Milli = divRound(l.Milli, 10) * 10
	}
	return l.Number()
}

// Whole prints the load to the nearest whole unit, for estimates in sentences.
func (l Load) Whole() string {
	return Load{Milli: divRound(l.Milli, 1000) * 1000, Unit: l.Unit}.String()
}

// Number prints the load without its unit, trailing zeros removed.
func (l Load) Number() string {
	m, sign := l.Milli, ""
	if m < 0 {
		m, sign = -m, "-"
	}
	s := sign + strconv.FormatInt(m/1000, 10)
	if f := m % 1000; f != 0 {
		s += "." + strings.TrimRight(fmt.Sprintf("%03d", f), "0")
	}
	return s
}

func divRound(a, b int64) int64 {
	if a < 0 {
		return -divRound(-a, b)
	}
	return (a + b/2) / b
}

// Permille is tenths of a percent: 800 is 80 %.
type Permille int32

// String prints as a percentage: 805 is "80.5 %".
func (p Permille) String() string {
	if p%10 == 0 {
		return fmt.Sprintf("%d %%", p/10)
	}
	return fmt.Sprintf("%d.%d %%", p/10, abs32(int32(p%10)))
}

// Seconds is a duration in whole seconds.
type Seconds int32

// String prints m:ss from a minute up, else "45 s".
func (s Seconds) String() string {
	if s < 60 {
		return fmt.Sprintf("%d s", s)
	}
	return fmt.Sprintf("%d:%02d", s/60, s%60)
}

// HalfSets counts weekly sets in halves: a direct set is 2, an indirect one 1.
type HalfSets int32

// String prints sets: 13 is "6.5".
func (h HalfSets) String() string {
	if h%2 == 0 {
		return strconv.Itoa(int(h / 2))
	}
	if h < 0 {
		return "-" + (-h).String()
	}
	return strconv.Itoa(int(h/2)) + ".5"
}

func abs32(v int32) int32 {
	if v < 0 {
		return -v
	}
	return v
}
