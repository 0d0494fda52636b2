package store

import (
	"context"
	"crypto/hmac"
	"crypto/rand"
	"crypto/sha256"
	"encoding/base32"
	"encoding/hex"
	"errors"
	"fmt"
	"strings"
	"time"

	"github.com/alexedwards/argon2id"

	"brasspeg/store/ledger"
	"brasspeg/store/standard"
)

// A Person uses the program. The hashes never leave the store.
type Person struct {
	ID           PersonID
	Tag          *string
	Login        string
	Name         string
	Role         Role
	PlaceID      PlaceID // what is in this person's hands
	Phone        string
	BadgeHMAC    *string `gorm:"column:badge_hmac" json:"-"`
	PinHash      string  `json:"-"`
	PasswordHash string  `json:"-"`
	CreatedAt    Time
	LeftAt       Time
	Version      int
}

func (Person) TableName() string { return "people" }

// A PersonIn is a person to add, with what he logs in by. Empty: not this way.
type PersonIn struct {
	Login, Name, Phone string
	Role               Role
	PIN                string // 6 digits
	Password           string // 12 to 128 characters, managers and admins
	Badge              string // empty: a random one is made
}

// Badge text: W, 16 characters of base 32 (80 random bits), and the check character.
var badgeText = base32.NewEncoding("ABCDEFGHJKLMNPQRSTUVWXYZ23456789").WithPadding(base32.NoPadding)

// NewBadge makes the text of a badge: 80 random bits, never the personnel number.
func NewBadge() (string, error) {
	var b [10]byte
	rand.Read(b[:]) // never fails
	body := string(TagPerson) + badgeText.EncodeToString(b[:])
	check, err := standard.Mod37_36.Check(body)
	if err != nil {
		return "", err
	}
	return body + check, nil
}

// IsBadge says whether a text has the form of a badge with a right check character.
func IsBadge(text string) bool {
	text = strings.ToUpper(strings.TrimSpace(text))
	return len(text) == 18 && text[0] == TagPerson && standard.Mod37_36.Valid(text)
}

func (s *Store) mac(purpose, text string) string {
	h := hmac.New(sha256.New, s.secret)
	h.Write([]byte(purpose + "\x00" + text))
	return hex.EncodeToString(h.Sum(nil))
}

var passwordCost = &argon2id.Params{Memory: 19 * 1024, Iterations: 2, Parallelism: 1, SaltLength: 16, KeyLength: 32}

func (s *Store) hashPIN(pin string) (string, error) {
	if err := readPIN(pin); err != nil {
		return "", err
	}
	return argon2id.CreateHash(s.mac("pin", pin), passwordCost)
}

func hashPassword(password string) (string, error) {
	if err := readPassword(password); err != nil {
		return "", err
	}
	return argon2id.CreateHash(password, passwordCost)
}

// common passwords of 12 characters and more, from memory; a short list is better than none.
var common = map[string]bool{
	"password1234": true, "passwordpassword": true, "123456789012": true, "1234567890123": true, "qwertyuiop123": true, "qwertyuiopas": true,
	"administrator": true, "changemeplease": true, "letmeinletmein": true, "iloveyou1234": true, "welcome12345": true, "brasspegbrasspeg": true,
}

// AddPerson makes a person and returns the text for his badge, which is shown once: the
// store keeps only its HMAC.
func (s *Store) AddPerson(ctx context.Context, actor PersonID, in PersonIn) (p Person, badge string, err error) {
	if p, badge, err = s.newPerson(in); err != nil {
		return p, "", err
	}
	added := p
	err = s.book(ctx, func(tx *Tx) (err error) { added, err = tx.addPerson(actor, p); return err })
	return added, badge, err
}

// EnterPerson is AddPerson as an act of a form. What he logs in by is no part of what the act is
// known by: it would be kept.
func (s *Store) EnterPerson(ctx context.Context, o Op, in PersonIn) (Receipt, error) {
	p, _, no := s.newPerson(in)
	return s.op(ctx, o, ActShop, struct {
		Login, Name, Phone string
		Role               Role
	}{in.Login, in.Name, in.Phone, in.Role}, func(e *entry) error {
		if err := e.onlyAdmin(); err != nil {
			return err
		}
		if no != nil {
			return no
		}
		e.receipt.Says = p.Name + " is entered."
		_, err := e.addPerson(o.Actor, p)
		return err
	})
}

