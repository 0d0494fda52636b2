package shop

import (
	"encoding/json"
	"fmt"
	"time"

	"brasspeg/store/stack"
)

// shopOnly are the columns of parts.json that the stack check has no use for.
var shopOnly = []string{"name", "maker_code", "supplier", "pack", "min_order", "price_breaks", "spares", "grade", "application"}

// Stack returns the part as the stack check reads it.
func (p *Part) Stack() (*stack.Part, error) {
	var row map[string]json.RawMessage
	if err := json.Unmarshal(p.Row, &row); err != nil {
		return nil, fmt.Errorf("demo shop: part %s: %w", p.ID, err)
	}
	for _, col := range shopOnly {
		delete(row, col)
	}
	b, err := json.Marshal(row)
	if err != nil {
		return nil, fmt.Errorf("demo shop: part %s: %w", p.ID, err)
	}
	sp, err := stack.ReadPart(b)
	if err != nil {
		return nil, fmt.Errorf("demo shop: part %s: %w", p.ID, err)
	}
	return sp, nil
}

// Shelf returns what the shop has, one item a row of Pieces (part-used lots left out), and the
// whole catalogue. An item's ID is its part and its number in Pieces, until a store gives tags.
func (s *Shop) Shelf() ([]stack.Item, []*stack.Part, error) {
	byID := map[string]*stack.Part{}
	catalogue := make([]*stack.Part, 0, len(s.Parts))
	for i := range s.Parts {
		p, err := s.Parts[i].Stack()
		if err != nil {
			return nil, nil, err
		}
		byID[p.Code] = p
		catalogue = append(catalogue, p)
	}
	held := map[int][]stack.Reservation{}
	for _, r := range s.Reservations {
		held[r.Piece] = append(held[r.Piece], stack.Reservation{Job: r.Job, From: day(r.From), To: day(r.To), Qty: r.Qty})
	}
	names := map[string]string{}
	for _, v := range s.People {
		names[v.Code] = v.Name
		if v.Machine != "" {
			names[v.Code] += ", " + v.Machine
		}
	}
	var items []stack.Item
	for i, v := range s.Pieces {
		if v.PartUsed {
			continue
		}
		it := stack.Item{ID: fmt.Sprintf("%s/%d", v.Part, i), Part: byID[v.Part], Status: stack.Status(v.Status),
			Place: v.Place, Qty: v.Qty, Reserved: held[i], Why: v.Why}
		if v.Out != nil {
			it.Out = &stack.Issued{To: names[v.Out.To], Job: v.Out.Job, Due: day(v.Out.Due)}
		}
		items = append(items, it)
	}
	return items, catalogue, nil
}

// StackRequest returns what the job asks of the stack check.
func (s *Shop) StackRequest(j *Job) (stack.Request, error) {
	st := s.Station(j.Machine, j.Station)
	if st == nil {
		return stack.Request{}, fmt.Errorf("demo shop: job %s: no station %d on machine %s", j.Code, j.Station, j.Machine)
	}
	return stack.Request{
		Job: j.Code, NeedDate: day(j.Need), Until: day(j.Due),
		Station: stack.Station{Machine: j.Machine, Interface: st.Interface, CoolantPort: st.CoolantPort,
			CoolantMaxBar: stack.Some(st.CoolantMaxBar), MaxProjection: stack.Some(st.MaxProjection), MaxMassKg: stack.Some(st.MaxMassKg)},
		BoreStartD: j.Request.BoreStartD, Depth: j.Request.Depth, Clearance: j.Request.Clearance, Hand: j.Request.Hand,
		Insert:  stack.Wanted{Seat: j.Request.Insert.Seat, RE: stack.Some(j.Request.Insert.RE)},
		Coolant: j.Request.Coolant, CoolantBar: j.Request.CoolantBar, EdgesNeeded: j.Request.EdgesNeeded,
		Cutting: stack.Cutting{Group: j.KcGroup, VC: stack.Some(j.Cutting.VC), F: stack.Some(j.Cutting.F), AP: stack.Some(j.Cutting.AP)},
	}, nil
}

// day writes a time as the civil date the stack check reads.
func day(t time.Time) stack.Date { return stack.Date(t.Format(time.DateOnly)) }
