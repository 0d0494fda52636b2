package server

import (
	"context"
	"fmt"
	"net/http"
	"strings"

	"github.com/labstack/echo/v4"

	"brasspeg/server/access"
	"brasspeg/store"
	"brasspeg/store/reorder"
)

type ordersPage struct {
	Orders    []purchaseRow
	Suppliers []hitRow
	MayOrder  bool
	Op, Today string
	Shown     string // which of all, when not all are
	Older     string // where the next are
}

// mostOnPage is the most orders a page of the list shows.
const mostOnPage = 100

type purchaseRow struct {
	Href, Code, Supplier, CutOff, Lines, Total, Due string
	State                                           stateView
}

func stageState(o store.OrderView, today store.Day) stateView {
	stage := o.Stage()
	late := false
	for _, l := range o.Lines {
		late = late || l.Open() > 0 && l.DueDay != "" && l.DueDay < today
	}
	switch {
	case stage == "draft" && o.CutoffDay < today:
		return stateView{"draft, past its day", "◆", "no"}
	case stage == "draft":
		return stateView{stage, "△", "warn"}
	case stage == "all here":
		return stateView{stage, "●", "yes"}
	case stage == "cancelled":
		return stateView{stage, "□", ""}
	case late:
		return stateView{stage + ", late", "◇", "no"}
	}
	return stateView{stage, "○", ""}
}

func totalText(o store.OrderView) string {
	total, unpriced := o.Total()
	var parts []string
	for _, m := range total {
		parts = append(parts, m.String())
	}
	if unpriced > 0 {
		parts = append(parts, count(int64(unpriced), "line without a price", "lines without a price"))
	}
	return strings.Join(parts, ", ")
}

// ordersPage lists orders: GET /orders?skip=.
func (s *Server) ordersPage(c echo.Context) error {
	ctx := c.Request().Context()
	skip := 0
	if t := c.QueryParam("skip"); t != "" {
		n, err := store.ReadWhole("skip", t, 0, mostTyped)
		if err != nil {
			return err
		}
		skip = int(n)
	}
	all, err := s.store.Orders(ctx, store.OrderFilter{Limit: mostOnPage + 1, Skip: skip})
	if err != nil {
		return err
	}
	suppliers, err := s.store.Suppliers(ctx)
	if err != nil {
		return err
	}
	v := ordersPage{MayOrder: s.may(c, access.EditOrders), Op: newOp(), Today: string(s.store.Today())}
	if len(all) > mostOnPage {
		all, v.Older = all[:mostOnPage], fmt.Sprintf("/orders?skip=%d", skip+mostOnPage)
	}
	if v.Older != "" || skip > 0 {
		v.Shown = fmt.Sprintf("Orders %d to %d.", skip+1, skip+len(all))
	}
	for _, o := range all {
		r := purchaseRow{Href: orderHref(o.Code), Code: o.Code, Supplier: o.SupplierName, CutOff: string(o.CutoffDay), Lines: fmt.Sprint(len(o.Lines)), Total: totalText(o), State: stageState(o, s.store.Today())}
		for _, l := range o.Lines {
			if l.Open() > 0 && o.State == "approved" && l.DueDay != "" && (r.Due == "" || string(l.DueDay) < r.Due) {
				r.Due = string(l.DueDay)
			}
		}
		v.Orders = append(v.Orders, r)
	}
	for _, x := range suppliers {
		v.Suppliers = append(v.Suppliers, hitRow{Code: x.Code, Name: x.Name})
	}
	return s.page(c, http.StatusOK, "orders", "Orders", v)
}

type orderPage struct {
	Code, Supplier, SupplierHref string
	State                        stateView
	Says                         string
	Facts                        []factView
	Lines                        []orderLineRow
	Href                         string
	MayEdit, MayApprove          bool
	MayReceive, MayClose         bool
	Op, OpCancel, OpAdd, Version string
	OpOrdered, Ordered, Promised string   // when it really went out
	Received                     []hitRow // tags made by the last delivery, to be printed at once
	ReceivedPrint                string   // labels of all of them
	Late                         string   // a draft whose cut-off comes after the last day to order
	Events                       []orderEventRow
}

