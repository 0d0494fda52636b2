package store

import (
	"context"
	"time"
)

// Sessions keeps the sessions of the server in the store, so that they survive a restart and
// end at once when they must. The token given is hashed already.
type Sessions struct{ s *Store }

// Sessions returns the keeper of sessions.
func (s *Store) Sessions() Sessions { return Sessions{s} }

// Find returns a session's data, or false when there is none or it has run out.
func (k Sessions) Find(token string) ([]byte, bool, error) {
	return k.FindCtx(context.Background(), token)
}

// FindCtx is Find under a context.
func (k Sessions) FindCtx(ctx context.Context, token string) ([]byte, bool, error) {
	var row struct{ Data []byte }
	r := k.s.read.WithContext(ctx).Raw("SELECT data FROM sessions WHERE token = ? AND expiry_at > ?", token, At(k.s.clock())).Scan(&row)
	return row.Data, r.RowsAffected > 0, r.Error
}

// Commit saves a session.
func (k Sessions) Commit(token string, b []byte, expiry time.Time) error {
	return k.CommitCtx(context.Background(), token, b, expiry)
}

// CommitCtx is Commit under a context.
func (k Sessions) CommitCtx(ctx context.Context, token string, b []byte, expiry time.Time) error {
	return k.s.book(ctx, func(tx *Tx) error {
		return tx.exec(`INSERT INTO sessions (token, data, expiry_at) VALUES (?,?,?)
			ON CONFLICT (token) DO UPDATE SET data = excluded.data, expiry_at = excluded.expiry_at`, token, b, At(expiry))
	})
}

// Delete ends a session.
func (k Sessions) Delete(token string) error { return k.DeleteCtx(context.Background(), token) }

// DeleteCtx is Delete under a context. Sessions that ran out go with it.
func (k Sessions) DeleteCtx(ctx context.Context, token string) error {
	return k.s.book(ctx, func(tx *Tx) error {
		return tx.exec("DELETE FROM sessions WHERE token = ? OR expiry_at <= ?", token, tx.now)
	})
}
