package stack

import (
	"encoding/json"
	"errors"
	"math"
	"slices"
	"strings"
	"testing"
)

// TestRequestFields: each field that is missing, impossible or against another is refused, and
// named.
func TestRequestFields(t *testing.T) {
	const good = `{"job":"J-1","need_date":"2026-03-16","until":"2026-03-18","station":{"interface":"VDI50","coolant_port":"F:G 1/4","coolant_max_bar":70,
		"max_projection":300,"max_mass_kg":40},"bore_start_d":40,"bore_end_d":42,"depth":100,"clearance":10,"hand":"R","insert":{"seat":"CCMT09T3","RE":0.4},
		"coolant":true,"coolant_bar":20,"edges_needed":4,"cutting":{"vc":120,"f":0.2,"ap":1,"eta":0.8,"group":2}}`
	if _, err := ReadRequest([]byte(good)); err != nil {
		t.Fatal(err)
	}
	for _, tt := range []struct{ members, field, says string }{
		{`{"need_date":null}`, "request.need_date", "missing"},
		{`{"need_date":"2026-02-30"}`, "request.need_date", "no date"},
		{`{"need_date":"2026-3-1"}`, "request.need_date", "write it as"},
		{`{"until":"2026-03-15"}`, "request.until", "before the need date"},
		{`{"until":"someday"}`, "request.until", "no date"},
		{`{"station":null}`, "request.station", "missing"},
		{`{"station":{}}`, "request.station.interface", "missing"},
		{`{"station":{"interface":"  "}}`, "request.station.interface", "missing"},
		{`{"station":{"interface":"50"}}`, "request.station.interface", "bare number"},
		{`{"station":{"interface":50}}`, "request.station.interface", "text in quotes"},
		{`{"station":{"interface":"VDI50","coolant_port":"1/4"}}`, "request.station.coolant_port", "gender and thread"},
		{`{"station":{"interface":"VDI50","coolant_port":"F:1/4"}}`, "request.station.coolant_port", "gender and thread"},
		{`{"station":{"interface":"VDI50","coolant_port":"bore"}}`, "request.station.coolant_port", "gender and thread"},
		{`{"station":{"interface":"VDI50","coolant_max_bar":-1}}`, "request.station.coolant_max_bar", "out of range"},
		{`{"station":{"interface":"VDI50","max_projection":0}}`, "request.station.max_projection", "over zero"},
		{`{"station":{"interface":"VDI50","max_mass_kg":-3}}`, "request.station.max_mass_kg", "out of range"},
		{`{"station":{"interface":"VDI50","swing":3}}`, "request.station.swing", "no field"},
		{`{"bore_start_d":null}`, "request.bore_start_d", "missing"},
		{`{"bore_start_d":0.4}`, "request.bore_start_d", "no head goes into a hole of 0.4 mm"},
		{`{"bore_start_d":-40}`, "request.bore_start_d", "out of range"},
		{`{"bore_start_d":1e9}`, "request.bore_start_d", "out of range"},
		{`{"bore_start_d":"40 mm"}`, "request.bore_start_d", "without quotes or unit"},
		{`{"bore_end_d":39}`, "request.bore_end_d", "under the starting hole"},
		{`{"depth":null}`, "request.depth", "missing"},
		{`{"depth":0}`, "request.depth", "out of range"},
		{`{"depth":1e300}`, "request.depth", "out of range"},
		{`{"clearance":null}`, "request.clearance", "missing"}, // a depth without clearance is no overhang
		{`{"clearance":-0.1}`, "request.clearance", "out of range"},
		{`{"hand":null}`, "request.hand", "missing"},
		{`{"hand":"r"}`, "request.hand", "none of R, L, N"},
		{`{"hand":"both"}`, "request.hand", "none of R, L, N"},
		{`{"insert":null}`, "request.insert", "missing"},
		{`{"insert":{"RE":0.4}}`, "request.insert.seat", "missing"},
		{`{"insert":{"designation":"CN 4"}}`, "request.insert.designation", "no insert name"},
		{`{"insert":{"seat":"DCMT11T3","designation":"CCMT 09T304"}}`, "request.insert.designation", "fits CCMT09T3"},
		{`{"insert":{"seat":"CCMT09T3","RE":-0.4}}`, "request.insert.RE", "out of range"},
		{`{"coolant":false}`, "request.coolant_bar", "without coolant"}, // a pressure without coolant
		{`{"coolant":null}`, "request.coolant_bar", "without coolant"},
		{`{"coolant":"yes"}`, "request.coolant", "true or false"},
		{`{"coolant_bar":null}`, "request.coolant_bar", "missing"},
		{`{"coolant_bar":-5}`, "request.coolant_bar", "out of range"},
		{`{"coolant_bar":70000}`, "request.coolant_bar", "out of range"},
		{`{"edges_needed":-1}`, "request.edges_needed", "out of range"},
		{`{"edges_needed":1.5}`, "request.edges_needed", "no whole number"},
		{`{"cutting":{"vc":0}}`, "request.cutting.vc", "over zero"},
		{`{"cutting":{"eta":1.2}}`, "request.cutting.eta", "out of range"},
		{`{"cutting":{"group":42}}`, "request.cutting.group", "out of range"},
		{`{"material_group":7}`, "request.material_group", "disagrees"},
		{`{"colour":"red"}`, "request.colour", "no field"},
	} {
		_, err := ReadRequest([]byte(with(t, good, tt.members)))
		bad := (*BadField)(nil)
		if !errors.As(err, &bad) || bad.Field != tt.field || !strings.Contains(bad.Why, tt.says) {
			t.Errorf("%s: %v, want %s: …%s…", tt.members, err, tt.field, tt.says)
		}
	}
}

