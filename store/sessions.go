package store

import (
	"context"
	"crypto/rand"
	"crypto/sha256"
	"encoding/base64"
	"fmt"
	"strings"
	"time"

	"github.com/alexedwards/argon2id"
)

// Sessions keeps the sessions of the server in the store, so that they survive a restart and
// end at once when they must. A token is kept as its hash only.
type Sessions struct{ s *Store }

// Sessions returns the keeper of sessions.
func (s *Store) Sessions() Sessions { return Sessions{s} }

func sessionHash(token string) string {
	sum := sha256.Sum256([]byte(token))
	return base64.RawURLEncoding.EncodeToString(sum[:])
}

// Find returns a session's data, or false when there is none or it has run out.
func (k Sessions) Find(token string) ([]byte, bool, error) {
	return k.FindCtx(context.Background(), token)
}

// FindCtx is Find under a context.
func (k Sessions) FindCtx(ctx context.Context, token string) ([]byte, bool, error) {
	var row struct{ Data []byte }
	r := k.s.read.WithContext(ctx).Raw("SELECT data FROM sessions WHERE token = ? AND expiry_at > ?", sessionHash(token), At(k.s.clock())).Scan(&row)
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
			ON CONFLICT (token) DO UPDATE SET data = excluded.data, expiry_at = excluded.expiry_at`, sessionHash(token), b, At(expiry))
	})
}

// Delete ends a session.
func (k Sessions) Delete(token string) error { return k.DeleteCtx(context.Background(), token) }

// DeleteCtx is Delete under a context. Sessions that ran out go with it.
func (k Sessions) DeleteCtx(ctx context.Context, token string) error {
	return k.s.book(ctx, func(tx *Tx) error {
		return tx.exec("DELETE FROM sessions WHERE token = ? OR expiry_at <= ?", sessionHash(token), tx.now)
	})
}

// LockAfter is how long a shared computer may be left alone before its session locks.
const LockAfter = 2 * time.Minute

// seenEvery is how often it is written down that somebody is there: a write on each request
// would wait for the disk each time.
const seenEvery = 20 * time.Second

// A LogIn is one open session: whose, where, since when.
type LogIn struct {
	Code     string // to name it by; no key to it
	PersonID PersonID
	DeviceID DeviceID
	Place    string // name of the device, or the address it came from
	BegunAt  Time
	SeenAt   Time
	LockedAt Time
	ExpiryAt Time
}

// Shared says whether it is on a computer that several people use.
func (l LogIn) Shared() bool { return l.DeviceID != 0 }

// Begin says whose the session of that token is, and on which device, 0 for none that is
// registered. The session must have been saved.
func (k Sessions) Begin(ctx context.Context, token string, p PersonID, d DeviceID, place string) error {
	return k.s.book(ctx, func(tx *Tx) error {
		return tx.must(refuse(ErrNotFound, "session", "that session has ended"),
			"UPDATE sessions SET code = ?, person_id = ?, device_id = ?, place = ?, begun_at = ?, seen_at = ?, locked_at = NULL WHERE token = ?",
			strings.ToLower(rand.Text()[:16]), p, null(int64(d)), place, tx.now, tx.now, sessionHash(token))
	})
}

// Who reads the session of that token with its person. On a shared computer it keeps in mind
// that somebody is there, and finds the session locked when nobody was for LockAfter.
func (k Sessions) Who(ctx context.Context, token string) (LogIn, Person, error) {
	var l LogIn
	hash := sessionHash(token)
	r := k.s.read.WithContext(ctx).Raw(`SELECT code, person_id, coalesce(device_id, 0) AS device_id, place, begun_at, seen_at, locked_at, expiry_at
		FROM sessions WHERE token = ? AND person_id IS NOT NULL`, hash).Scan(&l)
	if r.Error != nil {
		return l, Person{}, r.Error
	}
	if r.RowsAffected == 0 {
		return l, Person{}, refuse(ErrNotFound, "session", "that session has ended")
	}
	p, err := k.s.Person(ctx, l.PersonID)
	if err != nil || !l.Shared() || !l.LockedAt.IsZero() {
		return l, p, err
	}
	switch idle := k.s.Now().Sub(l.SeenAt.Time); {
	case idle > LockAfter:
		l.LockedAt = At(k.s.Now())
		err = k.Lock(ctx, token)
	case idle > seenEvery:
		err = k.s.book(ctx, func(tx *Tx) error { return tx.exec("UPDATE sessions SET seen_at = ? WHERE token = ?", tx.now, hash) })
	}
	return l, p, err
}

// Lock locks a session until its person gives something only he has.
func (k Sessions) Lock(ctx context.Context, token string) error {
	return k.s.book(ctx, func(tx *Tx) error {
		return tx.exec("UPDATE sessions SET locked_at = ? WHERE token = ? AND locked_at IS NULL", tx.now, sessionHash(token))
	})
}

// Unlock opens a locked session for its own person, who gives his badge, his PIN or his
// password. Wrong tries count as wrong log-ins do: ErrLogin, then ErrSlowDown.
func (k Sessions) Unlock(ctx context.Context, token string, p Person, given, device string) error {
	given = strings.TrimSpace(given)
	key := fmt.Sprint("person ", p.ID)
	if err := k.s.mayTry(ctx, key, device); err != nil {
		return err
	}
	good := false
	if IsBadge(given) {
		owner, err := k.s.PersonByBadge(ctx, given)
		good = err == nil && owner.ID == p.ID
	} else {
		hash, text := p.PasswordHash, given
		if hash == "" || len(given) == 6 {
			hash, text = p.PinHash, k.s.mac("pin", given)
		}
		if hash == "" {
			hash = noHash
		}
		match, err := argon2id.ComparePasswordAndHash(text, hash)
		good = match && err == nil && hash != noHash
	}
	err := k.s.book(ctx, func(tx *Tx) error {
		if err := tx.exec("INSERT INTO login_tries (who, device, good, at) VALUES (?,?,?,?)", key, device, good, tx.now); err != nil || !good {
			return err
		}
		return tx.exec("UPDATE sessions SET locked_at = NULL, seen_at = ? WHERE token = ?", tx.now, sessionHash(token))
	})
	if err == nil && !good {
		err = refuse(ErrLogin, "given", "that is not the badge, PIN or password of %s", p.Name)
	}
	return err
}

// LogIns lists the open sessions of a person, the newest first.
func (s *Store) LogIns(ctx context.Context, p PersonID) ([]LogIn, error) {
	var out []LogIn
	return out, s.read.WithContext(ctx).Raw(`SELECT code, person_id, coalesce(device_id, 0) AS device_id, place, begun_at, seen_at, locked_at, expiry_at
		FROM sessions WHERE person_id = ? AND expiry_at > ? ORDER BY begun_at DESC, code LIMIT 100`, p, At(s.Now())).Scan(&out).Error
}

// EndLogIn closes one of a person's own sessions.
func (s *Store) EndLogIn(ctx context.Context, p PersonID, code string) error {
	return s.book(ctx, func(tx *Tx) error {
		if err := tx.must(refuse(ErrNotFound, "session", "that session is closed already, or is not yours"),
			"DELETE FROM sessions WHERE code = ? AND person_id = ?", code, p); err != nil {
			return err
		}
		return tx.note(p, "session closed", code, "")
	})
}

// A DeviceID is the number of a shared computer.
type DeviceID int64

// A Device is a computer that several people use, as the one at the window.
type Device struct {
	ID        DeviceID
	Name      string
	MadeBy    PersonID
	CreatedAt Time
	EndedAt   Time
}

// AddDevice registers a shared computer by a name that stands in the ledger from then on, and
// returns the secret its browser keeps. An admin's act.
func (s *Store) AddDevice(ctx context.Context, actor PersonID, name string) (Device, string, error) {
	name, err := printable("name", name, 40)
	if err != nil {
		return Device{}, "", err
	}
	secret := strings.ToLower(rand.Text() + rand.Text())
	d := Device{Name: name, MadeBy: actor}
	err = s.book(ctx, func(tx *Tx) error {
		if err := tx.admin(actor); err != nil {
			return err
		}
		d.ID, d.CreatedAt = 0, tx.now
		row := struct {
			Device
			Hash string
		}{d, s.mac("device", secret)}
		if err := tx.Table("devices").Create(&row).Error; err != nil {
			return duplicate(err, "name", "a device called %s", name)
		}
		d.ID = row.ID
		return tx.note(actor, "device registered", name, "")
	})
	return d, secret, err
}

func (tx *Tx) admin(actor PersonID) error {
	role, err := tx.roleOf(actor)
	if err == nil && role != Admin {
		err = refuse(ErrForbidden, "act", "%s may not look after devices; ask an admin", role.withArticle())
	}
	return err
}

// Devices lists the registered devices by name.
func (s *Store) Devices(ctx context.Context) ([]Device, error) {
	var out []Device
	return out, s.read.WithContext(ctx).Raw("SELECT id, name, made_by, created_at, ended_at FROM devices WHERE ended_at IS NULL ORDER BY name, id LIMIT 500").Scan(&out).Error
}

// DeviceBySecret finds the device whose browser keeps that secret; ErrNotFound when there is
// none, or it is no longer registered.
func (s *Store) DeviceBySecret(ctx context.Context, secret string) (Device, error) {
	var d Device
	r := s.read.WithContext(ctx).Raw("SELECT id, name, made_by, created_at, ended_at FROM devices WHERE hash = ? AND ended_at IS NULL", s.mac("device", secret)).Scan(&d)
	if r.Error == nil && r.RowsAffected == 0 {
		return d, refuse(ErrNotFound, "device", "this computer is not registered")
	}
	return d, r.Error
}

// EndDevice ends a registration; the sessions on that computer end at once. An admin's act.
func (s *Store) EndDevice(ctx context.Context, actor PersonID, id DeviceID) error {
	return s.book(ctx, func(tx *Tx) error {
		if err := tx.admin(actor); err != nil {
			return err
		}
		if err := tx.must(refuse(ErrNotFound, "device", "that device is not registered"), "UPDATE devices SET ended_at = ? WHERE id = ? AND ended_at IS NULL", tx.now, id); err != nil {
			return err
		}
		if err := tx.exec("DELETE FROM sessions WHERE device_id = ?", id); err != nil {
			return err
		}
		return tx.note(actor, "device no longer registered", fmt.Sprint(id), "")
	})
}
