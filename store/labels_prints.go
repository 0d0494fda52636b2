package store

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strings"

	"brasspeg/store/ledger"
	"brasspeg/store/standard"
)

// ActPrint is the act of printing labels; it moves nothing.
const ActPrint ledger.Act = "print"

// A PrintIn is what is printed: the tags in their order, and the medium with its settings, so
// that the same print can be made again.
type PrintIn struct {
	Tags        []string
	Medium      string  // a4, letter, 50x25, a4:50x25
	First       int     // label of the sheet it begins on, 1 or more; 0 is 1
	Right, Down float64 // mm, what the printer is out by
	DPI         int     // of a label printer, 0 of an office printer
}

// A LabelRun is one print on record.
type LabelRun struct {
	OpID    string
	At      Time
	ActorID PersonID // 0: at the console
	Medium  string
	First   int
	RightMM float64 `gorm:"column:right_mm"`
	DownMM  float64 `gorm:"column:down_mm"`
	DPI     int     `gorm:"column:dpi"`
	Labels  int
}

func (LabelRun) TableName() string { return "label_runs" }

func (in *PrintIn) check() error {
	if len(in.Tags) == 0 {
		return refuse(ErrBadInput, "select", "nothing to print: no labels were chosen")
	}
	if len(in.Tags) > MaxLabels {
		return refuse(ErrBadInput, "select", "%d labels; print at most %d at a time", len(in.Tags), MaxLabels)
	}
	for i, t := range in.Tags {
		if _, card := edgeCard(t); card || isKey(t) {
			continue
		}
		tag, err := standard.ParseTag(t)
		if err != nil {
			return refuse(ErrBadInput, "select", "label %d: %v", i+1, err)
		}
		in.Tags[i] = tag
	}
	in.First = max(in.First, 1)
	if in.Medium == "" || len(in.Medium) > 40 || in.First > 10_000 || in.DPI < 0 || !(math.Abs(in.Right) <= 10) || !(math.Abs(in.Down) <= 10) {
		return refuse(ErrBadInput, "sheet", "that medium can not be kept on record")
	}
	return nil
}

// PrintLabels keeps on record that labels were printed: when, by whom, on what. The caller has
// made the file before, so that what can not be drawn is never on record as printed.
func (s *Store) PrintLabels(ctx context.Context, o Op, in PrintIn) (Receipt, error) {
	in.Tags = slices.Clone(in.Tags)
	if err := in.check(); err != nil {
		return Receipt{}, err
	}
	return s.op(ctx, o, ActPrint, in, func(e *entry) error {
		e.receipt.Says = fmt.Sprintf("%d labels printed on %s.", len(in.Tags), in.Medium)
		if len(in.Tags) == 1 {
			e.receipt.Says = fmt.Sprintf("Label %s printed on %s.", in.Tags[0], in.Medium)
		}
		return e.printed(o.ID, o.Actor, in)
	})
}

// PrintedAtConsole is PrintLabels for a print made by the command line, where nobody is logged
// in. id is as an op id, and new.
func (s *Store) PrintedAtConsole(ctx context.Context, id string, in PrintIn) error {
	in.Tags = slices.Clone(in.Tags)
	if err := in.check(); err != nil {
		return err
	}
	if !opID.MatchString(id) {
		return refuse(ErrBadInput, "op_id", "the op id must be 16 to 64 of A-Z a-z 0-9 _ -")
	}
	return s.book(ctx, func(tx *Tx) error { return tx.printed(id, 0, in) })
}

func (tx *Tx) printed(id string, actor PersonID, in PrintIn) error {
	run := LabelRun{OpID: id, At: tx.now, ActorID: actor, Medium: in.Medium, First: in.First, RightMM: in.Right, DownMM: in.Down, DPI: in.DPI, Labels: len(in.Tags)}
	if err := tx.Create(&run).Error; err != nil {
		return duplicate(err, "op_id", "print %s", id)
	}
	for part := range slices.Chunk(in.Tags, 500) {
		args := make([]any, 0, 3*len(part))
		for _, t := range part {
			args = append(args, id, t, tx.now)
		}
		if err := tx.exec("INSERT INTO label_prints (op_id, tag, at) VALUES "+strings.TrimSuffix(strings.Repeat("(?,?,?),", len(part)), ","), args...); err != nil {
			return err
		}
	}
	return nil
}

// BadgePrinted keeps on record that a person's badge was printed, without its text.
func (s *Store) BadgePrinted(ctx context.Context, o Op, who PersonID, medium string) error {
	if err := o.check(); err != nil {
		return err
	}
	tag, err := personTag(who)
	if err != nil {
		return err
	}
	in := PrintIn{Tags: []string{tag}, Medium: medium, First: 1}
	return s.book(ctx, func(tx *Tx) error { return tx.printed(o.ID, o.Actor, in) })
}

