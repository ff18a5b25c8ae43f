// Package storetest is what every service.Store has to pass: Run for the contract,
// Model for a long random comparison with the plain store.
package storetest

import (
	"testing"

	"github.com/phasewright/phasewright/internal/service"
)

// Factory opens an empty store with a clock; the test that asked for it closes it.
type Factory func(t *testing.T, now func() service.Instant) service.Store

// Run checks the contract, each part on a store of its own.
func Run(t *testing.T, open Factory) {
	for _, c := range []struct {
		name string
		test func(*testing.T, *fixture)
	}{
		{"Shelves", testShelves},
		{"Labels", testLabels},
		{"Children", testChildren},
		{"Texts", testTexts},
		{"Pages", testPages},
		{"PagesWhileWriting", testPagesWhileWriting},
		{"Revisions", testRevisions},
		{"Chains", testChains},
		{"Transactions", testTransactions},
		{"Views", testViews},
		{"Tenants", testTenants},
		{"Once", testOnce},
		{"OnceTogether", testOnceTogether},
		{"Writers", testWriters},
		{"Cancellations", testCancellations},
		{"Dossier", testDossier},
		{"Replay", testReplay},
		{"Expire", testExpire},
		{"Purge", testPurge},
		{"PurgeTogether", testPurgeTogether},
		{"Jobs", testJobs},
		{"JobErasure", testJobErasure},
		{"WorkersTogether", testWorkersTogether},
		{"ClearJobs", testClearJobs},
		{"ClearTogether", testClearTogether},
		{"Ends", testEnds},
	} {
		t.Run(c.name, func(t *testing.T) {
			clock := NewClock()
			c.test(t, &fixture{t: t, clock: clock, maker: newMaker(1, clock), s: open(t, clock.Now)})
		})
	}
}
