package postgres

import (
	"context"

	"github.com/phasewright/phasewright/internal/store/rows"
)

// OpenUnfiltered opens a store whose statements have no condition on the tenant, so that
// row-level security alone keeps tenants apart; with bypass the role need not even be
// subject to that, and nothing does. It is for tests, also of other packages, and no
// program may use it: internal/lint looks.
func OpenUnfiltered(ctx context.Context, cfg Config, bypass bool) (*Store, error) {
	d := rows.Postgres()
	d.Unfiltered = true
	cfg.dialect, cfg.bypass = &d, bypass
	return Open(ctx, cfg)
}
