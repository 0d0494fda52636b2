// Package shop is the demo shop: four lathes, two turret systems, some 150 parts, some 290
// pieces and lots, nine people, four suppliers, twelve planned jobs and six months of history.
// Everything in it is invented: makers, people, customers, grades, codes and prices.
//
// The data stands in JSON files beside this one and is embedded in the program. Days in it
// are counted in working days (Monday to Friday) from today, so that the shop is always
// current: Load fixes them to a calendar. Sizes are millimetres, pressures bar, masses
// kilograms, torques newton metres, money integer cents with a currency.
//
// Six of the planned jobs can be built from what is free on their day; each of the other six
// cannot, for a reason of its own. README.md beside this file tells their stories.
package shop

import (
	"bytes"
	"embed"
	"encoding/json"
	"fmt"
	"io"
	"io/fs"
	"time"
)

//go:embed *.json
var files embed.FS

// A Break is the price of one piece from a quantity on.
type Break struct {
	From       int `json:"from"`
	PriceCents int `json:"price_cents"`
}

// A Part is a catalogue record in flat columns. Capital-letter names are the symbols of
// ISO 13399. A pointer that is nil was not recorded, which is not zero.
type Part struct {
	ID          string `json:"id"`
	Kind        string `json:"kind"` // holder, sleeve, bar, head, insert, hose, fitting, spare
	Name        string `json:"name"`
	Designation string `json:"designation"`
	Unit        string `json:"unit"` // mm, in, or in/mm, mm/in for a sleeve (outside/inside)

	Maker       string  `json:"maker"`
	MakerCode   string  `json:"maker_code"`
	Supplier    string  `json:"supplier"`
	PriceCents  int     `json:"price_cents"`
	Currency    string  `json:"currency"`
	LeadDays    int     `json:"lead_days"` // working days, as quoted
	Pack        int     `json:"pack"`      // pieces a box
	MinOrder    int     `json:"min_order"` // pieces
	PriceBreaks []Break `json:"price_breaks,omitempty"`

	WT       *float64 `json:"WT,omitempty"`
	CP       *float64 `json:"CP,omitempty"`
	TorqueNm *float64 `json:"torque_nm,omitempty"` // of its screws, as the maker gives it
	Spares   []string `json:"spares,omitempty"`    // parts it needs to work: screws, shims, keys, seals

	Interface string          `json:"interface,omitempty"` // holder
	DCONMS    *float64        `json:"DCONMS,omitempty"`    // sleeve, bar
	DCONWS    *float64        `json:"DCONWS,omitempty"`    // holder, sleeve
	LSC       *float64        `json:"LSC,omitempty"`       // holder, sleeve
	Clamp     string          `json:"clamp,omitempty"`     // holder: split, screws
	Coolant   json.RawMessage `json:"coolant,omitempty"`   // holder: "through" or "none"; bar, head: true or false

	Type      string `json:"type,omitempty"`       // sleeve: split, solid
	ForDamped *bool  `json:"for_damped,omitempty"` // sleeve
	Sealed    *bool  `json:"sealed,omitempty"`     // sleeve
	Index     string `json:"index,omitempty"`      // sleeve: plunger, scribe, none

	Construction string   `json:"construction,omitempty"` // bar
	OAL          *float64 `json:"OAL,omitempty"`          // bar
	OHX          *float64 `json:"OHX,omitempty"`          // bar
	OHN          *float64 `json:"OHN,omitempty"`          // bar
	CCWS         string   `json:"CCWS,omitempty"`         // bar
	Flat         *bool    `json:"flat,omitempty"`         // bar
	CoolantIn    []string `json:"coolant_in,omitempty"`   // bar

	CCMS string   `json:"CCMS,omitempty"` // head
	Hand string   `json:"HAND,omitempty"` // head, bar with its own pocket
	DMIN *float64 `json:"DMIN,omitempty"` // head, bar with its own pocket
	Seat string   `json:"seat,omitempty"` // head, bar with its own pocket, insert
	LF   *float64 `json:"LF,omitempty"`   // head

	RE          *float64 `json:"RE,omitempty"`          // insert
	Edges       int      `json:"edges,omitempty"`       // insert
	Grade       string   `json:"grade,omitempty"`       // insert
	Application string   `json:"application,omitempty"` // insert: range of ISO 513

	Ends []string `json:"ends,omitempty"` // hose, fitting: gender:thread
	LEN  *float64 `json:"LEN,omitempty"`  // hose

	// Row is the record as it stands in parts.json.
	Row json.RawMessage `json:"-"`
}

