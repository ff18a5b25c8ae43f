// Package telemetry measures a server: metrics for Prometheus, traces over OTLP, and
// the trace in every line of the log.
//
// Metrics and spans follow OpenTelemetry's semantic conventions where these have a
// name (rpc.server.call.duration, http.server.request.duration); what the trade of this
// service is has names below phasewright. No metric, span or line carries the name of
// a tenant or an athlete, a path with such a name, or anything out of a request: spans of
// REST are named by the route's pattern, calls of unknown methods are not counted at all.
//
// Nothing here is global: providers are values that the server owns and closes.
package telemetry
