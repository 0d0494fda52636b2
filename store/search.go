package store

import (
	"cmp"
	"context"
	"encoding/json"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"

	"gorm.io/gorm"

	"brasspeg/store/standard"
)

// folded is the search text of a part: every spelling of its name, codes and sizes, folded, a
// blank before and after each word, and a line break between spellings.
func folded(p Part, facts []Fact) string {
	var all []string
	seen := map[string]bool{}
	add := func(texts ...string) {
		for _, t := range texts {
			if t != "" && !seen[t] {
				seen[t] = true
				all = append(all, t)
			}
		}
	}
	add(standard.Fold(p.Code))
	add(standard.Spellings(p.Kind, p.Designation)...)
	for _, t := range []string{p.MakerCode, p.Name} {
		add(standard.Spellings("spare", t)...) // words and the sizes with a unit among them
	}
	for _, t := range []string{p.Code, p.MakerCode, p.Designation} {
		add(plain(t))
	}
	add(standard.Fold(p.Kind), standard.Fold(p.Maker), standard.Fold(p.Grade))
	for _, f := range facts {
		switch f.Symbol {
		case "WT", "CP", "torque_nm", "unit", "AN", "EPSR", "KAPR", "PSIR", "MTP", "SC", "S", "L", "flat":
			continue // nobody looks a part up by these; as bare numbers they only mislead
		}
		var v float64
		if json.Unmarshal([]byte(f.Value), &v) == nil {
			add(standard.Spellings("spare", num(v)+" mm")...)
			if f.Symbol == "RE" {
				add("R" + num(v))
			}
			continue
		}
		for _, t := range f.told() {
			add(standard.Spellings("", strings.ReplaceAll(t, "_", " "))...)
			if f.Symbol == "seat" && len(t) > 4 {
				add(standard.Fold(t[:4] + " " + t[4:]))
			}
		}
	}
	return " " + strings.Join(all, " \n ") + " "
}

// A Found part is a part with its four numbers.
type Found struct {
	Part
	OnHand   int64   // in the shop, whoever has it
	Out      int64   // of it, handed out
	Held     int64   // of it, in inspection, lost, or held back where it lies
	Promised int64   // of what is on the shelf, today and later
	With     []Heap  `gorm:"-"` // who has what is out, the oldest first; set by Search
	Bins     []InBin `gorm:"-"` // where it lies; set by Search, FoundPart and MatesOf
}

// An InBin is how many of a part one bin holds.
type InBin struct {
	Code string
	Qty  int64
}

// Free is on the shelf and promised to nobody.
func (f Found) Free() int64 { return max(0, f.OnHand-f.Out-f.Held-f.Promised) }

// searchIndex keeps the search text of every part in memory, because a search by any word in
// any order reads all of it. A part saved is read again; another process's work is seen by the
// stamp of the catalogue.
type searchIndex struct {
	mu      sync.Mutex
	entries []searchEntry
	stamp   catalogueStamp
	audit   int64 // the newest audit row when it was last looked at
	built   bool
}

type searchEntry struct {
	id   PartID
	code string
	text string
}

type catalogueStamp struct{ Parts, Versions, Merged, Codes, Last int64 }

// refresh brings the index up to date with the catalogue.
func (x *searchIndex) refresh(db *gorm.DB) error {
	// Whatever changes a part or a code leaves an audit row; asking for the newest costs nothing.
	var audit int64
	if err := db.Raw("SELECT coalesce(max(id), 0) FROM audit").Scan(&audit).Error; err != nil || x.built && audit == x.audit {
		return err
	}
	var now catalogueStamp
	err := db.Raw(`SELECT (SELECT count(*) FROM parts) AS parts, (SELECT coalesce(sum(version), 0) FROM parts) AS versions,
		(SELECT count(*) FROM parts WHERE retired_at IS NULL) AS merged, (SELECT count(*) FROM part_codes) AS codes, (SELECT coalesce(max(id), 0) FROM parts) AS last`).Scan(&now).Error
	if err != nil {
		return err
	}
	if x.built && now == x.stamp {
		x.audit = audit
		return nil
	}
	var rows []struct {
		ID      PartID
		Code    string
		Folded  string
		Retired bool
	}
	if err := db.Raw("SELECT id, code, folded, retired_at IS NOT NULL AS retired FROM parts ORDER BY code LIMIT 1000000").Scan(&rows).Error; err != nil {
		return err
	}
	var codes []partCode
	if err := db.Raw("SELECT * FROM part_codes ORDER BY folded LIMIT 1000000").Scan(&codes).Error; err != nil {
		return err
	}
	more := map[PartID]string{}
	for _, c := range codes {
		more[c.PartID] += "\n " + standard.Fold(c.Code) + " \n " + c.Folded + " "
	}
	x.entries = make([]searchEntry, 0, len(rows))
	for _, r := range rows {
		if !r.Retired {
			x.entries = append(x.entries, searchEntry{id: r.ID, code: r.Code, text: r.Folded + more[r.ID]})
		}
	}
	x.stamp, x.audit, x.built = now, audit, true
	return nil
}

