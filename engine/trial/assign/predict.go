package assign

import (
	"fmt"
	"slices"

	"github.com/phasewright/phasewright/engine/fault"
)

// Prediction is what a guesser can hope for who knows the design, all enrolments and all
// arms so far, but not the key.
type Prediction struct {
	// Chance is the share right of one who guesses by the design alone.
	Chance float64
	// Most is the expected share of right guesses that no guesser can surpass over whole
	// blocks and many units; equal to Chance where arms so far tell nothing.
	Most float64
	// Single is the chance of being right at the most predictable place.
	Single float64
	// Says is a sentence for the protocol.
	Says string
}

// Predict gives the theory of guessing the next arm (Blackwell & Hodges 1957, Ann Math
// Stat 28:449-460, for blocks). For blocks it lets the guesser know the sizes, which are
// drawn from the key, so it is a bound; and it is for units one by one, which batches
// revealed at once are not.
func (d *Design) Predict() (Prediction, error) {
	if err := d.Check(); err != nil {
		return Prediction{}, fault.Within("design", err)
	}
	best := 0
	for _, a := range d.Arms {
		best = max(best, a.Ratio)
	}
	p := Prediction{Chance: float64(best) / float64(d.ratios())}
	p.Most, p.Single = p.Chance, p.Chance
	switch d.Scheme {
	case PermutedBlocks:
		var right, places float64
		for _, b := range d.Blocks {
			right += expected(d.list(b), len(d.Arms))
			places += float64(b)
		}
		p.Most, p.Single = right/places, 1
		p.Says = fmt.Sprintf("One who sees the arms so far and knows the block sizes guesses %.0f %% of the next arms right in the long run, not %.0f %%, and the last of every block surely. Sizes are drawn and secret, which makes it harder; who enrols should not see arms.", 100*p.Most, 100*p.Chance)
	case Minimisation:
		p.Most = float64(d.Minimise.BestPermille) / 1000
		p.Single = p.Most
		p.Says = fmt.Sprintf("One who sees all arms and levels so far guesses the next arm right with a chance of up to %.0f %%, not %.0f %%. Who enrols should not see arms.", 100*p.Most, 100*p.Chance)
	case SequentialPairs:
		if !d.Sequential.Together {
			p.Most, p.Single = 0.75, 1
			p.Says = "The second of a pair gets the other arm. One who sees arms and covariates so far knows it beforehand: up to 75 % of all arms guessed right, not 50 %. Revealing pairs together removes that."
			return p, nil
		}
		p.Says = "Pairs are drawn when both have enrolled: nobody can guess better than by a coin."
	case Complete:
		p.Says = fmt.Sprintf("Arms so far tell nothing of the next: %.0f %% of guesses are right.", 100*p.Chance)
	default:
		p.Says = fmt.Sprintf("All arms are drawn at once after enrolment is closed: %.0f %% of guesses are right. One who is shown them one after the other can guess the last ones.", 100*p.Chance)
	}
	return p, nil
}

// expected is the number of right guesses in a block of one who always names the arm
// with the most places left.
func expected(list []int, arms int) float64 {
	left := make([]int, arms)
	for _, a := range list {
		left[a]++
	}
	known := map[string]float64{}
	var walk func(left []int) float64
	walk = func(left []int) float64 {
		sum := 0
		for _, n := range left {
			sum += n
		}
		if sum == 0 {
			return 0
		}
		sorted := slices.Clone(left)
		slices.Sort(sorted)
		key := fmt.Sprint(sorted)
		if v, in := known[key]; in {
			return v
		}
		v := float64(slices.Max(left)) / float64(sum)
		for a, n := range left {
			if n > 0 {
				left[a]--
				v += float64(float64(n) / float64(sum) * walk(left))
				left[a]++
			}
		}
		known[key] = v
		return v
	}
	return walk(left)
}