type orderEventRow struct {
	When, By, Says string
	Undone         bool
	Tags           []hitRow
	Print          string // labels of what a delivery brought
	Op, OpID       string // to take a delivery back
}

type orderLineRow struct {
	ID, Href, Part, Name, Pieces, Packs, Pack, Price, Due, Why string
	Received, Open, Amount, Currency                           string // Amount, Currency: the price, for the field
	HasOpen, Packed                                            bool   // Packed: sold by more than one
	Op, OpClose, OpPrice                                       string
	Closed                                                     bool
}

// orderPage shows one order: GET /orders/:code. ?got=TAG names what came in just now.
func (s *Server) orderPage(c echo.Context) error {
	ctx := c.Request().Context()
	o, err := s.store.Order(ctx, c.Param("code"))
	if err != nil {
		return err
	}
	v := orderPage{Code: o.Code, Supplier: o.SupplierName, SupplierHref: "/suppliers/" + pathOf(o.Supplier), State: stageState(o, s.store.Today()), Href: orderHref(o.Code),
		MayEdit: o.State == "draft" && s.may(c, access.EditOrders), MayApprove: o.State == "draft" && len(o.Lines) > 0 && s.may(c, access.ApproveOrders),
		MayReceive: o.State == "approved" && s.may(c, access.MovePieces), MayClose: o.State == "approved" && s.may(c, access.ApproveOrders),
		Op: newOp(), OpCancel: newOp(), OpAdd: newOp(), Version: fmt.Sprint(o.Version)}
	v.Says = fmt.Sprintf("%s, cut-off %s.", count(int64(len(o.Lines)), "line", "lines"), o.CutoffDay)
	if t := totalText(o); t != "" {
		v.Says += " " + t + "."
	}
	v.Facts = []factView{{Name: "Supplier", Value: o.SupplierName, Href: v.SupplierHref}, {Name: "Drafted", Value: clock(o.MadeAt.Time), Unit: "by " + o.Maker}}
	if o.State == "approved" {
		v.Facts = append(v.Facts, factView{Name: "Approved", Value: clock(o.ApprovedAt.Time), Unit: "by " + o.Approver}, factView{Name: "Ordered", Value: string(o.OrderedDay), Unit: "the lead time counts from here"})
	}
	if v.MayClose {
		v.OpOrdered, v.Ordered = newOp(), string(o.OrderedDay)
	}
	for _, l := range o.Lines {
		if v.MayClose && v.Promised < string(l.DueDay) {
			v.Promised = string(l.DueDay)
		}
		r := orderLineRow{ID: fmt.Sprint(l.ID), Href: buyHref(l.Part), Part: l.Part, Name: l.Name, Pieces: fmt.Sprint(l.Pieces), Pack: fmt.Sprint(l.Pack), Packs: fmt.Sprint(l.Pieces / max(1, l.Pack)), Price: "not known",
			Due: string(l.DueDay), Why: l.Why, Received: fmt.Sprint(l.Received), Open: fmt.Sprint(l.Open()), HasOpen: l.Open() > 0, Packed: l.Pack > 1, Op: newOp(), OpClose: newOp(), OpPrice: newOp(), Closed: !l.ClosedAt.IsZero()}
		if l.PriceCents != nil {
			r.Price = reorder.Money{Cents: *l.PriceCents, Currency: l.Currency}.String()
			r.Amount, r.Currency = money2(int(*l.PriceCents)), l.Currency
		}
		if l.Owner != "" {
			r.Why = strings.TrimSpace("Consigned, stays " + l.Owner + "'s until issued. " + r.Why)
		}
		v.Lines = append(v.Lines, r)
	}
	var got []string
	for _, tag := range c.QueryParams()["got"] {
		if t, err := parseTag("got", tag); err == nil && len(v.Received) < mostTags {
			v.Received, got = append(v.Received, hitRow{Href: "/pieces/" + pathOf(t.text), Code: t.text}), append(got, t.text)
		}
	}
	if len(got) > 1 {
		v.ReceivedPrint = s.labelLink(c, strings.Join(got, ", "))
	}
	if o.State == "draft" {
		if v.Late, err = s.draftLate(ctx, o); err != nil {
			return err
		}
	}
	if o.State == "approved" {
		if v.Events, err = s.orderEvents(c, o); err != nil {
			return err
		}
	}
	return s.page(c, http.StatusOK, "order", o.Code, v)
}