// find returns the parts whose text has every word, best first: the whole query as one
// spelling, then every word whole, then words by their beginning. A number is only taken by
// its beginning when nothing has it whole: 50 is not 500.
func (x *searchIndex) find(words []string, limit int) []PartID {
	type hit struct {
		id   PartID
		rank int
		code string
	}
	var hits []hit
	whole := " " + strings.Join(words, " ") + " "
	head, full := make([]string, len(words)), make([]string, len(words))
	for i, w := range words {
		head[i], full[i] = " "+w, " "+w+" "
	}
	exact := false
	for _, e := range x.entries {
		rank := 1
		for i := range words {
			if strings.Contains(e.text, full[i]) {
				continue
			}
			if !strings.Contains(e.text, head[i]) {
				rank = -1
				break
			}
			rank = 2
		}
		if rank < 0 {
			continue
		}
		if rank == 1 {
			exact = true
			if strings.Contains(e.text, "\n"+whole+"\n") || strings.HasPrefix(e.text, whole+"\n") || strings.HasSuffix(e.text, "\n"+whole) || e.text == whole {
				rank = 0
			}
		}
		hits = append(hits, hit{e.id, rank, e.code})
	}
	if exact && slices.ContainsFunc(words, isNumeric) {
		hits = slices.DeleteFunc(hits, func(h hit) bool { return h.rank == 2 })
	}
	slices.SortStableFunc(hits, func(a, b hit) int { return cmp.Or(cmp.Compare(a.rank, b.rank), strings.Compare(a.code, b.code)) })
	var out []PartID
	for _, h := range hits[:min(limit, len(hits))] {
		out = append(out, h.id)
	}
	return out
}

func isNumeric(w string) bool {
	return w != "" && w[0] >= '0' && w[0] <= '9' && strings.Trim(w, "0123456789./-") == ""
}

// queryWords folds what a person searches for. R before a number is a nose radius; a clear
// diameter sign and the word x between sizes say nothing.
func queryWords(text string) []string {
	words := strings.Fields(standard.Fold(text))
	var out []string
	for i := 0; i < len(words); i++ {
		w := words[i]
		if (w == "R" || w == "RE") && i+1 < len(words) && isNumeric(words[i+1]) {
			out = append(out, "R"+words[i+1])
			i++
			continue
		}
		if n, ok := strings.CutPrefix(strings.Replace(w, ",", ".", 1), "R"); ok && isNumeric(n) {
			w = "R" + n
		}
		if w == "X" || w == "DIA" || w == "OD" || w == "ID" {
			continue
		}
		if a, b, ok := strings.Cut(w, "X"); ok && isNumeric(a) && isNumeric(b) { // 50x32
			out = append(out, a, b)
			continue
		}
		out = append(out, w)
	}
	return out
}

// otherWords are further ways to read a query that found nothing: a designation in another
// spelling, a fraction with a bar between two sizes.
func otherWords(text string) [][]string {
	var out [][]string
	if in, err := standard.ParseInsert(text); err == nil {
		out = append(out, []string{in.Base()})
	}
	if b, err := standard.ParseBar(text); err == nil {
		b.Suffix = ""
		out = append(out, []string{standard.Fold(b.String())})
	} else if b, err := standard.ParseInchBar(text); err == nil {
		b.Suffix = ""
		out = append(out, []string{standard.Fold(b.String())})
	}
	if th, err := standard.ParseThread(text); err == nil {
		out = append(out, strings.Fields(standard.Fold(th.ID)))
	}
	if s, err := standard.ParseSize(text); err == nil {
		out = append(out, []string{strconv.FormatFloat(float64(int64(s.MM()*1000+0.5))/1000, 'f', -1, 64)})
	}
	if split := strings.Fields(strings.ReplaceAll(standard.Fold(text), "/", " ")); len(split) > 0 {
		out = append(out, split)
	}
	if p := plain(text); p != "" { // an empty word is in everything
		out = append(out, []string{p})
	}
	return out
}

