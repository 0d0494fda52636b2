package server

import (
	"encoding/json"
	"errors"
	"math"
	"strconv"
	"strings"

	"brasspeg/store"
	"brasspeg/store/stack"
	"brasspeg/store/standard"
)

// The sizes of a job's form, by the member of the request they become.
var jobSizes = []struct{ name, member, says string }{
	{"bore_start", "bore_start_d", "hole before"}, {"bore_end", "bore_end_d", "hole after"}, {"depth", "depth", "depth"}, {"clearance", "clearance", "clearance"},
}

// keepTyped puts what a person wrote beside the figures it was read into, so that a card in
// inches comes back in inches. A form of bare millimetres needs none.
func keepTyped(v map[string]string, q map[string]any) {
	kept := map[string]string{}
	plain := strings.TrimSpace(v["unit"]) != "in"
	for _, z := range jobSizes {
		if t := strings.TrimSpace(v[z.name]); t != "" && q[z.member] != nil {
			kept[z.name] = t
			plain = plain && digitsOnly(t)
		}
	}
	if t := strings.TrimSpace(v["pressure"]); t != "" {
		kept["pressure"] = t
		plain = plain && digitsOnly(t)
	}
	if plain {
		return
	}
	if strings.TrimSpace(v["unit"]) == "in" {
		kept["unit"] = "in"
	}
	q[store.TypedMember] = kept
}

func digitsOnly(t string) bool { return strings.Trim(t, "0123456789.,") == "" }

// typedOf is what was typed of a job's sizes and pressure, and what unit a bare number of it is
// in. What no longer says the same as the request, because a program changed that, is left out.
func typedOf(request map[string]any) (kept map[string]string, unit standard.Unit) {
	kept, unit = map[string]string{}, standard.MM
	all, _ := request[store.TypedMember].(map[string]any)
	if all["unit"] == "in" {
		unit = standard.Inch
	}
	same := func(a float64, member string) bool {
		b, ok := request[member].(float64)
		return ok && math.Abs(a-b) < 1e-6
	}
	for _, z := range jobSizes {
		text, _ := all[z.name].(string)
		if size, err := standard.ParseSizeIn(text, unit); err == nil && same(size.MM(), z.member) {
			kept[z.name] = text
		}
	}
	text, _ := all["pressure"].(string)
	if bar, err := pressureOf(text); err == nil && text != "" && same(bar, "coolant_bar") {
		kept["pressure"] = text
	}
	return kept, unit
}

// typedIn says whether a job's card is in inches, and its sizes as they were written, "" where
// they were bare millimetres.
func typedIn(j *store.Job) (inch bool, says string) {
	var q map[string]any
	if json.Unmarshal([]byte(j.Request), &q) != nil {
		return false, ""
	}
	kept, unit := typedOf(q)
	var out []string
	for _, z := range jobSizes {
		t := kept[z.name]
		if t == "" {
			continue
		}
		if digitsOnly(strings.NewReplacer("/", "", " ", "", "-", "").Replace(t)) {
			t += map[bool]string{true: " in", false: " mm"}[unit == standard.Inch]
		}
		out = append(out, z.says+" "+t)
	}
	return unit == standard.Inch, strings.Join(out, ", ")
}

// fieldOfMember is the field of the form that a member of the request comes from.
var fieldOfMember = map[string]string{
	"bore_start_d": "bore_start", "bore_end_d": "bore_end", "insert": "seat", "insert.seat": "seat", "insert.RE": "re", "coolant_bar": "pressure",
	"edges_needed": "edges", "cutting.group": "group", "cutting.vc": "vc", "cutting.f": "f", "cutting.ap": "ap", "need_date": "from", "until": "to",
	"depth": "depth", "clearance": "clearance", "hand": "hand", "coolant": "coolant",
}

// harmless are members that any request may have: they take the place of a refused one, so that
// the next refusal is heard too.
var harmless = map[string]any{"bore_start_d": 100.0, "depth": 10.0, "clearance": 0.0, "hand": "R", "coolant": false, "coolant_bar": 0.0, "edges_needed": 0.0,
	"insert": map[string]any{"seat": "CCMT09T3"}}

// refusedFields says of every field, not only of the first, what the stack room would refuse of
// a request. It asks at a station of its own, so a job without one is read too.
func refusedFields(request string) map[string]string {
	out := map[string]string{}
	var q map[string]any
	if json.Unmarshal([]byte(request), &q) != nil {
		return out
	}
	delete(q, store.TypedMember)
	q["need_date"], q["station"] = "2000-01-01", map[string]any{"interface": "VDI40"}
	for range 2 * len(fieldOfMember) {
		_, err := stack.ReadRequestMap(q)
		bad := (*stack.BadField)(nil)
		if !asBadField(err, &bad) {
			return out
		}
		member := strings.TrimPrefix(bad.Field, "request.")
		if name := fieldOfMember[member]; name != "" && out[name] == "" {
			out[name] = bad.Why
		}
		top, under, nested := strings.Cut(member, ".")
		inner, _ := q[top].(map[string]any)
		switch {
		case nested && top == "cutting" && inner != nil:
			delete(inner, under)
		case harmless[top] != nil:
			q[top] = harmless[top]
		default:
			delete(q, top)
		}
	}
	return out
}

// sizeText is a size of the request as its field shows it: as it was typed, and where that is
// not known with its unit when a bare number would be read as another.
func sizeText(mm float64, typed string, unit standard.Unit) string {
	t := strconv.FormatFloat(mm, 'f', -1, 64)
	switch {
	case typed != "":
		return typed
	case unit == standard.Inch:
		return t + " mm"
	}
	return t
}

func asBadField(err error, bad **stack.BadField) bool {
	b, ok := errors.AsType[*stack.BadField](err)
	*bad = b
	return ok
}
