// Package trial is the pure part of a trial: comparable athletes to arms without bias,
// and an answer that can be trusted. No clock, storage or network; seeds and keys come in
// as values. Its packages, in the order in which a trial meets them:
//
//   - power: what would this trial likely show? Closed forms, and the trial itself run
//     many times from its protocol (Simulate, Size).
//   - draw: a key from the system's secure generator (made by the caller), its published
//     commitment, and the keyed streams of numbers that follow from it.
//   - match: the best pairs by Mahalanobis distance, with a proof that none are better.
//   - assign: the design (Design.Check, Design.Predict for the protocol's warnings), and
//     the machine that takes enrolments and gives arms. Enrol, store, then Assign; at the
//     end Close, Reveal and Replay.
//   - stat: the estimates, tests, effect sizes and reliability that everything rests on.
//   - sequential: looks before the end, by spending alpha or at any time, and harm.
//   - analyse: the answer, by intention to treat first; at a look, Interim.
//   - conduct: the protocol, and the trial as a chain of events that keeps their order.
//   - report: a page for coaches, tables, numbers and data of all that is known.
//
// A trial from start to end:
//
//	outlook, err := power.Simulate(ctx, power.Trial{Design: design, Units: 60, World: world, ...})
//	key, err := draw.NewKey(secret)            // at freeze; publish key.Commitment()
//	m, err := assign.New(design, assign.Keyed(key))
//	err = m.Enrol(unit)                        // store the enrolment, then
//	given, err := m.Assign(unit.ID)            // store the assignments
//	err = m.Close()
//	report, err := analyse.Analyse(&analyse.Data{Design: design, Units: m.Units(), Assigned: m.Assigned(), ...}, rules)
//	err = draw.Reveal(key, commitment)
//	err = assign.Replay(design, key, units, true, recorded)
//
// example_test.go runs it. The formulas' sources stand beside them; testdata holds the
// published values that the packages' TestPublished tests check, by name.
package trial
