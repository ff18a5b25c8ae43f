package exercise

import (
	"cmp"
	"crypto/sha256"
	_ "embed"
	"fmt"
	"slices"
	"strings"
	"sync"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
)

//go:embed catalogue.csv
var builtinCSV string

// builtinVersion stands in every program; it goes up when an entry changes what
// a program would be.
const builtinVersion = "1"

// Catalogue is an immutable set of exercises, sorted by id, safe for
// concurrent use. The exercises it hands out are shared: read only.
type Catalogue struct {
	version string
	all     []*Exercise
}

var load = sync.OnceValues(func() (*Catalogue, error) {
	list, err := Parse(strings.NewReader(builtinCSV))
	if err != nil {
		return nil, err
	}
	return (&Catalogue{version: builtinVersion}).With(list)
})

// Load gives the built-in catalogue, parsed once.
func Load() (*Catalogue, error) { return load() }

// Builtin is Load for callers that have no use for its error: the embedded file
// is checked by this package's tests. Were it broken, the catalogue is empty.
func Builtin() *Catalogue {
	c, err := load()
	if err != nil {
		return &Catalogue{version: builtinVersion}
	}
	return c
}

// Version names the built-in data that the catalogue is based on.
func (c *Catalogue) Version() string { return c.version }

// All gives every exercise, sorted by id. The slice and its elements are shared:
// read only.
func (c *Catalogue) All() []*Exercise { return slices.Clip(c.all) }

// Len counts the exercises.
func (c *Catalogue) Len() int { return len(c.all) }

// ByID finds an exercise; it is shared, read only.
func (c *Catalogue) ByID(id string) (*Exercise, bool) {
	i, ok := c.Index(id)
	if !ok {
		return nil, false
	}
	return c.all[i], true
}

// Index gives an exercise's place in All.
func (c *Catalogue) Index(id string) (int, bool) {
	return slices.BinarySearchFunc(c.all, id, func(e *Exercise, id string) int { return cmp.Compare(e.ID, id) })
}

// With gives a catalogue that has the caller's own exercises too. Each must be
// valid; an id or name that exists is refused, and so is a related lift that
// doesn't exist or is itself only related to another. The fault (Invalid) has the
// schema's fields, such as exercises[1].prime_muscles. The arguments are copied. The version says which
// they are: the former one, "+" and the start of a digest of their rows, by id.
func (c *Catalogue) With(custom []Exercise) (*Catalogue, error) {
	out := &Catalogue{version: c.version, all: make([]*Exercise, 0, len(c.all)+len(custom))}
	byID := make(map[string]*Exercise, cap(out.all))
	byName := make(map[string]string, cap(out.all))
	for _, e := range c.all {
		out.all = append(out.all, e)
		byID[e.ID], byName[strings.ToLower(e.Name)] = e, e.ID
	}
	problems := fault.NewCollector(fault.Invalid)
	field := func(i int, column string) string { return fmt.Sprintf("exercises[%d].%s", i, schemaField(column)) }
	for i := range custom {
		e := custom[i].clone()
		check(e, func(column, says string) { problems.Add(ReasonInvalid, field(i, column), says) })
		if _, clash := byID[e.ID]; clash {
			problems.Add(ReasonDuplicate, field(i, "id"), fmt.Sprintf("%q exists already; choose another id", clip(e.ID)))
			continue
		}
		if other, clash := byName[strings.ToLower(e.Name)]; clash {
			problems.Add(ReasonDuplicate, field(i, "name"), fmt.Sprintf("%q is the name of %s already; choose another name", clip(e.Name), clip(other)))
		}
		byID[e.ID], byName[strings.ToLower(e.Name)] = e, e.ID
		out.all = append(out.all, e)
	}
	for i := range custom {
		if custom[i].RelatedTo == "" {
			continue
		}
		switch base, ok := byID[custom[i].RelatedTo]; {
		case !ok:
			problems.Add(ReasonUnknown, field(i, "related"), fmt.Sprintf("no exercise %q; must be the id of a big lift, like back-squat", clip(custom[i].RelatedTo)))
		case base.RelatedTo != "":
			problems.Add(ReasonInvalid, field(i, "related"), fmt.Sprintf("%s is itself related to %s; name that one", base.ID, clip(base.RelatedTo)))
		}
	}
	if err := problems.Err(); err != nil {
		return nil, err
	}
	slices.SortFunc(out.all, func(a, b *Exercise) int { return cmp.Compare(a.ID, b.ID) })
	if len(custom) > 0 && c.Len() > 0 { // not the catalogue itself in the making
		own := slices.DeleteFunc(slices.Clone(out.all), func(e *Exercise) bool { _, known := c.Index(e.ID); return known })
		sum := sha256.New()
		if err := Write(sum, own); err != nil {
			return nil, fault.Wrap(fault.Internal, "ENCODING", err)
		}
		out.version = fmt.Sprintf("%s+%x", c.version, sum.Sum(nil)[:6])
	}
	return out, nil
}

func (e Exercise) clone() *Exercise {
	e.Equipment, e.AddedNeeds = cloneAlternatives(e.Equipment), cloneAlternatives(e.AddedNeeds)
	return &e
}

func cloneAlternatives(alts [][]plan.Equipment) [][]plan.Equipment {
	out := slices.Clone(alts)
	for i := range out {
		out[i] = slices.Clone(out[i])
	}
	return out
}
