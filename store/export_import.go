package store

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/csv"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"github.com/xuri/excelize/v2"
)

// An ImportReport says what a supplier's file would do, or has done.
type ImportReport struct {
	Kind    string
	Rows    int
	Bad     []BadRow       // every row that can not be taken, by line
	Changes []ImportChange // what would be other than it is
	Before  bool           // the same file was read in before: nothing to do
	Applied bool
}

// A BadRow is a line of a file that can not be taken, and why.
type BadRow struct {
	Line  int // 1 is the head
	Field string
	Says  string
	Code  string // of the rule it broke, "" for none finer than the refusal's own
}

// An ImportChange is one value that a file changes.
type ImportChange struct {
	Line        int
	What, Field string
	Old, New    string
}

// MaxImport is the largest file in bytes, maxImportRows the most rows, maxImportColumns the
// most columns: all symbols of all kinds, the maker's beside ours.
const (
	MaxImport        = 5 << 20
	maxImportRows    = 20_000
	maxImportColumns = 120
)

// ReadTable reads a CSV (comma, semicolon or tab; with or without byte order mark) or an XLSX
// file into rows of text, the first of them the head, its names in lower case. Everything that
// is no table is ErrBadInput.
func ReadTable(data []byte) (rows [][]string, err error) {
	if len(data) > MaxImport {
		return nil, unfit("too_long", "file", "the file has %d bytes; the most is %d", len(data), MaxImport)
	}
	if bytes.HasPrefix(data, []byte("PK\x03\x04")) {
		rows, err = readXLSX(data)
	} else {
		rows, err = readCSV(data)
	}
	if err != nil {
		return nil, err
	}
	if len(rows) < 2 {
		return nil, unfit("empty", "file", "the file has no rows under its head")
	}
	if len(rows) > maxImportRows+1 {
		return nil, unfit("too_many_rows", "file", "%d rows; the most is %d", len(rows)-1, maxImportRows)
	}
	if n := len(rows[0]); n > maxImportColumns {
		return nil, unfit("header_row", "file", "%d columns; the most is %d", n, maxImportColumns)
	}
	seen := map[string]bool{}
	for i, h := range rows[0] {
		h = strings.ReplaceAll(strings.ToLower(strings.TrimSpace(h)), " ", "_")
		if seen[h] && h != "" {
			return nil, unfit("header_row", h, "the column %q stands there twice", h)
		}
		seen[h] = true
		rows[0][i] = h
	}
	return rows, nil
}

func readXLSX(data []byte) ([][]string, error) {
	f, err := excelize.OpenReader(bytes.NewReader(data), excelize.Options{UnzipSizeLimit: 64 << 20, UnzipXMLSizeLimit: 32 << 20})
	if err != nil {
		return nil, unfit("file_type", "file", "the workbook can not be read; save it once more, or as CSV")
	}
	defer f.Close()
	sheets := f.GetSheetList()
	if len(sheets) == 0 {
		return nil, refuse(ErrBadInput, "file", "the workbook has no sheet")
	}
	rows, err := f.GetRows(sheets[0])
	if err != nil {
		return nil, refuse(ErrBadInput, "file", "the first sheet can not be read; save it as CSV")
	}
	return rows, nil
}

