package store

import (
	"context"

	"brasspeg/store/reorder"
)

// AlertsDue lists the alerts that are to go out on a way today ("mail" or "webhook"): each at
// most once a day unless it worsened, none that sleeps, the worst first.
func (s *Store) AlertsDue(ctx context.Context, way string) ([]*BuyLine, error) {
	b, err := s.Buying(ctx)
	if err != nil {
		return nil, err
	}
	var rows []struct {
		PartID       PartID
		Day, StopDay Day
		Level        int
	}
	if err := s.read.WithContext(ctx).Raw("SELECT part_id, day, stop_day, level FROM alerts_sent WHERE way = ?", way).Scan(&rows).Error; err != nil {
		return nil, err
	}
	sent := map[PartID]*reorder.Sent{}
	for _, r := range rows {
		x := &reorder.Sent{Day: mustDay(r.Day), Level: reorder.Level(r.Level)}
		if r.StopDay != "" {
			x.Stop = reorder.Stop{Known: true, Day: mustDay(r.StopDay)}
		}
		sent[r.PartID] = x
	}
	list, _ := b.Today()
	var out []*BuyLine
	for _, l := range list {
		if reorder.Due(l.Advice.Alert, sent[l.ID], nil, b.at) {
			out = append(out, l)
		}
	}
	return out, nil
}

// AlertsSent remembers what went out, after it went out: what is not remembered is sent again.
func (s *Store) AlertsSent(ctx context.Context, way string, lines []*BuyLine) error {
	return s.book(ctx, func(tx *Tx) error {
		for _, l := range lines {
			stop := Day("")
			if st := l.Advice.Alert.Stop; st.Known {
				stop = Day(st.Day.String())
			}
			if err := tx.exec(`INSERT INTO alerts_sent (part_id, way, day, level, stop_day, sent_at) VALUES (?,?,?,?,?,?)
				ON CONFLICT (part_id, way) DO UPDATE SET day = excluded.day, level = excluded.level, stop_day = excluded.stop_day, sent_at = excluded.sent_at`,
				l.ID, way, l.today.String(), int(l.Advice.Alert.Level), string(stop), tx.now); err != nil {
				return err
			}
		}
		return nil
	})
}
