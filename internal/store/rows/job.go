package rows

import (
	"github.com/phasewright/phasewright/internal/service"
)

func (x *Tx) Jobs() service.Shelf[service.Job] { return newShelf[service.Job](x) }

func (x *Tx) Enqueue(c service.Chunk, items []service.Item) error {
	if err := x.writes(); err != nil {
		return err
	}
	if err := c.Check(items); err != nil {
		return err
	}
	if _, err := x.Jobs().Get(c.Job); err != nil {
		return err
	}
	if err := x.fresh("chunk", service.KindChunk, []column{
		{"tenant", x.tenant}, {"job", c.Job}, {"number", c.Number}, {"first", c.First}, {"size", c.Size}, {"next", c.First},
		{"made", int64(0)}, {"failed", int64(0)}, {"open", int64(1)}, {"owner", service.ID{}}, {"lease", int64(0)},
	}); err != nil {
		return err
	}
	for i := range items {
		asked := pack(items[i].Asked)
		if err := x.fresh("item", service.KindItem, []column{
			{"tenant", x.tenant}, {"job", c.Job}, {"place", items[i].Place}, {"athlete", items[i].Athlete}, {"state", int64(service.ItemWaiting)},
			{"program", service.ID{}}, {"asked", asked}, {"result", []byte{}},
		}); err != nil {
			return err
		}
	}
	// The row is written in any case, so that a Claim that is about to take it away clashes.
	q := x.insert("working", []column{{"id", x.tenant}, {"since", int64(x.now)}})
	_, err := x.exec(q.add(" WHERE true ON CONFLICT (id) DO UPDATE SET since = excluded.since"))
	return err
}

// fresh inserts a row whose key must be free.
func (x *Tx) fresh(table string, k service.Kind, all []column) error {
	n, err := x.exec(x.insert(table, all).add(" WHERE true ON CONFLICT DO NOTHING"))
	if err == nil && n == 0 {
		err = service.IDTaken(k)
	}
	return err
}

const chunkColumns = "job, number, first, size, next, made, failed, open, owner, lease"

func (x *Tx) chunk(q *statement) (c service.Chunk, ok bool, err error) {
	err = x.query(q, func(scan func(...any) error) error {
		var open, lease int64
		err := scan(&c.Job, &c.Number, &c.First, &c.Size, &c.Next, &c.Made, &c.Failed, &open, &c.Owner, &lease)
		c.Open, c.Lease, ok = open == 1, service.Instant(lease), err == nil
		return err
	})
	return c, ok, err
}

func (x *Tx) Claim(owner service.ID, until service.Instant) (service.Chunk, bool, error) {
	if err := x.writes(); err != nil {
		return service.Chunk{}, false, err
	}
	q := x.statement("SELECT ", chunkColumns, " FROM chunk").where(x.tenant).add(" AND open = 1").and("lease <= ", int64(x.now))
	c, ok, err := x.chunk(q.add(" ORDER BY job, number LIMIT 1", x.d.Skip))
	if err != nil {
		return service.Chunk{}, false, err
	}
	if !ok {
		return service.Chunk{}, false, x.idle()
	}
	c.Owner, c.Lease = owner, until
	return c, true, x.SetChunk(c)
}

// idle takes a tenant without open chunks out of the list of those that have some.
func (x *Tx) idle() error {
	open, err := x.exists(x.statement("SELECT 1 FROM chunk").where(x.tenant).add(" AND open = 1 LIMIT 1"))
	if err != nil || open {
		return err
	}
	_, err = x.exec(x.statement("DELETE FROM working WHERE id = ").arg(x.tenant))
	return err
}

func (x *Tx) Chunk(job service.ID, number int64) (service.Chunk, error) {
	c, ok, err := x.chunk(x.statement("SELECT ", chunkColumns, " FROM chunk").where(x.tenant).and("job = ", job).and("number = ", number))
	if err == nil && !ok {
		err = service.Unknown(service.KindChunk)
	}
	return c, err
}

func (x *Tx) SetChunk(c service.Chunk) error {
	if err := x.writes(); err != nil {
		return err
	}
	open := int64(0)
	if c.Open {
		open = 1
	}
	q := x.statement("UPDATE chunk SET next = ").arg(c.Next).add(", made = ").arg(c.Made).add(", failed = ").arg(c.Failed)
	q.add(", open = ").arg(open).add(", owner = ").arg(c.Owner).add(", lease = ").arg(int64(c.Lease))
	n, err := x.exec(q.where(x.tenant).and("job = ", c.Job).and("number = ", c.Number))
	if err == nil && n == 0 {
		err = service.Unknown(service.KindChunk)
	}
	return err
}

func (x *Tx) Halt(job service.ID) error {
	if err := x.writes(); err != nil {
		return err
	}
	_, err := x.exec(x.statement("UPDATE chunk SET open = 0").where(x.tenant).and("job = ", job).add(" AND open = 1"))
	return err
}

