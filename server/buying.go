package server

import (
	"bytes"
	"cmp"
	"context"
	"fmt"
	"net/http"
	"slices"
	"strings"

	"github.com/labstack/echo/v4"

	"brasspeg/server/access"
	"brasspeg/store"
	"brasspeg/store/reorder"
)

// mostLines is the most lines a list of buying shows; the exports have all.
const mostLines = 60

// buyingPage is today's list, the worst first.
type buyingPage struct {
	Day      string
	Readings []reading
	Lines    []buyRow
	More     int
	Batches  []batchRow
	Asleep   []buyRow
	Frees    []freedRow
	Shortest []coverRow
	Longest  []coverRow
	MayOrder bool
	Op       string
}

// buyRow is one line of the list.
type buyRow struct {
	Href, Code, Name string
	State            stateView
	Says             string
	Order, Supplier  string
	Sleeps           string
}

type batchRow struct {
	Supplier, CutOff, Lines, Total, Note string
	State                                stateView
}

type freedRow struct{ Href, Code, Says, Jobs, Price, Lead string }

type coverRow struct{ Href, Code, Name, Free, Weekly, Weeks string }

// levelState is a level as a word with a shape.
func levelState(l reorder.Level) stateView {
	switch l {
	case reorder.LateAlready:
		return stateView{l.String(), "◆", "no"}
	case reorder.OrderToday:
		return stateView{l.String(), "◇", "no"}
	case reorder.OrderSoon:
		return stateView{l.String(), "△", "warn"}
	case reorder.Watch:
		return stateView{l.String(), "○", ""}
	case reorder.Dead, reorder.TooMuch:
		return stateView{l.String(), "□", ""}
	}
	return stateView{"enough", "●", "yes"}
}

func buyHref(code string) string { return "/buying/parts/" + pathOf(code) }

func buyRowOf(l *store.BuyLine) buyRow {
	r := buyRow{Href: buyHref(l.Code), Code: l.Code, Name: l.Name, State: levelState(l.Advice.Alert.Level), Says: l.Advice.Alert.Sentence, Supplier: l.Supplier}
	if n := l.Advice.Order; n > 0 {
		r.Order = fmt.Sprint(n)
		if l.Drafted > 0 {
			r.Order += fmt.Sprintf(" (%d in drafts)", l.Drafted)
		}
	}
	if z := l.Snooze; z != nil {
		r.Sleeps = fmt.Sprintf("until %s: %s", z.UntilDay, z.Reason)
	}
	return r
}

// buyingPage shows what is to be ordered, why and by when: GET /buying.
func (s *Server) buyingPage(c echo.Context) error {
	ctx := c.Request().Context()
	b, err := s.store.Buying(ctx)
	if err != nil {
		return err
	}
	list, asleep := b.Today()
	v := buyingPage{Day: string(b.Day), MayOrder: s.may(c, access.EditOrders), Op: newOp()}
	count := map[reorder.Level]int{}
	for _, l := range list {
		count[l.Advice.Alert.Level]++
		if len(v.Lines) < mostLines {
			v.Lines = append(v.Lines, buyRowOf(l))
		}
	}
	v.More = len(list) - len(v.Lines)
	for _, l := range asleep[:min(mostLines, len(asleep))] {
		v.Asleep = append(v.Asleep, buyRowOf(l))
	}
	v.Readings = []reading{
		{"Late already", fmt.Sprint(count[reorder.LateAlready]), ""}, {"Order today", fmt.Sprint(count[reorder.OrderToday]), ""},
		{"Order soon", fmt.Sprint(count[reorder.OrderSoon]), ""}, {"Watch", fmt.Sprint(count[reorder.Watch]), ""},
		{"Asleep", fmt.Sprint(len(asleep)), ""}, {"Levels to look at", fmt.Sprint(len(b.Proposals())), ""},
	}
	batches, err := s.store.Batches(ctx, b)
	if err != nil {
		return err
	}
	for _, x := range batches[:min(mostLines, len(batches))] {
		v.Batches = append(v.Batches, batchOf(x, b.Day))
	}
	for _, f := range b.Frees[:min(20, len(b.Frees))] {
		r := freedRow{Code: f.Part, Says: f.Says, Jobs: strings.Join(f.Jobs, ", "), Price: "not known", Lead: "not known"}
		if f.Part != "" {
			r.Href = buyHref(f.Part)
		}
		if f.Currency != "" {
			r.Price = reorder.Money{Cents: f.PriceCents, Currency: f.Currency}.String()
		}
		if f.LeadDays > 0 {
			r.Lead = countDays(f.LeadDays)
		}
		if f.Owned {
			r.Says += " (the shop has one, which is not free in time)"
		}
		v.Frees = append(v.Frees, r)
	}
	short, long := b.Cover(10)
	v.Shortest, v.Longest = coverRows(short), coverRows(long)
	return s.page(c, http.StatusOK, "buying", "Buying", v)
}

