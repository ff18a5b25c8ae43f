package engine

import (
	"slices"
	"sort"

	"github.com/phasewright/phasewright/engine/exercise"
	"github.com/phasewright/phasewright/engine/plan"
)

// swaps names the two best others that train the same thing here and keep the session
// valid: none of them is in it already.
func (g *generation) swaps(e *plan.ProgramExercise, p *pick, o *occurrence, here []pick) {
	var ids []string
	for _, id := range g.substitutes(p, o.slot.Place) {
		if len(ids) < 2 && !slices.ContainsFunc(here, func(h pick) bool { return h.ex.ID == id }) {
			ids = append(ids, id)
		}
	}
	for i := range e.Contingencies {
		if k := e.Contingencies[i].Case; k == plan.CaseEquipmentTaken || k == plan.CasePain {
			e.Contingencies[i].Swap = ids
		}
	}
}

type swapKey struct {
	id    string
	place int32
	role  plan.Role
}

// substitutes ranks what can stand in for an exercise at a place: same pattern first,
// other equipment preferred.
func (g *generation) substitutes(p *pick, at int32) []string {
	key := swapKey{p.ex.ID, at, p.role}
	if ids, ok := g.swapped[key]; ok {
		return ids
	}
	type option struct {
		id   string
		rank int32
	}
	var options []option
	place := &g.brief.Request.Constraints.Places[at]
	for _, ex := range g.brief.Catalogue.All() {
		if ex.ID == p.ex.ID || primesShared(ex, p.ex) == 0 || ex.Role != p.ex.Role && ex.Pattern != p.ex.Pattern || !ex.Available(place) || !g.allowed(ex) || ex.Pattern.Explosive() != p.ex.Pattern.Explosive() {
			continue
		}
		rank := g.preference(ex, ex.Role) + 40*primesShared(ex, p.ex)
		if ex.Pattern == p.ex.Pattern {
			rank += 100
		}
		if ex.Loading != p.ex.Loading {
			rank += 30
		}
		if ex.RoleAt(place) == plan.Unloadable && p.role != plan.Unloadable {
			rank -= 90 // a load that is known to fit beats none
		}
		if g.bender.exposed(ex, place) && !g.bender.exposed(p.ex, place) {
			rank -= 60
		}
		if ex.Standing == exercise.Niche {
			rank -= 90 // only where nothing else does it
		}
		options = append(options, option{ex.ID, rank})
	}
	sort.SliceStable(options, func(i, j int) bool { return options[i].rank > options[j].rank })
	ids := make([]string, len(options))
	for i := range options {
		ids[i] = options[i].id
	}
	g.swapped[key] = ids
	return ids
}
