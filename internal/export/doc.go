// Package export prints programs for people. Text is what a coach hands out: plain
// lines of at most Width columns, no colour, the same bytes for the same program.
//
// Order: who and when, what to read first, what was assumed, the strength that loads
// are made from; then each phase with its first week in full and a table of all its
// weeks; then weekly totals, what could not be met, findings, what to do when it goes
// differently, and on request why each number is what it is.
package export
