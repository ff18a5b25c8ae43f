// Package wire is the one translator between the public schema (gen/phasewright/v1)
// and the domain (engine/plan).
//
// Reading goes in three steps, each of which names every fault it finds in one
// fault.Invalid with the paths of the schema (constraints.days[1].minutes):
// ReadRequest and ReadProgram take YAML or JSON to a message and refuse unknown
// names; Validate, which they call, holds a message against the rules of the schema;
// RequestFromProto and ProgramFromProto turn it into domain values, exactly or not
// at all. The last one stays safe on messages that were never validated.
//
// Writing to a message cannot fail: every domain value has one. Messages and domain
// values may share lists of plain values; neither is changed after. Numbers with decimals (kilograms, percent, sets) are integers in the
// domain; n/1000 is the double nearest to the decimal, so both ways are exact.
//
// What the domain may hold and the schema may not: loads without a unit, values
// above about 10^10, and a text parameter that reads like a range ("1-3").
package wire
