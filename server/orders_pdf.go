package server

import (
	"bytes"
	"fmt"
	"strings"
	"time"

	"codeberg.org/go-pdf/fpdf"
	"github.com/go-fonts/dejavu/dejavusanscondensed"
	"github.com/go-fonts/dejavu/dejavusanscondensedbold"

	"brasspeg/store"
	"brasspeg/store/reorder"
)

// printable keeps what the font can set: characters beyond the first plane make the library
// fail, and control and direction marks would hide what is ordered.
func printable(t string) string {
	return strings.Map(func(r rune) rune {
		switch {
		case r > 0xffff:
			return '□'
		case r < ' ' || r == 0x7f || r >= 0x200b && r <= 0x200f || r >= 0x202a && r <= 0x202e || r >= 0x2066 && r <= 0x2069:
			return -1
		}
		return r
	}, strings.ToValidUTF8(t, "□"))
}

// printOrder sets an order on A4.
func printOrder(o store.OrderView) ([]byte, error) {
	pdf := fpdf.New("P", "mm", "A4", "")
	made := o.MadeAt.Time
	if o.State == "approved" {
		made = o.ApprovedAt.Time
	}
	pdf.SetCreationDate(made.UTC().Truncate(time.Second))
	pdf.SetModificationDate(made.UTC().Truncate(time.Second))
	pdf.SetCatalogSort(true)
	pdf.AddUTF8FontFromBytes("sans", "", dejavusanscondensed.TTF)
	pdf.AddUTF8FontFromBytes("sans", "B", dejavusanscondensedbold.TTF)
	pdf.SetTitle(o.Code, true)
	pdf.SetMargins(20, 18, 20)
	pdf.SetAutoPageBreak(true, 20)
	pdf.AliasNbPages("{n}")
	pdf.SetFooterFunc(func() {
		pdf.SetY(-14)
		pdf.SetFont("sans", "", 8)
		pdf.CellFormat(0, 5, printable(fmt.Sprintf("%s, page %d of {n}", o.Code, pdf.PageNo())), "", 0, "R", false, 0, "")
	})
	pdf.AddPage()
	pdf.SetTextColor(0x1c, 0x1a, 0x17)
	pdf.SetDrawColor(0x1c, 0x1a, 0x17)
	pdf.SetLineWidth(0.2)
	pdf.SetFont("sans", "", 20)
	title := "Order " + o.Code
	switch o.State {
	case "draft":
		title = "Draft " + o.Code + ", not ordered yet"
	case "cancelled":
		title = "Cancelled " + o.Code
	}
	pdf.CellFormat(0, 10, printable(title), "", 1, "L", false, 0, "")
	pdf.SetFont("sans", "", 10)
	line := func(t string) { pdf.CellFormat(0, 5.2, printable(t), "", 1, "L", false, 0, "") }
	line("To: " + o.SupplierName + " (" + o.Supplier + ")")
	if o.State == "approved" {
		line("Ordered on " + string(o.OrderedDay) + ", approved by " + o.Approver)
	} else {
		line("Cut-off " + string(o.CutoffDay))
	}
	if o.Note != "" {
		line(o.Note)
	}
	pdf.Ln(4)
	widths := []float64{34, 62, 17, 24, 22, 11}
	heads := []string{"Part", "What", "Pieces", "Packs", "Price", ""}
	pdf.SetFont("sans", "B", 8)
	for i, h := range heads {
		align := "L"
		if i == 2 || i == 4 {
			align = "R"
		}
		pdf.CellFormat(widths[i], 6, h, "B", 0, align, false, 0, "")
	}
	pdf.Ln(6)
	pdf.SetFont("sans", "", 9)
	fit := func(t string, w float64) string {
		t = printable(t)
		for pdf.GetStringWidth(t) > w-1 && t != "" {
			r := []rune(t)
			t = string(r[:len(r)-1])
		}
		return t
	}
	for _, l := range o.Lines {
		what := strings.TrimSpace(l.Designation + " " + l.Name)
		price := ""
		if l.PriceCents != nil {
			price = fmt.Sprintf("%d.%02d", *l.PriceCents/100, *l.PriceCents%100)
		}
		packs := fmt.Sprintf("%d of %d", l.Pieces/max(1, l.Pack), l.Pack)
		for i, t := range []string{l.Part, what, fmt.Sprint(l.Pieces), packs, price, l.Currency} {
			align := "L"
			if i == 2 || i == 4 {
				align = "R"
			}
			pdf.CellFormat(widths[i], 6, fit(t, widths[i]), "", 0, align, false, 0, "")
		}
		pdf.Ln(5)
		pdf.SetFont("sans", "", 7.5)
		sub := strings.TrimSpace(l.MakerCode)
		if sub != "" {
			sub = "your code " + sub
		}
		if l.DueDay != "" {
			sub = strings.TrimPrefix(sub+", wanted by "+string(l.DueDay), ", ")
		}
		if l.Owner != "" {
			sub = strings.TrimPrefix(sub+", consigned", ", ")
		}
		pdf.CellFormat(0, 4, fit(sub, 165), "B", 1, "L", false, 0, "")
		pdf.SetFont("sans", "", 9)
	}
	pdf.Ln(3)
	total, unpriced := o.Total()
	for _, m := range total {
		line("Total " + reorder.Money(m).String())
	}
	if unpriced > 0 {
		line(fmt.Sprintf("%d lines have no price on record.", unpriced))
	}
	var b bytes.Buffer
	if err := pdf.Output(&b); err != nil {
		return nil, err
	}
	return b.Bytes(), nil
}
