package store

import (
	"context"
	"encoding/json"
	"math"
	"strconv"
	"strings"
)

// fold brings a text to the form that searches compare: lower case, only letters, digits and
// the decimal point, in words.
func fold(text string) []string {
	var words []string
	var b strings.Builder
	end := func() {
		if w := strings.Trim(b.String(), "."); w != "" {
			words = append(words, w)
		}
		b.Reset()
	}
	for _, r := range strings.ToLower(text) {
		switch {
		case r == ',': // a decimal comma, or a comma between words
			b.WriteByte('.')
		case r >= 'a' && r <= 'z' || r >= '0' && r <= '9' || r == '.' || r > 127:
			b.WriteRune(r)
		case r == '/' || r == '"':
			b.WriteRune(r)
		default:
			end()
		}
	}
	end()
	return words
}

// folded is the search text of a part: words apart, each with a blank before and after, so
// that a word is found whole or by its beginning.
func folded(p Part, facts []Fact) string {
	var all []string
	for _, t := range []string{p.Kind, p.Code, p.Name, p.Designation, p.Maker, p.MakerCode, p.Grade} {
		w := fold(t)
		all = append(all, w...)
		if len(w) > 1 {
			all = append(all, strings.Join(w, ""))
		}
	}
	for _, f := range facts {
		var v any
		if json.Unmarshal([]byte(f.Value), &v) != nil {
			continue
		}
		switch x := v.(type) {
		case float64:
			all = append(all, strconv.FormatFloat(x, 'f', -1, 64))
			if in := x / 25.4; f.Symbol == "DCONMS" || f.Symbol == "DCONWS" {
				if r := math.Round(in*1000) / 1000; math.Abs(in-r) < 1e-9 {
					all = append(all, strconv.FormatFloat(r, 'f', -1, 64), fraction(r))
				}
			}
		case string:
			w := fold(x)
			all = append(append(all, w...), strings.Join(w, ""))
		case []any:
			for _, e := range x {
				if t, ok := e.(string); ok {
					w := fold(t)
					all = append(append(all, w...), strings.Join(w, ""))
				}
			}
		}
	}
	return " " + strings.Join(all, " ") + " "
}

// fraction writes inches as a shop says them, 1-1/4, or as a decimal when no 64th meets it.
func fraction(in float64) string {
	n := in * 64
	if n != math.Trunc(n) {
		return strconv.FormatFloat(in, 'f', -1, 64)
	}
	whole, num, den := int(in), int(n)%64, 64
	for num != 0 && num%2 == 0 {
		num, den = num/2, den/2
	}
	switch {
	case num == 0:
		return strconv.Itoa(whole)
	case whole == 0:
		return strconv.Itoa(num) + "/" + strconv.Itoa(den)
	}
	return strconv.Itoa(whole) + " " + strconv.Itoa(num) + "/" + strconv.Itoa(den)
}

// A Found part is a part with its four numbers.
type Found struct {
	Part
	OnHand   int64 // in the shop, whoever has it
	Out      int64 // of it, handed out
	Held     int64 // of it, in inspection or lost
	Promised int64 // of what is on the shelf, today and later
}

// Free is on the shelf and promised to nobody.
func (f Found) Free() int64 { return max(0, f.OnHand-f.Out-f.Held-f.Promised) }

// Search finds parts by every word of text, in any order: sizes, designation, thread, maker,
// code. A word matches a whole word or its beginning.
func (s *Store) Search(ctx context.Context, text string, limit int) ([]Found, error) {
	var out []Found
	q := `SELECT p.*,
		(SELECT coalesce(sum(s.qty), 0) FROM stock s JOIN items i ON i.id = s.item_id JOIN places pl ON pl.id = s.place_id WHERE i.part_id = p.id AND pl.outside = ?) AS on_hand,
		(SELECT coalesce(sum(s.qty), 0) FROM stock s JOIN items i ON i.id = s.item_id JOIN places pl ON pl.id = s.place_id WHERE i.part_id = p.id AND pl.kind IN ('person','station','kit')) AS "out",
		(SELECT coalesce(sum(s.qty), 0) FROM stock s JOIN items i ON i.id = s.item_id JOIN places pl ON pl.id = s.place_id WHERE i.part_id = p.id AND pl.kind IN ('inspection','lost')) AS held,
		(SELECT coalesce(sum(r.qty), 0) FROM reservations r JOIN items i ON i.id = r.item_id WHERE i.part_id = p.id AND r.ended_at IS NULL AND r.to_day >= ?) AS promised
		FROM parts p WHERE p.retired_at IS NULL`
	args := []any{false, string(s.Today())}
	words := fold(text)
	if len(words) > 12 {
		return nil, refuse(ErrBadInput, "q", "search by at most 12 words")
	}
	for _, w := range words {
		q += ` AND p.folded LIKE ? ESCAPE '\'`
		args = append(args, "% "+escapeLike(w)+"%")
	}
	q += " ORDER BY p.code LIMIT ?"
	args = append(args, limit)
	return out, s.read.WithContext(ctx).Raw(q, args...).Scan(&out).Error
}

func escapeLike(w string) string {
	return strings.NewReplacer(`\`, `\\`, `%`, `\%`, `_`, `\_`).Replace(w)
}
