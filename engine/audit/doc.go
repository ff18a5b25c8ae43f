// Package audit re-derives every hard limit and every piece of guidance from a
// finished program alone: from plan.Program, the settled request inside it and the
// catalogue, and from nothing that the stages which made it thought on the way. It
// shares no code with them beyond value types, the catalogue and the curves, so a
// mistake there can't hide here. It takes programs that a coach wrote by hand just
// as well: what is missing or makes no sense is a finding, never a panic.
//
// Levels: a Violation breaks a hard limit (of the request, of the equipment, of
// safety, or of the program's own arithmetic), a Departure leaves published guidance
// or common practice, Short is a wish that was not met, a Note is worth knowing.
//
// One cause draws one finding. Where a fault would trip several rules the most
// telling one speaks and the others stay silent for that exercise and week:
//
//   - growth of the planned 1RM, before a jump of the 1RM implied by the sets,
//     before sets that disagree with the curve, before a step in load.
//   - a request's own limit before the guideline about the same number.
//   - asked recovery hours before the guideline about consecutive days.
//
// Files by theme: time (session minutes), equipment and stock (what is there, what
// can be loaded), loads (effort, growth, jumps, steps), dose (sets), session (order,
// warm-up, rest), week (days, dates, neighbours), phase (exercises over weeks,
// deloads), taper, safety, wishes (pins, exclusions, restrictions, goals), form (the
// document itself). Rules lists them all with their sources.
package audit