// Search finds parts by every word of text, in any order: sizes in any unit, designation in any
// spelling, pocket, thread, radius, maker, any code it ever had. Best first, then by code.
func (s *Store) Search(ctx context.Context, text string, limit int) ([]Found, error) {
	words := queryWords(text)
	if len(words) > 12 {
		return nil, refuse(ErrBadInput, "q", "search by at most 12 words")
	}
	if len(words) == 0 && strings.TrimSpace(text) != "" {
		return nil, nil // nothing but signs: that is a wish for something, not for everything
	}
	x := &s.index
	x.mu.Lock()
	err := x.refresh(s.read.WithContext(ctx))
	var ids []PartID
	if err == nil {
		ids = x.find(words, limit)
		if len(ids) == 0 && len(words) > 0 {
			for _, other := range otherWords(text) {
				if ids = x.find(other, limit); len(ids) > 0 {
					break
				}
			}
		}
	}
	x.mu.Unlock()
	if err != nil {
		return nil, err
	}
	found, err := s.standings(ctx, ids)
	if err != nil || len(found) == 0 {
		return found, err
	}
	bins, err := s.binsOf(ctx, ids)
	if err != nil {
		return nil, err
	}
	for i := range found {
		found[i].Bins = bins[found[i].ID]
	}
	heaps, err := s.heaps(ctx, "i.part_id IN ? AND p.kind IN ('person','station','kit')", ids)
	if err != nil || len(heaps) == 0 {
		return found, err
	}
	parts, err := s.partsOfItems(ctx, heaps)
	if err != nil {
		return nil, err
	}
	slices.SortStableFunc(heaps, func(a, b Heap) int { return a.Since.Compare(b.Since.Time) })
	for i := range found {
		for _, h := range heaps {
			if parts[h.ItemID] == found[i].ID {
				found[i].With = append(found[i].With, h)
			}
		}
	}
	return found, nil
}

// standings reads parts with their four numbers, in the order of ids.
func (s *Store) standings(ctx context.Context, ids []PartID) ([]Found, error) {
	if len(ids) == 0 {
		return nil, nil
	}
	var out []Found
	err := s.read.WithContext(ctx).Raw(`SELECT p.*,
		(SELECT coalesce(sum(s.qty), 0) FROM stock s JOIN items i ON i.id = s.item_id JOIN places pl ON pl.id = s.place_id WHERE i.part_id = p.id AND pl.outside = ?) AS on_hand,
		(SELECT coalesce(sum(s.qty), 0) FROM stock s JOIN items i ON i.id = s.item_id JOIN places pl ON pl.id = s.place_id WHERE i.part_id = p.id AND pl.kind IN ('person','station','kit')) AS "out",
		(SELECT coalesce(sum(s.qty), 0) FROM stock s JOIN items i ON i.id = s.item_id JOIN places pl ON pl.id = s.place_id WHERE i.part_id = p.id AND (pl.kind IN ('inspection','lost') OR pl.kind = 'bin' AND i.held <> '')) AS held,
		(SELECT coalesce(sum(r.qty), 0) FROM reservations r JOIN items i ON i.id = r.item_id WHERE i.part_id = p.id AND r.ended_at IS NULL AND r.to_day >= ?
			AND (i.kind = 'lot' OR NOT EXISTS (SELECT 1 FROM holdings h WHERE h.item_id = i.id AND h.job_id = r.job_id AND h.qty > 0))) AS promised
		FROM parts p WHERE p.id IN ? ORDER BY p.code`, false, string(s.Today()), ids).Scan(&out).Error
	order := make(map[PartID]int, len(ids))
	for i, id := range ids {
		order[id] = i
	}
	slices.SortFunc(out, func(a, b Found) int { return cmp.Compare(order[a.ID], order[b.ID]) })
	return out, err
}