func (s *Server) may(c echo.Context, r access.Right) bool {
	p, ok := actor(c)
	return ok && access.Of(p.role, r) != access.No
}

func countDays(n int) string { return count(int64(n), "day", "days") }

func batchOf(x reorder.Batch, today store.Day) batchRow {
	r := batchRow{Supplier: x.Supplier, CutOff: x.CutOff.String(), Lines: fmt.Sprint(len(x.Wishes)), State: stateView{"in time", "●", "yes"}}
	if r.Supplier == "" {
		r.Supplier = "no supplier recorded"
	}
	if x.Late {
		r.State = stateView{"late", "◆", "no"}
	}
	for _, m := range x.Total {
		r.Total = strings.TrimPrefix(r.Total+" and "+m.String(), " and ")
	}
	if x.Unpriced > 0 {
		r.Note = count(int64(x.Unpriced), "line has no price", "lines have no price")
	}
	if x.Missing.Currency != "" {
		r.Note = strings.TrimPrefix(r.Note+"; "+x.Missing.String()+" below the supplier's smallest order", "; ")
	}
	return r
}

func coverRows(list []*store.BuyLine) []coverRow {
	var out []coverRow
	for _, l := range list {
		w := l.Advice.Cover.Weeks()
		r := coverRow{Href: buyHref(l.Code), Code: l.Code, Name: l.Name, Free: l.Unit.Count(l.Advice.Free), Weekly: figure(l.Advice.Cover.Weekly, 2), Weeks: figure(w, 1)}
		if l.Advice.Cover.Weekly <= 0 && l.Advice.Free > 0 {
			r.Weeks = "no use"
		}
		out = append(out, r)
	}
	return out
}

// The other tables of buying.
type buyTablePage struct {
	Title, Says, What string
	Heads             []headView
	Rows              []buyTableRow
	More              int
	MayAccept         bool
}

type headView struct {
	Text string
	Num  bool
}

type buyTableRow struct {
	Href, Code, Name string
	Cells            []cellView
	Accept           *acceptView
}

type cellView struct {
	Text string
	Num  bool
}

type acceptView struct{ Op, Part, Point, Quantity string }

// buyingMoney ranks parts by money: GET /buying/money.
func (s *Server) buyingMoney(c echo.Context) error {
	b, err := s.store.Buying(c.Request().Context())
	if err != nil {
		return err
	}
	v := buyTablePage{Title: "Parts by money", What: "abc",
		Says:  "A: the dear and much used, up to 80 of 100 of the money; B: up to 95; C: the rest. The class sets how rarely a part may run out.",
		Heads: []headView{{"Class", false}, {"Pieces a year", true}, {"Price", true}, {"Money a year", true}, {"Running out at most", true}}}
	list := b.ByMoney()
	for _, l := range list[:min(mostLines, len(list))] {
		v.Rows = append(v.Rows, buyTableRow{Href: buyHref(l.Code), Code: l.Code, Name: l.Name, Cells: []cellView{
			{string(l.Class), false}, {figure(l.YearUse, 1), true}, {l.Price.String(), true},
			{reorder.Money{Cents: int64(l.YearValue * 100), Currency: l.Price.Currency}.String(), true}, {fmt.Sprintf("%s in 100", figure(100*(1-l.Service), 1)), true}}})
	}
	v.More = len(list) - len(v.Rows)
	return s.page(c, http.StatusOK, "buytable", v.Title, v)
}

