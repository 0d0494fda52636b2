package store

import (
	"context"
	"errors"
	"strings"

	"brasspeg/store/standard"
)

// A Thing is what a scanned text means. Exactly one of the pointers is set, by Kind.
type Thing struct {
	Kind   string // person, item, place, job, machine, act, part
	Text   string // canonical
	Says   string // what it is, in a few words
	Person *Person
	Item   *Standing
	Place  *Place
	Job    *Job
	Mach   *Machine
	Part   *Part
	Act    string // of an act card
}

// Acts of the cards at the window: the seven digits of their tags. A number that was printed once
// keeps its meaning.
var actCards = map[int64]string{1: "return", 2: "undo", 3: "done", 4: "bin-empty", 5: "inspect", 6: "issue", 7: "partly", 8: "scrap", 9: "move", 10: "clear", 11: "regrind"}

// ActCards lists the acts that have a card, with their tags, in card order.
func ActCards() ([]string, []string) {
	var names, tags []string
	for n := int64(1); n <= int64(len(actCards)); n++ {
		tag, err := standard.NewTag(TagAct, n)
		if err != nil {
			panic(err) // seven digits hold more cards than there are acts
		}
		names, tags = append(names, actCards[n]), append(tags, tag)
	}
	return names, tags
}

// Scan says what a text from a scanner or a keyboard is: a badge, one of our tags, or the
// code of a part, place or job. A tag with a wrong check character is refused with the
// likely right ones that exist; a foreign code is ErrNotFound that offers to link it.
func (s *Store) Scan(ctx context.Context, text string) (Thing, error) {
	text, err := ReadScan(text)
	if err != nil {
		return Thing{}, err
	}
	if IsBadge(text) {
		p, err := s.PersonByBadge(ctx, text)
		if err != nil {
			return Thing{}, err
		}
		return Thing{Kind: "person", Text: text, Says: p.Name + ", " + string(p.Role), Person: &p}, nil
	}
	if l, ok := edgeCard(text); ok {
		return Thing{}, refuse(ErrBadInput, "scan", "%s says why an edge came off (%s); it is for the page of a machine. Scan the machine, then the box, then this card", l.Tag, l.Title)
	}
	tag, err := standard.ParseTag(text)
	if err == nil {
		th, e := s.scanTag(ctx, tag)
		if !errors.Is(e, ErrNotFound) {
			return th, e
		}
		if other, ok, _ := s.scanCode(ctx, text); ok { // a part may be called like a tag
			return other, nil
		}
		if likely, err := s.likely(ctx, text); err == nil && len(likely) > 0 {
			e = refuse(ErrNotFound, "scan", "%s is on nothing of this shop. Likely meant: %s", tag, strings.Join(likely, ", "))
		}
		return th, e
	}
	if th, ok, e := s.scanCode(ctx, text); ok || e != nil {
		return th, e
	}
	wrong := wrongCheck(text)
	if likely, err := s.likely(ctx, text); err != nil {
		return Thing{}, err
	} else if len(likely) > 0 && wrong {
		return Thing{}, unfit("check_digit", "scan", "%s is not a tag of ours: its check character is wrong. Likely meant: %s", text, strings.Join(likely, ", "))
	} else if len(likely) > 0 {
		return Thing{}, refuse(ErrNotFound, "scan", "%s is not a tag of ours. Likely meant: %s", text, strings.Join(likely, ", "))
	}
	switch {
	case wrong && looksLikeTag(text):
		return Thing{}, unfit("check_digit", "scan", "%s is not a tag of ours: its check character is wrong; scan it again or read the plain letters", text)
	case wrong:
		return Thing{}, unfit("check_digit", "scan", "%s is not ours, and its check digit is wrong or lost; scan it again", text)
	case secretive(text):
		return Thing{}, refuse(ErrNotFound, "scan", "that is not one of our codes; it is the code of a network or a login (%d characters), and it was not kept", len(text))
	}
	return Thing{}, s.notOurs(ctx, text)
}

// ReadTag reads a tag as scanned or typed into its canonical form. One whose check character
// is wrong is refused with the likeliest right ones that exist; none is ever chosen.
func (s *Store) ReadTag(ctx context.Context, field, text string) (string, error) {
	tag, err := standard.ParseTag(text)
	if err == nil {
		return tag, nil
	}
	likely, e := s.likely(ctx, strings.ToUpper(strings.TrimSpace(text)))
	if e != nil {
		return "", e
	}
	says := err.Error()
	if len(likely) > 0 {
		says += "; of this shop: " + strings.Join(likely, ", ")
	}
	return "", &Refusal{Class: ErrBadInput, Field: field, Says: says}
}

func looksLikeTag(text string) bool {
	if len(text) != 9 || !strings.ContainsRune("ABJLMPW", rune(text[0])) {
		return false
	}
	digits := 0
	for _, r := range text[1:8] {
		if r >= '0' && r <= '9' {
			digits++
		}
	}
	return digits >= 5
}

