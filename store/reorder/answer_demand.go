package reorder

import (
	"encoding/json"
	"fmt"
)

// answerIntermittent reads demand, and what to smooth it by: lists croston and tsb of
// {alpha, beta} (tsb with z0 and p0), croston_given_start, or one alpha and beta beside
// the demand. Nothing given: 0.1 and 0.1. TSB starts, unless told, from the first demand
// and p0 0.5.
func answerIntermittent(f fields) (Answer, error) {
	demand, err := f.list("demand")
	if err != nil {
		return nil, err
	}
	if err := history(demand); err != nil {
		return nil, err
	}
	n := 0
	for _, d := range demand {
		if d > 0 {
			n++
		}
	}
	out := Answer{{"periods", len(demand)}, {"nonzero", n}}
	usual := fields{"alpha": json.RawMessage("0.1"), "beta": json.RawMessage("0.1")}
	for _, name := range []string{"alpha", "beta", "z0", "p0"} {
		if f.has(name) {
			usual[name] = f[name]
		}
	}
	for _, part := range []struct {
		name string
		do   func(fields, []float64) (Answer, error)
	}{{"croston", crostonPair}, {"tsb", tsbPair}} {
		sets := []fields{usual}
		if f.has(part.name) {
			if sets, err = read[[]fields](f, part.name, "a list of {alpha, beta}"); err != nil {
				return nil, err
			}
		}
		if len(sets)*len(demand) > 5_000_000 {
			return nil, &BadInput{part.name, fmt.Sprintf("of %d", len(sets)), "is too many for so long a history", "split the case"}
		}
		list := make([]any, len(sets))
		for i, set := range sets {
			a, err := part.do(set, demand)
			if err != nil {
				return nil, fmt.Errorf("%s[%d]: %w", part.name, i, err)
			}
			list[i] = a
		}
		out = append(out, Member{part.name, list})
	}
	if f.has("croston_given_start") {
		a, err := crostonGiven(f, demand)
		if err != nil {
			return nil, fmt.Errorf("croston_given_start: %w", err)
		}
		out = append(out, Member{"croston_given_start", a})
	}
	return out, nil
}

func crostonPair(set fields, demand []float64) (Answer, error) {
	v, err := set.nums("alpha", "beta")
	if err != nil {
		return nil, err
	}
	c, err := ForecastCroston(demand, v[0], v[1])
	if err != nil {
		return nil, err
	}
	return Answer{
		{"alpha", v[0]}, {"beta", v[1]}, {"croston", c.Rate}, {"sba", c.SBA}, {"sbj", c.SBJ},
		{"size", c.Size}, {"interval", c.Interval}, {"croston_after_each_period", c.Path},
	}, nil
}

func crostonGiven(f fields, demand []float64) (Answer, error) {
	set, err := read[fields](f, "croston_given_start", "an object with alpha, beta, z0, p0")
	if err != nil {
		return nil, err
	}
	v, err := set.nums("alpha", "beta", "z0", "p0")
	if err != nil {
		return nil, err
	}
	c, err := ForecastCrostonFrom(demand, v[0], v[1], v[2], v[3])
	if err != nil {
		return nil, err
	}
	return Answer{
		{"alpha", v[0]}, {"beta", v[1]}, {"z0", v[2]}, {"p0", v[3]}, {"croston", c.Rate},
		{"sba", c.SBA}, {"sbj", c.SBJ}, {"size", c.Size}, {"interval", c.Interval},
	}, nil
}

func tsbPair(set fields, demand []float64) (Answer, error) {
	v, err := set.nums("alpha", "beta")
	if err != nil {
		return nil, err
	}
	z0, err := set.numOr("z0", firstDemand(demand))
	if err != nil {
		return nil, err
	}
	p0, err := set.numOr("p0", 0.5)
	if err != nil {
		return nil, err
	}
	t, err := ForecastTSB(demand, v[0], v[1], z0, p0)
	if err != nil {
		return nil, err
	}
	return Answer{
		{"alpha", v[0]}, {"beta", v[1]}, {"z0", z0}, {"p0", p0}, {"forecast", t.Rate},
		{"size", t.Size}, {"probability", t.Probability}, {"after_each_period", t.Path},
	}, nil
}

func firstDemand(demand []float64) float64 {
	for _, d := range demand {
		if d > 0 {
			return d
		}
	}
	return 0
}

func answerClass(f fields) (Answer, error) {
	demand, err := f.list("demand")
	if err != nil {
		return nil, err
	}
	c, err := Classify(demand)
	if err != nil {
		return nil, err
	}
	if c.Class == NoDemand {
		return Answer{{"klass", string(c.Class)}, {"adi", nil}, {"cv2", nil}}, nil
	}
	return Answer{
		{"klass", string(c.Class)}, {"adi", c.ADI}, {"mean_gap", c.MeanGap}, {"cv2", c.CV2},
		{"cv2_population", c.CV2Population}, {"klass_population", string(c.ClassPopulation)},
	}, nil
}

// answerABC reads items as [id, use a year, price] and cutoffs. Where the exception for
// the first part matters, both readings are given.
func answerABC(f fields) (Answer, error) {
	cut := []float64{0.8, 0.95}
	if f.has("cutoffs") {
		var err error
		if cut, err = f.list("cutoffs"); err != nil {
			return nil, err
		}
		if len(cut) != 2 {
			return nil, &BadInput{"cutoffs", clip(f["cutoffs"]), "is not a pair", "[0.8, 0.95] is usual"}
		}
	}
	items, err := read[[][]json.RawMessage](f, "items", "a list of [id, use a year, price]")
	if err != nil {
		return nil, err
	}
	parts := make([]Value, len(items))
	for i, item := range items {
		at := fmt.Sprintf("items[%d]", i)
		if len(item) != 3 {
			return nil, &BadInput{at, fmt.Sprintf("of %d", len(item)), "is not a triple", "give [id, use a year, price]"}
		}
		parts[i].ID = string(item[0])
		v, err := fields{at + " use": item[1], at + " price": item[2]}.nums(at+" use", at+" price")
		if err != nil {
			return nil, err
		}
		parts[i].Use, parts[i].Price = v[0], v[1]
	}
	ranked, total, err := ABC(parts, cut[0], cut[1])
	if err != nil {
		return nil, err
	}
	rows, strict := make([]any, len(ranked)), make([]any, len(ranked))
	for i, r := range ranked {
		row := []any{json.RawMessage(r.ID), r.Value, r.Share, string(r.Class)}
		rows[i] = row
		strict[i] = []any{row[0], r.Value, r.Share, string(r.Strict)}
	}
	out := Answer{{"total", total}, {"rows", rows}}
	if ranked[0].Class != ranked[0].Strict {
		out = append(out, Member{"rows_strict", strict}, Member{"rows_first_always_A", rows})
	}
	return out, nil
}
