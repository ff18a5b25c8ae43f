package service

import (
	"context"
	"sync"
	"time"

	"github.com/phasewright/phasewright/engine/fault"
)

const (
	knownFor  = 2 * time.Second // a key revoked elsewhere works that much longer, of the 5 s that are promised
	knownMost = 10_000
	usedEvery = time.Hour // how exactly the last use of a key is noted
)

// known are the keys that were looked up lately, unknown ones among them.
type known struct {
	mu    sync.Mutex
	keys  map[knownID]knownKey
	noted map[knownID]time.Time // when a use was last on its way to the store
}

type knownID struct {
	tenant Tenant
	id     ID
}

type knownKey struct {
	key Key
	at  time.Time
}

func newKnown() *known {
	return &known{keys: map[knownID]knownKey{}, noted: map[knownID]time.Time{}}
}

func (n *known) get(t Tenant, id ID, now time.Time) (Key, bool) {
	n.mu.Lock()
	defer n.mu.Unlock()
	k, ok := n.keys[knownID{t, id}]
	if !ok || now.Sub(k.at) >= knownFor || now.Before(k.at) {
		return Key{}, false
	}
	return k.key, true
}

// put keeps what was read at a time before the reading began.
func (n *known) put(t Tenant, id ID, k Key, at time.Time) {
	n.mu.Lock()
	defer n.mu.Unlock()
	if len(n.keys) >= knownMost {
		clear(n.keys)
	}
	n.keys[knownID{t, id}] = knownKey{k, at}
}

func (n *known) forget(t Tenant, id ID) {
	n.mu.Lock()
	defer n.mu.Unlock()
	delete(n.keys, knownID{t, id})
}

// due says whether a use is to be noted now; then it counts as noted.
func (n *known) due(t Tenant, id ID, now time.Time) bool {
	n.mu.Lock()
	defer n.mu.Unlock()
	at := knownID{t, id}
	if last, ok := n.noted[at]; ok && now.Sub(last) < usedEvery {
		return false
	}
	if len(n.noted) >= knownMost {
		clear(n.noted)
	}
	n.noted[at] = now
	return true
}

// touch notes that a key was used, about once an hour. A failure is no failure of the
// call: the next hour comes.
func (a *Access) touch(ctx context.Context, t Tenant, k *Key, now time.Time) {
	if k.Used != 0 && now.Sub(k.Used.Time()) < usedEvery || !a.known.due(t, k.ID, now) {
		return
	}
	ctx, id := context.WithoutCancel(ctx), k.ID
	go func() {
		ctx, cancel := context.WithTimeout(ctx, patience)
		defer cancel()
		_ = a.store.Update(ctx, t, func(tx Tx) error {
			k, err := tx.Keys().Get(id)
			if err != nil {
				return err
			}
			if k.Revoked != 0 || At(now) <= k.Used {
				return fault.New(fault.Stale, ReasonStale, "", "nothing to note")
			}
			k.Used = At(now)
			_, err = tx.Keys().Update(k)
			return err
		})
	}()
}
