// Package apidoc turns the description of the REST API (OpenAPI 2.0) into pages that
// people read: one with all calls, one for each call and each type. They are made once,
// are HTML and one style sheet, run no script and load nothing from elsewhere.
package apidoc