// Counted reports whether the part is kept as lots; all others are single pieces with a tag.
func (p *Part) Counted() bool { return p.Kind == "insert" || p.Kind == "fitting" || p.Kind == "spare" }

// A Station is a seat of a machine's turret.
type Station struct {
	No            int     `json:"no"`
	Interface     string  `json:"interface"`
	CoolantPort   string  `json:"coolant_port,omitempty"`
	CoolantMaxBar float64 `json:"coolant_max_bar"`
	MaxProjection float64 `json:"max_projection"`
	MaxMassKg     float64 `json:"max_mass_kg"`
	Note          string  `json:"note,omitempty"`
}

// A Machine is a lathe with the stations that carry boring stacks.
type Machine struct {
	Code     string    `json:"code"`
	Name     string    `json:"name"`
	Maker    string    `json:"maker"`
	Model    string    `json:"model"`
	Turret   string    `json:"turret"`
	PowerKW  float64   `json:"power_kw"`
	MaxRPM   int       `json:"max_rpm"`
	Stations []Station `json:"stations"`
}

// A Person works in the shop. Machine is the one an operator mostly runs.
type Person struct {
	Code    string `json:"code"`
	Name    string `json:"name"`
	Role    string `json:"role"` // attendant, operator, manager, admin
	Shift   string `json:"shift"`
	Machine string `json:"machine,omitempty"`
}

// A Supplier sells parts. LeadDays are working days as quoted; the history shows what is true.
type Supplier struct {
	Code          string `json:"code"`
	Name          string `json:"name"`
	Town          string `json:"town"`
	Email         string `json:"email"`
	Currency      string `json:"currency"`
	LeadDays      int    `json:"lead_days"`
	Cutoff        string `json:"cutoff"` // weekday by which an order must be in
	MinOrderCents int    `json:"min_order_cents"`
	CarriageCents int    `json:"carriage_cents"`
}

// A Place is where things lie.
type Place struct {
	Code string `json:"code"`
	Kind string `json:"kind"` // drawer, cell, part-used, inspection, lost, scrap
	Name string `json:"name"`
}

// An Out says who has a piece, for which job, since when and until when.
type Out struct {
	To    string
	Job   string
	Since time.Time
	Due   time.Time
}

// A Piece is one individual, or a lot counted together, as it stands today. Qty is 1 for an
// individual. Tags are given by the store in the order of the list.
type Piece struct {
	Part      string
	Place     string // where it lies; of a piece that is out, where it belongs
	Home      string // where it belongs, "" = where the others of its part lie
	Condition string
	Status    string // in, out, quarantine, lost
	Why       string // why it is held back or lost
	Out       *Out   // when Status is out

	Qty       int
	Lot       string // box or heat of inserts, "" of other lots
	PartUsed  bool   // a lot of inserts that have been in cut
	EdgesLeft int    // edges left on each, when PartUsed
}

// A Wanted insert is the pocket and nose radius (mm) a job asks for.
type Wanted struct {
	Seat string  `json:"seat"`
	RE   float64 `json:"RE"`
}

// A Request is what a job asks of its stack, without station and day.
type Request struct {
	BoreStartD  float64 `json:"bore_start_d"`
	Depth       float64 `json:"depth"`
	Clearance   float64 `json:"clearance"`
	Hand        string  `json:"hand"`
	Insert      Wanted  `json:"insert"`
	Coolant     bool    `json:"coolant"`
	CoolantBar  float64 `json:"coolant_bar"`
	EdgesNeeded int     `json:"edges_needed"`
}

// Cutting is the data the job is meant to run at.
type Cutting struct {
	VC float64 `json:"vc_m_min"`
	F  float64 `json:"feed_mm"` // mm/rev
	AP float64 `json:"ap_mm"`
}

// A Reservation promises Qty of a part to a job, both days included. Piece is the place in
// Shop.Pieces of the piece or lot it was taken from.
type Reservation struct {
	Job   string
	Part  string
	Piece int
	Qty   int
	From  time.Time
	To    time.Time
}

// A Job is a planned job.
type Job struct {
	Code     string
	Name     string
	Customer string
	Machine  string
	Station  int
	Material string // group of ISO 513: P, M, K, N, S, H
	KcGroup  int    // material number of VDI 3323
	Need     time.Time
	Due      time.Time
	Qty      int
	Story    string // one line for a reader of the demo
	Request  Request
	Cutting  Cutting
}

