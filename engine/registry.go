package engine

import (
	"cmp"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/engine/plan"
)

// Registry is a fixed set of strategies, several versions of a name included. It is
// a value: it never changes after NewRegistry and may be used by many goroutines.
// The zero Registry holds none.
type Registry struct {
	entries []registered // by name, then version, both rising
	absent  []absent
}

// absent is a strategy that is known by name alone.
type absent struct{ name, says string }

// ReasonStrategyAbsent is why a strategy that is not reached is Unavailable.
const ReasonStrategyAbsent = "STRATEGY_UNAVAILABLE"

// WithAbsent gives a registry that also knows a name whose strategy is not there at
// present. Lookup answers it, where no version of it is registered, with a fault of kind
// Unavailable that says why. List leaves it out: nothing is known of it.
func (r Registry) WithAbsent(name, says string) Registry {
	r.absent = append(slices.Clone(r.absent), absent{name, says})
	return r
}

type registered struct {
	descriptor plan.Descriptor
	version    []int64
	strategy   Strategy
}

// NewRegistry collects strategies. It refuses, with a fault of kind Invalid that
// carries all violations: a nil strategy, an empty or malformed name or version, and
// the same name@version twice (kind Exists when nothing else is wrong).
func NewRegistry(strategies ...Strategy) (Registry, error) {
	c, twice := fault.NewCollector(fault.Invalid), fault.NewCollector(fault.Exists)
	var r Registry
	for i, s := range strategies {
		field := fmt.Sprintf("strategies[%d]", i)
		if s == nil {
			c.Add("STRATEGY_NIL", field, "is nil; a strategy is needed")
			continue
		}
		d := s.Describe()
		if !validName(d.Name) {
			c.Add("STRATEGY_NAME", field+".name", fmt.Sprintf("is %q; lower-case letters, digits and single hyphens are right, at most %d, a letter first", d.Name, maxNameLength))
			continue
		}
		version, ok := parseVersion(d.Version)
		if !ok {
			c.Add("STRATEGY_VERSION", field+".version", fmt.Sprintf("of %s is %q; numbers joined by dots are right (1, 1.2)", d.Name, d.Version))
			continue
		}
		same := func(e registered) bool {
			return e.descriptor.Name == d.Name && slices.Compare(e.version, version) == 0
		}
		if slices.ContainsFunc(r.entries, same) {
			twice.Add("STRATEGY_TWICE", field, d.ID()+" is there twice; give one of them another name or version")
			c.Add("STRATEGY_TWICE", field, d.ID()+" is there twice; give one of them another name or version")
			continue
		}
		r.entries = append(r.entries, registered{cloneDescriptor(d), version, s})
	}
	if c.Len() > 0 && c.Len() == twice.Len() {
		return Registry{}, twice.Err()
	}
	if err := c.Err(); err != nil {
		return Registry{}, err
	}
	slices.SortFunc(r.entries, func(a, b registered) int {
		return cmp.Or(cmp.Compare(a.descriptor.Name, b.descriptor.Name), slices.Compare(a.version, b.version))
	})
	return r, nil
}

// Lookup finds a strategy by "name" (its newest version) or "name@version". The
// fault is Invalid for an empty id, else NotFound, with the nearest names or the
// versions that there are; Unavailable for one that is absent. Its field is "strategy".
func (r Registry) Lookup(id string) (Strategy, error) {
	if id == "" {
		return nil, fault.New(fault.Invalid, "STRATEGY_EMPTY", "strategy", "is empty; "+suggestion("", r.names()))
	}
	name, version, versioned := strings.Cut(id, "@")
	var versions []string
	for i := len(r.entries) - 1; i >= 0; i-- {
		e := &r.entries[i]
		if e.descriptor.Name != name {
			continue
		}
		if !versioned || e.descriptor.Version == version {
			return e.strategy, nil
		}
		versions = append(versions, e.descriptor.Version)
	}
	if len(versions) > 0 {
		return nil, fault.New(fault.NotFound, "STRATEGY_VERSION_UNKNOWN", "strategy",
			fmt.Sprintf("there is no version %q of %s; there is %s", version, name, strings.Join(versions, ", ")))
	}
	for _, a := range r.absent {
		if a.name == name {
			return nil, fault.New(fault.Unavailable, ReasonStrategyAbsent, "strategy", a.says)
		}
	}
	return nil, fault.New(fault.NotFound, "STRATEGY_UNKNOWN", "strategy",
		fmt.Sprintf("there is no strategy %q; %s", name, suggestion(name, r.names())))
}