// LikelyTags are the tags of this shop that a text differs from by one slip, each with what it is
// on in brackets, likeliest first, at most 3.
func (s *Store) LikelyTags(ctx context.Context, text string) ([]string, error) {
	return s.likely(ctx, strings.ToUpper(strings.TrimSpace(text)))
}

// likely are the tags that exist and differ from text by one slip, likeliest first, each with
// what it is on. At most 3.
func (s *Store) likely(ctx context.Context, text string) ([]string, error) {
	tags := standard.TagCandidates(text)
	if len(tags) == 0 {
		return nil, nil
	}
	var rows []struct{ Tag, Says string }
	err := s.read.WithContext(ctx).Raw(`SELECT i.tag AS tag, p.code || ' ' || p.name AS says FROM items i JOIN parts p ON p.id = i.part_id WHERE i.tag IN ?
		UNION ALL SELECT tag, name FROM places WHERE tag IN ? AND outside = ?
		UNION ALL SELECT tag, code || ' ' || name FROM jobs WHERE tag IN ?
		UNION ALL SELECT tag, name FROM machines WHERE tag IN ?`, tags, tags, false, tags, tags).Scan(&rows).Error
	if err != nil {
		return nil, err
	}
	says := map[string]string{}
	for _, r := range rows {
		says[r.Tag] = r.Says
	}
	_, cards := ActCards()
	for i, c := range cards {
		says[c] = actCards[int64(i+1)] + " card"
	}
	var out []string
	for _, t := range tags {
		if what, ok := says[t]; ok && len(out) < 3 {
			out = append(out, t+" ("+strings.TrimSpace(what)+")")
		}
	}
	return out, nil
}

func (s *Store) scanTag(ctx context.Context, tag string) (Thing, error) {
	db := s.read.WithContext(ctx)
	th := Thing{Text: tag}
	switch tag[0] {
	case TagPiece, TagLot:
		it, err := s.Standing(ctx, tag)
		if err != nil {
			return th, err
		}
		th.Kind, th.Item, th.Says = "item", &it, it.PartCode+" "+it.PartName
	case TagPlace:
		p, err := one[Place](db, "tag", tag, "tag = ?", tag)
		if err != nil {
			return th, err
		}
		th.Kind, th.Place, th.Says = "place", &p, p.Name
	case TagJob:
		j, err := one[Job](db, "tag", tag, "tag = ?", tag)
		if err != nil {
			return th, err
		}
		th.Kind, th.Job, th.Says = "job", &j, j.Code+" "+j.Name
	case TagMach:
		m, err := one[Machine](db, "tag", tag, "tag = ?", tag)
		if err != nil {
			return th, err
		}
		th.Kind, th.Mach, th.Says = "machine", &m, m.Name
	case TagAct:
		var n int64
		for _, d := range tag[1:8] {
			n = n*10 + int64(d-'0')
		}
		act, ok := actCards[n]
		if !ok {
			return th, refuse(ErrNotFound, "scan", "%s is not an act card of this program", tag)
		}
		th.Kind, th.Act, th.Says = "act", act, act
	default:
		return th, refuse(ErrNotFound, "scan", "%s is not one of our codes", tag)
	}
	return th, nil
}

// scanCode reads a code typed by hand: a place, a job or a part.
func (s *Store) scanCode(ctx context.Context, text string) (Thing, bool, error) {
	db := s.read.WithContext(ctx)
	var p Place
	if r := db.Where("upper(code) = ? AND outside = ?", text, false).Limit(1).Find(&p); r.Error != nil || r.RowsAffected > 0 {
		return Thing{Kind: "place", Text: p.Code, Says: p.Name, Place: &p}, r.RowsAffected > 0, r.Error
	}
	var j Job
	if r := db.Where("upper(code) = ?", text).Limit(1).Find(&j); r.Error != nil || r.RowsAffected > 0 {
		return Thing{Kind: "job", Text: j.Code, Says: j.Code + " " + j.Name, Job: &j}, r.RowsAffected > 0, r.Error
	}
	var pt Part
	if r := db.Where("upper(code) = ? AND merged_into IS NULL", text).Limit(1).Find(&pt); r.Error != nil || r.RowsAffected > 0 {
		return Thing{Kind: "part", Text: pt.Code, Says: pt.Code + " " + pt.Name, Part: &pt}, r.RowsAffected > 0, r.Error
	}
	var c partCode // of a merged record, or a foreign code that somebody linked
	if r := db.Where("folded = ?", bareCode(text)).Limit(1).Find(&c); r.Error != nil || r.RowsAffected == 0 {
		return Thing{}, false, r.Error
	}
	pt, err := s.Part(ctx, c.PartID)
	how := "was " + c.Code
	if c.Why == "linked" {
		how = "by the code " + c.Code
	}
	return Thing{Kind: "part", Text: pt.Code, Says: strings.TrimSpace(pt.Code+" "+pt.Name) + " (" + how + ")", Part: &pt}, err == nil, err
}