// TestRequestNumbers: numbers that no text can hold are refused too, by Check itself.
func TestRequestNumbers(t *testing.T) {
	s := shop(t)
	for _, bad := range []float64{math.NaN(), math.Inf(1), math.Inf(-1), -1} {
		for field, set := range map[string]func(*Request){
			"request.bore_start_d":            func(r *Request) { r.BoreStartD = bad },
			"request.depth":                   func(r *Request) { r.Depth = bad },
			"request.clearance":               func(r *Request) { r.Clearance = bad },
			"request.coolant_bar":             func(r *Request) { r.Coolant, r.CoolantBar = true, bad },
			"request.station.coolant_max_bar": func(r *Request) { r.Station.CoolantMaxBar = Some(bad) },
			"request.station.max_projection":  func(r *Request) { r.Station.MaxProjection = Some(bad) },
			"request.station.max_mass_kg":     func(r *Request) { r.Station.MaxMassKg = Some(bad) },
			"request.insert.RE":               func(r *Request) { r.Insert.RE = Some(bad) },
			"request.bore_end_d":              func(r *Request) { r.BoreEndD = Some(bad) },
			"request.cutting.vc":              func(r *Request) { r.Cutting.VC = Some(bad) },
			"request.cutting.f":               func(r *Request) { r.Cutting.F = Some(bad) },
			"request.cutting.ap":              func(r *Request) { r.Cutting.AP = Some(bad) },
			"request.cutting.eta":             func(r *Request) { r.Cutting.Eta = Some(bad) },
		} {
			r := request40()
			set(&r)
			_, err := s.Check(r)
			refused := (*BadField)(nil)
			if !errors.As(err, &refused) || refused.Field != field {
				t.Errorf("%s = %v: %v", field, bad, err)
			}
		}
	}
}

