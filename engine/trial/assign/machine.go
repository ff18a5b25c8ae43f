package assign

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/trial/draw"
	"github.com/phasewright/phasewright/engine/trial/match"
)

// Assignment is the arm of a unit and how it came about.
type Assignment struct {
	Unit    string `json:"unit"`
	Number  int    `json:"number"`            // of its enrolment, from 1
	Arm     int    `json:"arm"`               // index into Design.Arms
	Stratum string `json:"stratum,omitempty"` // levels joined by /; empty without strata
	Block   int    `json:"block,omitempty"`   // from 1, within the stratum; 0 without blocks
	Size    int    `json:"size,omitempty"`    // of the block
	Place   int    `json:"place,omitempty"`   // in the block, from 1
	Pair    int    `json:"pair,omitempty"`    // from 1; 0 without a partner
	// Weights are the chances of the arms for this unit, as they stood, as whole-number
	// shares of their sum.
	Weights []uint64 `json:"weights"`
}

// Machine takes enrolments and gives arms. It is not safe for concurrent use.
type Machine struct {
	design  Design
	streams Streams
	units   []Unit
	index   map[string]int
	got     []*Assignment // by unit; nil while it waits
	done    int           // rolling schemes: units looked at
	closed  bool
	blocks  map[string]*block
	pairs   int
	waiting []int
	tallies []map[string][]int64 // minimisation: factor, level, arm
}

type block struct {
	number, size int
	left         []int // arms of the places to come
	place        int
}

// New starts a trial's assignment. A design that can't be is an Invalid fault.
func New(d Design, s Streams) (*Machine, error) {
	if err := d.Check(); err != nil {
		return nil, fault.Within("design", err)
	}
	m := &Machine{design: d, streams: s, index: map[string]int{}, blocks: map[string]*block{}}
	for range d.Factors {
		m.tallies = append(m.tallies, map[string][]int64{})
	}
	return m, nil
}

// Enrol takes a unit in. It says nothing of arms. A unit that is in already, that has
// not what the design asks for, or that comes after Close is a fault.
func (m *Machine) Enrol(u Unit) error {
	if err := m.design.checkUnit(u); err != nil {
		return err
	}
	if _, in := m.index[u.ID]; in {
		return fault.New(fault.Exists, ReasonEnrolled, "unit.id", fmt.Sprintf("%q is enrolled already", u.ID))
	}
	if m.closed {
		return fault.New(fault.Infeasible, ReasonClosed, "unit.id", "enrolment of this trial is closed")
	}
	if limit := m.most(); len(m.units) >= limit {
		return fault.New(fault.Infeasible, ReasonClosed, "unit.id", fmt.Sprintf("%d units are the most of this scheme", limit))
	}
	u.Levels, u.Covariates = slices.Clone(u.Levels), slices.Clone(u.Covariates)
	m.index[u.ID] = len(m.units)
	m.units = append(m.units, u)
	m.got = append(m.got, nil)
	return nil
}

func (m *Machine) most() int {
	if m.design.Scheme == MatchedPairs || m.design.Scheme == SequentialPairs {
		return match.Most - 1
	}
	return mostUnits
}

// Assign gives the arm of an enrolled unit; where pairs are revealed together, both
// arms. Asked again it answers the same. One whose arm is not drawn yet (batch schemes
// before Close, a unit that waits for a partner) is an Infeasible fault, an unknown one
// NotFound.
func (m *Machine) Assign(id string) ([]Assignment, error) {
	at, in := m.index[id]
	if !in {
		return nil, fault.New(fault.NotFound, ReasonUnknown, "unit.id", fmt.Sprintf("%q is not enrolled", id))
	}
	m.advance()
	a := m.got[at]
	if a == nil {
		says := "arms are drawn when enrolment is closed"
		if m.design.Scheme == SequentialPairs {
			says = "its pair is not complete; it is drawn with its partner, or when enrolment is closed"
		}
		return nil, fault.New(fault.Infeasible, ReasonWaiting, "unit.id", says)
	}
	out := []Assignment{*a}
	if a.Pair > 0 && (m.design.Scheme == MatchedPairs || m.design.Sequential.Together) {
		for _, b := range m.got {
			if b != nil && b.Pair == a.Pair && b.Unit != id {
				out = append(out, *b)
			}
		}
	}
	return out, nil
}

// Close ends enrolment and draws what waits for that. A second time it does nothing.
// A rerandomisation that finds no balanced draw is an Infeasible fault, and enrolment
// stays open.
func (m *Machine) Close() error {
	if m.closed {
		return nil
	}
	m.advance()
	if err := m.batch(); err != nil {
		return err
	}
	m.closed = true
	return nil
}

// Assigned lists all arms drawn so far, in order of enrolment.
func (m *Machine) Assigned() []Assignment {
	m.advance()
	var out []Assignment
	for _, a := range m.got {
		if a != nil {
			out = append(out, *a)
		}
	}
	return out
}

// Units lists all enrolled units, in order.
func (m *Machine) Units() []Unit { return slices.Clone(m.units) }

// advance draws, in order of enrolment, what rolling schemes can draw.
func (m *Machine) advance() {
	if m.design.Scheme.Batch() {
		return
	}
	for ; m.done < len(m.units); m.done++ {
		switch m.design.Scheme {
		case Complete:
			m.drawAlone(m.done, "all")
		case PermutedBlocks:
			m.drawBlock(m.done)
		case Minimisation:
			m.drawMinimised(m.done)
		case SequentialPairs:
			m.drawSequential(m.done)
		}
	}
}

// stream opens the numbers of a stratum's part.
func (m *Machine) stream(stratum, part string) draw.Source {
	return m.streams(m.design.Trial + "|" + stratum + "|" + part + "|")
}

func (m *Machine) set(at int, a Assignment) {
	a.Unit, a.Number = m.units[at].ID, at+1
	m.got[at] = &a
}

func (m *Machine) drawAlone(at int, stratum string) {
	weights := make([]uint64, len(m.design.Arms))
	for i, a := range m.design.Arms {
		weights[i] = uint64(a.Ratio)
	}
	arm := draw.Weighted(m.stream(stratum, "unit"+strconv.Itoa(at)), weights)
	m.set(at, Assignment{Arm: arm, Weights: weights})
}

func stratum(u Unit) string { return strings.Join(u.Levels, "/") }

func (m *Machine) drawBlock(at int) {
	s := stratum(m.units[at])
	b := m.blocks[s]
	if b == nil || len(b.left) == 0 {
		b = m.openBlock(s, b)
	}
	weights := make([]uint64, len(m.design.Arms))
	for _, arm := range b.left {
		weights[arm]++
	}
	b.place++
	m.set(at, Assignment{Arm: b.left[0], Stratum: s, Block: b.number, Size: b.size, Place: b.place, Weights: weights})
	b.left = b.left[1:]
}

// openBlock draws the size of a stratum's next block and then its order, each from a
// stream of its own.
func (m *Machine) openBlock(s string, before *block) *block {
	b := &block{number: 1}
	if before != nil {
		b.number = before.number + 1
	}
	name := "block" + strconv.Itoa(b.number-1)
	b.size = m.design.Blocks[0]
	if n := len(m.design.Blocks); n > 1 {
		b.size = m.design.Blocks[draw.Below(m.stream(s, name+"size"), uint64(n))]
	}
	b.left = m.design.list(b.size)
	draw.Shuffle(m.stream(s, name), b.size, func(i, j int) { b.left[i], b.left[j] = b.left[j], b.left[i] })
	m.blocks[s] = b
	return b
}
