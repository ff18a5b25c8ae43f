// Package postgres keeps tenants' data in PostgreSQL, or a database that speaks its
// protocol, for several processes at a time.
//
// Transactions are serializable and tried again where the database finds that they got
// in each other's way. Besides the conditions of every statement, row-level security
// keeps tenants apart: each transaction names its tenant (phasewright.tenant), and the
// tables show no row of another, and none at all without. So the role that serves must
// be neither a superuser nor one with BYPASSRLS, and had better not own the tables:
// Migrate runs as their owner and gives the other its rights.
package postgres