// newPerson is a person with the hashes of what he logs in by, not yet in the store.
func (s *Store) newPerson(in PersonIn) (p Person, badge string, err error) {
	if in.Login, err = printable("login", strings.ToLower(in.Login), 40); err != nil {
		return p, "", err
	}
	if in.Name, err = printable("name", in.Name, maxName); err != nil {
		return p, "", err
	}
	if !in.Role.Known() {
		return p, "", refuse(ErrBadInput, "role", "role %q is not known; it is operator, attendant, manager or admin", in.Role)
	}
	p = Person{Login: in.Login, Name: in.Name, Role: in.Role, Phone: in.Phone}
	if in.PIN != "" {
		if p.PinHash, err = s.hashPIN(in.PIN); err != nil {
			return p, "", err
		}
	}
	if in.Password != "" {
		if p.PasswordHash, err = hashPassword(in.Password); err != nil {
			return p, "", err
		}
	}
	if badge = in.Badge; badge == "" {
		if badge, err = NewBadge(); err != nil {
			return p, "", err
		}
	} else if !IsBadge(badge) {
		return p, "", refuse(ErrBadInput, "badge", "that is not the text of a badge")
	}
	mac := s.mac("badge", badge)
	p.BadgeHMAC = &mac
	return p, badge, nil
}

func (tx *Tx) addPerson(actor PersonID, p Person) (Person, error) {
	place, err := tx.addPlace(Place{Code: "WITH " + strings.ToUpper(p.Login), Name: p.Name, Kind: PersonAt})
	if errors.Is(err, ErrExists) { // of the place of his hands, which nobody asked for
		return p, refuse(ErrExists, "login", "login %s exists already", p.Login)
	}
	if err != nil {
		return p, err
	}
	p.PlaceID, p.CreatedAt = place.ID, tx.now
	if err := tx.Create(&p).Error; err != nil {
		return p, duplicate(err, "login", "login %s", p.Login)
	}
	return p, tx.note(actor, "person added", p.Login, string(p.Role))
}

// note writes an audit row. actor 0 is the person at the console.
func (tx *Tx) note(actor PersonID, what, ref, detail string) error {
	return tx.exec("INSERT INTO audit (at, actor_id, what, ref, detail) VALUES (?,?,?,?,?)", tx.now, actor, what, ref, detail)
}

// SetSecrets gives a person a new PIN, password or badge; empty fields stay as they are.
// badge "new" makes one, and its text is returned.
func (s *Store) SetSecrets(ctx context.Context, actor, id PersonID, pin, password, badge string) (string, error) {
	set := map[string]any{}
	if pin != "" {
		h, err := s.hashPIN(pin)
		if err != nil {
			return "", err
		}
		set["pin_hash"] = h
	}
	if password != "" {
		h, err := hashPassword(password)
		if err != nil {
			return "", err
		}
		set["password_hash"] = h
	}
	text := ""
	if badge == "new" {
		var err error
		if text, err = NewBadge(); err != nil {
			return "", err
		}
		set["badge_hmac"] = s.mac("badge", text)
	}
	if len(set) == 0 {
		return "", refuse(ErrBadInput, "", "nothing to change")
	}
	return text, s.book(ctx, func(tx *Tx) error {
		r := tx.Model(&Person{}).Where("id = ?", id).Updates(set)
		if r.Error != nil {
			return r.Error
		}
		if r.RowsAffected != 1 {
			return refuse(ErrNotFound, "person", "person %d is not known here", id)
		}
		return tx.note(actor, "secrets changed", fmt.Sprint(id), "")
	})
}

// Leave ends a person's rights at once: sessions and tokens stop working.
func (s *Store) Leave(ctx context.Context, actor, id PersonID) error {
	return s.book(ctx, func(tx *Tx) error { return tx.leave(actor, id) })
}

func (tx *Tx) leave(actor, id PersonID) error {
	if err := tx.must(refuse(ErrNotFound, "person", "person %d is not known here, or has left", id),
		"UPDATE people SET left_at = ?, badge_hmac = NULL WHERE id = ? AND left_at IS NULL", tx.now, id); err != nil {
		return err
	}
	delete(tx.roles, id)
	if err := tx.exec("UPDATE tokens SET revoked_at = ? WHERE person_id = ? AND revoked_at IS NULL", tx.now, id); err != nil {
		return err
	}
	return tx.note(actor, "person left", fmt.Sprint(id), "")
}

