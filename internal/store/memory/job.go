package memory

import (
	"bytes"
	"cmp"
	"slices"

	"github.com/phasewright/phasewright/internal/service"
)

type chunkKey struct {
	job    service.ID
	number int64
}

type itemKey struct {
	job   service.ID
	place int64
}

func (x *tx) Enqueue(c service.Chunk, items []service.Item) error {
	if x.view {
		return service.ReadOnly()
	}
	if err := c.Check(items); err != nil {
		return err
	}
	if _, err := x.Jobs().Get(c.Job); err != nil {
		return err
	}
	if _, ok := x.d.chunks[chunkKey{c.Job, c.Number}]; ok {
		return service.IDTaken(service.KindChunk)
	}
	for i := range items {
		if _, ok := x.d.items[itemKey{c.Job, items[i].Place}]; ok {
			return service.IDTaken(service.KindItem)
		}
	}
	put(x, x.d.chunks, chunkKey{c.Job, c.Number}, service.Chunk{Job: c.Job, Number: c.Number, First: c.First, Size: c.Size, Next: c.First, Open: true})
	for _, i := range items {
		i.Program, i.Result = service.ID{}, nil
		put(x, x.d.items, itemKey{i.Job, i.Place}, i.Apart())
	}
	return nil
}

func (x *tx) Claim(owner service.ID, until service.Instant) (service.Chunk, bool, error) {
	if x.view {
		return service.Chunk{}, false, service.ReadOnly()
	}
	var first service.Chunk
	found := false
	for _, c := range x.d.chunks {
		if c.Open && c.Lease <= x.now && (!found || before(&c, &first)) {
			first, found = c, true
		}
	}
	if !found {
		return service.Chunk{}, false, nil
	}
	first.Owner, first.Lease = owner, until
	return first, true, x.SetChunk(first)
}

func before(a, b *service.Chunk) bool {
	return cmp.Or(bytes.Compare(a.Job[:], b.Job[:]), cmp.Compare(a.Number, b.Number)) < 0
}

func (x *tx) Chunk(job service.ID, number int64) (service.Chunk, error) {
	c, ok := x.d.chunks[chunkKey{job, number}]
	if !ok {
		return service.Chunk{}, service.Unknown(service.KindChunk)
	}
	return c, nil
}

func (x *tx) SetChunk(c service.Chunk) error {
	if x.view {
		return service.ReadOnly()
	}
	old, err := x.Chunk(c.Job, c.Number)
	if err != nil {
		return err
	}
	c.First, c.Size = old.First, old.Size
	put(x, x.d.chunks, chunkKey{c.Job, c.Number}, c)
	return nil
}

func (x *tx) Halt(job service.ID) error {
	if x.view {
		return service.ReadOnly()
	}
	for k, c := range x.d.chunks {
		if k.job == job && c.Open {
			c.Open = false
			put(x, x.d.chunks, k, c)
		}
	}
	return nil
}

func (x *tx) Pending(job service.ID) (bool, error) {
	for k, c := range x.d.chunks {
		if k.job == job && c.Open {
			return true, nil
		}
	}
	return false, nil
}

func (x *tx) Tally(job service.ID) (service.Tally, error) {
	var t service.Tally
	for k, c := range x.d.chunks {
		if k.job != job {
			continue
		}
		t.Items, t.Dealt, t.Made, t.Failed = t.Items+c.Size, t.Dealt+c.Next-c.First, t.Made+c.Made, t.Failed+c.Failed
		if c.Open {
			t.Open++
		}
	}
	return t, nil
}

func (x *tx) Items(job service.ID, after int64, size int, finished bool) ([]service.Item, error) {
	if err := service.CheckSize(size); err != nil {
		return nil, err
	}
	end := int64(0)
	for k, c := range x.d.chunks {
		if k.job == job {
			end = max(end, c.First+c.Size)
		}
	}
	var out []service.Item
	for place := max(0, after+1); place < end && len(out) < size; place++ {
		if i, ok := x.d.items[itemKey{job, place}]; ok && !(finished && i.State == service.ItemWaiting) {
			out = append(out, i.Apart())
		}
	}
	return out, nil
}

func (x *tx) Finish(i service.Item) error {
	if x.view {
		return service.ReadOnly()
	}
	now, ok := x.d.items[itemKey{i.Job, i.Place}]
	switch {
	case !ok:
		return service.Unknown(service.KindItem)
	case now.State != service.ItemWaiting:
		return service.Finished()
	}
	now.State, now.Program, now.Result = i.State, i.Program, i.Result
	put(x, x.d.items, itemKey{i.Job, i.Place}, now.Apart())
	return nil
}

func (x *tx) giveItems(athlete service.ID, each func(any) error) error {
	var all []service.Item
	for _, i := range x.d.items {
		if i.Athlete == athlete {
			all = append(all, i.Apart())
		}
	}
	slices.SortFunc(all, func(a, b service.Item) int {
		return cmp.Or(bytes.Compare(a.Job[:], b.Job[:]), cmp.Compare(a.Place, b.Place))
	})
	for _, i := range all {
		if err := each(i); err != nil {
			return err
		}
	}
	return nil
}

func (x *tx) ClearJobs(size int) (int, error) {
	if x.view {
		return 0, service.ReadOnly()
	}
	if err := service.CheckSize(size); err != nil {
		return 0, err
	}
	n := 0
	for _, id := range sorted(x.d.rows[service.KindJob]) {
		if x.d.rows[service.KindJob][id].head.Deleted == 0 {
			continue
		}
		var items []itemKey
		for k := range x.d.items {
			if k.job == id {
				items = append(items, k)
			}
		}
		slices.SortFunc(items, func(a, b itemKey) int { return cmp.Compare(a.place, b.place) })
		for _, k := range items[:min(len(items), size-n)] {
			drop(x, x.d.items, k)
			n++
		}
		var chunks []chunkKey
		for k := range x.d.chunks {
			if k.job == id {
				chunks = append(chunks, k)
			}
		}
		slices.SortFunc(chunks, func(a, b chunkKey) int { return cmp.Compare(a.number, b.number) })
		for _, k := range chunks[:min(len(chunks), size-n)] {
			drop(x, x.d.chunks, k)
			n++
		}
		if n == size {
			break
		}
		drop(x, x.d.rows[service.KindJob], id)
		if n++; n == size {
			break
		}
	}
	return n, nil
}
