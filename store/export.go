package store

import (
	"bufio"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
	"unicode/utf8"

	"github.com/xuri/excelize/v2"

	"brasspeg/store/reorder"
)

// A Sheet is a table to hand out: what a person sees on a page, for a spreadsheet. A cell is
// a string, an int, an int64 or a float64; a number is never text.
type Sheet struct {
	Name string
	Head []string
	Rows [][]any
}

// WriteCSV writes a sheet as text that a spreadsheet opens without asking: byte order mark,
// every cell quoted, CR LF, and a text that a spreadsheet would take for a formula made
// harmless by an apostrophe. Numbers stay numbers: -5 is -5.
func (sh Sheet) WriteCSV(w io.Writer) error {
	b := bufio.NewWriter(w)
	b.WriteString("\ufeff")
	row := func(cells []any) {
		for i, c := range cells {
			if i > 0 {
				b.WriteByte(',')
			}
			b.WriteByte('"')
			b.WriteString(strings.ReplaceAll(csvCell(c), `"`, `""`))
			b.WriteByte('"')
		}
		b.WriteString("\r\n")
	}
	head := make([]any, len(sh.Head))
	for i, h := range sh.Head {
		head[i] = h
	}
	row(head)
	for _, r := range sh.Rows {
		row(r)
	}
	return b.Flush()
}

func csvCell(c any) string {
	switch v := c.(type) {
	case string:
		return harmless(v)
	case float64:
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return ""
		}
		return strconv.FormatFloat(v, 'f', -1, 64)
	}
	return fmt.Sprint(c)
}

// harmless keeps a text from being read as a formula or a command. A plain number is none.
func harmless(t string) string {
	t = strings.Map(func(r rune) rune {
		if r < ' ' && r != '\n' && r != '\t' && r != '\r' || r == 0x7f {
			return -1
		}
		return r
	}, strings.ToValidUTF8(t, "\ufffd"))
	if t == "" {
		return t
	}
	first, _ := utf8.DecodeRuneInString(strings.TrimLeft(t, " "))
	switch first {
	case '=', '+', '-', '@', '\t', '\r', '\n', '＝', '＋', '－', '＠':
		if _, err := strconv.ParseFloat(t, 64); err == nil && !strings.ContainsAny(t, "xXpPnNiI") {
			return t
		}
		return "'" + t
	}
	return t
}

// WriteXLSX writes a sheet as a workbook with one table. Text is stored as text, so nothing in
// it is run.
func (sh Sheet) WriteXLSX(w io.Writer) error {
	f := excelize.NewFile()
	defer f.Close()
	name := sh.Name
	if name == "" {
		name = "Sheet"
	}
	if err := f.SetSheetName("Sheet1", name); err != nil {
		return err
	}
	sw, err := f.NewStreamWriter(name)
	if err != nil {
		return err
	}
	bold, err := f.NewStyle(&excelize.Style{Font: &excelize.Font{Bold: true}})
	if err != nil {
		return err
	}
	head := make([]any, len(sh.Head))
	for i, h := range sh.Head {
		head[i] = excelize.Cell{StyleID: bold, Value: h}
	}
	if err := sw.SetRow("A1", head); err != nil {
		return err
	}
	for i, r := range sh.Rows {
		cell, err := excelize.CoordinatesToCellName(1, i+2)
		if err != nil {
			return err
		}
		out := make([]any, len(r))
		for k, c := range r {
			switch v := c.(type) {
			case string:
				out[k] = strings.ToValidUTF8(v, "\ufffd")
			case float64:
				if math.IsNaN(v) || math.IsInf(v, 0) {
					continue
				}
				out[k] = v
			default:
				out[k] = c
			}
		}
		if err := sw.SetRow(cell, out); err != nil {
			return err
		}
	}
	if err := sw.Flush(); err != nil {
		return err
	}
	return f.Write(w)
}

