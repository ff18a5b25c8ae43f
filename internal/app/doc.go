// Package app is the place where concrete choices meet: which strategies and which
// catalogue an engine runs with.
package app
