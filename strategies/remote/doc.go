// Package remote runs a strategy that lives in another process, over the contract
// phasewright.strategy.v1. A Plugin is the connection; Connect shakes hands and gives the
// strategy as it describes itself, which the engine then uses as any other.
//
// Nothing that comes back is believed: its size and the number of its parts are bounded
// before it is decoded, its lists before they are translated, and engine.CheckOutline has
// the last word. A call has a deadline of its own; one that found nobody is repeated a few
// times within it. Faults are Unavailable where the process does not answer or not in time,
// Broken where its answer can't be, with the plug-in's name and the field, and Invalid
// where it refuses what it is asked, as a strategy may.
package remote
