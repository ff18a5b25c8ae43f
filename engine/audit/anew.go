package audit

// outdated reports a lift that a program made again kept from before its strength was
// shown anew, inside the program: loads after that go on from what was shown.
func (a *auditor) outdated(l *lift) bool { return a.shownAnew(l) && a.past(l.about("")) }

// shownAnew reports a lift, or one that lends to it, with a performance from inside the
// program.
func (a *auditor) shownAnew(l *lift) bool {
	start := a.r.Constraints.Start
	if !a.p.Reworked.Set || !start.Set {
		return false
	}
	for i := range a.r.Athlete.Performances {
		p := &a.r.Athlete.Performances[i]
		if p.Date.Set && p.Date.Value > start.Value && (p.ExerciseID == l.e.ExerciseID || l.x != nil && a.bigOf(p.ExerciseID) == a.bigOf(l.e.ExerciseID)) {
			return true
		}
	}
	return false
}

// bigOf gives the lift whose 1RM the catalogue states that of an exercise by, or itself.
func (a *auditor) bigOf(id string) string {
	if x, ok := a.cat.ByID(id); ok && x.RelatedTo != "" {
		return x.RelatedTo
	}
	return id
}