func readCSV(data []byte) ([][]string, error) {
	data = bytes.TrimPrefix(data, []byte("\ufeff"))
	switch {
	case !utf8.Valid(data) || bytes.ContainsRune(data, utf8.RuneError):
		return nil, unfit("encoding_invalid", "file", "the file is not UTF-8 text; save it as \"CSV UTF-8\" or XLSX")
	case bytes.ContainsFunc(data, func(r rune) bool { return controls(r) && r != '\n' && r != '\r' && r != '\t' }):
		return nil, unfit("control_char", "file", "the file holds control characters; it is no table of text")
	case bytes.ContainsRune(data, '\r') && !bytes.ContainsRune(data, '\n'):
		return nil, unfit("line_ends", "file", "the lines of the file end in a way that can not be read; save it as \"CSV UTF-8\" once more")
	}
	if hint, rest, ok := bytes.Cut(data, []byte("\n")); ok && bytes.HasPrefix(hint, []byte("sep=")) { // a spreadsheet's note to itself
		data = rest
	}
	first, _, _ := bytes.Cut(data, []byte("\n"))
	comma := ','
	for _, d := range []rune{';', '\t'} {
		if bytes.Count(first, []byte(string(d))) > bytes.Count(first, []byte(string(comma))) {
			comma = d
		}
	}
	r := csv.NewReader(bytes.NewReader(data))
	r.Comma, r.FieldsPerRecord, r.LazyQuotes = comma, -1, false
	var rows [][]string
	for {
		row, err := r.Read()
		if err == io.EOF {
			return rows, nil
		}
		if err != nil {
			line, code := 0, "quote_open"
			if pe, ok := errors.AsType[*csv.ParseError](err); ok {
				if line = pe.Line; errors.Is(pe.Err, csv.ErrBareQuote) {
					code = "quote_bare"
				}
			}
			return nil, unfit(code, "file", "line %d can not be read: a quotation mark is open or stands in the middle", line)
		}
		if empty := strings.TrimSpace(strings.Join(row, "")) == ""; !empty && len(rows) > 0 && len(row) != len(rows[0]) {
			line, _ := r.FieldPos(0)
			return nil, unfit("row_width", "file", "line %d has %d cells, the head %d; is a separator missing, or one too many?", line, len(row), len(rows[0]))
		}
		if rows = append(rows, row); len(rows) > maxImportRows+1 {
			return rows, nil
		}
	}
}

// importColumns are the columns each kind of file may have; the first ones it must. What is told
// stands in our own tables and is not read: a shop measures it itself.
var importColumns = map[string]struct {
	must int
	cols []string
	told []string
}{
	"prices":    {1, []string{"part", "supplier", "price", "currency", "min_pieces", "pack", "min_order", "lead_days"}, nil},
	"suppliers": {2, []string{"supplier", "name", "email", "phone", "lead_days", "cutoffs", "min_order", "currency"}, []string{"measured_orders", "least_days", "most_days", "planned_days", "open_lines", "late_lines"}},
}

// Import reads a file of prices (part by code, maker's code; terms and price list) or of
// suppliers. Without apply nothing changes: the report says what would. With apply either all
// rows are taken or none. The same file a second time is a no-op. A manager's act.
func (s *Store) Import(ctx context.Context, actor PersonID, kind string, data []byte, apply bool) (ImportReport, error) {
	rep := ImportReport{Kind: kind}
	want, ok := importColumns[kind]
	if !ok {
		return rep, refuse(ErrBadInput, "kind", "a file of %q can not be read in; it is prices or suppliers", kind)
	}
	rows, err := ReadTable(data)
	if err != nil {
		return rep, err
	}
	at := map[string]int{}
	for i, h := range rows[0] {
		if h == "" {
			continue
		}
		if slices.Contains(want.told, h) {
			continue
		}
		if !slices.Contains(want.cols, h) {
			return rep, unfit("header_row", h, "the column %q is not known; the columns of %s are %s", h, kind, strings.Join(want.cols, ", "))
		}
		at[h] = i
	}
	for _, c := range want.cols[:want.must] {
		if _, ok := at[c]; !ok {
			return rep, unfit("header_row", c, "the column %q is missing", c)
		}
	}
	rep.Rows = len(rows) - 1
	sum := sha256.Sum256(append([]byte(kind+"\x00"), data...))
	digest := hex.EncodeToString(sum[:])
	get := func(row []string, col string) string {
		if i, ok := at[col]; ok && i < len(row) {
			return strings.TrimSpace(strings.TrimPrefix(strings.TrimSpace(row[i]), "'"))
		}
		return ""
	}
	errDry := errors.New("only looked at")
	err = s.book(ctx, func(tx *Tx) error {
		rep.Bad, rep.Changes, rep.Before, rep.Applied = nil, nil, false, false
		role, err := tx.roleOf(actor)
		if err != nil {
			return err
		}
		if !May(role, ActApprove) {
			return refuse(ErrForbidden, "act", "%s may not read files in; ask a manager", role.withArticle())
		}
		var n int64
		if err := tx.Raw("SELECT count(*) FROM imports WHERE digest = ?", digest).Scan(&n).Error; err != nil {
			return err
		}
		if n > 0 {
			rep.Before = true
			return nil
		}
		im := importer{Tx: tx, rep: &rep, actor: actor}
		if kind == "prices" {
			err = im.prices(rows[1:], get)
		} else {
			err = im.suppliers(rows[1:], get)
		}
		switch {
		case err != nil:
			return err
		case !apply:
			return errDry
		case len(rep.Bad) > 0:
			b := rep.Bad[0]
			return unfit(b.Code, b.Field, "%d of %d rows can not be taken, so none was; the first is line %d: %s", len(rep.Bad), rep.Rows, b.Line, b.Says)
		}
		rep.Applied = true
		if err := tx.exec("INSERT INTO imports (digest, kind, rows, by_id, at) VALUES (?,?,?,?,?)", digest, kind, rep.Rows, actor, tx.now); err != nil {
			return err
		}
		return tx.note(actor, "file read in", kind, fmt.Sprintf("%d rows, %d changes", rep.Rows, len(rep.Changes)))
	})
	if errors.Is(err, errDry) {
		err = nil
	}
	return rep, err
}

