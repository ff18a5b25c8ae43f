package reference

import (
	"context"
	"fmt"
	"strconv"
	"strings"
	"time"

	"github.com/phasewright/phasewright/engine/schedule"
)

// levelNames are the levels in order, as records spell them.
var levelNames = [schedule.LevelCount]string{"goals", "rest", "stability", "preference", "simplicity"}

// LevelName gives a level's name.
func LevelName(level int) string { return levelNames[level] }

// Claim is what a reference says of a level: the optimum lies in Bound to Value, with the
// levels before it at their optima; Infeasible, that nothing keeps the limits. Without an
// answer in time Open is set, and Value means nothing.
type Claim struct {
	Value, Bound     int64
	Open, Infeasible bool
	Time             time.Duration
}

// Proven reports an optimum.
func (c *Claim) Proven() bool { return !c.Open && !c.Infeasible && c.Value == c.Bound }

// Record is what a reference says of a case, the gravest level first, up to the first
// without proof.
type Record struct {
	Name, Hash, Solver string
	Levels             []Claim
}

// Solve makes the record of a case, with at most limit for each level.
func (v *Solver) Record(ctx context.Context, dir string, c *Case, limit time.Duration) (Record, error) {
	r := Record{Name: c.Name, Hash: c.Hash(), Solver: v.Name}
	var held []int64
	for level := range schedule.LevelCount {
		var claim Claim
		if level == schedule.LevelStability && c.Prior == nil {
			r.Levels, held = append(r.Levels, claim), append(held, 0)
			continue
		}
		a, err := v.Solve(ctx, dir, c.Model, c.Prior, level, held, limit)
		if err != nil {
			return r, fmt.Errorf("%s, %s: %w", c.Name, levelNames[level], err)
		}
		claim = Claim{Value: a.Value, Bound: a.Bound, Time: a.Time, Open: a.Verdict == Nothing, Infeasible: a.Verdict == Infeasible}
		if claim.Infeasible && level > 0 {
			return r, fmt.Errorf("%s, %s: infeasible, after an answer to the level before", c.Name, levelNames[level])
		}
		r.Levels = append(r.Levels, claim)
		if !claim.Proven() {
			break
		}
		held = append(held, claim.Value)
	}
	return r, nil
}

// String writes a record as a line: name, hash, solver, and each level as optimum, or as
// bound..best, with the seconds it took.
func (r Record) String() string {
	var b strings.Builder
	fmt.Fprintf(&b, "%s %s %s", r.Name, r.Hash, r.Solver)
	for i := range r.Levels {
		c := &r.Levels[i]
		fmt.Fprintf(&b, " %s:", levelNames[i])
		switch {
		case c.Infeasible:
			b.WriteString("infeasible")
		case c.Open:
			fmt.Fprintf(&b, "%d..", c.Bound)
		case c.Proven():
			fmt.Fprintf(&b, "%d", c.Value)
		default:
			fmt.Fprintf(&b, "%d..%d", c.Bound, c.Value)
		}
		fmt.Fprintf(&b, "@%.2f", c.Time.Seconds())
	}
	return b.String()
}

// ParseRecord reads a line of String.
func ParseRecord(line string) (Record, error) {
	f := strings.Fields(line)
	if len(f) < 4 || len(f) > 3+schedule.LevelCount {
		return Record{}, fmt.Errorf("%q: name, hash, solver and one to %d levels", line, schedule.LevelCount)
	}
	r := Record{Name: f[0], Hash: f[1], Solver: f[2]}
	for i, text := range f[3:] {
		rest, ok := strings.CutPrefix(text, levelNames[i]+":")
		says, seconds, timed := strings.Cut(rest, "@")
		took, err := strconv.ParseFloat(seconds, 64)
		if !ok || !timed || err != nil {
			return r, fmt.Errorf("%q: %s:VALUE@SECONDS is expected", text, levelNames[i])
		}
		c := Claim{Time: time.Duration(took * float64(time.Second)), Infeasible: says == "infeasible"}
		if !c.Infeasible {
			low, high, apart := strings.Cut(says, "..")
			if c.Bound, err = strconv.ParseInt(low, 10, 64); err != nil {
				return r, fmt.Errorf("%q: %w", text, err)
			}
			c.Value, c.Open = c.Bound, apart && high == ""
			if apart && high != "" {
				if c.Value, err = strconv.ParseInt(high, 10, 64); err != nil {
					return r, fmt.Errorf("%q: %w", text, err)
				}
			}
		}
		r.Levels = append(r.Levels, c)
	}
	return r, nil
}
