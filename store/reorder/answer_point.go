package reorder

import (
	"fmt"
	"math"
	"strconv"
)

// answerPoint reads what the kind needs; the kind may be left out where the fields tell it.
func answerPoint(f fields) (Answer, error) {
	kind := f.kind()
	if kind == "" || kind == "invalid_input" {
		kind = f.pointKind()
	}
	switch kind {
	case "normal":
		v, err := f.nums("demand_per_period", "lead_time", "cycle_service")
		if err != nil {
			return nil, err
		}
		n := Normal{Demand: v[0], Lead: v[1], CycleService: v[2]}
		if n.SD, err = f.numOr("sd_per_period", 0); err != nil {
			return nil, err
		}
		if n.LeadSD, err = f.numOr("sd_lead_time", 0); err != nil {
			return nil, err
		}
		p, err := PointNormal(n)
		if err != nil {
			return nil, err
		}
		return Answer{
			{"reorder_point", p.Point}, {"reorder_point_whole", p.Whole}, {"mean_ltd", p.Mean},
			{"sd_ltd", p.SD}, {"z", p.Z}, {"safety_stock", p.Safety},
		}, nil
	case "poisson":
		v, err := f.nums("mean_ltd", "cycle_service")
		if err != nil {
			return nil, err
		}
		p, err := PointPoisson(v[0], v[1])
		if err != nil {
			return nil, err
		}
		return append(p.members(), Member{"safety_stock", p.Safety}), nil
	case "negative_binomial":
		v, err := f.nums("mean_ltd", "var_ltd", "cycle_service")
		if err != nil {
			return nil, err
		}
		p, err := PointNegBinomial(v[0], v[1], v[2])
		if err != nil {
			return nil, err
		}
		if p.Status != "" {
			return append(Answer{{"status", string(p.Status)}}, p.members()...), nil
		}
		return append(p.members(), Member{"size", p.Size}, Member{"prob", p.Prob}), nil
	case "compound_poisson":
		return f.compound()
	case "discrete_convolution":
		return f.convolution()
	case "fill_rate_normal":
		return f.fillNormal()
	case "fill_rate_poisson":
		v, err := f.nums("mean_ltd", "order_qty", "fill_rate")
		if err != nil {
			return nil, err
		}
		p, err := FillPoisson(v[0], v[1], v[2])
		if err != nil {
			return nil, err
		}
		return append(p.members(), Member{"cycle_service_at_R", p.CycleService}), nil
	case "poisson_loss_table":
		return f.lossTable()
	case "z_values":
		return f.table("services", usualServices, Z)
	case "unit_normal_loss":
		return f.table("k", []float64{-2, -1, -0.5, 0, 0.5, 1, 1.02, 1.5, 2, 2.5, 3},
			func(k float64) (float64, error) { return UnitLoss(k), nil })
	}
	return nil, &BadInput{"kind", kind, "is not a reorder point", "use normal, poisson, negative_binomial, compound_poisson, " +
		"discrete_convolution, fill_rate_normal, fill_rate_poisson, poisson_loss_table, z_values or unit_normal_loss"}
}

// usualServices are the levels a shop chooses from.
var usualServices = []float64{0.5, 0.75, 0.8, 0.85, 0.9, 0.95, 0.97, 0.975, 0.98, 0.99, 0.995, 0.999, 0.9999}

func (f fields) pointKind() string {
	switch {
	case f.has("daily") || f.has("lead"):
		return "discrete_convolution"
	case f.has("sizes"):
		return "compound_poisson"
	case f.has("fill_rate") && f.has("sd_ltd"):
		return "fill_rate_normal"
	case f.has("fill_rate"):
		return "fill_rate_poisson"
	case f.has("var_ltd"):
		return "negative_binomial"
	case f.has("demand_per_period") || f.has("lead_time"):
		return "normal"
	}
	return "poisson"
}

func (p WholePoint) members() Answer {
	return Answer{{"reorder_point", p.Point}, {"achieved", p.Achieved}, {"achieved_one_less", p.OneLess}}
}