// An importer takes rows inside one transaction, which is rolled back unless all are good.
type importer struct {
	*Tx
	rep   *ImportReport
	actor PersonID
}

func (im *importer) bad(line int, field, format string, args ...any) {
	im.rep.Bad = append(im.rep.Bad, BadRow{Line: line, Field: field, Says: fmt.Sprintf(format, args...)})
}

func (im *importer) change(line int, what, field string, old, now any) bool {
	o, n := fmt.Sprint(old), fmt.Sprint(now)
	if o == n {
		return false
	}
	im.rep.Changes = append(im.rep.Changes, ImportChange{line, what, field, o, n})
	return true
}

// count reads a whole number of at least least; false was told.
func (im *importer) count(line int, field, text string, least int) (int, bool) {
	n, err := strconv.Atoi(text)
	if err != nil || n < least || n > 1_000_000 {
		im.bad(line, field, "%s %q: give a whole number, %d or more", field, text, least)
		return 0, false
	}
	return n, true
}

func (im *importer) suppliers(rows [][]string, get func([]string, string) string) error {
	var have []Vendor
	if err := im.Raw(`SELECT s.*, coalesce(t.cutoffs, '') AS cutoffs, coalesce(t.min_order_cents, 0) AS min_order_cents, coalesce(t.currency, '') AS currency
		FROM suppliers s LEFT JOIN supplier_terms t ON t.supplier_id = s.id`).Scan(&have).Error; err != nil {
		return err
	}
	by := map[string]Vendor{}
	for _, v := range have {
		by[v.Code] = v
	}
	seen := map[string]int{}
	for i, row := range rows {
		line, good := i+2, len(im.rep.Bad)
		v := by[get(row, "supplier")]
		old := v
		var err error
		if v.Code, err = printable("supplier", get(row, "supplier"), 40); err != nil {
			im.bad(line, "supplier", "%v", err)
			continue
		}
		if n := seen[v.Code]; n > 0 {
			im.bad(line, "supplier", "%s stands in line %d already", v.Code, n)
			continue
		}
		seen[v.Code] = line
		if v.Name, err = printable("name", get(row, "name"), maxName); err != nil {
			im.bad(line, "name", "%v", err)
		}
		for col, to := range map[string]*string{"email": &v.Email, "phone": &v.Phone, "cutoffs": &v.Cutoffs, "currency": &v.Currency} {
			if t := get(row, col); t != "" {
				*to = t
			}
		}
		if t := get(row, "lead_days"); t != "" {
			if n, ok := im.count(line, "lead_days", t, 0); ok {
				v.LeadDays = n
			}
		}
		if t := get(row, "min_order"); t != "" {
			if v.MinOrderCents, err = ReadCents("min_order", t); err != nil {
				im.bad(line, "min_order", "%v", err)
			}
		}
		if err := checkVendor(v); err != nil && len(im.rep.Bad) == good {
			field := "supplier"
			if r, ok := errors.AsType[*Refusal](err); ok {
				field = r.Field
			}
			im.bad(line, field, "%v", err)
		}
		if len(im.rep.Bad) > good {
			continue
		}
		changed := im.change(line, v.Code, "name", old.Name, v.Name)
		changed = im.change(line, v.Code, "email", old.Email, v.Email) || changed
		changed = im.change(line, v.Code, "phone", old.Phone, v.Phone) || changed
		changed = im.change(line, v.Code, "lead_days", old.LeadDays, v.LeadDays) || changed
		changed = im.change(line, v.Code, "cutoffs", old.Cutoffs, v.Cutoffs) || changed
		changed = im.change(line, v.Code, "min_order", old.MinOrderCents, v.MinOrderCents) || changed
		changed = im.change(line, v.Code, "currency", old.Currency, v.Currency) || changed
		if !changed {
			continue
		}
		if v.ID == 0 {
			r := v.Supplier
			r.CreatedAt = im.now
			if err := im.Create(&r).Error; err != nil {
				return err
			}
			v.ID = r.ID
		} else if err := im.exec("UPDATE suppliers SET name = ?, email = ?, phone = ?, lead_days = ? WHERE id = ?", v.Name, v.Email, v.Phone, v.LeadDays, v.ID); err != nil {
			return err
		}
		if err := im.exec(`INSERT INTO supplier_terms (supplier_id, cutoffs, min_order_cents, currency) VALUES (?,?,?,?)
			ON CONFLICT (supplier_id) DO UPDATE SET cutoffs = excluded.cutoffs, min_order_cents = excluded.min_order_cents, currency = excluded.currency`,
			v.ID, v.Cutoffs, v.MinOrderCents, v.Currency); err != nil {
			return err
		}
	}
	return nil
}

