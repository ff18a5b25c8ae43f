// Package sqlite keeps tenants' data in one SQLite file of a data directory, which one
// process at a time may open.
//
// Writes go through one connection, one transaction after the other, each synced to the
// disk before it is acknowledged (WAL, synchronous=FULL); reads go through others beside
// it. When the disk is full writes are refused until there is room. After any other
// failure to write or sync, no write is taken until the process starts anew: what the
// kernel failed to sync once, it may forget, and report the next sync as fine.
package sqlite