// LabelRunOf reads a print and the tags on it, in their order.
func (s *Store) LabelRunOf(ctx context.Context, id string) (LabelRun, []string, error) {
	run, err := one[LabelRun](s.read.WithContext(ctx), "print", id, "op_id = ?", id)
	if err != nil {
		return run, nil, err
	}
	var tags []string
	err = s.read.WithContext(ctx).Raw("SELECT tag FROM label_prints WHERE op_id = ? ORDER BY id LIMIT ?", id, MaxLabels).Scan(&tags).Error
	return run, tags, err
}

// A LabelPrint is one print of one label, as a person reads it.
type LabelPrint struct {
	Tag, Medium, Person string
	OpID                string
	At                  Time
}

// LabelPrints lists the prints of a tag, newest first, at most 20.
func (s *Store) LabelPrints(ctx context.Context, tag string) ([]LabelPrint, error) {
	var out []LabelPrint
	return out, s.read.WithContext(ctx).Raw(`SELECT l.tag, r.medium, coalesce(p.name, 'console') AS person, l.op_id, l.at
		FROM label_prints l JOIN label_runs r ON r.op_id = l.op_id LEFT JOIN people p ON p.id = r.actor_id
		WHERE l.tag = ? ORDER BY l.id DESC LIMIT 20`, tag).Scan(&out).Error
}

// A RecentRun is a print as a person reads it.
type RecentRun struct {
	LabelRun
	Person   string
	FirstTag string
}

// LabelRuns lists the last prints, newest first.
func (s *Store) LabelRuns(ctx context.Context, limit int) ([]RecentRun, error) {
	var out []RecentRun
	return out, s.read.WithContext(ctx).Raw(`SELECT r.*, coalesce(p.name, 'console') AS person, (SELECT min(l.tag) FROM label_prints l WHERE l.op_id = r.op_id) AS first_tag
		FROM label_runs r LEFT JOIN people p ON p.id = r.actor_id ORDER BY r.at DESC, r.op_id DESC LIMIT ?`, limit).Scan(&out).Error
}

// labelAge is how old a label on a coolant-side part may grow, in days: oil, heat and rubbing
// finish printed film in about half a year (common practice, no source).
const labelAge = 180

// A WornLabel is a label that is due to be renewed.
type WornLabel struct {
	Tag, Part, PartKind string
	Place               string // where the piece is now
	PlaceKind           PlaceKind
	Printed             Time // zero: no print on record, then Since is when the piece came
	Since               Time
	Days                int // age
}

// wornSQL are the labels that WornLabels lists; its values are false, the latest print that is not
// worn, and twice the place.
const wornSQL = ` FROM (SELECT i.id, i.tag, p.code AS part, p.kind AS part_kind, i.created_at, (SELECT max(l.at) FROM label_prints l WHERE l.tag = i.tag) AS printed
			FROM items i JOIN parts p ON p.id = i.part_id
			WHERE i.kind = 'piece' AND i.retired_at IS NULL AND p.kind IN ('holder','sleeve','bar','head','adapter','hose')) x
		JOIN stock s ON s.item_id = x.id AND s.qty > 0 JOIN places pl ON pl.id = s.place_id
		WHERE pl.outside = ? AND coalesce(x.printed, x.created_at) < ? AND (? = '' OR pl.code = ?)`

// WornLabels lists the labels older than 180 days on parts that stand in coolant: holders,
// sleeves, bars, heads, adapters and hoses. By place in walking order, then oldest first. A piece
// without a print on record counts from the day it came. place is a code, or "" for all.
func (s *Store) WornLabels(ctx context.Context, place string) ([]WornLabel, error) {
	var out []WornLabel
	err := s.read.WithContext(ctx).Raw(`SELECT x.tag, x.part, x.part_kind, pl.code AS place, pl.kind AS place_kind, x.printed, coalesce(x.printed, x.created_at) AS since`+wornSQL+`
		ORDER BY pl.sort_key, pl.code, since, x.tag LIMIT ?`, false, s.wornBefore(), place, place, MaxLabels).Scan(&out).Error
	for i := range out {
		out[i].Days = int(s.Now().Sub(out[i].Since.Time).Hours() / 24)
	}
	return out, err
}

func (s *Store) wornBefore() Time { return At(s.Now().AddDate(0, 0, -labelAge)) }

// LabelsDue counts the things in the shop that have no print on record, and those whose label
// is worn; of either no further than one more than a print holds, MaxLabels + 1.
func (s *Store) LabelsDue(ctx context.Context) (fresh, worn int, err error) {
	db := s.read.WithContext(ctx)
	if err := db.Raw("SELECT count(*) FROM (SELECT 1 FROM items i WHERE "+inShop+" AND "+unprinted+" LIMIT ?) x", false, MaxLabels+1).Scan(&fresh).Error; err != nil {
		return 0, 0, err
	}
	return fresh, worn, db.Raw("SELECT count(*) FROM (SELECT 1"+wornSQL+" LIMIT ?) x", false, s.wornBefore(), "", "", MaxLabels+1).Scan(&worn).Error
}
