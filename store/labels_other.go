package store

import (
	"context"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"brasspeg/store/life"
	"brasspeg/store/standard"
)

// places adds the labels of bins and stations, in walking order.
func (c *chosen) places(ctx context.Context, cond string, args ...any) error {
	var ps []Place
	if err := c.s.read.WithContext(ctx).Where(cond, args...).Where("tag IS NOT NULL").Order("sort_key, code").Limit(MaxLabels + 1).Find(&ps).Error; err != nil {
		return err
	}
	var homes []struct {
		HomeID PlaceID
		Code   string
	}
	if err := c.s.read.WithContext(ctx).Raw("SELECT home_id, code FROM parts WHERE home_id IS NOT NULL AND retired_at IS NULL ORDER BY home_id, code LIMIT 100000").Scan(&homes).Error; err != nil {
		return err
	}
	belongs := map[PlaceID][]string{}
	for _, h := range homes {
		belongs[h.HomeID] = append(belongs[h.HomeID], h.Code)
	}
	var ls []LabelText
	for _, p := range ps {
		if p.Kind == StationAt {
			if err := c.stationAt(ctx, p.ID); err != nil {
				return err
			}
			continue
		}
		l := LabelText{Kind: "bin", Tag: *p.Tag, Head: "drawer", Title: p.Code}
		if p.Kind == Kit {
			l.Head = "kit"
		}
		if p.Name != p.Code {
			l.Note = p.Name
		}
		if parts := belongs[p.ID]; len(parts) > 0 {
			list := strings.Join(parts[:min(5, len(parts))], ", ")
			if n := len(parts) - 5; n > 0 {
				list += fmt.Sprintf(" and %d more", n)
			}
			l.Note = strings.TrimPrefix(l.Note+": "+list, ": ")
		}
		ls = append(ls, l)
	}
	return c.add(ls)
}

// A turretRow is a station with its machine and the place it is.
type turretRow struct {
	Station
	Machine string
	Tag     string
}

const stationsSQL = `SELECT st.*, m.name AS machine, pl.tag FROM stations st JOIN machines m ON m.id = st.machine_id JOIN places pl ON pl.id = st.place_id
	WHERE pl.tag IS NOT NULL AND `

func (c *chosen) stations(ctx context.Context, m MachineID) error {
	var rows []turretRow
	if err := c.s.read.WithContext(ctx).Raw(stationsSQL+"st.retired_at IS NULL AND (? = 0 OR st.machine_id = ?) ORDER BY m.code, st.number LIMIT 5001", m, m).Scan(&rows).Error; err != nil {
		return err
	}
	return c.add(stationTexts(rows))
}

func (c *chosen) stationAt(ctx context.Context, place PlaceID) error {
	var rows []turretRow
	if err := c.s.read.WithContext(ctx).Raw(stationsSQL+"st.place_id = ?", place).Scan(&rows).Error; err != nil {
		return err
	}
	return c.add(stationTexts(rows))
}

func stationTexts(rows []turretRow) []LabelText {
	var ls []LabelText
	for _, r := range rows {
		l := LabelText{Kind: "station", Tag: r.Tag, Head: "station", Title: fmt.Sprintf("%s, station %d", r.Machine, r.Number)}
		l.Sizes = append(l.Sizes, LabelSize{Name: "seat", Value: r.Interface})
		limit := func(name string, v *float64, unit string) {
			if v != nil {
				l.Sizes = append(l.Sizes, LabelSize{Name: name, Value: num(*v), Unit: unit})
			}
		}
		limit("at most", r.MaxProjection, "mm")
		limit("at most", r.MaxMassKg, "kg")
		limit("coolant", r.CoolantMaxBar, "bar")
		if r.CoolantPort != "" {
			l.Note = "coolant port " + r.CoolantPort
		}
		ls = append(ls, l)
	}
	return ls
}

func (c *chosen) machines(ctx context.Context, only MachineID) error {
	all, err := c.s.Machines(ctx)
	if err != nil {
		return err
	}
	var ls []LabelText
	for _, m := range all {
		if m.Tag == nil || !m.RetiredAt.IsZero() || only != 0 && m.ID != only {
			continue
		}
		l := LabelText{Kind: "station", Tag: *m.Tag, Head: "machine", Title: m.Name, Note: m.Code}
		if m.MaxRPM != nil {
			l.Sizes = append(l.Sizes, LabelSize{Name: "at most", Value: num(*m.MaxRPM), Unit: "rpm"})
		}
		ls = append(ls, l)
	}
	return c.add(ls)
}

