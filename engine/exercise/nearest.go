package exercise

import (
	"cmp"
	"slices"
	"strings"
)

// Nearest suggests up to n ids for one that doesn't exist: first those that
// hold every word of it, then those few typing slips away. Same input, same
// answer; nothing similar gives nothing.
func (c *Catalogue) Nearest(id string, n int) []string {
	want := token(strings.ReplaceAll(strings.TrimSpace(id), "_", "-"))
	if want == "" || len(want) > maxID || n <= 0 {
		return nil
	}
	words := strings.Split(want, "-")
	type candidate struct {
		id             string
		class, distant int
	}
	var found []candidate
	for _, e := range c.all {
		d := distance(want, e.ID)
		switch {
		case holdsAll(e.ID, words):
			found = append(found, candidate{e.ID, 0, d})
		case d <= max(2, len(want)/3):
			found = append(found, candidate{e.ID, 1, d})
		}
	}
	slices.SortFunc(found, func(a, b candidate) int {
		return cmp.Or(cmp.Compare(a.class, b.class), cmp.Compare(a.distant, b.distant), cmp.Compare(a.id, b.id))
	})
	out := make([]string, 0, min(n, len(found)))
	for _, f := range found[:min(n, len(found))] {
		out = append(out, f.id)
	}
	return out
}

func holdsAll(id string, words []string) bool {
	parts := strings.Split(id, "-")
	for _, w := range words {
		if w != "" && !slices.Contains(parts, w) {
			return false
		}
	}
	return true
}

// distance counts insertions, deletions, replacements and swaps of neighbours
// (optimal string alignment).
func distance(a, b string) int {
	before, last, row := make([]int, len(b)+1), make([]int, len(b)+1), make([]int, len(b)+1)
	for j := range last {
		last[j] = j
	}
	for i := 1; i <= len(a); i++ {
		row[0] = i
		for j := 1; j <= len(b); j++ {
			cost := 1
			if a[i-1] == b[j-1] {
				cost = 0
			}
			row[j] = min(last[j]+1, row[j-1]+1, last[j-1]+cost)
			if i > 1 && j > 1 && a[i-1] == b[j-2] && a[i-2] == b[j-1] {
				row[j] = min(row[j], before[j-2]+1)
			}
		}
		before, last, row = last, row, before
	}
	return last[len(b)]
}
