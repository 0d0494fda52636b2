package stack

import (
	"encoding/json"
	"fmt"
	"reflect"
)

// A Case is a request with its own shelf, as the reference cases write it. Err says why it was
// refused; the others of the file are answered all the same.
type Case struct {
	ID        string
	Title     string
	Request   Request
	Items     []Item
	Catalogue []*Part
	Err       error

	copies []int // per item: how many of the same id stand before it
}

// maxCases bounds one file, maxShelf the parts of one case.
const (
	maxCases = 100_000
	maxShelf = 2_000_000
)

// ReadCases reads cases from JSON: a case, a list of cases, {"cases": […]}, or several of
// these one after the other. The error is for a text that is no such thing, with the line; a
// fault inside a case is that case's Err.
func ReadCases(b []byte) ([]Case, error) {
	all, err := parse(b)
	if err != nil {
		return nil, err
	}
	var out []Case
	for _, n := range all {
		list := []*node{n}
		switch v := n.val.(type) {
		case []*node:
			list = v
		case *object:
			c := v.field["cases"]
			if c == nil {
				break
			}
			l, ok := c.val.([]*node)
			if !ok {
				return nil, &BadField{Field: "cases", Line: c.line, Why: "must be a list in brackets"}
			}
			list = l
		default:
			return nil, &BadField{Field: "the file", Line: n.line, Why: "must be a case, a list of cases, or an object with cases"}
		}
		for _, c := range list {
			out = append(out, readCase(c))
		}
	}
	if len(all) == 0 {
		return nil, &BadField{Field: "the file", Line: 1, Why: "is empty; write a case, a list of cases, or an object with cases"}
	}
	if len(out) > maxCases {
		return nil, &BadField{Field: "cases", Line: 1, Why: fmt.Sprintf("%d cases; at most %d in one file", len(out), maxCases)}
	}
	return out, nil
}

func readCase(n *node) Case {
	var c Case
	rebase(n, "")
	f := open(n)
	c.ID, c.Title = f.text("id"), f.text("title")
	for _, k := range []string{"note", "expected"} { // told to people and tests, not to the search
		f.take(k)
	}
	f.need("request")
	if s := f.sub("request"); s != nil {
		r, err := readRequest(s)
		c.Request = r
		f.keep(err)
	}
	f.need("on_hand")
	for i, n := range f.list("on_hand") {
		if i >= maxShelf {
			f.fail("on_hand", "more than %d parts", maxShelf)
			break
		}
		it, err := readItem(open(n))
		f.keep(err)
		c.add(f, it)
		if f.err != nil {
			break
		}
	}
	for _, n := range f.list("catalogue") {
		s := open(n)
		p := readPart(s)
		if p.Code == "" {
			s.fail("id", "is missing")
		}
		f.keep(s.close())
		c.Catalogue = append(c.Catalogue, p)
	}
	c.Err = f.close()
	return c
}

// add takes an item in. An id may stand several times when the sizes agree: those are pieces
// of one part.
func (c *Case) add(f *form, it Item) {
	n := 0
	for i := len(c.Items) - 1; i >= 0; i-- {
		if c.Items[i].ID != it.ID {
			continue
		}
		n = c.copies[i] + 1
		if !reflect.DeepEqual(c.Items[i].Part, it.Part) {
			f.fail("on_hand", "%s is given twice with different sizes", it.ID)
			return
		}
		it.Part = c.Items[i].Part
		break
	}
	c.Items, c.copies = append(c.Items, it), append(c.copies, n)
}

// rebase gives the paths below a case without the place of the case in its file: the line
// tells that already.
func rebase(n *node, path string) {
	n.path = path
	switch v := n.val.(type) {
	case *object:
		for _, k := range v.keys {
			p := k
			if path != "" {
				p = path + "." + k
			}
			rebase(v.field[k], p)
		}
	case []*node:
		for i, e := range v {
			rebase(e, fmt.Sprintf("%s[%d]", path, i))
		}
	}
}

// Shelf lays the case's parts on a shelf.
func (c *Case) Shelf() (*Shelf, error) {
	s, err := NewShelf(nil, c.Catalogue)
	if err != nil {
		return nil, err
	}
	for i, it := range c.Items {
		if err := s.putCopy(it, c.copies[i]); err != nil {
			return nil, err
		}
	}
	return s, nil
}

// Check answers the case; the error is a *BadField for a case that was refused.
func (c *Case) Check() (Verdict, error) {
	if c.Err != nil {
		return Verdict{}, c.Err
	}
	s, err := c.Shelf()
	if err != nil {
		return Verdict{}, err
	}
	v, err := s.Check(c.Request)
	if err == nil {
		s.Easier(c.Request, &v)
		s.OtherRoute(c.Request, &v)
	}
	return v, err
}

// readItem reads a part on hand: the part's columns and where it stands.
func readItem(f *form) (Item, error) {
	f.need("id")
	f.need("status")
	it := Item{Part: readPart(f)}
	it.ID = f.text("id")
	if it.Part.Code == "" {
		it.Part.Code = it.ID
	}
	it.Status = Status(f.oneOf("status", string(In), string(Out), string(Quarantine), string(Lost), string(OnOrder), "ordered"))
	if it.Status == "ordered" {
		it.Status = OnOrder
	}
	it.Place, it.Why, it.Due, it.Ordered = f.text("place"), f.text("why"), f.date("due"), f.date("ordered")
	it.Qty = 1
	q, ok := f.whole("qty", 0, 1_000_000_000)
	if ok {
		it.Qty = q
	} else if it.Part.Kind == Insert {
		f.fail("qty", "is missing: how many unused pieces?")
	}
	if s := f.sub("out"); s != nil {
		it.Out = &Issued{To: s.text("to"), Job: s.text("job"), Due: s.date("due")}
		f.keep(s.close())
	}
	for _, n := range f.list("reserved") {
		s := open(n)
		s.need("from")
		s.need("to")
		v := Reservation{Job: s.text("job"), From: s.date("from"), To: s.date("to")}
		v.Qty, _ = s.whole("qty", 1, 1_000_000_000)
		if v.To < v.From {
			s.fail("to", "%s is before %s", v.To, v.From)
		}
		f.keep(s.close())
		it.Reserved = append(it.Reserved, v)
	}
	return it, f.close()
}

