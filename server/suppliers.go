package server

import (
	"fmt"
	"net/http"
	"strings"

	"github.com/labstack/echo/v4"

	"brasspeg/server/access"
	"brasspeg/store"
	"brasspeg/store/reorder"
)

type suppliersPage struct {
	Suppliers []supplierRow
	MayEdit   bool
	Form      supplierForm
}

type supplierRow struct {
	Href, Code, Name, Quoted, Measured, Planned, CutOff, Open string
	State                                                     stateView
}

// supplierForm is what can be changed of a supplier.
type supplierForm struct {
	Op, Code, Name, Email, Phone, Lead, CutOffs, MinOrder, Currency string
	New                                                             bool
}

func leadText(l reorder.Lead) (measured, planned string) {
	if l.N == 0 {
		return "nothing yet", "as quoted"
	}
	return fmt.Sprintf("%d to %d, mean %s", l.Least, l.Most, figure(l.Mean, 1)), countDays(l.Plan)
}

// suppliersPage lists suppliers with how they deliver: GET /suppliers.
func (s *Server) suppliersPage(c echo.Context) error {
	vs, err := s.store.Vendors(c.Request().Context())
	if err != nil {
		return err
	}
	v := suppliersPage{MayEdit: s.may(c, access.ApproveOrders), Form: supplierForm{Op: newOp(), Lead: "0", New: true}}
	for _, x := range vs {
		r := supplierRow{Href: "/suppliers/" + pathOf(x.Code), Code: x.Code, Name: x.Name, Quoted: "not said", CutOff: x.Cutoffs, Open: fmt.Sprint(x.Open), State: stateView{"nothing late", "●", "yes"}}
		if x.LeadDays > 0 {
			r.Quoted = countDays(x.LeadDays)
		}
		r.Measured, r.Planned = leadText(x.Lead)
		if r.CutOff == "" {
			r.CutOff = "any day"
		}
		if x.Late > 0 {
			r.State = stateView{count(int64(x.Late), "line late", "lines late"), "◇", "no"}
		}
		v.Suppliers = append(v.Suppliers, r)
	}
	return s.page(c, http.StatusOK, "suppliers", "Suppliers", v)
}

type supplierPage struct {
	Code, Name string
	Readings   []reading
	Orders     []purchaseRow
	MayEdit    bool
	Form       supplierForm
	From, To   string
	Issued     []settledRow
	Differs    []settledRow
	IssuedSum  string
	Consigned  bool
	Table      string
}

type settledRow struct{ Day, Part, Tag, Pieces, Price, Why string }

// supplierPage shows one supplier, its orders, and what of its consigned goods was issued:
// GET /suppliers/:code?from=…&to=….
func (s *Server) supplierPage(c echo.Context) error {
	ctx := c.Request().Context()
	x, err := s.store.Vendor(ctx, c.Param("code"))
	if err != nil {
		return err
	}
	orders, err := s.store.Orders(ctx, store.OrderFilter{Supplier: x.ID, Limit: 30})
	if err != nil {
		return err
	}
	from, to := s.month(c)
	issued, differs, err := s.store.Settlement(ctx, x.Code, from, to)
	if err != nil {
		return err
	}
	v := supplierPage{Code: x.Code, Name: x.Name, MayEdit: s.may(c, access.ApproveOrders), From: string(from), To: string(to), Consigned: len(issued)+len(differs) > 0,
		Table: fmt.Sprintf("/suppliers/%s/consigned?from=%s&to=%s", pathOf(x.Code), from, to),
		Form:  supplierForm{Op: newOp(), Code: x.Code, Name: x.Name, Email: x.Email, Phone: x.Phone, Lead: fmt.Sprint(x.LeadDays), CutOffs: x.Cutoffs, Currency: x.Currency}}
	if x.MinOrderCents > 0 {
		v.Form.MinOrder = fmt.Sprintf("%d.%02d", x.MinOrderCents/100, x.MinOrderCents%100)
	}
	measured, planned := leadText(x.Lead)
	v.Readings = []reading{{"Quoted", fmt.Sprint(x.LeadDays), "days"}, {"Measured", measured, ""}, {"Planned with", planned, ""}, {"Open lines", fmt.Sprint(x.Open), ""}, {"Late", fmt.Sprint(x.Late), ""}}
	for _, o := range orders {
		v.Orders = append(v.Orders, purchaseRow{Href: "/orders/" + pathOf(o.Code), Code: o.Code, CutOff: string(o.CutoffDay), Lines: fmt.Sprint(len(o.Lines)), Total: totalText(o), State: stageState(o, s.store.Today())})
	}
	var sum int64
	for _, l := range issued {
		sum += l.Pieces
	}
	v.IssuedSum = fmt.Sprint(sum)
	v.Issued, v.Differs = settledRows(issued), settledRows(differs)
	return s.page(c, http.StatusOK, "supplier", x.Code, v)
}