type newOrderIn struct {
	opIn
	Supplier string `json:"supplier"`
	CutOff   string `json:"cutoff"`
	Note     string `json:"note"`
}

// addOrder makes an empty draft: POST /orders.
func (s *Server) addOrder(c echo.Context, o store.Op, in newOrderIn) (next string, r store.Receipt, err error) {
	ctx := c.Request().Context()
	v, err := s.store.Vendor(ctx, in.Supplier)
	if err != nil {
		return "", r, err
	}
	r, err = s.store.NewOrder(ctx, o, v.ID, store.Day(in.CutOff), in.Note)
	return orderHref(r.Says), r, err
}

func orderHref(code string) string { return "/orders/" + pathOf(code) }

type orderLineIn struct {
	opIn
	Part     string `json:"part"`
	Pieces   typed  `json:"pieces"`
	Price    typed  `json:"price"`
	Currency string `json:"currency"`
	Owner    string `json:"owner"`
	Due      string `json:"due"`
	Seen     string `json:"seen"`
}

// setOrderLine edits a draft: POST /orders/:code/lines. 0 pieces take the line off.
func (s *Server) setOrderLine(c echo.Context, o store.Op, in orderLineIn) (next string, r store.Receipt, err error) {
	pieces, err := number("pieces", in.Pieces)
	if err != nil {
		return "", r, err
	}
	ctx := c.Request().Context()
	p, err := s.store.PartByCode(ctx, in.Part)
	if err != nil {
		return "", r, err
	}
	line := store.LineIn{Order: c.Param("code"), Part: p.ID, Pieces: pieces, Owner: in.Owner, Due: store.Day(in.Due), Seen: in.Seen == "yes"}
	if in.Price != "" {
		m, err := moneyOf("price", string(in.Price), in.Currency)
		if err != nil {
			return "", r, err
		}
		line.Price = &m
	}
	r, err = s.store.SetLine(ctx, o, line)
	return orderHref(line.Order), r, err
}

// moneyOf reads an amount that a person typed; without a currency it is refused.
func moneyOf(field, amount, currency string) (reorder.Money, error) {
	cents, err := store.ReadCents(field, amount)
	if err != nil {
		return reorder.Money{}, err
	}
	if currency == "" {
		return reorder.Money{}, &refusal{class: errInvalid, field: "currency", detail: "the price " + clip(amount) + " has no currency; write it with one, such as EUR"}
	}
	return reorder.Money{Cents: cents, Currency: strings.ToUpper(currency)}, nil
}

type approveIn struct {
	opIn
	Version typed `json:"version"`
}

// approveOrder lets a draft count as ordered: POST /orders/:code/approval.
func (s *Server) approveOrder(c echo.Context, o store.Op, in approveIn) (next string, r store.Receipt, err error) {
	version, err := number("version", in.Version)
	if err != nil {
		return "", r, err
	}
	r, err = s.store.ApproveOrder(c.Request().Context(), o, c.Param("code"), version)
	return orderHref(c.Param("code")), r, err
}

// cancelOrder drops a draft: POST /orders/:code/cancellation.
func (s *Server) cancelOrder(c echo.Context, o store.Op, _ opIn) (string, store.Receipt, error) {
	r, err := s.store.CancelOrder(c.Request().Context(), o, c.Param("code"))
	return "/orders", r, err
}