// People lists who works here, by name.
func (s *Store) People(ctx context.Context) ([]Person, error) {
	var out []Person
	return out, s.read.WithContext(ctx).Where("left_at IS NULL").Order("name, id").Find(&out).Error
}

// Person reads one who works here.
func (s *Store) Person(ctx context.Context, id PersonID) (Person, error) {
	return one[Person](s.read.WithContext(ctx), "person", id, "id = ? AND left_at IS NULL", id)
}

// PersonByLogin reads one who works here by login name.
func (s *Store) PersonByLogin(ctx context.Context, login string) (Person, error) {
	return one[Person](s.read.WithContext(ctx), "person", login, "login = ? AND left_at IS NULL", strings.ToLower(login))
}

// PersonByBadge says whose badge a text is. A badge alone logs nobody in.
func (s *Store) PersonByBadge(ctx context.Context, badge string) (Person, error) {
	if !IsBadge(badge) {
		return Person{}, refuse(ErrNotFound, "badge", "that is not a badge of this shop")
	}
	badge = strings.ToUpper(strings.TrimSpace(badge))
	var p Person
	r := s.read.WithContext(ctx).Where("badge_hmac = ? AND left_at IS NULL", s.mac("badge", badge)).Limit(1).Find(&p)
	if r.Error != nil {
		return p, r.Error
	}
	if r.RowsAffected == 0 {
		return p, refuse(ErrNotFound, "badge", "that badge belongs to nobody who works here")
	}
	return p, nil
}

func (tx *Tx) roleOf(id PersonID) (Role, error) {
	if r, ok := tx.roles[id]; ok {
		return r, nil
	}
	var role string
	ok, err := tx.find(sqlRole, []any{int64(id)}, &role)
	if err != nil {
		return "", err
	}
	if !ok {
		return "", refuse(ErrForbidden, "actor", "person %d does not work here", id)
	}
	if tx.roles == nil {
		tx.roles = map[PersonID]Role{}
	}
	tx.roles[id] = Role(role)
	return Role(role), nil
}

// Tries allowed, from the newest 15 minutes.
const (
	tryWindow      = 15 * time.Minute
	wrongPerson    = 5  // of one person on one device, then a wait that doubles
	wrongDevice    = 20 // a minute, of one device
	wrongPersonDay = 30 // of one person a day: then only devices he used before
)

// mayTry refuses a login that comes too soon after wrong ones. It survives a restart,
// because it is counted from the table.
func (s *Store) mayTry(ctx context.Context, who, device string) error {
	now := s.Now()
	db := s.read.WithContext(ctx)
	var recent []Time
	if err := db.Raw("SELECT at FROM login_tries WHERE who = ? AND device = ? AND good = ? AND at > ? ORDER BY at DESC LIMIT 20",
		who, device, false, At(now.Add(-tryWindow))).Scan(&recent).Error; err != nil {
		return err
	}
	if n := len(recent); n >= wrongPerson {
		wait := min(30*time.Second<<(n-wrongPerson), tryWindow)
		if left := recent[0].Add(wait).Sub(now); left > 0 {
			return refuse(ErrSlowDown, "", "too many wrong tries; wait %d seconds", int(left.Seconds())+1)
		}
	}
	var n int64
	if err := db.Raw("SELECT count(*) FROM login_tries WHERE device = ? AND good = ? AND at > ?", device, false, At(now.Add(-time.Minute))).Scan(&n).Error; err != nil {
		return err
	}
	if n >= wrongDevice {
		return refuse(ErrSlowDown, "", "too many wrong tries from this device; wait a minute")
	}
	if err := db.Raw("SELECT count(*) FROM login_tries WHERE who = ? AND good = ? AND at > ?", who, false, At(now.Add(-24*time.Hour))).Scan(&n).Error; err != nil {
		return err
	}
	if n >= wrongPersonDay {
		if err := db.Raw("SELECT count(*) FROM login_tries WHERE who = ? AND device = ? AND good = ?", who, device, true).Scan(&n).Error; err != nil {
			return err
		}
		if n == 0 {
			return refuse(ErrSlowDown, "", "too many wrong tries today; log in on a device you used before, or ask an admin")
		}
	}
	return nil
}

