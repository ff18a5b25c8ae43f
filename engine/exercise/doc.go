// Package exercise is the catalogue: what each exercise trains, what it needs,
// how it is loaded, what it stresses and how long it takes.
//
// The data stand in catalogue.csv, which a coach can open in a spreadsheet and
// correct; Parse names the row and the column of a mistake and the values that
// are allowed there. A caller's own exercises join through Catalogue.With and
// pass the same checks.
//
// What is fact and what is judgement:
//
//   - prime (a direct set) and secondary (half a set) muscles are read from the
//     joint actions of each lift (NSCA, Essentials of Strength Training and
//     Conditioning, 4th ed., ch. 15, from memory); the column source says which
//     rows follow a textbook lift and which are judgement alone. That an indirect
//     set counts one half is the count that fitted the data best in Pelland
//     2024/25.
//   - body_mass_permille: push-ups from Ebben et al., J Strength Cond Res
//     25:2891-2894, 2011; squats and lunges (body less shanks and feet) and
//     back extensions (head, arms and trunk) from Winter's segment masses; all
//     from memory. The other shares are judgement; an assisted pull-up or dip has that of
//     the free one, less the help of the counterweight.
//   - related and related_permille (1RM of the lift in permille of a big lift's)
//     are judgement with wide error: good for finding a first load by trial,
//     never for a promise. So are max_plausible_kg (a typing-error guard), joint
//     stress, skill, times and min_reps: common practice, no source.
package exercise