type receiveIn struct {
	opIn
	Line typed  `json:"line"`
	Qty  typed  `json:"qty"`
	Unit string `json:"unit"`
	To   string `json:"to"`
	Box  string `json:"box"`
	Sure string `json:"sure"`
}

// receiveOrder books a delivery against a line: POST /orders/:code/receipts. The unit is
// asked, never assumed.
func (s *Server) receiveOrder(c echo.Context, o store.Op, in receiveIn) (next string, r store.Receipt, err error) {
	ctx := c.Request().Context()
	line, err := s.lineOf(ctx, c.Param("code"), in.Line)
	if err != nil {
		return "", r, err
	}
	qty, err := store.ReadWhole("qty", string(in.Qty), 1, mostTyped)
	if err != nil {
		return "", r, err
	}
	got := store.ReceiveLineIn{Line: line, Qty: qty, Unit: in.Unit, Box: in.Box, Sure: in.Sure == "yes"}
	if in.To != "" {
		to, err := s.place(ctx, "to", in.To)
		if err != nil {
			return "", r, err
		}
		got.To = to.ID
	}
	r, err = s.store.ReceiveLine(ctx, o, got)
	next = orderHref(c.Param("code")) + "?"
	seen := map[string]bool{}
	for _, l := range r.Lines {
		if !seen[l.Tag] {
			next += "got=" + pathOf(l.Tag) + "&"
			seen[l.Tag] = true
		}
	}
	return strings.TrimRight(next, "?&"), r, err
}

// lineOf reads the number of a line and holds it against the order it is said to be on.
func (s *Server) lineOf(ctx context.Context, order string, text typed) (int64, error) {
	id, err := rowID("line", text)
	if err != nil {
		return 0, err
	}
	o, err := s.store.Order(ctx, order)
	if err != nil {
		return 0, err
	}
	for _, l := range o.Lines {
		if l.ID == id {
			return id, nil
		}
	}
	return 0, &refusal{class: errNotFound, field: "line", detail: "that line is not on " + o.Code}
}

type closeIn struct {
	opIn
	Line   typed  `json:"line"`
	Reason string `json:"reason"`
}

// closeOrderLine says that the rest will not come: POST /orders/:code/closing.
func (s *Server) closeOrderLine(c echo.Context, o store.Op, in closeIn) (next string, r store.Receipt, err error) {
	ctx := c.Request().Context()
	line, err := s.lineOf(ctx, c.Param("code"), in.Line)
	if err != nil {
		return "", r, err
	}
	r, err = s.store.CloseLine(ctx, o, line, in.Reason)
	return orderHref(c.Param("code")), r, err
}

type priceIn struct {
	opIn
	Line     typed  `json:"line"`
	Price    typed  `json:"price"`
	Currency string `json:"currency"`
	Was      string `json:"was"`          // the price that was seen, empty for none
	WasIn    string `json:"was_currency"` // its currency
	Reason   string `json:"reason"`
}

// correctPrice sets the price of a line of an approved order right: POST /orders/:code/price.
func (s *Server) correctPrice(c echo.Context, o store.Op, in priceIn) (next string, r store.Receipt, err error) {
	line, err := s.lineOf(c.Request().Context(), c.Param("code"), in.Line)
	if err != nil {
		return "", r, err
	}
	price, err := moneyOf("price", string(in.Price), in.Currency)
	if err != nil {
		return "", r, err
	}
	var was *reorder.Money
	if in.Was != "" {
		m, err := moneyOf("was", in.Was, in.WasIn)
		if err != nil {
			return "", r, err
		}
		was = &m
	}
	r, err = s.store.CorrectPrice(c.Request().Context(), o, line, was, price, in.Reason)
	return orderHref(c.Param("code")), r, err
}

type orderedIn struct {
	opIn
	Day string `json:"day"`
	Due string `json:"due"`
}