// TestPartFields: a part that cannot be is refused on entry.
func TestPartFields(t *testing.T) {
	const (
		hold = `{"kind":"holder","interface":"VDI50","DCONWS":40,"LSC":120,"clamp":"split","coolant":"through","CP":70,"WT":4}`
		slv  = `{"kind":"sleeve","DCONMS":40,"DCONWS":25,"LSC":100,"type":"split","index":"scribe"}`
		brr  = `{"kind":"bar","DCONMS":25,"construction":"carbide","OAL":300,"OHX":180,"OHN":80,"CCWS":"H25","coolant":true,"coolant_in":["bore"],"CP":70,"WT":2}`
		own  = `{"kind":"bar","DCONMS":25,"construction":"steel","OAL":200,"seat":"CCMT09T3","HAND":"R","DMIN":32}`
		hed  = `{"kind":"head","CCMS":"H25","HAND":"R","DMIN":32,"seat":"CCMT09T3","LF":20}`
		ins  = `{"kind":"insert","designation":"CCMT 09T304","edges":2}`
		hos  = `{"kind":"hose","ends":["M:G 1/4","M:G 1/4"],"LEN":500,"CP":80}`
		ada  = `{"kind":"adapter","DCONMS":32,"DCONWS":25,"LF":40,"LSC":100,"OAL":168,"OHX":200,"DMIN":38}`
	)
	for _, text := range []string{hold, slv, brr, own, hed, ins, hos, ada} {
		read(t, text)
	}
	for _, tt := range []struct{ part, members, field string }{
		{hold, `{"kind":null}`, "kind"}, {hold, `{"kind":"holders"}`, "kind"},
		{hold, `{"interface":null}`, "interface"}, {hold, `{"interface":"50"}`, "interface"},
		{hold, `{"DCONWS":null}`, "LSC"}, {hold, `{"DCONWS":null,"LSC":null,"clamp":null}`, "DCONWS"},
		{hold, `{"DCONWS":0}`, "DCONWS"}, {hold, `{"DCONWS":-40}`, "DCONWS"}, {hold, `{"DCONWS":5000}`, "DCONWS"},
		{hold, `{"LSC":-120}`, "LSC"}, {hold, `{"LSC":0}`, "LSC"}, {hold, `{"clamp":"glue"}`, "clamp"},
		{hold, `{"coolant":true}`, "coolant"}, {hold, `{"CP":0}`, "CP"}, {hold, `{"CP":-1}`, "CP"}, {hold, `{"WT":0}`, "WT"}, {hold, `{"WT":1e9}`, "WT"},
		{hold, `{"unit":"cm"}`, "unit"}, {hold, `{"price_cents":1.5}`, "price_cents"}, {hold, `{"lead_days":-2}`, "lead_days"},
		{slv, `{"DCONWS":40}`, "DCONWS"}, {slv, `{"DCONWS":50}`, "DCONWS"}, {slv, `{"DCONWS":37.5}`, "DCONWS"}, {slv, `{"LSC":-1}`, "LSC"},
		{slv, `{"index":"maybe"}`, "index"}, {slv, `{"type":"soft"}`, "type"}, {slv, `{"LF":30}`, "LF"},
		{brr, `{"DCONMS":null}`, "DCONMS"}, {brr, `{"DCONMS":0}`, "DCONMS"}, {brr, `{"OAL":0}`, "OAL"}, {brr, `{"OAL":-300}`, "OAL"},
		{brr, `{"OAL":20}`, "OAL"}, // shorter than it is thick
		{brr, `{"OHN":200}`, "OHN"}, {brr, `{"CCWS":"25"}`, "CCWS"}, {brr, `{"seat":"CCMT09T3"}`, "seat"}, {brr, `{"hollow":25}`, "hollow"},
		{brr, `{"construction":"rubber"}`, "construction"}, {brr, `{"coolant_in":["G 1/4"]}`, "coolant_in"}, {brr, `{"coolant_in":[4]}`, "coolant_in"},
		{brr, `{"coolant_in":"bore"}`, "coolant_in"}, {brr, `{"CCMS":"25"}`, "CCMS"},
		{own, `{"OHX":210}`, "OHX"}, // sticks out further than it is long
		{own, `{"HAND":null}`, "HAND"}, {own, `{"seat":null}`, "seat"}, {own, `{"DMIN":0}`, "DMIN"}, {own, `{"DMIN":-3}`, "DMIN"},
		{hed, `{"CCMS":null}`, "CCMS"}, {hed, `{"CCMS":"32"}`, "CCMS"}, {hed, `{"HAND":"X"}`, "HAND"}, {hed, `{"DMIN":0}`, "DMIN"}, {hed, `{"LF":-1}`, "LF"},
		{hed, `{"LF":99999}`, "LF"}, {hed, `{"seat":null}`, "seat"}, {hed, `{"nozzles":1.5}`, "nozzles"}, {hed, `{"OAL":9}`, "OAL"},
		{ins, `{"seat":"DCMT11T3"}`, "seat"}, {ins, `{"designation":null}`, "seat"}, {ins, `{"edges":-1}`, "edges"}, {ins, `{"RE":-0.4}`, "RE"},
		{hos, `{"ends":["M:G 1/4"]}`, "ends"}, {hos, `{"ends":["M:G 1/4","M:G 1/4","M:G 1/4"]}`, "ends"}, {hos, `{"ends":["M:G 1/4","1/4"]}`, "ends"}, {hos, `{"LEN":0}`, "LEN"},
		{ada, `{"DCONWS":null}`, "LSC"}, {ada, `{"DCONWS":null,"LSC":null}`, "joints"}, {ada, `{"LF":200}`, "LF"}, {ada, `{"LF":0}`, "LF"}, {ada, `{"OHX":0}`, "OHX"},
		{hed, `{"joints":[{"side":"machine","family":"bayonet","code":"H25"}]}`, "joints[0].family"},
		{hed, `{"joints":[{"side":"inside","family":"coupling","code":"H25"}]}`, "joints[0].side"},
		{hed, `{"joints":[{"side":"machine","family":"coupling"}]}`, "joints[0].code"},
		{hed, `{"joints":[{"side":"coolant-in","family":"coupling","code":"H25"}]}`, "joints[0].side"},
		{hed, `{"joints":[{"side":"machine","family":"thread","code":"G 1/4","gender":"M"}]}`, "joints[0].side"},
		{hed, `{"joints":[{"side":"machine","family":"through"}]}`, "joints[0].side"},
		{hed, `{"joints":[{"side":"coolant-in","family":"thread","code":"G 1/4"}]}`, "joints[0].gender"},
		{hed, `{"joints":[{"side":"coolant-in","family":"thread","code":"1/4","gender":"M"}]}`, "joints[0].code"},
		{ada, `{"joints":[{"side":"workpiece","family":"cylindrical"}]}`, "joints[0].size"},
		{ada, `{"joints":[{"side":"workpiece","family":"cylindrical","size":25,"gender":"M"}]}`, "joints[0].gender"},
		{ada, `{"joints":[{"side":"workpiece","family":"cylindrical","size":-25}]}`, "joints[0].size"},
		{ada, `{"joints":[{"side":"workpiece","family":"cylindrical","size":25,"lsc":-3}]}`, "joints[0].lsc"},
		{ada, `{"joints":{"side":"machine"}}`, "joints"},
	} {
		text := with(t, tt.part, tt.members)
		_, err := ReadPart([]byte(text))
		bad := (*BadField)(nil)
		if !errors.As(err, &bad) || bad.Field != tt.field {
			t.Errorf("%s with %s: %v, want %s", tt.part, tt.members, err, tt.field)
		}
	}
}

