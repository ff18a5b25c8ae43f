package block

import (
	"fmt"

	"github.com/phasewright/phasewright/strategies/internal/build"
)

const (
	longestCycle = 12 // 6 + 4 + 2, the longest blocks that are usual
	longCycle    = 9  // from here on realization has two weeks
)

// cycle holds the weeks of each block.
type cycle [blocks]int32

// cycles shares the weeks out.
func (in *instance) cycles(weeks int32) ([]cycle, error) {
	var given cycle
	field, least := cyclesName, int32(0)
	for b := range given {
		given[b] = in.v.Whole(param(b, weeksOf))
		least += max(given[b], 1)
		if given[b] > 0 {
			field = param(b, weeksOf)
		}
	}
	n := in.v.Whole(cyclesName)
	if n > 0 && weeks/n < blocks {
		return nil, build.NotHere(cyclesName, fmt.Sprintf("is %d in %d weeks; 0 to %d leave a week for each block", n, weeks, weeks/blocks))
	}
	if n == 0 {
		n = max(given.fits(weeks), 1)
	}
	if least > weeks/n {
		return nil, build.NotHere(field, fmt.Sprintf("makes a cycle of at least %d weeks where there are %d; fewer weeks for blocks, or fewer cycles, are right", least, weeks/n))
	}
	out := make([]cycle, n)
	for i := range out {
		length := weeks / n
		if int32(i) < weeks%n {
			length++
		}
		out[i] = given.within(length)
	}
	return out, nil
}

// fits tells how many cycles to go through when nobody says so.
func (c cycle) fits(weeks int32) int32 {
	if c[accumulation] == 0 && c[transmutation] == 0 {
		n := (weeks + longestCycle - 1) / longestCycle
		return min(n, weeks/(c[realization]+2))
	}
	acc := c[accumulation]
	if acc == 0 {
		acc = max(3*c[transmutation]/2, 1)
	}
	return weeks / (acc + c.heavier() + max(c[realization], 1))
}

// heavier gives the weeks of transmutation that go with those of accumulation.
func (c cycle) heavier() int32 {
	if c[transmutation] > 0 {
		return c[transmutation]
	}
	return max((4*c[accumulation]+3)/6, 1)
}

// within gives blocks without weeks their share of a cycle, which has room for it.
// Accumulation takes what is left.
func (c cycle) within(length int32) cycle {
	if c[realization] == 0 {
		c[realization] = 1
		if length >= longCycle && length-2 >= max(c[accumulation], 1)+max(c[transmutation], 1) {
			c[realization] = 2
		}
	}
	rest := length - c[realization]
	switch {
	case c[transmutation] > 0:
	case c[accumulation] > 0:
		c[transmutation] = min(c.heavier(), rest-c[accumulation])
	default:
		c[transmutation] = max((4*rest+5)/10, 1)
	}
	c[accumulation] = rest - c[transmutation]
	return c
}

// deloads marks the weeks that become deloads. One is due every so many weeks, and
// closes a block where it can: it comes earlier when the next block would go over that
// number, and a week later when the block then ends. Realization, light by itself,
// counts as one.
func deloads(every int32, cycles []cycle) []bool {
	var out []bool
	run := int32(0)
	for _, c := range cycles {
		for b, n := range c {
			for w := range n {
				out = append(out, false)
				if b == realization {
					run = 0
					continue
				}
				run++
				due := run >= every
				switch {
				case w == n-2 && run == every:
					due = false
				case w == n-1 && b == transmutation:
					due = false
				case w == n-1 && b == accumulation:
					due = due || run+c[transmutation] > every
				}
				if every > 0 && w > 0 && due {
					out[len(out)-1] = true
					run = 0
				}
			}
		}
	}
	return out
}