// Homes returns the drawer of each part that is or was in the shop, by part.
func (s *Shop) Homes() map[string]string {
	home := map[string]string{}
	put := func(part, place string) {
		if home[part] == "" {
			home[part] = place
		}
	}
	for _, v := range s.Pieces {
		if v.Home != "" {
			put(v.Part, v.Home)
		} else if v.Status != "quarantine" && v.Status != "lost" && !v.PartUsed {
			put(v.Part, v.Place)
		}
	}
	for _, g := range s.Rules.Gone {
		put(g.Part, g.Place)
	}
	return home
}

// A Shop is the whole demo shop as it stands on Today.
type Shop struct {
	Today        time.Time // midnight UTC
	Parts        []Part
	Machines     []Machine
	People       []Person
	Suppliers    []Supplier
	Places       []Place
	Pieces       []Piece
	Jobs         []Job
	Reservations []Reservation
	Rules        Rules // of the history, see Shop.History
}

// Part returns the part of that id, nil when there is none.
func (s *Shop) Part(id string) *Part {
	for i := range s.Parts {
		if s.Parts[i].ID == id {
			return &s.Parts[i]
		}
	}
	return nil
}

// Station returns a station of a machine by its number, nil when there is none.
func (s *Shop) Station(machine string, no int) *Station {
	for i := range s.Machines {
		if s.Machines[i].Code != machine {
			continue
		}
		for k := range s.Machines[i].Stations {
			if s.Machines[i].Stations[k].No == no {
				return &s.Machines[i].Stations[k]
			}
		}
	}
	return nil
}

type pieceRow struct {
	Part      string `json:"part"`
	Place     string `json:"place"`
	Home      string `json:"home,omitempty"`
	Condition string `json:"condition,omitempty"`
	Status    string `json:"status,omitempty"`
	Why       string `json:"why,omitempty"`
	Out       *struct {
		To    string `json:"to"`
		Job   string `json:"job"`
		Since int    `json:"since_in_workdays"`
		Due   int    `json:"due_in_workdays"`
	} `json:"out,omitempty"`
	Qty       int    `json:"qty,omitempty"`
	Lot       string `json:"lot,omitempty"`
	State     string `json:"state,omitempty"` // new, part_used
	EdgesLeft int    `json:"edges_left,omitempty"`
}

type jobRow struct {
	Code     string  `json:"code"`
	Name     string  `json:"name"`
	Customer string  `json:"customer"`
	Machine  string  `json:"machine"`
	Station  int     `json:"station"`
	Material string  `json:"material"`
	KcGroup  int     `json:"kc_group"`
	Need     int     `json:"need_in_workdays"`
	Due      int     `json:"due_in_workdays"`
	Qty      int     `json:"qty"`
	Story    string  `json:"story"`
	Request  Request `json:"request"`
	Cutting  Cutting `json:"cutting"`
	Reserves []struct {
		Part string `json:"part"`
		Qty  int    `json:"qty"`
		From int    `json:"from_in_workdays"`
		To   int    `json:"to_in_workdays"`
	} `json:"reserves,omitempty"`
}

// Load reads the embedded shop as Read does.
func Load(today time.Time) (Shop, error) { return Read(files, today) }

// Read reads a shop from its JSON files and fixes its days to the calendar around today, of
// which only the date in its own time zone counts. The data is checked whole: an unknown
// column, a code that names nothing, or a number out of range is an error that names the file
// and the row.
func Read(fsys fs.FS, today time.Time) (Shop, error) {
	y, m, d := today.Date()
	s := Shop{Today: time.Date(y, m, d, 0, 0, 0, 0, time.UTC)}
	var pieces []pieceRow
	var jobs []jobRow
	var rules []Rules
	var raw []json.RawMessage
	for _, f := range []struct {
		name string
		read func([]byte, string) error
	}{
		{"parts.json", into(&raw)}, {"machines.json", into(&s.Machines)}, {"people.json", into(&s.People)},
		{"suppliers.json", into(&s.Suppliers)}, {"places.json", into(&s.Places)},
		{"pieces.json", into(&pieces)}, {"jobs.json", into(&jobs)}, {"history.json", into(&rules)},
	} {
		b, err := fs.ReadFile(fsys, f.name)
		if err != nil {
			return Shop{}, fmt.Errorf("demo shop: %w", err)
		}
		if err := f.read(b, f.name); err != nil {
			return Shop{}, err
		}
	}
	for i, row := range raw {
		var p Part
		if err := strict(row, &p); err != nil {
			return Shop{}, fmt.Errorf("demo shop: parts.json row %d: %w", i+1, err)
		}
		p.Row = row
		s.Parts = append(s.Parts, p)
	}
	if len(rules) != 1 {
		return Shop{}, fmt.Errorf("demo shop: history.json has %d sets of rules; it needs one", len(rules))
	}
	s.Rules = rules[0]
	for _, r := range pieces {
		s.Pieces = append(s.Pieces, s.piece(r))
	}
	if err := s.plan(jobs); err != nil {
		return Shop{}, err
	}
	if err := s.check(); err != nil {
		return Shop{}, err
	}
	return s, nil
}