func (x *Tx) Pending(job service.ID) (bool, error) {
	return x.exists(x.statement("SELECT 1 FROM chunk").where(x.tenant).and("job = ", job).add(" AND open = 1 LIMIT 1"))
}

func (x *Tx) Tally(job service.ID) (t service.Tally, err error) {
	sum := func(what string) string { return "CAST(COALESCE(SUM(" + what + "), 0) AS bigint)" }
	q := x.statement("SELECT ", sum("size"), ", ", sum("next - first"), ", ", sum("made"), ", ", sum("failed"), ", ", sum("open"), " FROM chunk")
	err = x.query(q.where(x.tenant).and("job = ", job), func(scan func(...any) error) error {
		return scan(&t.Items, &t.Dealt, &t.Made, &t.Failed, &t.Open)
	})
	return t, err
}

const itemColumns = "job, place, athlete, state, program, asked, result"

func (x *Tx) items(q *statement) ([]service.Item, error) {
	var out []service.Item
	err := x.query(q, func(scan func(...any) error) error {
		var i service.Item
		var state int64
		var asked, result []byte
		if err := scan(&i.Job, &i.Place, &i.Athlete, &state, &i.Program, &asked, &result); err != nil {
			return err
		}
		i.State = service.ItemState(state)
		var err error
		if i.Asked, err = unpack(asked); err != nil {
			return err
		}
		i.Result, err = unpack(result)
		out = append(out, i)
		return err
	})
	return out, err
}

func (x *Tx) Items(job service.ID, after int64, size int, finished bool) ([]service.Item, error) {
	if err := service.CheckSize(size); err != nil {
		return nil, err
	}
	q := x.statement("SELECT ", itemColumns, " FROM item").where(x.tenant).and("job = ", job).and("place > ", after)
	if finished {
		q.add(" AND state > 0")
	}
	return x.items(q.add(" ORDER BY place LIMIT ").arg(int64(size)))
}

func (x *Tx) Finish(i service.Item) error {
	if err := x.writes(); err != nil {
		return err
	}
	result := pack(i.Result)
	q := x.statement("UPDATE item SET state = ").arg(int64(i.State)).add(", program = ").arg(i.Program).add(", result = ").arg(result)
	n, err := x.exec(q.where(x.tenant).and("job = ", i.Job).and("place = ", i.Place).add(" AND state = 0"))
	if err != nil || n > 0 {
		return err
	}
	there, err := x.exists(x.statement("SELECT 1 FROM item").where(x.tenant).and("job = ", i.Job).and("place = ", i.Place))
	switch {
	case err != nil:
		return err
	case there:
		return service.Finished()
	}
	return service.Unknown(service.KindItem)
}

func (x *Tx) ClearJobs(size int) (int, error) {
	if err := x.writes(); err != nil {
		return 0, err
	}
	if err := service.CheckSize(size); err != nil {
		return 0, err
	}
	for n := 0; ; {
		job, ok, err := x.deletedJob()
		if err != nil || !ok {
			return n, err
		}
		for _, t := range [...]struct{ name, key string }{{"item", "place"}, {"chunk", "number"}} {
			done, err := x.clear(t.name, t.key, job, size-n)
			if n += done; err != nil || n == size {
				return n, err
			}
		}
		if _, err := x.exec(x.statement("DELETE FROM job").where(x.tenant).and("id = ", job)); err != nil {
			return n, err
		}
		if n++; n == size {
			return n, nil
		}
	}
}

// deletedJob gives the first that nobody else is clearing away.
func (x *Tx) deletedJob() (id service.ID, ok bool, err error) {
	q := x.statement("SELECT id FROM job").where(x.tenant).add(" AND deleted > 0 ORDER BY id LIMIT 1", x.d.Skip)
	err = x.query(q, func(scan func(...any) error) error { ok = true; return scan(&id) })
	return id, ok, err
}

// clear deletes the first so many of a job's rows in a table.
func (x *Tx) clear(table, key string, job service.ID, size int) (int, error) {
	q := x.statement("DELETE FROM ", table).where(x.tenant).and("job = ", job).add(" AND ", key, " IN (SELECT ", key, " FROM ", table)
	n, err := x.exec(q.where(x.tenant).and("job = ", job).add(" ORDER BY ", key, " LIMIT ").arg(int64(size)).add(")"))
	return int(n), err
}

func giveItems(x *Tx, athlete service.ID, each func(any) error) error {
	all, err := x.items(x.statement("SELECT ", itemColumns, " FROM item").where(x.tenant).and("athlete = ", athlete).add(" ORDER BY job, place"))
	return orElse(err, hand(all, each))
}

// pack makes documents of the service's own small; none stay none.
func pack(b []byte) []byte {
	if len(b) == 0 {
		return []byte{}
	}
	e, _ := packing()
	return e.EncodeAll(b, make([]byte, 0, len(b)/8))
}

func unpack(b []byte) ([]byte, error) {
	if len(b) == 0 {
		return nil, nil
	}
	_, d := packing()
	out, err := d.DecodeAll(b, nil)
	if err != nil {
		return nil, broken(err)
	}
	return out, nil
}