// List gives the descriptors by name, then version. The caller owns them.
func (r Registry) List() []plan.Descriptor {
	out := make([]plan.Descriptor, len(r.entries))
	for i := range r.entries {
		out[i] = cloneDescriptor(r.entries[i].descriptor)
	}
	return out
}

func (r Registry) names() []string {
	out := make([]string, len(r.entries))
	for i := range r.entries {
		out[i] = r.entries[i].descriptor.Name
	}
	return slices.Compact(out)
}

func cloneDescriptor(d plan.Descriptor) plan.Descriptor {
	d.Params = slices.Clone(d.Params)
	for i := range d.Params {
		d.Params[i].Choices = slices.Clone(d.Params[i].Choices)
		d.Params[i].Default.List = slices.Clone(d.Params[i].Default.List)
	}
	return d
}

const maxNameLength = 64

// validName accepts kebab case, so that ids can stand in paths and files.
func validName(s string) bool {
	if s == "" || len(s) > maxNameLength || s[0] < 'a' || s[0] > 'z' || strings.HasSuffix(s, "-") || strings.Contains(s, "--") {
		return false
	}
	for i := range len(s) {
		if c := s[i]; (c < 'a' || c > 'z') && (c < '0' || c > '9') && c != '-' {
			return false
		}
	}
	return true
}

// parseVersion reads 1, 1.2, 1.2.3; leading zeros would make two spellings of one.
func parseVersion(s string) ([]int64, bool) {
	if s == "" || len(s) > maxNameLength {
		return nil, false
	}
	var out []int64
	for part := range strings.SplitSeq(s, ".") {
		n, err := strconv.ParseUint(part, 10, 31)
		if err != nil || strconv.FormatUint(n, 10) != part {
			return nil, false
		}
		out = append(out, int64(n))
	}
	return out, true
}

// suggestion ends a message about an unknown name: the names like it, else all.
func suggestion(name string, known []string) string {
	if len(known) == 0 {
		return "there are none"
	}
	if near := nearestNames(name, known); len(near) > 0 {
		return "did you mean " + strings.Join(near, " or ") + "?"
	}
	all := slices.Clone(known)
	slices.Sort(all)
	return "there is " + strings.Join(all, ", ")
}

// nearestNames gives up to three known names that a slip of typing or a
// part of the name could have meant, nearest first.
func nearestNames(name string, known []string) []string {
	if name == "" || len(name) > 2*maxNameLength {
		return nil
	}
	type near struct {
		name string
		away int
	}
	fold := func(s string) string { return strings.ReplaceAll(strings.ToLower(s), "_", "-") }
	var found []near
	for _, k := range known {
		away := editDistance(fold(name), fold(k))
		part := len(name) >= 3 && strings.Contains(fold(k), fold(name))
		if part || away <= max(2, len(name)/3) && away < len(k) {
			found = append(found, near{k, away})
		}
	}
	slices.SortFunc(found, func(a, b near) int {
		return cmp.Or(cmp.Compare(a.away, b.away), cmp.Compare(a.name, b.name))
	})
	out := make([]string, 0, 3)
	for _, f := range found[:min(3, len(found))] {
		out = append(out, f.name)
	}
	return out
}

// editDistance counts the letters to insert, delete or replace.
func editDistance(a, b string) int {
	row := make([]int, len(b)+1)
	for j := range row {
		row[j] = j
	}
	for i := 1; i <= len(a); i++ {
		diagonal := row[0]
		row[0] = i
		for j := 1; j <= len(b); j++ {
			cost := diagonal
			if a[i-1] != b[j-1] {
				cost++
			}
			diagonal = row[j]
			row[j] = min(cost, row[j]+1, row[j-1]+1)
		}
	}
	return row[len(b)]
}