// namesVersion is raised when folding or keys change, so that records saved before are
// folded again when the store is opened.
const namesVersion = "2"

// refold brings the search text and the name keys of an older store up to date.
func (s *Store) refold(ctx context.Context) error {
	var have string
	if err := s.read.WithContext(ctx).Raw("SELECT value FROM settings WHERE key = 'names'").Scan(&have).Error; err != nil || have == namesVersion {
		return err
	}
	return s.book(ctx, func(tx *Tx) error {
		var rows []Part
		if err := tx.Order("id").Limit(1_000_000).Find(&rows).Error; err != nil {
			return err
		}
		facts, err := factsOf(tx.DB, idsOf(rows))
		if err != nil {
			return err
		}
		for _, p := range rows {
			if err := tx.exec("UPDATE parts SET folded = ?, name_key = ? WHERE id = ?", folded(p, facts[p.ID]), nameKey(p.Kind, p.Designation), p.ID); err != nil {
				return err
			}
		}
		return tx.exec("INSERT INTO settings (key, value) VALUES ('names', ?) ON CONFLICT (key) DO UPDATE SET value = excluded.value", namesVersion)
	})
}

// A Miss is a week of look-ups that ended in "not here".
type Miss struct {
	From, To Day
	Count    int64
	Hours    float64   // at missMinutes each
	Top      []MissTop // the five asked for most
}

// A MissTop is what was looked for in vain, and how often.
type MissTop struct {
	Text  string // the part's code, or the words that found nothing
	Part  bool
	Count int64
}

// missMinutes is what a look-up in vain costs: 3 to 7 minutes, common practice, no source.
const missMinutes = 5

// Missed keeps a look-up that found nothing (part 0), or a part of which none is on the shelf.
// The same look-up of the same person within ten minutes is one.
func (s *Store) Missed(ctx context.Context, actor PersonID, text string, part PartID) error {
	text = strings.Join(queryWords(text), " ")
	if text == "" || actor == 0 {
		return nil
	}
	if len(text) > 120 {
		text = strings.ToValidUTF8(text[:120], "")
	}
	return s.book(ctx, func(tx *Tx) error {
		var n int64
		if err := tx.Raw("SELECT count(*) FROM lookups WHERE actor_id = ? AND folded = ? AND at > ?", actor, text, At(tx.now.Add(-10*time.Minute))).Scan(&n).Error; err != nil || n > 0 {
			return err
		}
		return tx.exec("INSERT INTO lookups (at, day, actor_id, folded, part_id) VALUES (?,?,?,?,?)", tx.now, string(DayOf(tx.now.Time)), actor, text, null(int64(part)))
	})
}

// MissedWeek totals the look-ups in vain of the week, Monday to Sunday, that day is in.
func (s *Store) MissedWeek(ctx context.Context, day Day) (Miss, error) {
	t, err := time.Parse(time.DateOnly, string(day))
	if err != nil {
		return Miss{}, refuse(ErrBadInput, "day", "%q is not a day; write it as 2026-03-16", day)
	}
	monday := t.AddDate(0, 0, -(int(t.Weekday())+6)%7)
	m := Miss{From: Day(monday.Format(time.DateOnly)), To: Day(monday.AddDate(0, 0, 6).Format(time.DateOnly))}
	db := s.read.WithContext(ctx)
	if err := db.Raw("SELECT count(*) FROM lookups WHERE day BETWEEN ? AND ?", string(m.From), string(m.To)).Scan(&m.Count).Error; err != nil {
		return m, err
	}
	m.Hours = float64(m.Count) * missMinutes / 60
	var rows []struct {
		Text  string
		Known bool
		N     int64
	}
	err = db.Raw(`SELECT coalesce(p.code, l.folded) AS text, p.code IS NOT NULL AS known, count(*) AS n FROM lookups l LEFT JOIN parts p ON p.id = l.part_id
		WHERE l.day BETWEEN ? AND ? GROUP BY coalesce(p.code, l.folded), p.code IS NOT NULL ORDER BY n DESC, text LIMIT 5`, string(m.From), string(m.To)).Scan(&rows).Error
	for _, r := range rows {
		m.Top = append(m.Top, MissTop{r.Text, r.Known, r.N})
	}
	return m, err
}