// buyingLevels shows old, new and why; nothing changes until a manager accepts: GET /buying/levels.
func (s *Server) buyingLevels(c echo.Context) error {
	b, err := s.store.Buying(c.Request().Context())
	if err != nil {
		return err
	}
	v := buyTablePage{Title: "Levels to look at", What: "levels", MayAccept: s.may(c, access.ApproveOrders),
		Says:  "What stands in the books, what would be right today, and why. Levels never change by themselves.",
		Heads: []headView{{"Reorder point, old", true}, {"new", true}, {"Quantity, old", true}, {"new", true}, {"Why", false}}}
	list := b.Proposals()
	for _, l := range list[:min(mostLines, len(list))] {
		r := buyTableRow{Href: buyHref(l.Code), Code: l.Code, Name: l.Name, Cells: levelCells(l)}
		if v.MayAccept {
			r.Accept = acceptOf(l)
		}
		v.Rows = append(v.Rows, r)
	}
	v.More = len(list) - len(v.Rows)
	return s.page(c, http.StatusOK, "buytable", v.Title, v)
}

func acceptOf(l *store.BuyLine) *acceptView {
	return &acceptView{newOp(), l.Code, fmt.Sprint(l.Now.Point), fmt.Sprint(l.Now.Quantity)}
}

func levelCells(l *store.BuyLine) []cellView {
	old := func(n int) string {
		if l.Levels == nil {
			return "none"
		}
		return fmt.Sprint(n)
	}
	p := l.Proposal
	return []cellView{{old(p.Old.Point), true}, {fmt.Sprint(p.New.Point), true}, {old(p.Old.Quantity), true}, {fmt.Sprint(p.New.Quantity), true}, {sentence(p.Why), false}}
}

// buyingSurplus lists dead stock and too much, with the money tied up: GET /buying/surplus.
func (s *Server) buyingSurplus(c echo.Context) error {
	b, err := s.store.Buying(c.Request().Context())
	if err != nil {
		return err
	}
	v := buyTablePage{Title: "Dead stock and too much", What: "surplus",
		Says:  "What has not moved for a year and no planned job wants, and what would last for years. Park it in a marked drawer, sell it, or stop buying it.",
		Heads: []headView{{"State", false}, {"Free", true}, {"Too much", true}, {"Tied up", true}, {"Why", false}}}
	list := b.Surplus()
	for _, l := range list[:min(mostLines, len(list))] {
		a, tied := l.Advice.Alert, "no price"
		if a.Tied.Currency != "" {
			tied = a.Tied.String()
		}
		v.Rows = append(v.Rows, buyTableRow{Href: buyHref(l.Code), Code: l.Code, Name: l.Name, Cells: []cellView{
			{a.Level.String(), false}, {l.Unit.Count(l.Advice.Free), true}, {l.Unit.Count(a.Excess), true}, {tied, true}, {a.Sentence, false}}})
	}
	v.More = len(list) - len(v.Rows)
	return s.page(c, http.StatusOK, "buytable", v.Title, v)
}

// buyingTable hands out a table of buying: GET /buying/tables/:what?as=csv|xlsx.
func (s *Server) buyingTable(c echo.Context) error {
	ctx := c.Request().Context()
	what := c.Param("what")
	if what == "suppliers" {
		vs, err := s.store.Vendors(ctx)
		if err != nil {
			return err
		}
		return sendSheet(c, store.VendorSheet(vs))
	}
	b, err := s.store.Buying(ctx)
	if err != nil {
		return err
	}
	sh, err := b.Sheet(what)
	if err != nil {
		return err
	}
	sh.Name = what
	return sendSheet(c, sh)
}

// sendSheet sends a table as a file, CSV unless ?as=xlsx.
func sendSheet(c echo.Context, sh store.Sheet) error {
	var b bytes.Buffer
	kind, err := "text/csv; charset=utf-8", error(nil)
	as := c.QueryParam("as")
	switch as {
	case "", "csv":
		as, err = "csv", sh.WriteCSV(&b)
	case "xlsx":
		kind = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
		err = sh.WriteXLSX(&b)
	default:
		return &refusal{class: errInvalid, field: "as", detail: "a table comes as csv or xlsx"}
	}
	if err != nil {
		return err
	}
	c.Response().Header().Set("Content-Disposition", `attachment; filename="`+fileName(sh.Name)+"."+as+`"`)
	return c.Blob(http.StatusOK, kind, b.Bytes())
}