// ReadRequest reads a request from a JSON object, with the fields of the reference cases.
// Unknown, missing, impossible and contradictory fields are a *BadField.
func ReadRequest(b []byte) (*Request, error) {
	all, err := parse(b)
	if err != nil {
		return nil, err
	}
	if len(all) != 1 {
		return nil, &BadField{Field: "request", Line: 1, Why: fmt.Sprintf("one object expected, %d found", len(all))}
	}
	rebase(all[0], "request")
	r, err := readRequest(open(all[0]))
	if err != nil {
		return nil, err
	}
	return &r, nil
}

// ReadRequestMap is ReadRequest for a request already decoded into a map.
func ReadRequestMap(m map[string]any) (*Request, error) {
	b, err := json.Marshal(m)
	if err != nil {
		return nil, &BadField{Field: "request", Why: err.Error()}
	}
	r, err := ReadRequest(b)
	if bad := (*BadField)(nil); asBad(err, &bad) {
		bad.Line = 0 // a map has no lines
	}
	return r, err
}

func readRequest(f *form) (Request, error) {
	var r Request
	for _, k := range []string{"need_date", "station", "bore_start_d", "depth", "clearance", "hand", "insert"} {
		f.need(k)
	}
	r.Job, r.Today, r.NeedDate, r.Until = f.text("job"), f.date("today"), f.date("need_date"), f.date("until")
	if s := f.sub("station"); s != nil {
		s.need("interface")
		r.Station = Station{
			Machine: s.text("machine"), Interface: s.text("interface"), CoolantPort: s.text("coolant_port"),
			CoolantMaxBar: s.number("coolant_max_bar", 0, 5000),
			MaxProjection: positive(s, "max_projection", maxLen), MaxMassKg: positive(s, "max_mass_kg", 5000),
		}
		if p := r.Station.CoolantPort; p != "" && portEnd(p) == "" {
			s.fail("coolant_port", "%q is no port; write gender and thread, as F:G 1/4", p)
		}
		f.keep(s.close())
	}
	r.BoreStartD = f.number("bore_start_d", 0, maxDia).V
	r.Depth = f.number("depth", 0.1, maxLen).V
	r.Clearance = f.number("clearance", 0, maxLen).V
	r.BoreEndD = f.number("bore_end_d", minBore, maxDia)
	r.Hand = f.oneOf("hand", "R", "L", "N")
	if s := f.sub("insert"); s != nil {
		r.Insert = Wanted{Seat: s.text("seat"), RE: s.number("RE", 0, 100)}
		if d := s.text("designation"); d != "" {
			seat, re, ok := seatOf(d)
			switch {
			case !ok:
				s.fail("designation", "%q is no insert name that tells its pocket", d)
			case r.Insert.Seat != "" && seatKey(r.Insert.Seat) != seatKey(seat):
				s.fail("designation", "%q fits %s, asked is %s", d, seat, r.Insert.Seat)
			default:
				r.Insert.Seat = seat
				if !r.Insert.RE.Known {
					r.Insert.RE = re
				}
			}
		} else {
			s.need("seat")
		}
		f.keep(s.close())
	}
	r.Coolant = f.flag("coolant")
	if r.Coolant {
		f.need("coolant_bar")
	}
	r.CoolantBar = f.number("coolant_bar", 0, 5000).V
	r.EdgesNeeded, _ = f.whole("edges_needed", 0, 1_000_000_000)
	if s := f.sub("cutting"); s != nil {
		r.Cutting = Cutting{VC: positive(s, "vc", 5000), F: positive(s, "f", 50), AP: positive(s, "ap", 100), Eta: positive(s, "eta", 1)}
		r.Cutting.Group, _ = s.whole("group", 1, 41)
		f.keep(s.close())
	}
	if g, ok := f.whole("material_group", 1, 41); ok {
		if r.Cutting.Group != 0 && r.Cutting.Group != g {
			f.fail("material_group", "%d disagrees with cutting.group %d", g, r.Cutting.Group)
		}
		r.Cutting.Group = g
	}
	if err := f.close(); err != nil {
		return r, err
	}
	if err := r.Validate(); err != nil {
		if bad := (*BadField)(nil); asBad(err, &bad) {
			bad.Line = f.n.line
			if n := f.find(bad.Field); n != nil {
				bad.Line = n.line
			}
		}
		return r, err
	}
	return r, nil
}

// find returns the node with that path below f, nil when there is none.
func (f *form) find(path string) *node {
	var walk func(n *node) *node
	walk = func(n *node) *node {
		if n.path == path {
			return n
		}
		if o, ok := n.val.(*object); ok {
			for _, k := range o.keys {
				if m := walk(o.field[k]); m != nil {
					return m
				}
			}
		}
		return nil
	}
	return walk(f.n)
}
