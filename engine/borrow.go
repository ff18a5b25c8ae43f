package engine

import (
	"github.com/phasewright/phasewright/engine/exercise"
	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/load"
	"github.com/phasewright/phasewright/engine/plan"
)

// Related lifts form stars: a big lift (back squat) and the lifts whose 1RM the catalogue
// states as a share of its 1RM (front squat). Given the big lift they are independent of
// each other, so what is known of one is, before its own performances,
//
//	big lift:  population, joined with each related lift's performances over its ratio
//	related:   (population, the other related lifts, the big lift's performances) × ratio
//
// in which every performance counts once and none speaks for its own exercise twice.
// Each way along a ratio widens by the ratio's SD (load.Prior.Borrow), so a lift known
// only through two ratios is known less than one known through one.

// Borders of borrowing. Judgement.
const (
	farRatioSD plan.Permille = 200 // bar to dumbbells, or to another movement pattern: more differs than the position
	vaguest    int32         = 300 // SD of a 1RM, permille, beyond which finding the load begins from nothing

	// carefully takes the place of cautious where only a related lift was shown: 0.84 SD
	// under the mean, about an eighth to a sixth, as nothing says that this person is of
	// the usual ratio.
	carefully plan.Permille = 200
)

// lent is what others say of an exercise: the prior for its own performances.
type lent struct {
	prior load.Prior
	from  string // the exercise that says most; empty: the population alone
}

// lent gives the prior of an exercise at a moment.
func (s *strengths) lent(e *exercise.Exercise, at moment) (lent, error) {
	own := lent{prior: s.population(e, at)}
	big := s.bigOf(e)
	if big == nil {
		return own, nil
	}
	hub, err := s.star(big, e, at)
	if err != nil || big == e || hub.prior.MeanGrams == 0 {
		if big == e {
			own = hub
		}
		return own, err
	}
	own.prior.MeanGrams, own.from = 0, hub.from // the family's is that of the big lift
	own.prior, err = own.prior.Borrow(load.Related{Grams: hub.prior.MeanGrams, SDPermille: hub.prior.SDPermille, Ratio: e.RelatedRatio, RatioSD: ratioSD(e, big)})
	return own, err
}

func (s *strengths) population(e *exercise.Exercise, at moment) load.Prior {
	a := &s.b.Request.Athlete
	p := load.Population(string(e.Curve), a.Status, a.Sex, a.Age, a.BodyMass.Or(plan.Load{}).Grams())
	p.LayoffWeeks, p.BackDays = at.layoff, at.back
	p.MaxGrams = mostPlausible(p.MaxGrams, e, s.carried(e))
	return p
}

// bigOf gives the middle of an exercise's star, nil where it has none that can lend:
// where body mass is moved a ratio of 1RMs says little, and speed is no share of force.
func (s *strengths) bigOf(e *exercise.Exercise) *exercise.Exercise {
	big := e
	if e.RelatedTo != "" {
		var ok bool
		if big, ok = s.b.Catalogue.ByID(e.RelatedTo); !ok || big.RelatedTo != "" || big.Pattern.Explosive() != e.Pattern.Explosive() {
			return nil
		}
	}
	if !e.Loading.Loadable() || e.BodyMassShare > 0 || big.BodyMassShare > 0 {
		return nil
	}
	return big
}

func ratioSD(e, big *exercise.Exercise) plan.Permille {
	if e.Loading != big.Loading || e.Pattern != big.Pattern {
		return farRatioSD
	}
	return load.UsualRatioSD
}

// star joins all that is known of a big lift except what was shown in one exercise.
func (s *strengths) star(big, except *exercise.Exercise, at moment) (lent, error) {
	out := lent{prior: s.population(big, at)}
	surest := int32(0)
	for _, id := range s.performed {
		e, ok := s.b.Catalogue.ByID(id)
		if !ok || e == except || e == big || e.RelatedTo != big.ID || s.bigOf(e) != big {
			continue
		}
		alone := s.population(e, at)
		alone.MeanGrams = 0 // the population speaks once, in the middle
		post, err := s.posterior(e, alone, at)
		if err != nil {
			return out, err
		}
		if post.N == 0 {
			continue
		}
		if out.prior, err = out.prior.Borrow(post.As(1_000_000/e.RelatedRatio, ratioSD(e, big))); err != nil {
			return out, err
		}
		if out.from == "" || post.SDPermille < surest {
			out.from, surest = id, post.SDPermille
		}
	}
	if big == except || len(s.perform[big.ID]) == 0 {
		return out, nil
	}
	post, err := s.posterior(big, out.prior, at)
	if err != nil {
		return out, err
	}
	if post.N > 0 {
		out.prior.MeanGrams, out.prior.SDPermille, out.from = post.MeanGrams, post.SDPermille, big.ID
	}
	return out, nil
}

// posterior joins a prior and an exercise's own performances; N is 0 where none is usable.
func (s *strengths) posterior(e *exercise.Exercise, prior load.Prior, at moment) (load.Posterior, error) {
	st := &state{ex: e}
	seen, _ := s.observed(st, at)
	curve, err := load.CurveFor(string(e.Curve))
	if err != nil || len(seen) == 0 {
		return load.Posterior{}, err
	}
	post, _, err := curve.Posterior(prior, seen)
	if f, ok := fault.As(err); ok && f.Kind == fault.NotFound {
		return load.Posterior{}, nil
	}
	return post, err
}

// borrow makes the state of an exercise in which nothing usable was shown from what a
// related lift says, where one says enough.
func (s *strengths) borrow(st *state, at moment) error {
	now, err := s.lent(st.ex, at)
	if err != nil || now.from == "" || now.prior.SDPermille > vaguest {
		return err
	}
	former, err := s.lent(st.ex, at.rested(0))
	if err != nil {
		return err
	}
	st.borrowed, st.slope = now.from, 1000
	st.mean, st.sd = now.prior.MeanGrams, now.prior.SDPermille
	start := careful(&now.prior)
	back := start * 1000 / load.AfterLayoff(1000, at.layoff)
	st.planned = s.grow(st.ex, at.week, min(back, careful(&former.prior)), start)
	return nil
}

func careful(p *load.Prior) int64 {
	return load.Posterior{MeanGrams: p.MeanGrams, SDPermille: p.SDPermille}.Quantile(carefully)
}
