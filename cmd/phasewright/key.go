package main

import (
	"context"
	"crypto/rand"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"github.com/phasewright/phasewright/internal/app"
	"github.com/phasewright/phasewright/internal/service"
)

// keeper manages keys: a server, or the data itself.
type keeper interface {
	CreateKey(context.Context, service.Order) (service.MadeKey, error)
	Keys(context.Context) ([]service.Key, error)
	RevokeKey(ctx context.Context, requestID string, id service.ID) (service.Key, error)
}

// local manages a tenant's keys without a server.
type local struct {
	*service.Access
	tenant service.Tenant
}

func (l local) CreateKey(ctx context.Context, o service.Order) (service.MadeKey, error) {
	return l.Found(ctx, l.tenant, o)
}

func (l local) Keys(ctx context.Context) ([]service.Key, error) {
	var out []service.Key
	q := service.Query{Size: service.MaxPage}
	for {
		page, err := l.Access.Keys(service.WithCaller(ctx, service.Open(l.tenant)), q)
		if err != nil {
			return nil, err
		}
		out = append(out, page.Items...)
		if q.After = page.Next; q.After == (service.Cursor{}) {
			return out, nil
		}
	}
}

func (l local) RevokeKey(ctx context.Context, requestID string, id service.ID) (service.Key, error) {
	ctx, finish, err := l.Follow(service.WithCaller(ctx, service.Open(l.tenant)), "key revoke")
	if err != nil {
		return service.Key{}, err
	}
	k, err := l.Access.RevokeKey(ctx, requestID, id)
	if err != nil {
		return k, err
	}
	return k, finish("", service.OutcomeOK)
}

func (p *program) key() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "key",
		Short: "Make, list and revoke the keys that open a server",
		Long: `Make, list and revoke API keys: in a data directory while no server runs, in PostgreSQL at any
time, or with --server over the API, which needs a key with the scope admin.

To replace a key without a break: make the new one, use it, revoke the old one.`,
	}
	cmd.AddCommand(p.keyCreate(), p.keyList(), p.keyRevoke())
	return cmd
}

// kept gives a command on keys what they are kept by.
func (p *program) kept(cmd *cobra.Command, run func(context.Context, keeper, []string) error) *cobra.Command {
	d := p.data(cmd)
	tenant := cmd.Flags().String("tenant", string(service.MainTenant), "whose keys; over the API those of the key that calls")
	p.served(cmd)
	cmd.RunE = p.do(func(cmd *cobra.Command, args []string) error {
		if p.server != "" {
			if d.given("tenant") {
				return wrong("--tenant: over the API it is the tenant of the key that calls")
			}
			m, err := p.maker()
			if err != nil {
				return err
			}
			k, ok := m.(keeper)
			if !ok {
				return wrong("--server: this one manages no keys")
			}
			return run(cmd.Context(), k, args)
		}
		data, err := d.read()
		if err != nil {
			return err
		}
		store, access, err := openAccess(cmd.Context(), data)
		if err != nil {
			return err
		}
		defer func() { _ = store.Close() }()
		return run(cmd.Context(), local{access, service.Tenant(*tenant)}, args)
	})
	return cmd
}

func openAccess(ctx context.Context, data app.Data) (service.Store, *service.Access, error) {
	store, pepper, err := data.Open(ctx)
	if err != nil {
		return nil, nil, err
	}
	return store, service.NewAccess(store, pepper, time.Now), nil
}

func (p *program) keyCreate() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "create",
		Short: "Make a key and print it, this once",
		Long:  "Make a key and print it, this once, on standard output; what else there is to say goes to standard error.",
		Example: `  phasewright key create --scopes read,write --name "front desk" --expires-in 2160h
  phasewright key create --tenant gym-north --scopes admin,read,write`,
		Args: cobra.NoArgs,
	}
	names := cmd.Flags().StringSlice("scopes", []string{"read", "write"}, "what the key may do: read, write, trial, admin, assess")
	name := cmd.Flags().String("name", "", "what people call it")
	expires := cmd.Flags().Duration("expires-in", 0, "how long it works; 0: until it is revoked")
	return p.kept(cmd, func(ctx context.Context, k keeper, _ []string) error {
		o := service.Order{RequestID: requestID(), Name: *name}
		for _, s := range *names {
			scope := service.Scope(strings.TrimSpace(s))
			if !slices.Contains(service.Scopes(), scope) {
				return wrong("--scopes: there is no %q; there are read, write, trial, admin, assess", s)
			}
			o.Scopes = append(o.Scopes, scope)
		}
		if *expires < 0 {
			return wrong("--expires-in: %s is past", *expires)
		}
		if *expires > 0 {
			o.Expires = service.At(p.now().Add(*expires))
		}
		made, err := k.CreateKey(ctx, o)
		if err != nil {
			return err
		}
		fmt.Fprintf(p.err, "made %s; the key is shown this once\n", service.KeyName(made.Key.ID))
		_, err = fmt.Fprintln(p.out, made.Secret)
		return err
	})
}

func (p *program) keyList() *cobra.Command {
	cmd := &cobra.Command{Use: "list", Short: "List keys, the oldest first", Args: cobra.NoArgs}
	return p.kept(cmd, func(ctx context.Context, k keeper, _ []string) error {
		all, err := k.Keys(ctx)
		if err != nil {
			return err
		}
		now := service.At(p.now())
		for _, k := range all {
			state := "live"
			switch {
			case k.Revoked != 0:
				state = "revoked " + day(k.Revoked)
			case k.Expires != 0 && k.Expires <= now:
				state = "expired " + day(k.Expires)
			case k.Expires != 0:
				state = "live until " + day(k.Expires)
			}
			used := "never used"
			if k.Used != 0 {
				used = "used " + day(k.Used)
			}
			if _, err := fmt.Fprintf(p.out, "%s  made %s, %s, %s  %s  %s\n", k.ID, day(k.Created), state, used, strings.Join(k.Scopes, ","), k.Name); err != nil {
				return err
			}
		}
		return nil
	})
}

func day(i service.Instant) string { return i.Time().Format(time.DateOnly) }

func (p *program) keyRevoke() *cobra.Command {
	cmd := &cobra.Command{Use: "revoke ID", Short: "Make a key useless, for good", Args: cobra.ExactArgs(1)}
	return p.kept(cmd, func(ctx context.Context, k keeper, args []string) error {
		id, err := service.ParseID(strings.TrimPrefix(args[0], "apiKeys/"))
		if err != nil {
			return wrong("%s; key list shows the ids", err)
		}
		if _, err := k.RevokeKey(ctx, requestID(), id); err != nil {
			return err
		}
		_, err = fmt.Fprintln(p.out, "revoked")
		return err
	})
}

// requestID makes a UUID of version 4.
func requestID() string {
	var id service.ID
	_, _ = rand.Read(id[:]) // never fails
	id[6], id[8] = id[6]&0x0f|0x40, id[8]&0x3f|0x80
	return id.String()
}
