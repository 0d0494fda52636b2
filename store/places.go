package store

import (
	"context"
	"maps"
	"sync"

	"gorm.io/gorm"

	"brasspeg/store/standard"
)

// A PlaceKind says what a place is; outside kinds may go below zero.
type PlaceKind string

// The kinds of place.
const (
	Bin        PlaceKind = "bin"
	StationAt  PlaceKind = "station"
	PersonAt   PlaceKind = "person"
	Kit        PlaceKind = "kit"
	Inspection PlaceKind = "inspection"
	Lost       PlaceKind = "lost"
	Regrind    PlaceKind = "regrind"
	SupplierAt PlaceKind = "supplier"
	ScrapAt    PlaceKind = "scrap"
	UseAt      PlaceKind = "use"
	AdjustAt   PlaceKind = "adjust"
)

// Outside says whether a place of this kind is beyond the shop's own count.
func (k PlaceKind) Outside() bool {
	switch k {
	case Regrind, SupplierAt, ScrapAt, UseAt, AdjustAt:
		return true
	}
	return false
}

// Holds says whether what stands there counts as handed out to somebody.
func (k PlaceKind) Holds() bool { return k == PersonAt || k == StationAt || k == Kit }

// A Place is where things are.
type Place struct {
	ID        PlaceID
	Tag       *string
	Code      string
	Name      string
	Kind      PlaceKind
	Outside   bool
	Parent    string
	SortKey   string
	CreatedAt Time
	RetiredAt Time
	Version   int
}

// The places every shop has, by code.
const (
	CodeInspection = "INSPECTION"
	CodeLost       = "LOST"
	CodeRegrind    = "REGRIND"
	CodeSupplier   = "SUPPLIER"
	CodeScrap      = "SCRAP"
	CodeUse        = "USED-UP"
	CodeAdjust     = "ADJUST"
)

// placeBook remembers every place, because every movement asks; a change of one renews it.
type placeBook struct {
	mu     sync.RWMutex
	byID   map[PlaceID]Place
	byCode map[string]PlaceID
	hands  map[PlaceID]PersonID // whose hands a place is; that never changes either
}

func (b *placeBook) load(db *gorm.DB) error {
	var all []Place
	if err := db.Order("id").Find(&all).Error; err != nil {
		return err
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	b.byID, b.byCode = map[PlaceID]Place{}, map[string]PlaceID{}
	for _, p := range all {
		b.byID[p.ID], b.byCode[p.Code] = p, p.ID
	}
	return nil
}

func (b *placeBook) get(id PlaceID) (Place, bool) {
	b.mu.RLock()
	defer b.mu.RUnlock()
	p, ok := b.byID[id]
	return p, ok
}

func (b *placeBook) code(code string) PlaceID {
	b.mu.RLock()
	defer b.mu.RUnlock()
	return b.byCode[code]
}

// handsOf is whose hands a place is, 0 when that is not in memory yet.
func (b *placeBook) handsOf(id PlaceID) PersonID {
	b.mu.RLock()
	defer b.mu.RUnlock()
	return b.hands[id]
}

func (b *placeBook) setHands(id PlaceID, who PersonID) {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.hands == nil {
		b.hands = map[PlaceID]PersonID{}
	}
	b.hands[id] = who
}

func (b *placeBook) add(p Place) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.byID[p.ID], b.byCode[p.Code] = p, p.ID
}

// forget makes whoever asks next read the place.
func (b *placeBook) forget(id PlaceID) {
	b.mu.Lock()
	defer b.mu.Unlock()
	delete(b.byID, id)
}

// renew reads a place that was changed again. When it can not be read it is forgotten, and read
// by whoever asks next.
func (b *placeBook) renew(db *gorm.DB, id PlaceID) {
	var p Place
	r := db.Where("id = ?", id).Limit(1).Find(&p)
	b.mu.Lock()
	defer b.mu.Unlock()
	maps.DeleteFunc(b.byCode, func(_ string, of PlaceID) bool { return of == id })
	delete(b.byID, id)
	if r.Error == nil && r.RowsAffected == 1 {
		b.byID[id], b.byCode[p.Code] = p, id
	}
}

// place reads a place, from memory when it is known there.
func (tx *Tx) place(id PlaceID) (Place, error) {
	if p, ok := tx.s.places.get(id); ok {
		return p, nil
	}
	var p Place
	r := tx.Where("id = ?", id).Limit(1).Find(&p)
	if r.Error != nil {
		return p, r.Error
	}
	if r.RowsAffected == 0 {
		return p, refuse(ErrNotFound, "place", "place %d does not exist", id)
	}
	return p, nil
}

func (tx *Tx) addPlace(p Place) (Place, error) {
	if p.Code == "" {
		return p, refuse(ErrBadInput, "code", "a place needs a code, such as C4-2")
	}
	p.Outside, p.CreatedAt = p.Kind.Outside(), tx.now
	if p.Name == "" {
		p.Name = p.Code
	}
	if err := tx.Create(&p).Error; err != nil {
		return p, duplicate(err, "code", "place %s", p.Code)
	}
	if p.Kind == Bin || p.Kind == StationAt || p.Kind == Kit {
		tag, err := standard.NewTag(TagPlace, int64(p.ID))
		if err != nil {
			return p, err
		}
		if err := tx.exec("UPDATE places SET tag = ? WHERE id = ?", tag, p.ID); err != nil {
			return p, err
		}
		p.Tag = &tag
	}
	tx.after = append(tx.after, func() { tx.s.places.add(p) })
	return p, nil
}

// AddPlace makes a place. ErrExists: its code is taken.
func (s *Store) AddPlace(ctx context.Context, p Place) (Place, error) {
	err := s.book(ctx, func(tx *Tx) (err error) { p, err = tx.addPlace(p); return err })
	return p, err
}

// Places lists the places of a kind in walking order; kind "" lists every inside place.
func (s *Store) Places(ctx context.Context, kind PlaceKind) ([]Place, error) {
	var out []Place
	q := s.read.WithContext(ctx).Where("retired_at IS NULL")
	if kind != "" {
		q = q.Where("kind = ?", kind)
	} else {
		q = q.Where("outside = ?", false)
	}
	return out, q.Order("sort_key, code").Find(&out).Error
}

// PlaceByCode is ErrNotFound for a code nobody gave.
func (s *Store) PlaceByCode(ctx context.Context, code string) (Place, error) {
	return one[Place](s.read.WithContext(ctx), "place", code, "code = ?", code)
}

// Place reads one by its number.
func (s *Store) Place(ctx context.Context, id PlaceID) (Place, error) {
	return one[Place](s.read.WithContext(ctx), "place", id, "id = ?", id)
}