func (c *chosen) jobs(ctx context.Context, js []Job) error {
	machines, err := c.s.Machines(ctx)
	if err != nil {
		return err
	}
	code := map[MachineID]string{}
	for _, m := range machines {
		code[m.ID] = m.Code
	}
	var ls []LabelText
	for _, j := range js {
		if j.Tag == nil {
			continue
		}
		l := LabelText{Kind: "job", Tag: *j.Tag, Head: "job " + j.Code, Title: first(j.Name, j.Code)}
		if j.MachineID != nil {
			l.Sizes = append(l.Sizes, LabelSize{Name: "machine", Value: code[*j.MachineID]})
		}
		if j.PartsQty > 0 {
			l.Sizes = append(l.Sizes, LabelSize{Name: "pieces", Value: fmt.Sprint(j.PartsQty)})
		}
		l.Sizes = append(l.Sizes, LabelSize{Name: "from", Value: string(j.FromDay)})
		l.Note = strings.TrimSuffix("to "+string(j.ToDay)+", "+j.Note, ", ")
		ls = append(ls, l)
	}
	return c.add(ls)
}

// cardTags are the tags of the act cards, in the order they hang at the window.
func cardTags() []string {
	_, tags := ActCards()
	return tags
}

// cardText is the label of an act card; Title is the act.
func cardText(tag string) (LabelText, bool) {
	names, tags := ActCards()
	i := slices.Index(tags, tag)
	if i < 0 {
		return LabelText{}, false
	}
	return LabelText{Kind: "act", Tag: tag, Head: "act", Title: names[i]}, true
}

// maxKey is the largest number on a quantity key. What is scanned is the number itself, as if
// it had been typed, so no key can be out of date.
const maxKey = 999

// quantityKeys hang at the window.
var quantityKeys = []int{1, 2, 3, 4, 5, 6, 8, 10, 20, 50}

func keyText(n int) LabelText {
	return LabelText{Kind: "act", Tag: strconv.Itoa(n), Head: "quantity", Title: strconv.Itoa(n), Key: n}
}

func isKey(tag string) bool {
	n, err := strconv.Atoi(tag)
	return err == nil && n > 0 && n <= maxKey && strconv.Itoa(n) == tag
}

// EdgeCard is the text of the card that says, at a machine, why an edge came off.
func EdgeCard(r life.Reason) string {
	if r == life.EndOfJob {
		return "EDGE-END"
	}
	return "EDGE-" + strings.ToUpper(string(r))
}

// edgeCards are the reason cards in the order a person is asked; Title is the reason.
func edgeCards() []LabelText {
	var ls []LabelText
	for _, r := range life.Reasons {
		ls = append(ls, LabelText{Kind: "act", Tag: EdgeCard(r), Head: "edge off", Title: string(r), Reason: true})
	}
	return ls
}

// edgeCard is the reason card with that text.
func edgeCard(text string) (LabelText, bool) {
	ls := edgeCards()
	i := slices.IndexFunc(ls, func(l LabelText) bool { return l.Tag == text })
	if i < 0 {
		return LabelText{}, false
	}
	return ls[i], true
}

// personTag is how the record of prints names a person: never by the text of the badge.
func personTag(id PersonID) (string, error) { return standard.NewTag(TagPerson, int64(id)) }

// BadgeLabel gives a person a new badge and returns its label, once: the store keeps only the
// HMAC of the text, so the old badge stops working and nobody can print this one again.
func (s *Store) BadgeLabel(ctx context.Context, actor, id PersonID) (LabelText, error) {
	p, err := one[Person](s.read.WithContext(ctx), "person", id, "id = ? AND left_at IS NULL", id)
	if err != nil {
		return LabelText{}, err
	}
	text, err := s.SetSecrets(ctx, actor, id, "", "", "new")
	if err != nil {
		return LabelText{}, err
	}
	return LabelText{Kind: "person", Tag: text, Head: string(p.Role), Title: p.Name, Note: "personal; found: bring it to the crib"}, nil
}
