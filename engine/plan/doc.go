// Package plan holds the nouns of the domain: what is asked (Request), what a
// strategy answers (Outline) and what an athlete is handed (Program), with the
// units they are stated in.
//
// Everything here is a value: no pointers to share, no maps, no floats, so that
// a program can be compared, copied, encoded and digested bit for bit on any
// machine. Quantities are integers in a stated unit (seconds, permille, half
// sets, thousandths of a kg or lb). Enumerations keep their numbers for ever.
//
// A Request becomes a settled Request (units chosen, defaults filled in, each
// default noted as an Assumption); the settled one travels inside the Program,
// so that the program can be audited by someone who has nothing else.
package plan
