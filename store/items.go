package store

import (
	"context"

	"github.com/google/uuid"

	"brasspeg/store/standard"
)

// An Item is a piece, one individual with its own tag, or a lot, many counted together.
type Item struct {
	ID         ItemID
	Tag        string
	PartID     PartID
	Kind       string // "piece" or "lot"
	EdgesLeft  *int   // inserts: edges on each; nil: as new
	Box        string
	Owner      string
	HomeID     *PlaceID
	Serial     string
	Held       string // why it is held back; empty: it is not
	PriceCents *int64
	Currency   string
	CreatedAt  Time
	RetiredAt  Time
}

// The kinds of item.
const (
	KindPiece = "piece"
	KindLot   = "lot"
)

// standing is an item with what the acts ask of its part and where it stands.
type standing struct {
	Item
	PartCode string
	Counted  string
	Edges    int // of the part, new
	PartHome *PlaceID
	Promised bool // to some job, on some day
}

func (tx *Tx) standing(id ItemID) (standing, error) {
	var st standing
	ok, err := tx.find(sqlStanding, []any{int64(id)}, &st.ID, &st.Tag, &st.PartID, &st.Kind, &st.EdgesLeft, &st.Box, &st.Owner, &st.HomeID,
		&st.Serial, &st.Held, &st.RetiredAt, &st.PartCode, &st.Counted, &st.Edges, &st.PartHome, &st.Promised)
	if err != nil {
		return st, err
	}
	if !ok {
		return st, refuse(ErrNotFound, "item", "item %d is not known here", id)
	}
	return st, nil
}

// edgesEach is the usable edges on each piece of the item, 0 for what has none.
func (st standing) edgesEach() int {
	if st.EdgesLeft != nil {
		return *st.EdgesLeft
	}
	return st.Edges
}

// called names the item as a person says it.
func (st standing) called() string { return st.PartCode + " " + st.Tag }

// home is where it belongs, 0 when nobody said.
func (st standing) home() PlaceID {
	if st.HomeID != nil {
		return *st.HomeID
	}
	if st.PartHome != nil {
		return *st.PartHome
	}
	return 0
}

type heap struct {
	PlaceID PlaceID
	Qty     int64
}

// whereIs lists the inside places that hold any of an item.
func (tx *Tx) whereIs(id ItemID) ([]heap, error) {
	var out []heap
	err := tx.Raw(`SELECT s.place_id, s.qty FROM stock s JOIN places p ON p.id = s.place_id
		WHERE s.item_id = ? AND s.qty > 0 AND p.outside = ? ORDER BY p.sort_key, p.code`, id, false).Scan(&out).Error
	return out, err
}

// addItem makes an item and its tag.
func (tx *Tx) addItem(it Item) (Item, error) {
	it.CreatedAt = tx.now
	letter := byte(TagPiece)
	if it.Kind == KindLot {
		letter = TagLot
	}
	it.Tag = "new " + uuid.NewString() // replaced below: the tag holds the id
	if err := tx.Create(&it).Error; err != nil {
		return it, err
	}
	tag, err := standard.NewTag(letter, int64(it.ID))
	if err != nil {
		return it, err
	}
	it.Tag = tag
	return it, tx.exec("UPDATE items SET tag = ? WHERE id = ?", tag, it.ID)
}

// lot finds the lot of a part with the same edges left, box and owner, or makes it.
func (tx *Tx) lot(part PartID, edgesLeft *int, box, owner string, home *PlaceID) (Item, error) {
	var it Item
	q := tx.Where("part_id = ? AND kind = ? AND box = ? AND owner = ? AND retired_at IS NULL", part, KindLot, box, owner)
	if edgesLeft == nil {
		q = q.Where("edges_left IS NULL")
	} else {
		q = q.Where("edges_left = ?", *edgesLeft)
	}
	r := q.Order("id").Limit(1).Find(&it)
	if r.Error != nil || r.RowsAffected > 0 {
		return it, r.Error
	}
	return tx.addItem(Item{PartID: part, Kind: KindLot, EdgesLeft: edgesLeft, Box: box, Owner: owner, HomeID: home})
}

// ItemByTag reads a piece or a lot by its tag in canonical spelling.
func (s *Store) ItemByTag(ctx context.Context, tag string) (Item, error) {
	return one[Item](s.read.WithContext(ctx), "tag", tag, "tag = ?", tag)
}

// Item reads a piece or a lot by its number.
func (s *Store) Item(ctx context.Context, id ItemID) (Item, error) {
	return one[Item](s.read.WithContext(ctx), "item", id, "id = ?", id)
}