func (f fields) compound() (Answer, error) {
	v, err := f.nums("orders_mean_in_lead_time", "cycle_service")
	if err != nil {
		return nil, err
	}
	sizes, err := f.chances("sizes")
	if err != nil {
		return nil, err
	}
	p, err := PointCompound(v[0], sizes, v[1])
	if err != nil {
		return nil, err
	}
	return append(p.members(), Member{"mean_ltd", p.Mean}, Member{"var_ltd", p.Variance}, Member{"normal_approx", p.NormalApprox}), nil
}

// convolution answers with the point for each service (cycle_service, services, or the
// usual four), the mean and variance, and the whole distribution as pmf_N and cdf_N.
func (f fields) convolution() (Answer, error) {
	daily, err := f.chances("daily")
	if err != nil {
		return nil, err
	}
	lead, err := f.chances("lead")
	if err != nil {
		return nil, err
	}
	services := []float64{0.8, 0.9, 0.95, 0.99}
	if f.has("services") {
		if services, err = f.list("services"); err != nil {
			return nil, err
		}
	} else if f.has("cycle_service") {
		if services, err = f.nums("cycle_service"); err != nil {
			return nil, err
		}
	}
	s, err := OverLead(daily, lead)
	if err != nil {
		return nil, err
	}
	points := Answer{}
	for _, p := range services {
		r, err := s.Point(p)
		if err != nil {
			return nil, err
		}
		points = append(points, Member{show(p), r})
	}
	out := Answer{{"reorder_point", points}, {"mean_ltd", s.Mean}, {"var_ltd", s.Variance}}
	if len(s.P) > 2000 {
		return out, nil // a table nobody reads
	}
	sum := 0.0
	for i, p := range s.P {
		if sum += p; p > 0 || i == 0 {
			out = append(out, Member{"pmf_" + strconv.Itoa(s.From+i), p})
		}
		out = append(out, Member{"cdf_" + strconv.Itoa(s.From+i), math.Min(1, sum)})
	}
	return out, nil
}

func (f fields) fillNormal() (Answer, error) {
	v, err := f.nums("mean_ltd", "sd_ltd", "order_qty", "fill_rate")
	if err != nil {
		return nil, err
	}
	p, err := FillNormal(v[0], v[1], v[2], v[3])
	if err != nil {
		return nil, err
	}
	if p.Status != "" {
		return Answer{{"status", string(p.Status)}, {"reorder_point_simple", p.PointSimple}, {"reorder_point_exact", p.PointExact}}, nil
	}
	return Answer{
		{"reorder_point_simple", p.PointSimple}, {"reorder_point_exact", p.PointExact},
		{"unit_loss_needed", p.LossNeeded}, {"k_simple", p.KSimple}, {"k_exact", p.KExact},
		{"expected_short_per_cycle", p.ShortPerCycle}, {"cycle_service_at_simple", p.ServiceSimple},
	}, nil
}

func (f fields) lossTable() (Answer, error) {
	v, err := f.nums("mean_ltd")
	if err != nil {
		return nil, err
	}
	upTo, err := f.numOr("up_to", -1)
	if err != nil {
		return nil, err
	}
	if f.has("up_to") {
		if err := whole("up_to", upTo, 0); err != nil {
			return nil, err
		}
	}
	fs, ls, err := PoissonLoss(v[0], int(upTo))
	if err != nil {
		return nil, err
	}
	return Answer{{"F", fs}, {"L", ls}}, nil
}

// table answers a function at given places, or at the usual ones.
func (f fields) table(name string, usual []float64, at func(float64) (float64, error)) (Answer, error) {
	xs := usual
	if f.has(name) {
		var err error
		if xs, err = f.list(name); err != nil {
			return nil, err
		}
	}
	out := Answer{}
	for i, x := range xs {
		y, err := at(x)
		if err != nil {
			return nil, fmt.Errorf("%s[%d]: %w", name, i, err)
		}
		out = append(out, Member{show(x), y})
	}
	return out, nil
}