// fileName makes the name under which something is handed out: letters, digits and dashes,
// never empty and never one that a computer keeps for itself.
func fileName(of string) string {
	name := strings.Map(func(r rune) rune {
		if r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r >= '0' && r <= '9' || r == '-' {
			return r
		}
		return '-'
	}, of)
	if r := []rune(name); len(r) > 80 {
		name = string(r[:80])
	}
	return "crib-" + strings.Trim(name, "-")
}

// buyPartPage is one line opened: why, the curve, what to do.
type buyPartPage struct {
	Code, Name string
	State      stateView
	Says       string
	Plot       string
	PlotAlt    string
	Readings   []reading
	Facts      []factView
	Needs      []needRow
	Coming     []needRow
	Instead    []insteadRow
	Proposal   *buyTableRow
	Asleep     string
	MaySnooze  bool
	Op         string
	Tomorrow   string
	Record     string
}

type needRow struct{ Href, Who, Units, Day string }

type insteadRow struct{ Href, Code, Free, Changes string }

// buyingPartPage opens one line: GET /buying/parts/:code.
func (s *Server) buyingPartPage(c echo.Context) error {
	ctx := c.Request().Context()
	p, err := s.store.PartByCode(ctx, c.Param("code"))
	if err != nil {
		return err
	}
	l, err := s.store.BuyLine(ctx, p.ID)
	if err != nil {
		return err
	}
	instead, err := s.store.Instead(ctx, p.ID)
	if err != nil {
		return err
	}
	a := l.Advice
	v := buyPartPage{Code: l.Code, Name: l.Name, State: levelState(a.Alert.Level), Says: a.Alert.Sentence, Plot: buyHref(l.Code) + "/stock.svg",
		MaySnooze: s.may(c, access.EditOrders) && a.Alert.Level != reorder.Enough, Op: newOp(), Record: "/parts/" + pathOf(l.Code), Tomorrow: (l.Today() + 7).String()}
	switch {
	case l.Fault != "":
		v.State, v.Says = stateView{"not worked out", "△", "warn"}, sentence(l.Fault)
	case v.Says == "":
		v.Says = "There is enough; nothing is to be ordered within the watch."
	}
	v.PlotAlt = fmt.Sprintf("Stock of %s over time: %s now, reorder point %d, lead time %s. %s", l.Code, l.Unit.Count(l.OnHand), a.Point, l.Lead.Say(), v.Says)
	v.Readings = []reading{{"On hand", fmt.Sprint(l.OnHand), l.Unit.Many}, {"Promised", fmt.Sprint(l.Promised), l.Unit.Many}, {"Free", fmt.Sprint(a.Free), l.Unit.Many}, {"On order", fmt.Sprint(l.OnOrder), l.Unit.Many},
		{"Reorder point", fmt.Sprint(a.Point), l.Unit.Many}, {"At a time", fmt.Sprint(a.Quantity), "pieces"}}
	v.Facts = buyFacts(l)
	for _, n := range l.Needs {
		v.Needs = append(v.Needs, needRow{"/jobs/" + pathOf(n.Job), n.Job, l.Unit.Count(n.Left), n.Need.String()})
	}
	if v.Coming, err = s.coming(ctx, l); err != nil {
		return err
	}
	for _, x := range instead {
		v.Instead = append(v.Instead, insteadRow{"/parts/" + pathOf(x.Code), x.Code, fmt.Sprint(x.Free), x.Changes})
	}
	if l.Proposal != nil {
		v.Proposal = &buyTableRow{Cells: levelCells(l)}
		if s.may(c, access.ApproveOrders) {
			v.Proposal.Accept = acceptOf(l)
		}
	}
	if l.Snooze != nil {
		v.Asleep = fmt.Sprintf("Asleep until %s: %s.", l.Snooze.UntilDay, l.Snooze.Reason)
	}
	return s.page(c, http.StatusOK, "buypart", l.Code, v)
}