// piece fixes the days of a row.
func (s *Shop) piece(r pieceRow) Piece {
	p := Piece{Part: r.Part, Place: r.Place, Home: r.Home, Condition: r.Condition, Status: r.Status, Why: r.Why,
		Qty: r.Qty, Lot: r.Lot, PartUsed: r.State == "part_used", EdgesLeft: r.EdgesLeft}
	if p.Status == "" {
		p.Status = "in"
	}
	if p.Qty == 0 {
		p.Qty = 1
	}
	if r.Out != nil {
		p.Status = "out"
		p.Out = &Out{To: r.Out.To, Job: r.Out.Job, Since: Workday(s.Today, r.Out.Since), Due: Workday(s.Today, r.Out.Due)}
	}
	return p
}

// plan fixes the days of the jobs and takes what they have reserved from the first pieces and
// new lots that are in and not yet promised.
func (s *Shop) plan(rows []jobRow) error {
	promised := make([]int, len(s.Pieces))
	for _, r := range rows {
		s.Jobs = append(s.Jobs, Job{Code: r.Code, Name: r.Name, Customer: r.Customer, Machine: r.Machine, Station: r.Station,
			Material: r.Material, KcGroup: r.KcGroup, Need: Workday(s.Today, r.Need), Due: Workday(s.Today, r.Due),
			Qty: r.Qty, Story: r.Story, Request: r.Request, Cutting: r.Cutting})
		for _, v := range r.Reserves {
			left := v.Qty
			for i := range s.Pieces {
				p := &s.Pieces[i]
				if p.Part != v.Part || p.Status != "in" || p.PartUsed || left == 0 {
					continue
				}
				if n := min(left, p.Qty-promised[i]); n > 0 {
					promised[i] += n
					left -= n
					s.Reservations = append(s.Reservations, Reservation{Job: r.Code, Part: v.Part, Piece: i, Qty: n,
						From: Workday(s.Today, v.From), To: Workday(s.Today, v.To)})
				}
			}
			if left > 0 {
				return fmt.Errorf("demo shop: jobs.json: %s reserves %d %s, %d too many; only pieces that are in can be promised", r.Code, v.Qty, v.Part, left)
			}
		}
	}
	return nil
}

// into returns a reader of a JSON list that names the row it stumbles over.
func into[T any](rows *[]T) func([]byte, string) error {
	return func(b []byte, name string) error {
		dec := json.NewDecoder(bytes.NewReader(b))
		dec.DisallowUnknownFields()
		if t, err := dec.Token(); err != nil || t != json.Delim('[') {
			return fmt.Errorf("demo shop: %s: starts with %v, want a list (%v)", name, t, err)
		}
		for dec.More() {
			var row T
			if err := dec.Decode(&row); err != nil {
				return fmt.Errorf("demo shop: %s row %d, line %d: %w", name, len(*rows)+1,
					1+bytes.Count(b[:dec.InputOffset()], []byte{'\n'}), err)
			}
			*rows = append(*rows, row)
		}
		if _, err := dec.Token(); err != nil {
			return fmt.Errorf("demo shop: %s: list is not closed: %w", name, err)
		}
		if _, err := dec.Token(); err != io.EOF {
			return fmt.Errorf("demo shop: %s: something follows the list", name)
		}
		return nil
	}
}

// strict decodes one object and refuses columns it does not know.
func strict(b []byte, v any) error {
	dec := json.NewDecoder(bytes.NewReader(b))
	dec.DisallowUnknownFields()
	return dec.Decode(v)
}
