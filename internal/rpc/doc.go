// Package rpc is the gRPC face of the service: handlers that translate and call,
// the interceptors around every call, explicit limits, and the one table between
// faults and statuses, read in both directions (Status, Fault). Client speaks to
// such a server and answers in domain types.
//
// Every status that is not OK carries exactly one google.rpc.ErrorInfo with the
// domain "phasewright.v1", the reason of the first violation, and in its metadata the
// kind of fault and the field. All violations stand in BadRequest (the request is
// wrong in itself) or PreconditionFailure (wishes that clash, training that is not
// safe).
package rpc