// coming are the orders and drafts that something of a part is still to come on.
func (s *Server) coming(ctx context.Context, l *store.BuyLine) ([]needRow, error) {
	orders, err := s.store.Orders(ctx, store.OrderFilter{Part: l.ID, Limit: mostLines})
	var out []needRow
	for _, o := range orders {
		for _, x := range o.Lines {
			if x.PartID != l.ID || x.Open() == 0 {
				continue
			}
			r := needRow{orderHref(o.Code), o.Code, l.Unit.Count(x.Open() * x.UnitsEach), string(x.DueDay)}
			if o.State == "draft" {
				r.Who, r.Day = o.Code+", a draft: not ordered yet", "not before it is approved"
			}
			out = append(out, r)
		}
	}
	return out, err
}

// classWords are the classes of demand as a person reads them.
var classWords = map[reorder.Class]string{reorder.Smooth: "steady", reorder.Erratic: "steady, of changing size", reorder.Intermittent: "now and then",
	reorder.Lumpy: "now and then, of changing size", reorder.NoDemand: "none seen"}

// demandWords are the class of a part's demand, and by what it was forecast from how long.
func demandWords(f reorder.Forecast) (class, how string) {
	if f.Class == reorder.NoDemand {
		return classWords[f.Class], "in " + countWeeks(f.Weeks)
	}
	return classWords[f.Class], string(f.Class) + ", forecast by " + f.Method + " from " + countWeeks(f.Weeks)
}

func buyFacts(l *store.BuyLine) []factView {
	a := l.Advice
	fs := []factView{}
	add := func(name, value, unit string) { fs = append(fs, factView{Name: name, Value: value, Unit: unit}) }
	if l.Reusable {
		r := l.Reuse
		add("Comes back", "bought by how many are wanted at once", "")
		add("Requests in a year", fmt.Sprint(r.Requests), fmt.Sprintf("%d found none", r.Refused))
		add("Wanted at once", fmt.Sprint(r.Peak), "on the busiest day; "+figure(r.InUse, 2)+" out on average")
		add("Out now", fmt.Sprint(l.Out), "pieces")
	} else {
		f := a.Forecast
		class, how := demandWords(f)
		add("Demand without a job", class, how)
		add("Use without a job", figure(f.Weekly, 2), l.Unit.Many+" a week")
		add("Use by planned jobs", figure(a.JobWeekly, 2), l.Unit.Many+" a week over the last year")
		add("Demand over the lead time", strings.ReplaceAll(a.Distribution, "poisson", "Poisson"), "safety "+figure(a.Safety, 1))
		add("Class of money", string(l.Class), fmt.Sprintf("%s of 100 order cycles without a shortage", figure(100*l.Service, 1)))
	}
	lead := l.Lead.Say()
	switch {
	case l.Guessed:
		add("Lead time", countDays(l.Lead.Plan), "a guess: neither quoted nor measured")
	case l.Lead.N == 0:
		add("Lead time", lead, "as quoted; nothing was measured yet")
	default:
		add("Lead time", lead, fmt.Sprintf("measured %d times, mean %s; planned with %d, the slow tail; quoted %d", l.Lead.N, figure(l.Lead.Mean, 1), l.Lead.Plan, l.Lead.Quoted))
	}
	if l.Held > 0 {
		add("Held back or lost", fmt.Sprint(l.Held), "pieces, in none of the figures")
	}
	pack := fmt.Sprintf("smallest order %d", max(1, l.Terms.MinOrder))
	add("Pack", fmt.Sprint(l.Pack), pack)
	if l.Price.Currency != "" {
		add("Price", l.Price.String(), "a piece")
	} else {
		add("Price", "not recorded", "so the quantity is four weeks of use")
	}
	if l.Supplier != "" {
		fs = append(fs, factView{Name: "Supplier", Value: l.Supplier, Href: "/suppliers/" + pathOf(l.Supplier)})
	}
	if l.Levels != nil {
		add("In the books", fmt.Sprintf("reorder at %d, %d at a time", l.Levels.Point, l.Levels.Quantity), l.Levels.Why)
	}
	return fs
}

func countWeeks(n int) string { return count(int64(n), "week", "weeks") }

// draftOrders turns the list into drafts: POST /buying/draft.
func (s *Server) draftOrders(c echo.Context, o store.Op, _ opIn) (string, store.Receipt, error) {
	r, err := s.store.DraftOrders(c.Request().Context(), o)
	return "/orders", r, err
}

type snoozeIn struct {
	opIn
	Part   string `json:"part"`
	Reason string `json:"reason"`
	Until  string `json:"until"`
}

