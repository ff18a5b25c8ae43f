package export

import (
	"fmt"

	"github.com/phasewright/phasewright/engine/plan"
)

// stronger tells the estimates behind the loads, where what was shown since moved them.
func (c *changes) stronger() {
	unit := c.p.Request.Constraints.Unit
	begun := false
	for i := range c.p.Strengths {
		is := &c.p.Strengths[i]
		was := strengthOf(c.was, is.ExerciseID)
		switch {
		case is.Known == 0, was != nil && was.Known == is.Known && was.OneRMGrams == is.OneRMGrams:
			continue
		case was == nil && shownTimes(c.was, is.ExerciseID) == shownTimes(c.p, is.ExerciseID):
			continue // it only came into the program
		}
		if !begun {
			c.blank()
			c.line("What was shown moves the loads:")
			begun = true
		}
		says := fmt.Sprintf("- %s: 1RM %s ± %s", c.name(is.ExerciseID), plan.Kg(is.OneRMGrams).In(unit).Whole(), is.SD)
		if was != nil && was.Known > 0 {
			says += fmt.Sprintf(", before %s ± %s", plan.Kg(was.OneRMGrams).In(unit).Whole(), was.SD)
		}
		c.line(says)
	}
}

func shownTimes(p *plan.Program, id string) int {
	n := 0
	for i := range p.Request.Athlete.Performances {
		if p.Request.Athlete.Performances[i].ExerciseID == id {
			n++
		}
	}
	return n
}

func strengthOf(p *plan.Program, id string) *plan.Strength {
	for i := range p.Strengths {
		if p.Strengths[i].ExerciseID == id {
			return &p.Strengths[i]
		}
	}
	return nil
}