func (im *importer) prices(rows [][]string, get func([]string, string) string) error {
	var parts []Part
	if err := im.Raw("SELECT * FROM parts WHERE retired_at IS NULL ORDER BY id").Scan(&parts).Error; err != nil {
		return err
	}
	by := map[string]*Part{}
	twice := map[string]bool{}
	for i := range parts {
		p := &parts[i]
		by[p.Code] = p
		if p.MakerCode != "" {
			if q := by[p.MakerCode]; q != nil && q.ID != p.ID {
				twice[p.MakerCode] = true
			}
			by[p.MakerCode] = p
		}
	}
	var vendors []Supplier
	if err := im.Raw("SELECT * FROM suppliers").Scan(&vendors).Error; err != nil {
		return err
	}
	sup := map[string]SupplierID{}
	name := map[SupplierID]string{}
	for _, v := range vendors {
		sup[v.Code], name[v.ID] = v.ID, v.Code
	}
	breaks := map[PartID]map[int]int64{}
	touched := map[PartID]bool{}
	for i, row := range rows {
		line, good := i+2, len(im.rep.Bad)
		code := get(row, "part")
		p := by[code]
		switch {
		case code == "":
			im.bad(line, "part", "no part is named")
			continue
		case twice[code]:
			im.bad(line, "part", "%q is the maker's code of more than one part; use our code", code)
			continue
		case p == nil:
			im.bad(line, "part", "no part has the code or maker's code %q", code)
			continue
		}
		now := *p
		if t := get(row, "supplier"); t != "" {
			if id, ok := sup[t]; ok {
				now.SupplierID = &id
			} else {
				im.bad(line, "supplier", "supplier %q is not known here", t)
			}
		}
		if t := get(row, "pack"); t != "" {
			if n, ok := im.count(line, "pack", t, 1); ok {
				now.Pack = n
			}
		}
		if t := get(row, "min_order"); t != "" {
			if n, ok := im.count(line, "min_order", t, 1); ok {
				now.MinOrder = n
			}
		}
		if t := get(row, "lead_days"); t != "" {
			if n, ok := im.count(line, "lead_days", t, 0); ok {
				now.LeadDays = &n
			}
		}
		least := 1
		if t := get(row, "min_pieces"); t != "" {
			if n, ok := im.count(line, "min_pieces", t, 1); ok {
				least = n
			}
		}
		price, currency := get(row, "price"), get(row, "currency")
		var amount int64
		switch {
		case price == "" && currency != "":
			im.bad(line, "price", "a currency (%s) without a price", currency)
		case price != "":
			var err error
			if amount, err = ReadCents("price", price); err != nil {
				im.bad(line, "price", "%v", err)
			} else if err := checkMoney("currency", &amount, currency); err != nil {
				im.bad(line, "currency", "%v", err)
			} else if old := breaks[p.ID]; old != nil && now.Currency != currency {
				im.bad(line, "currency", "%s has lines in %s and %s; one currency a part", p.Code, now.Currency, currency)
			} else if _, ok := old[least]; ok {
				im.bad(line, "min_pieces", "%s has a price from %d pieces on already", p.Code, least)
			}
		}
		if len(im.rep.Bad) > good {
			continue
		}
		show := func(n *int) string {
			if n == nil {
				return "not said"
			}
			return strconv.Itoa(*n)
		}
		im.change(line, p.Code, "supplier", name[idOf(p.SupplierID)], name[idOf(now.SupplierID)])
		im.change(line, p.Code, "pack", p.Pack, now.Pack)
		im.change(line, p.Code, "min_order", p.MinOrder, now.MinOrder)
		im.change(line, p.Code, "lead_days", show(p.LeadDays), show(now.LeadDays))
		if price != "" {
			if breaks[p.ID] == nil {
				breaks[p.ID] = map[int]int64{}
			}
			breaks[p.ID][least] = amount
			if least == 1 || now.PriceCents == nil {
				old := "none"
				if p.PriceCents != nil {
					old = fmt.Sprintf("%d.%02d %s", *p.PriceCents/100, *p.PriceCents%100, p.Currency)
				}
				im.change(line, p.Code, "price", old, fmt.Sprintf("%d.%02d %s", amount/100, amount%100, currency))
				now.PriceCents = &amount
			} else {
				im.change(line, p.Code, fmt.Sprintf("price from %d", least), "", fmt.Sprintf("%d.%02d %s", amount/100, amount%100, currency))
			}
			now.Currency = currency
		}
		*p = now
		touched[p.ID] = true
	}
	if len(im.rep.Bad) > 0 || len(im.rep.Changes) == 0 {
		return nil
	}
	for i := range parts {
		p := &parts[i]
		if !touched[p.ID] {
			continue
		}
		if err := im.must(refuse(ErrConflict, "part", "%s was changed meanwhile", p.Code),
			"UPDATE parts SET supplier_id = ?, pack = ?, min_order = ?, lead_days = ?, price_cents = ?, currency = ?, version = version + 1 WHERE id = ? AND version = ?",
			p.SupplierID, p.Pack, p.MinOrder, p.LeadDays, p.PriceCents, p.Currency, p.ID, p.Version); err != nil {
			return err
		}
		if list := breaks[p.ID]; list != nil {
			if err := im.exec("DELETE FROM part_prices WHERE part_id = ?", p.ID); err != nil {
				return err
			}
			if len(list) > 1 || list[1] == 0 {
				for least, c := range list {
					if err := im.exec("INSERT INTO part_prices (part_id, min_pieces, cents, currency) VALUES (?,?,?,?)", p.ID, least, c, p.Currency); err != nil {
						return err
					}
				}
			}
		}
		id := p.ID
		im.after = append(im.after, func() { im.s.shelf.touchPart(id) })
	}
	return nil
}

// idOf is the number behind a pointer, 0 for none.
func idOf[T ~int64](p *T) T {
	if p == nil {
		return 0
	}
	return *p
}
