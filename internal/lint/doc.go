// Package lint holds the rules of the house that a compiler can't: which
// package may import which, what nothing deterministic may call, and what no
// file may mention. The rules are its tests; each has a bad example beside it
// that must be caught, so that a rule can't fall asleep.
package lint
