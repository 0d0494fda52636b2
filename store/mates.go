package store

import (
	"context"
	"slices"
	"strings"

	"brasspeg/store/stack"
)

// A Mates is what goes on one joint of a part: free first, then what is in the shop, then by code.
type Mates struct {
	Joint    stack.Joint
	Parts    []Found   // at most the limit asked for
	More     int       // parts beyond it
	Stations []Station // whose seat the joint is, by machine and number
}

// MatesOf lists what mates with each joint of a part, at most limit (1 to 50) a joint, with six
// queries however many there are. A part that the stack room does not place has none.
func (s *Store) MatesOf(ctx context.Context, p Part, limit int) ([]Mates, error) {
	limit = min(max(limit, 1), 50)
	facts, err := s.Facts(ctx, p.ID)
	if err != nil {
		return nil, err
	}
	m, err := p.fields(facts)
	if err != nil {
		return nil, err
	}
	sp, err := stack.ReadPartMap(m)
	if err != nil || sp.Kind == stack.Spare {
		return nil, nil // a record from before a rule: nothing is known to mate with it
	}
	shelf, err := s.Shelf(ctx)
	if err != nil {
		return nil, err
	}
	near := shelf.Neighbours(sp)
	codes := map[string]bool{}
	seats := false
	for _, n := range near {
		seats = seats || n.Joint.Family == stack.TurretSeat && n.Joint.Side == stack.Machine
		for _, q := range n.Parts[:min(len(n.Parts), mostMates)] {
			codes[q.Code] = true
		}
	}
	found, err := s.mates(ctx, codes)
	if err != nil {
		return nil, err
	}
	var stations []Station
	if seats {
		if stations, err = s.Stations(ctx, 0); err != nil {
			return nil, err
		}
	}
	var out []Mates
	var shown []PartID
	for _, n := range near {
		x := Mates{Joint: n.Joint, More: len(n.Parts)}
		for _, q := range n.Parts {
			if f, ok := found[q.Code]; ok {
				x.Parts = append(x.Parts, f)
			}
		}
		slices.SortStableFunc(x.Parts, func(a, b Found) int {
			rank := func(f Found) int {
				switch {
				case f.Free() > 0:
					return 0
				case f.OnHand > 0:
					return 1
				}
				return 2
			}
			return rank(a) - rank(b)
		})
		x.Parts = x.Parts[:min(limit, len(x.Parts))]
		x.More -= len(x.Parts)
		if n.Joint.Family == stack.TurretSeat && n.Joint.Side == stack.Machine {
			for _, st := range stations {
				if st.Interface == n.Joint.Code {
					x.Stations = append(x.Stations, st)
				}
			}
		}
		for _, f := range x.Parts {
			shown = append(shown, f.ID)
		}
		out = append(out, x)
	}
	bins, err := s.binsOf(ctx, shown)
	if err != nil {
		return nil, err
	}
	for i := range out {
		for j := range out[i].Parts {
			f := &out[i].Parts[j]
			f.Bins = bins[f.ID]
		}
	}
	return out, nil
}

// mostMates is how many parts of one joint are looked at for their numbers.
const mostMates = 300

// mates reads parts by code with their numbers.
func (s *Store) mates(ctx context.Context, codes map[string]bool) (map[string]Found, error) {
	out := map[string]Found{}
	if len(codes) == 0 {
		return out, nil
	}
	list := make([]string, 0, len(codes))
	for c := range codes {
		list = append(list, c)
	}
	slices.Sort(list)
	var ids []PartID
	if err := s.read.WithContext(ctx).Raw("SELECT id FROM parts WHERE code IN ? AND retired_at IS NULL ORDER BY code LIMIT 10000", list).Scan(&ids).Error; err != nil {
		return nil, err
	}
	found, err := s.standings(ctx, ids)
	for _, f := range found {
		out[f.Code] = f
	}
	return out, err
}

// binsOf names the bins that hold each part, by their order in the shop, with how many.
func (s *Store) binsOf(ctx context.Context, ids []PartID) (map[PartID][]InBin, error) {
	out := map[PartID][]InBin{}
	if len(ids) == 0 {
		return out, nil
	}
	var rows []struct {
		PartID PartID
		Code   string
		Qty    int64
	}
	err := s.read.WithContext(ctx).Raw(`SELECT i.part_id, p.code, sum(s.qty) AS qty FROM stock s JOIN items i ON i.id = s.item_id JOIN places p ON p.id = s.place_id
		WHERE i.part_id IN ? AND s.qty > 0 AND p.kind = 'bin' GROUP BY i.part_id, p.code, p.sort_key ORDER BY i.part_id, p.sort_key, p.code LIMIT 10000`, ids).Scan(&rows).Error
	for _, r := range rows {
		out[r.PartID] = append(out[r.PartID], InBin{r.Code, r.Qty})
	}
	return out, err
}

// FoundPart reads a part with its four numbers and its bins.
func (s *Store) FoundPart(ctx context.Context, id PartID) (Found, error) {
	found, err := s.standings(ctx, []PartID{id})
	if err == nil && len(found) == 0 {
		err = refuse(ErrNotFound, "part", "part %d is not known here", id)
	}
	if err != nil {
		return Found{}, err
	}
	bins, err := s.binsOf(ctx, []PartID{id})
	found[0].Bins = bins[id]
	return found[0], err
}

// KindCounts is how many parts in use there are of each kind.
func (s *Store) KindCounts(ctx context.Context) (map[string]int, error) {
	var rows []struct {
		Kind string
		N    int
	}
	err := s.read.WithContext(ctx).Raw("SELECT kind, count(*) AS n FROM parts WHERE retired_at IS NULL GROUP BY kind ORDER BY kind LIMIT 100").Scan(&rows).Error
	out := map[string]int{}
	for _, r := range rows {
		out[r.Kind] = r.N
	}
	return out, err
}

// JointSays is a joint in words for a person: which side, what it is, and its size or code.
func JointSays(j stack.Joint) string {
	side := map[stack.Side]string{stack.Machine: "machine side", stack.Workpiece: "workpiece side"}[j.Side]
	what := ""
	switch j.Family {
	case stack.TurretSeat:
		what = "turret seat " + j.Code
	case stack.Cylindrical:
		what = "bore ⌀"
		if j.Gender == "M" {
			what = "shank ⌀"
		}
		what += num(j.Size.V) + " mm"
	case stack.Coupling:
		what = "coupling " + j.Code
	case stack.Pocket:
		what = "pocket " + j.Code
		if j.Side == stack.Machine {
			what = "seat " + j.Code
		}
	default:
		what = "coolant end " + j.End()
	}
	return strings.TrimSuffix(what+", "+side, ", ")
}