// Login checks what a person gave. who is a login name or the text of a badge, given is the
// password or the PIN. Every failure is the same ErrLogin, or ErrSlowDown.
func (s *Store) Login(ctx context.Context, who, given, device string) (Person, error) {
	who = strings.TrimSpace(who)
	key := strings.ToLower(who)
	var p Person
	var err error
	byBadge := IsBadge(who)
	if byBadge {
		key = s.mac("badge", strings.ToUpper(who))
		p, err = s.PersonByBadge(ctx, who)
	} else {
		p, err = s.PersonByLogin(ctx, who)
	}
	if err == nil {
		key = fmt.Sprint("person ", p.ID)
	}
	if e := s.mayTry(ctx, key, device); e != nil {
		return Person{}, e
	}
	hash, text := p.PasswordHash, given
	if byBadge || hash == "" || len(given) == 6 {
		hash, text = p.PinHash, s.mac("pin", given)
	}
	if hash == "" {
		hash = noHash // the work is done all the same, so that a wrong name takes as long
	}
	good, herr := argon2id.ComparePasswordAndHash(text, hash)
	good = good && err == nil && herr == nil && hash != noHash
	if e := s.book(ctx, func(tx *Tx) error {
		return tx.exec("INSERT INTO login_tries (who, device, good, at) VALUES (?,?,?,?)", key, device, good, tx.now)
	}); e != nil {
		return Person{}, e
	}
	if !good {
		return Person{}, refuse(ErrLogin, "", "that login is not right")
	}
	return p, nil
}

// noHash is the argon2id of nothing anybody knows.
const noHash = "$argon2id$v=19$m=19456,t=2,p=1$AAAAAAAAAAAAAAAAAAAAAA$AAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAA"

// Sole says whether the store has no person yet, so that the first admin may be made.
func (s *Store) Sole(ctx context.Context) (bool, error) {
	var n int64
	err := s.read.WithContext(ctx).Raw("SELECT count(*) FROM people").Scan(&n).Error
	return n == 0, err
}

// AddToken makes a token for a program that acts as a person. Its text is shown once.
func (s *Store) AddToken(ctx context.Context, actor PersonID, name string, person PersonID) (string, error) {
	name, err := printable("name", name, 60)
	if err != nil {
		return "", err
	}
	text := "bpg_" + strings.ToLower(rand.Text())
	return text, s.book(ctx, func(tx *Tx) error {
		if _, err := tx.roleOf(person); err != nil {
			return err
		}
		if err := tx.exec("INSERT INTO tokens (name, person_id, hash, created_at) VALUES (?,?,?,?)", name, person, s.mac("token", text), tx.now); err != nil {
			return duplicate(err, "name", "a token named %s", name)
		}
		return tx.note(actor, "token made", name, fmt.Sprint(person))
	})
}

// RevokeToken ends a token at once.
func (s *Store) RevokeToken(ctx context.Context, actor PersonID, name string) error {
	return s.book(ctx, func(tx *Tx) error {
		if err := tx.must(refuse(ErrNotFound, "token", "no token in use is named %s", name),
			"UPDATE tokens SET revoked_at = ? WHERE name = ? AND revoked_at IS NULL", tx.now, name); err != nil {
			return err
		}
		return tx.note(actor, "token ended", name, "")
	})
}

// PersonByToken is who a program acts as.
func (s *Store) PersonByToken(ctx context.Context, text string) (Person, error) {
	var p Person
	r := s.read.WithContext(ctx).Raw(`SELECT p.* FROM tokens t JOIN people p ON p.id = t.person_id
		WHERE t.hash = ? AND t.revoked_at IS NULL AND p.left_at IS NULL`, s.mac("token", text)).Scan(&p)
	if r.Error != nil {
		return p, r.Error
	}
	if r.RowsAffected == 0 {
		return p, refuse(ErrLogin, "", "that token is not in use")
	}
	return p, nil
}

// Acts a role may do that move nothing.
const (
	ActReserve ledger.Act = "reserve"
	ActPlan    ledger.Act = "plan"
	ActPart    ledger.Act = "part"
	ActShop    ledger.Act = "shop"
)