func settledRows(list []store.Consigned) []settledRow {
	var out []settledRow
	for _, l := range list[:min(200, len(list))] {
		r := settledRow{Day: string(l.Day), Part: l.Part, Tag: l.Tag, Pieces: fmt.Sprint(l.Pieces), Price: "not recorded", Why: strings.Trim(l.Act+", "+l.Reason, ", ")}
		if l.Price != nil {
			r.Price = reorder.Money{Cents: *l.Price, Currency: l.Cur}.String()
		}
		out = append(out, r)
	}
	return out
}

// month is the days asked for, this month when none are.
func (s *Server) month(c echo.Context) (from, to store.Day) {
	to = s.store.Today()
	from = to[:8] + "01"
	if t := c.QueryParam("from"); t != "" {
		from = store.Day(t)
	}
	if t := c.QueryParam("to"); t != "" {
		to = store.Day(t)
	}
	return from, to
}

// consignedTable sends the month's list of consigned goods: GET /suppliers/:code/consigned.
func (s *Server) consignedTable(c echo.Context) error {
	ctx := c.Request().Context()
	x, err := s.store.Vendor(ctx, c.Param("code"))
	if err != nil {
		return err
	}
	from, to := s.month(c)
	issued, differs, err := s.store.Settlement(ctx, x.Code, from, to)
	if err != nil {
		return err
	}
	return sendSheet(c, store.SettlementSheet(x.Code, issued, differs))
}

type supplierIn struct {
	opIn
	Code     string `json:"code"`
	Name     string `json:"name"`
	Email    string `json:"email"`
	Phone    string `json:"phone"`
	Lead     typed  `json:"lead_days"`
	CutOffs  string `json:"cutoffs"`
	MinOrder string `json:"min_order"`
	Currency string `json:"currency"`
	New      string `json:"new"`
}

// saveSupplier adds or changes a supplier: POST /suppliers.
func (s *Server) saveSupplier(c echo.Context, o store.Op, in supplierIn) (next string, r store.Receipt, err error) {
	ctx := c.Request().Context()
	v := store.Vendor{Supplier: store.Supplier{Code: strings.TrimSpace(in.Code)}}
	if in.New == "" {
		if v, err = s.store.Vendor(ctx, in.Code); err != nil {
			return "", r, err
		}
	}
	v.Name, v.Email, v.Phone, v.Cutoffs, v.Currency, v.MinOrderCents = in.Name, in.Email, in.Phone, in.CutOffs, strings.ToUpper(in.Currency), 0
	if v.LeadDays, err = number("lead_days", in.Lead); err != nil {
		return "", r, err
	}
	if in.MinOrder != "" {
		if v.MinOrderCents, err = store.ReadCents("min_order", in.MinOrder); err != nil {
			return "", r, err
		}
	}
	r, err = s.store.SetVendor(ctx, o, v)
	return "/suppliers/" + pathOf(v.Code), r, err
}

// rulesPage are the shop's habits of buying.
type rulesPage struct {
	Op      string
	MayEdit bool
	Fields  []ruleField
}

type ruleField struct{ ID, Text, Value string }