// TestItemFields: so is where a part stands.
func TestItemFields(t *testing.T) {
	const good = `{"id":"c","request":{"need_date":"2026-03-16","station":{"interface":"VDI50"},"bore_start_d":40,"depth":100,"clearance":10,"hand":"R","insert":{"seat":"CCMT09T3"}},"on_hand":[%]}`
	const item = `{"kind":"insert","id":"INS","seat":"CCMT09T3","edges":2,"qty":4,"status":"in"}`
	for _, tt := range []struct{ members, field string }{
		{`{}`, ""},
		{`{"id":null}`, "on_hand[0].id"}, {`{"status":null}`, "on_hand[0].status"}, {`{"status":"here"}`, "on_hand[0].status"},
		{`{"qty":null}`, "on_hand[0].qty"}, {`{"qty":-1}`, "on_hand[0].qty"}, {`{"qty":0.5}`, "on_hand[0].qty"}, {`{"due":"soon"}`, "on_hand[0].due"},
		{`{"reserved":[{"job":"J","from":"2026-03-20","to":"2026-03-10"}]}`, "on_hand[0].reserved[0].to"},
		{`{"reserved":[{"job":"J","to":"2026-03-10"}]}`, "on_hand[0].reserved[0].from"},
		{`{"reserved":[{"job":"J","from":"2026-03-01","to":"2026-03-10","qty":0}]}`, "on_hand[0].reserved[0].qty"},
		{`{"out":{"to":"Brisa","due":"2026-13-01"}}`, "on_hand[0].out.due"}, {`{"out":"Brisa"}`, "on_hand[0].out"},
	} {
		cases, err := ReadCases([]byte(strings.Replace(good, "%", with(t, item, tt.members), 1)))
		if err != nil {
			t.Fatal(err)
		}
		bad := (*BadField)(nil)
		if tt.field == "" {
			if cases[0].Err != nil {
				t.Fatal(cases[0].Err)
			}
		} else if !errors.As(cases[0].Err, &bad) || bad.Field != tt.field || bad.Line != 1 {
			t.Errorf("%s: %v, want %s", tt.members, cases[0].Err, tt.field)
		}
	}
}

