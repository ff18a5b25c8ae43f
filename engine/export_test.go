package engine

// Observed returns an engine that calls f after each stage.
func (e *Engine) Observed(f func(stage string)) *Engine {
	c := *e
	c.observe = f
	return &c
}
