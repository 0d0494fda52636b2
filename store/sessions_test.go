package store

import (
	"errors"
	"testing"
	"time"
)

// session makes a saved session of a person.
func (s *shop) session(token string, p PersonID, d DeviceID) {
	s.t.Helper()
	k := s.Sessions()
	s.must(k.CommitCtx(ctx, token, []byte("x"), s.Now().Add(12*time.Hour)))
	s.must(k.Begin(ctx, token, p, d, "window"))
}

func TestSessions(t *testing.T) {
	engines(t, func(t *testing.T, s *shop) {
		k := s.Sessions()
		s.session("one", s.gate.ID, 0)
		s.session("two", s.gate.ID, 0)
		s.session("other", s.boss.ID, 0)
		mine, err := s.LogIns(ctx, s.gate.ID)
		if err != nil || len(mine) != 2 {
			t.Fatalf("%d sessions of one person, %v; want 2", len(mine), err)
		}
		if b, ok, err := k.FindCtx(ctx, "one"); err != nil || !ok || string(b) != "x" {
			t.Errorf("the session is found as %q, %v, %v", b, ok, err)
		}
		theirs, err := s.LogIns(ctx, s.boss.ID)
		s.must(err)
		if err := s.EndLogIn(ctx, s.gate.ID, theirs[0].Code); !errors.Is(err, ErrNotFound) {
			t.Errorf("another person's session is closed: %v", err)
		}
		s.must(s.EndLogIn(ctx, s.gate.ID, mine[0].Code))
		left := 0
		for _, token := range []string{"one", "two"} {
			if _, _, err := k.Who(ctx, token); err == nil {
				left++
			}
		}
		if left != 1 {
			t.Errorf("%d of two sessions are left after one was closed", left)
		}
		s.must(s.Leave(ctx, s.admin.ID, s.boss.ID))
		if _, _, err := k.Who(ctx, "other"); !errors.Is(err, ErrNotFound) {
			t.Errorf("the session of one who has left: %v", err)
		}
	})
}

// A shared computer locks when it is left alone; a session elsewhere does not.
func TestLock(t *testing.T) {
	engines(t, func(t *testing.T, s *shop) {
		k := s.Sessions()
		p, badge, err := s.AddPerson(ctx, 0, PersonIn{Login: "una", Name: "Una", Role: Attendant, PIN: "482915"})
		s.must(err)
		_, foreign, err := s.AddPerson(ctx, 0, PersonIn{Login: "ulf", Name: "Ulf", Role: Attendant, PIN: "730184"})
		s.must(err)
		if _, _, err := s.AddDevice(ctx, s.gate.ID, "window"); !errors.Is(err, ErrForbidden) {
			t.Errorf("an attendant registers a computer: %v", err)
		}
		d, secret, err := s.AddDevice(ctx, s.admin.ID, "window")
		s.must(err)
		if _, _, err := s.AddDevice(ctx, s.admin.ID, "window"); !errors.Is(err, ErrExists) {
			t.Errorf("two computers of one name: %v", err)
		}
		if got, err := s.DeviceBySecret(ctx, secret); err != nil || got.ID != d.ID || got.Name != "window" {
			t.Errorf("the computer is found as %+v, %v", got, err)
		}
		s.session("shared", p.ID, d.ID)
		s.session("own", p.ID, 0)
		locked := func(token string) bool {
			t.Helper()
			l, _, err := k.Who(ctx, token)
			s.must(err)
			return !l.LockedAt.IsZero()
		}
		for range 5 { // somebody is there
			s.clock.step(90 * time.Second)
			if locked("shared") {
				t.Fatal("locks although somebody is there")
			}
		}
		s.clock.step(LockAfter + time.Second)
		if !locked("shared") || locked("own") {
			t.Errorf("left alone: shared %v, own %v; want true, false", locked("shared"), locked("own"))
		}
		for _, given := range []string{"", "730184", foreign, "111111"} {
			if err := k.Unlock(ctx, "shared", p, given, "window"); !errors.Is(err, ErrLogin) {
				t.Errorf("unlocked with %q: %v", given, err)
			}
		}
		if !locked("shared") {
			t.Error("a wrong try unlocks")
		}
		s.must(k.Unlock(ctx, "shared", p, badge, "window"))
		if locked("shared") {
			t.Error("the person's own badge does not unlock")
		}
		s.must(k.Lock(ctx, "shared"))
		s.must(k.Unlock(ctx, "shared", p, "482915", "window"))
		if locked("shared") {
			t.Error("the person's PIN does not unlock")
		}
		s.must(s.EndDevice(ctx, s.admin.ID, d.ID))
		if _, _, err := k.Who(ctx, "shared"); !errors.Is(err, ErrNotFound) {
			t.Errorf("the session on a computer that is no longer registered: %v", err)
		}
		if _, err := s.DeviceBySecret(ctx, secret); !errors.Is(err, ErrNotFound) {
			t.Errorf("its secret: %v", err)
		}
	})
}