// Sheet is one of the tables of buying: today, cover, abc, levels, surplus, frees, all.
func (b *Buying) Sheet(what string) (Sheet, error) {
	sh := Sheet{Name: what}
	add := func(cells ...any) { sh.Rows = append(sh.Rows, cells) }
	money := func(m reorder.Money) any {
		if m.Currency == "" {
			return ""
		}
		return float64(m.Cents) / 100
	}
	switch what {
	case "today", "all":
		list := b.Lines
		if what == "today" {
			list, _ = b.Today()
		}
		sh.Head = []string{"part", "name", "level", "sentence", "order by", "order pieces", "supplier", "price", "currency", "unit", "on hand", "promised", "on order", "free", "reorder point", "quantity", "class", "service", "demand", "use a week", "lead days planned", "lead least", "lead most"}
		for _, l := range list {
			a := l.Advice
			by := ""
			if a.Order > 0 {
				by = a.Alert.OrderBy.String()
			}
			add(l.Code, l.Name, a.Alert.Level.String(), a.Alert.Sentence, by, a.Order, l.Supplier, money(l.Price), l.Price.Currency, l.Unit.One, l.OnHand, l.Promised, l.OnOrder, a.Free, a.Point, a.Quantity,
				string(l.Class), l.Service, fmt.Sprint(a.Forecast.Class), a.Forecast.Weekly, l.Lead.Plan, l.Lead.Least, l.Lead.Most)
		}
	case "cover":
		sh.Head = []string{"part", "name", "unit", "free", "use a week", "weeks of cover"}
		short, _ := b.Cover(len(b.Lines))
		for _, l := range short {
			add(l.Code, l.Name, l.Unit.One, l.Advice.Free, l.Advice.Cover.Weekly, l.Advice.Cover.Weeks())
		}
	case "abc":
		sh.Head = []string{"part", "name", "class", "pieces a year", "price", "money a year", "currency"}
		for _, l := range b.ByMoney() {
			add(l.Code, l.Name, string(l.Class), l.YearUse, money(l.Price), l.YearValue, l.Price.Currency)
		}
	case "levels":
		sh.Head = []string{"part", "name", "old point", "new point", "old quantity", "new quantity", "why"}
		for _, l := range b.Proposals() {
			add(l.Code, l.Name, l.Proposal.Old.Point, l.Proposal.New.Point, l.Proposal.Old.Quantity, l.Proposal.New.Quantity, l.Proposal.Why)
		}
	case "surplus":
		sh.Head = []string{"part", "name", "level", "unit", "free", "too much", "tied up", "currency", "sentence"}
		for _, l := range b.Surplus() {
			a := l.Advice.Alert
			add(l.Code, l.Name, a.Level.String(), l.Unit.One, l.Advice.Free, a.Excess, money(a.Tied), a.Tied.Currency, a.Sentence)
		}
	case "frees":
		sh.Head = []string{"part", "frees jobs", "how many", "price", "currency", "lead days", "what"}
		for _, f := range b.Frees {
			add(f.Part, strings.Join(f.Jobs, " "), len(f.Jobs), money(reorder.Money{Cents: f.PriceCents, Currency: f.Currency}), f.Currency, f.LeadDays, f.Says)
		}
	default:
		return sh, refuse(ErrNotFound, "what", "there is no table %q; it is today, all, cover, abc, levels, surplus or frees", what)
	}
	return sh, nil
}

// Sheet is an order as a supplier's clerk wants it.
func (o OrderView) Sheet() Sheet {
	sh := Sheet{Name: o.Code, Head: []string{"order", "supplier", "part", "designation", "maker's code", "name", "pieces", "packs", "pack of", "price", "currency", "wanted by"}}
	for _, l := range o.Lines {
		var price any = ""
		if l.PriceCents != nil {
			price = float64(*l.PriceCents) / 100
		}
		sh.Rows = append(sh.Rows, []any{o.Code, o.SupplierName, l.Part, l.Designation, l.MakerCode, l.Name, l.Pieces, l.Pieces / max(1, l.Pack), l.Pack, price, l.Currency, string(l.DueDay)})
	}
	return sh
}

// SettlementSheet is the month's list for the owner of consigned goods.
func SettlementSheet(owner string, issued, unexplained []Consigned) Sheet {
	sh := Sheet{Name: "consigned " + owner, Head: []string{"day", "part", "lot", "pieces", "price", "currency", "billed", "act", "reason"}}
	for i, list := range [][]Consigned{issued, unexplained} {
		for _, c := range list {
			var price any = ""
			if c.Price != nil {
				price = float64(*c.Price) / 100
			}
			sh.Rows = append(sh.Rows, []any{string(c.Day), c.Part, c.Tag, c.Pieces, price, c.Cur, []string{"yes", "no: unexplained"}[i], c.Act, c.Reason})
		}
	}
	return sh
}

// VendorSheet lists suppliers with how they deliver.
func VendorSheet(vs []Vendor) Sheet {
	sh := Sheet{Name: "suppliers", Head: []string{"supplier", "name", "email", "phone", "lead_days", "cutoffs", "min_order", "currency", "measured orders", "least days", "most days", "planned days", "open lines", "late lines"}}
	for _, v := range vs {
		sh.Rows = append(sh.Rows, []any{v.Code, v.Name, v.Email, v.Phone, v.LeadDays, v.Cutoffs, float64(v.MinOrderCents) / 100, v.Currency, v.Lead.N, v.Lead.Least, v.Lead.Most, v.Lead.Plan, v.Open, v.Late})
	}
	return sh
}