// setOrdered says on which day an order really went out, when not on the day of its approval,
// and for when it was promised: POST /orders/:code/ordered.
func (s *Server) setOrdered(c echo.Context, o store.Op, in orderedIn) (next string, r store.Receipt, err error) {
	day, err := store.ParseDay(in.Day)
	if err != nil {
		return "", r, err
	}
	r, err = s.store.SetOrderedDay(c.Request().Context(), o, c.Param("code"), day, store.Day(in.Due))
	return orderHref(c.Param("code")), r, err
}

// orderTable sends an order as a file: GET /orders/:code/table?as=csv|xlsx.
func (s *Server) orderTable(c echo.Context) error {
	o, err := s.store.Order(c.Request().Context(), c.Param("code"))
	if err != nil {
		return err
	}
	return sendSheet(c, o.Sheet())
}

// orderPDF sends an order as a page to print or mail: GET /orders/:code/order.pdf.
func (s *Server) orderPDF(c echo.Context) error {
	o, err := s.store.Order(c.Request().Context(), c.Param("code"))
	if err != nil {
		return err
	}
	pdf, err := printOrder(o)
	if err != nil {
		return err
	}
	c.Response().Header().Set("Content-Disposition", `inline; filename="`+o.Code+`.pdf"`)
	return c.Blob(http.StatusOK, "application/pdf", pdf)
}

// An apiOrder is an order for programs.
type apiOrder struct {
	Code     string         `json:"code"`
	Supplier string         `json:"supplier"`
	Stage    string         `json:"stage"`
	CutOff   string         `json:"cutoff"`
	Ordered  string         `json:"ordered,omitempty"`
	Version  int            `json:"version"`
	Lines    []apiOrderLine `json:"lines"`
}

type apiOrderLine struct {
	ID         int64  `json:"id"`
	Part       string `json:"part"`
	Pieces     int    `json:"pieces"`
	Pack       int    `json:"pack"`
	Received   int    `json:"received"`
	Open       int    `json:"open"`
	PriceCents *int64 `json:"price_cents,omitempty"`
	Currency   string `json:"currency,omitempty"`
	Due        string `json:"due,omitempty"`
}

func apiOrderOf(o store.OrderView) apiOrder {
	v := apiOrder{Code: o.Code, Supplier: o.Supplier, Stage: o.Stage(), CutOff: string(o.CutoffDay), Ordered: string(o.OrderedDay), Version: o.Version, Lines: []apiOrderLine{}}
	for _, l := range o.Lines {
		v.Lines = append(v.Lines, apiOrderLine{l.ID, l.Part, l.Pieces, l.Pack, l.Received, l.Open(), l.PriceCents, l.Currency, string(l.DueDay)})
	}
	return v
}

// mostOrders is the most orders that a list goes back.
const mostOrders = 1000

// listOrders lists open orders for programs, with all=yes the closed ones too: GET /api/v1/orders.
func (s *Server) listOrders(c echo.Context) error {
	ctx := c.Request().Context()
	f := store.OrderFilter{OpenOnly: c.QueryParam("all") != "yes", Limit: mostOrders}
	if code := c.QueryParam("supplier"); code != "" {
		v, err := s.store.Vendor(ctx, code)
		if err != nil {
			return err
		}
		f.Supplier = v.ID
	}
	all, err := s.store.Orders(ctx, f)
	if err != nil {
		return err
	}
	var rows []apiOrder
	for _, o := range all {
		rows = append(rows, apiOrderOf(o))
	}
	code := func(o apiOrder) string { return o.Code }
	return sendRows(c, rows, code, map[string]func(a, b apiOrder) int{"code": byText(code), "cutoff": byText(func(o apiOrder) string { return o.CutOff })})
}

// getOrder is one order for programs: GET /api/v1/orders/:code.
func (s *Server) getOrder(c echo.Context) error {
	o, err := s.store.Order(c.Request().Context(), c.Param("code"))
	if err != nil {
		return err
	}
	return c.JSON(http.StatusOK, apiOrderOf(o))
}