// snooze puts an alert to sleep with a reason and a day: POST /buying/snooze.
func (s *Server) snooze(c echo.Context, o store.Op, in snoozeIn) (next string, r store.Receipt, err error) {
	ctx := c.Request().Context()
	p, err := s.store.PartByCode(ctx, in.Part)
	if err != nil {
		return "", r, err
	}
	r, err = s.store.Snooze(ctx, o, p.ID, in.Reason, store.Day(in.Until))
	return "/buying", r, err
}

type levelsIn struct {
	opIn
	Part     string `json:"part"`
	Point    typed  `json:"point"`
	Quantity typed  `json:"quantity"`
}

// acceptLevels writes the proposal that was seen into the books: POST /buying/levels.
func (s *Server) acceptLevels(c echo.Context, o store.Op, in levelsIn) (next string, r store.Receipt, err error) {
	point, err := number("point", in.Point)
	if err != nil {
		return "", r, err
	}
	quantity, err := number("quantity", in.Quantity)
	if err != nil {
		return "", r, err
	}
	ctx := c.Request().Context()
	p, err := s.store.PartByCode(ctx, in.Part)
	if err != nil {
		return "", r, err
	}
	r, err = s.store.AcceptLevels(ctx, o, p.ID, point, quantity)
	return "/buying/levels", r, err
}

// A buyView is a line of buying for programs.
type buyView struct {
	Part      string  `json:"part"`
	Name      string  `json:"name"`
	Level     string  `json:"level"`
	Sentence  string  `json:"sentence"`
	OrderBy   string  `json:"order_by,omitempty"`
	Order     int     `json:"order"`
	Supplier  string  `json:"supplier,omitempty"`
	Unit      string  `json:"unit"`
	OnHand    int     `json:"on_hand"`
	Promised  int     `json:"promised"`
	Free      int     `json:"free"`
	OnOrder   int     `json:"on_order"`
	Point     int     `json:"point"`
	Quantity  int     `json:"quantity"`
	Weekly    float64 `json:"weekly"`
	LeadDays  int     `json:"lead_days"`
	Class     string  `json:"class"`
	Asleep    bool    `json:"asleep"`
	StopsOn   string  `json:"stops_on,omitempty"`
	StopsWhat string  `json:"stops_job,omitempty"`
}

func buyViewOf(l *store.BuyLine) buyView {
	a := l.Advice
	v := buyView{Part: l.Code, Name: l.Name, Level: a.Alert.Level.String(), Sentence: a.Alert.Sentence, Order: a.Order, Supplier: l.Supplier, Unit: l.Unit.One, OnHand: l.OnHand,
		Promised: l.Promised, Free: a.Free, OnOrder: l.OnOrder, Point: a.Point, Quantity: a.Quantity, Weekly: a.Forecast.Weekly, LeadDays: l.Lead.Plan, Class: string(l.Class), Asleep: l.Quiet()}
	if a.Order > 0 {
		v.OrderBy = a.Alert.OrderBy.String()
	}
	if st := a.Alert.Stop; st.Known {
		v.StopsOn, v.StopsWhat = st.Day.String(), st.Job
	}
	return v
}

// listBuying is today's list for programs: GET /api/v1/buying.
func (s *Server) listBuying(c echo.Context) error {
	b, err := s.store.Buying(c.Request().Context())
	if err != nil {
		return err
	}
	todo, asleep := b.Today()
	var rows []buyView
	for _, l := range slices.Concat(todo, asleep) {
		if of := c.QueryParam("supplier"); of == "" || of == l.Supplier {
			rows = append(rows, buyViewOf(l))
		}
	}
	part := func(v buyView) string { return v.Part }
	return sendRows(c, rows, part, map[string]func(a, b buyView) int{"part": byText(part), "order_by": byText(func(v buyView) string { return cmp.Or(v.OrderBy, "9") })})
}

// getBuying is one part's line for programs: GET /api/v1/buying/:code.
func (s *Server) getBuying(c echo.Context) error {
	ctx := c.Request().Context()
	p, err := s.store.PartByCode(ctx, c.Param("code"))
	if err != nil {
		return err
	}
	l, err := s.store.BuyLine(ctx, p.ID)
	if err != nil {
		return err
	}
	return c.JSON(http.StatusOK, buyViewOf(l))
}
