// Package report tells what a trial shows: to a coach on one page, to whoever wants to
// check it in tables, as numbers and as the data themselves.
//
// Make turns an Input, which is all that is known of a trial, into a Report: every number
// that any form shows, rounded once (to six significant digits), so that page, tables,
// drawings and JSON can't differ. Report.Page and Report.Markdown write text (a terminal
// shows it as it is), Report.HTML one file that needs no other, Report.JSON the numbers.
// CSV and Codebook give what a stranger needs to analyse the trial again, in full
// precision. Drawings are made elsewhere from the Report and handed to Markdown and HTML.
//
// The words keep to what a trial can carry. A difference is between arms, never a
// property of one athlete; nobody is a responder; undecided is not alike; what was not
// the question is shown as such, with p-values that answer for all such outcomes; what
// can't be computed is named with its reason.
package report
