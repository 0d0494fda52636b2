package reorder

// answerQuantity reads D, S, H (or breaks with H or carrying_rate), pack, min_order,
// backorder_cost. The kind may be left out: the fields tell it.
func answerQuantity(f fields) (Answer, error) {
	kind := f.kind()
	if kind == "" || kind == "degenerate" {
		switch {
		case f.has("breaks") && (f.has("pack") || f.has("min_order")):
			kind = "discount_with_packs"
		case f.has("breaks"):
			kind = "all_units_discount"
		case f.has("backorder_cost"):
			kind = "planned_backorders"
		case f.has("pack") || f.has("min_order"):
			kind = "pack_rounding"
		default:
			kind = "eoq"
		}
	}
	switch kind {
	case "eoq", "planned_backorders", "pack_rounding":
		v, err := f.nums("D", "S")
		if err != nil {
			return nil, err
		}
		c := Costs{D: v[0], S: v[1]}
		if c.H, err = f.keeping(); err != nil {
			return nil, err
		}
		switch kind {
		case "planned_backorders":
			return f.backordered(c)
		case "pack_rounding":
			return f.packed(c)
		}
		return plainEOQ(c)
	case "all_units_discount", "discount_with_packs":
		return f.discounted(kind == "discount_with_packs")
	}
	return nil, &BadInput{"kind", kind, "is not an order quantity",
		"use eoq, planned_backorders, pack_rounding, all_units_discount or discount_with_packs"}
}

// keeping reads H, or carrying_rate times price.
func (f fields) keeping() (float64, error) {
	if f.has("H") || !f.has("carrying_rate") {
		return read[float64](f, "H", "a number, or carrying_rate with price")
	}
	v, err := f.nums("carrying_rate", "price")
	if err != nil {
		return 0, err
	}
	return v[0] * v[1], first(notNegative("carrying_rate", v[0]), positive("price", v[1]))
}

func plainEOQ(c Costs) (Answer, error) {
	e, err := Economic(c)
	if err != nil {
		return nil, err
	}
	if e.Status != "" {
		return Answer{{"status", string(e.Status)}}, nil
	}
	return Answer{
		{"Q", e.Q}, {"best_whole_Q", e.BestWhole}, {"annual_order_cost", e.OrderCost},
		{"annual_holding_cost", e.HoldingCost}, {"annual_relevant_cost", e.RelevantCost},
		{"orders_per_year", e.OrdersPerYear},
	}, nil
}

func (f fields) backordered(c Costs) (Answer, error) {
	b, err := f.nums("backorder_cost")
	if err != nil {
		return nil, err
	}
	p, err := Backordered(c, b[0])
	if err != nil {
		return nil, err
	}
	if p.Status != "" {
		return Answer{{"status", string(p.Status)}}, nil
	}
	return Answer{
		{"Q", p.Q}, {"max_backorder", p.MaxBackorder}, {"max_inventory", p.MaxInventory},
		{"annual_order_cost", p.OrderCost}, {"annual_holding_cost", p.HoldingCost},
		{"annual_backorder_cost", p.BackorderCost}, {"annual_relevant_cost", p.RelevantCost},
	}, nil
}

func (f fields) packs() (pack, least float64, err error) {
	if pack, err = f.numOr("pack", 1); err != nil {
		return 0, 0, err
	}
	least, err = f.numOr("min_order", 0)
	return pack, least, err
}

func (f fields) packed(c Costs) (Answer, error) {
	pack, least, err := f.packs()
	if err != nil {
		return nil, err
	}
	p, err := InPacks(c, pack, least)
	if err != nil {
		return nil, err
	}
	if p.Status != "" {
		return Answer{{"status", string(p.Status)}}, nil
	}
	return Answer{
		{"Q", p.Q}, {"packs", p.Packs}, {"eoq", p.EOQ},
		{"annual_relevant_cost", p.RelevantCost}, {"penalty_fraction", p.Penalty},
	}, nil
}

func (f fields) discounted(packs bool) (Answer, error) {
	v, err := f.nums("D", "S")
	if err != nil {
		return nil, err
	}
	rows, err := f.pairs("breaks")
	if err != nil {
		return nil, err
	}
	l := PriceList{}
	for _, r := range rows {
		l.Breaks = append(l.Breaks, Break{r[0], r[1]})
	}
	if !f.has("H") && !f.has("carrying_rate") {
		return nil, &BadInput{"H", "", "is missing", "give H, or carrying_rate as a share of the price"}
	}
	if l.H, err = f.numOr("H", 0); err != nil {
		return nil, err
	}
	if l.Carrying, err = f.numOr("carrying_rate", 0); err != nil {
		return nil, err
	}
	if packs {
		pack, least, err := f.packs()
		if err != nil {
			return nil, err
		}
		d, err := DiscountInPacks(v[0], v[1], l, pack, least)
		if err != nil {
			return nil, err
		}
		if d.Status != "" {
			return Answer{{"status", string(d.Status)}}, nil
		}
		return Answer{{"Q", d.Q}, {"packs", d.Packs}, {"unit_price", d.Price}, {"total_cost", d.Total}}, nil
	}
	d, err := Discount(v[0], v[1], l)
	if err != nil {
		return nil, err
	}
	if d.Status != "" {
		return Answer{{"status", string(d.Status)}}, nil
	}
	lines := make([]any, len(d.Candidates))
	for i, k := range d.Candidates {
		line := Answer{{"min_qty", k.Min}, {"unit_price", k.Price}, {"eoq", k.EOQ}, {"order_qty", nil}, {"kind", k.Kind}, {"total_cost", nil}}
		if k.Kind != AboveRange {
			line[3].Value, line[5].Value = k.Q, k.Total
		}
		lines[i] = line
	}
	return Answer{
		{"Q", d.Q}, {"unit_price", d.Price}, {"total_cost", d.Total},
		{"best_whole_Q", d.BestWhole}, {"total_cost_whole_Q", d.TotalWhole}, {"candidates", lines},
	}, nil
}
