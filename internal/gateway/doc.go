// Package gateway is the REST face: an http.Handler that hands every request to the
// gRPC services and answers in JSON.
//
// A request goes: own pages (/, /livez, /readyz, /openapi.json), the router made from
// the schema's google.api.http rules, check (headers, query, body allowed here at all),
// the generated handler, which asks jsonMarshaler to decode the body, the call, and the
// answer. Every failure, of whatever step, is a google.rpc.Status in JSON with exactly
// one ErrorInfo, made by the same table as over gRPC; what a call says about fields is
// spelled the way the caller spelled them.
//
// What is decided here:
//   - Who has no key that is good is refused before the body is read.
//   - Answers name fields in lowerCamel, hold zeros and empty lists, and leave out what is
//     unset; the same message gives the same bytes.
//   - Bodies are application/json in UTF-8, not compressed. GET takes no body.
//   - Query keys are the fields of the request in either spelling, each at most once. POST
//     takes none.
//   - HEAD is GET without the body; OPTIONS answers Allow; there is no CORS.
//   - Grpc-Timeout is taken as the caller's own deadline; the server's stays above it.
//     Other headers are not passed on, but for Authorization and the peer's address.
//
// A request line or a header that net/http can't parse (%zz in a path, 20 KiB of headers)
// never gets here: net/http answers it in plain text.
package gateway