func ruleFields(r store.BuyRules) []ruleField {
	f := func(v float64) string { return figure(v, 4) }
	return []ruleField{
		{"service_a", "Class A: share of order cycles without a shortage, 0.98 for 98 of 100", f(r.ServiceA)},
		{"service_b", "Class B: the same share", f(r.ServiceB)}, {"service_c", "Class C: the same share", f(r.ServiceC)},
		{"service_reuse", "Bars, holders, sleeves: share of requests that should find one", f(r.ServiceReuse)},
		{"carrying_rate", "Keeping a piece for a year costs this share of its price", f(r.Carrying)},
		{"order_cost", "Placing an order costs", fmt.Sprintf("%d.%02d", r.OrderCents/100, r.OrderCents%100)}, {"currency", "Currency of that", r.Currency},
		{"review_days", "Days between two looks at the list", fmt.Sprint(r.Review)}, {"soon_days", "Order soon: days ahead", fmt.Sprint(r.Soon)}, {"watch_days", "Watch: days ahead", fmt.Sprint(r.Watch)},
		{"dead_days", "Dead after days without a movement", fmt.Sprint(r.Dead)}, {"much_weeks", "Too much from weeks of cover", f(r.MuchWeeks)}, {"keep_weeks", "Fair to keep, weeks", f(r.KeepWeeks)},
		{"unknown_lead_days", "Lead time to plan with where none is known, days", fmt.Sprint(r.UnknownLead)},
	}
}

// rulesPage shows the rules: GET /buying/rules.
func (s *Server) rulesPage(c echo.Context) error {
	r, err := s.store.BuyRules(c.Request().Context())
	if err != nil {
		return err
	}
	return s.page(c, http.StatusOK, "buyrules", "Rules of buying", rulesPage{newOp(), s.may(c, access.ApproveOrders), ruleFields(r)})
}

type rulesIn struct {
	opIn
	ServiceA     typed  `json:"service_a"`
	ServiceB     typed  `json:"service_b"`
	ServiceC     typed  `json:"service_c"`
	ServiceReuse typed  `json:"service_reuse"`
	Carrying     typed  `json:"carrying_rate"`
	OrderCost    string `json:"order_cost"`
	Currency     string `json:"currency"`
	Review       typed  `json:"review_days"`
	Soon         typed  `json:"soon_days"`
	Watch        typed  `json:"watch_days"`
	Dead         typed  `json:"dead_days"`
	Much         typed  `json:"much_weeks"`
	Keep         typed  `json:"keep_weeks"`
	Unknown      typed  `json:"unknown_lead_days"`
}

// saveRules changes the rules: POST /buying/rules.
func (s *Server) saveRules(c echo.Context, o store.Op, in rulesIn) (next string, rc store.Receipt, err error) {
	r := store.BuyRules{Currency: strings.ToUpper(in.Currency)}
	for _, f := range []struct {
		field string
		text  typed
		to    *float64
	}{{"service_a", in.ServiceA, &r.ServiceA}, {"service_b", in.ServiceB, &r.ServiceB}, {"service_c", in.ServiceC, &r.ServiceC}, {"service_reuse", in.ServiceReuse, &r.ServiceReuse},
		{"carrying_rate", in.Carrying, &r.Carrying}, {"much_weeks", in.Much, &r.MuchWeeks}, {"keep_weeks", in.Keep, &r.KeepWeeks}} {
		if *f.to, err = decimal(f.field, f.text); err != nil {
			return "", rc, err
		}
	}
	for _, f := range []struct {
		field string
		text  typed
		to    *int
	}{{"review_days", in.Review, &r.Review}, {"soon_days", in.Soon, &r.Soon}, {"watch_days", in.Watch, &r.Watch}, {"dead_days", in.Dead, &r.Dead}, {"unknown_lead_days", in.Unknown, &r.UnknownLead}} {
		if *f.to, err = number(f.field, f.text); err != nil {
			return "", rc, err
		}
	}
	if r.OrderCents, err = store.ReadCents("order_cost", in.OrderCost); err != nil {
		return "", rc, err
	}
	rc, err = s.store.SetBuyRules(c.Request().Context(), o, r)
	return "/buying/rules", rc, err
}