// TestUnknownIsNotEnough: what nobody recorded never counts as enough, and the reason names
// the part. The same stack with the number on record can be built.
func TestUnknownIsNotEnough(t *testing.T) {
	parts := map[string]string{
		"holder": strings.Replace(roundHolder, `"DCONWS":32`, `"DCONWS":40`, 1),
		"sleeve": `{"kind":"sleeve","id":"SLV","DCONMS":40,"DCONWS":25,"LSC":110,"index":"scribe","sealed":true,"WT":0.4,"CP":80}`,
		"bar":    with(t, shortBar, `{"OAL":240}`), "head": shortHead, "insert": someInserts,
	}
	line := map[string]string{"holder": strings.Replace(lineHolder, `"DCONWS":25`, `"DCONWS":40`, 1), "bar": lineBar, "hose": fitting("NIP", "M:G 1/8", "M:G 1/8")}
	ask := func(kind, members string, r Request, byLine bool) Verdict {
		var texts []string
		for _, k := range []string{"holder", "sleeve", "bar", "head", "insert", "hose"} {
			text, ok := parts[k]
			if l := line[k]; byLine && l != "" {
				text, ok = l, true
			}
			if ok && k == kind {
				text = with(t, text, members)
			}
			if ok {
				texts = append(texts, text)
			}
		}
		return checked(t, shop(t, texts...), r)
	}
	cold := request40()
	wet := request40()
	wet.Coolant, wet.CoolantBar, wet.Station.CoolantPort = true, 20, "F:G 1/8"
	carried := request40()
	carried.Station.MaxMassKg = Some(40)
	for _, tt := range []struct {
		kind, members string
		r             Request
		byLine        bool
		code          Code
		says          string
	}{
		{"holder", `{"LSC":null}`, cold, false, codeClamp, "not recorded"},
		{"sleeve", `{"LSC":null}`, cold, false, codeClamp, "not recorded"},
		{"bar", `{"OAL":null}`, cold, false, codeShort, "length of BAR is not recorded"},
		{"bar", `{"construction":null}`, cold, false, codeOverMax, "construction of BAR is not recorded"},
		{"head", `{"LF":null}`, cold, false, codeShort, "LF of HED-S is not recorded"},
		{"head", `{"DMIN":null}`, cold, false, codeDmin, "smallest hole that HED-S goes into is not recorded"},
		{"holder", `{"WT":null}`, carried, false, codeMass, "the mass of HLD is not recorded"},
		{"sleeve", `{"WT":null}`, carried, false, codeMass, "the mass of SLV is not recorded"},
		{"bar", `{"WT":null}`, carried, false, codeMass, "the mass of BAR is not recorded"},
		{"head", `{"WT":null}`, carried, false, codeMass, "the mass of HED-S is not recorded"},
		{"holder", `{"CP":null}`, wet, false, codePressure, "rating of HLD is not recorded"},
		{"sleeve", `{"CP":null}`, wet, false, codePressure, "rating of SLV is not recorded"},
		{"bar", `{"CP":null}`, wet, false, codePressure, "rating of BAR is not recorded"},
		{"head", `{"CP":null}`, wet, false, codePressure, "rating of HED-S is not recorded"},
		{"sleeve", `{"sealed":null}`, wet, false, codeBreak, "SLV is not sealed"},
		{"bar", `{"coolant":null}`, wet, false, codeBreak, "BAR is not drilled"},
		{"hose", `{"CP":null}`, wet, true, codePressure, "rating of NIP is not recorded"},
		{"bar", `{"CP":null}`, wet, true, codePressure, "rating of BAR is not recorded"},
	} {
		if v := ask("", "", tt.r, tt.byLine); !v.Buildable {
			t.Fatalf("%s with everything on record: %s", tt.kind, v.Sentence())
		}
		v := ask(tt.kind, tt.members, tt.r, tt.byLine)
		if v.Buildable || !slices.Equal(codes(&v), []Code{tt.code}) || !strings.Contains(v.Sentence(), tt.says) {
			t.Errorf("%s %s: buildable %v, %v, %s; want %s and %q", tt.kind, tt.members, v.Buildable, codes(&v), v.Sentence(), tt.code, tt.says)
		}
	}
	// A station whose pump is not recorded delivers nothing that is asked in bar.
	r := wet
	r.Station.CoolantMaxBar = Opt{}
	if v := ask("", "", r, false); v.Buildable || !slices.Equal(codes(&v), []Code{codePump}) || !strings.Contains(v.Sentence(), "the station's limit is not recorded") {
		t.Errorf("pump not recorded: %s", v.Sentence())
	}
	// Without a pressure to hold no rating is needed, without a limit no mass; what is not known is said.
	r = wet
	r.CoolantBar = 0
	if v := ask("bar", `{"CP":null,"WT":null}`, r, false); !v.Buildable || v.Stacks[0].Mass.Known || v.CoolantLimit.Known || v.Weakest != "BAR" {
		t.Errorf("at no pressure: %s", v.Sentence())
	}
	// Unknown edges and radius warn.
	r = cold
	r.EdgesNeeded = 2
	if v := ask("insert", `{"edges":null,"RE":null}`, r, false); !slices.Equal(v.Warnings(), []Code{warnEdges, warnRE}) {
		t.Errorf("warnings %v, want both", v.Warnings())
	}
}

// TestTooSmallForAnyHead: a hole that no head on record enters is a no that names the size.
func TestTooSmallForAnyHead(t *testing.T) {
	r := request40()
	r.BoreStartD = 30
	s := shop(t, strings.Replace(roundHolder, `"DCONWS":32`, `"DCONWS":25`, 1), with(t, shortBar, `{"OAL":240}`), shortHead, someInserts)
	v := checked(t, s, r)
	if v.Buildable || !slices.Equal(codes(&v), []Code{codeDmin}) || !strings.Contains(v.Sentence(), "HED-S needs a hole of 38 mm, the part has 30 mm") {
		t.Fatal(v.Sentence())
	}
	if v.Options[0].Parts[0].Requires()["DMIN_max"] != 30.0 {
		b, _ := json.Marshal(v.Answer(""))
		t.Errorf("%s", b)
	}
}
