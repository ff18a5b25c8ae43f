package schedule

import "context"

// meter counts work and looks at the context now and then.
type meter struct {
	ctx      context.Context
	used     int64
	limit    int64 // of the running stage
	canceled bool
}

const contextEvery = 1 << 10 // work between looks

func (m *meter) spend(n int64) {
	before := m.used
	m.used += n
	if before/contextEvery != m.used/contextEvery && m.ctx.Err() != nil {
		m.canceled = true
	}
}

// done reports that the running stage must end.
func (m *meter) done() bool { return m.canceled || m.used >= m.limit }
