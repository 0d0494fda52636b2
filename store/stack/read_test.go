package stack

import (
	"errors"
	"reflect"
	"strings"
	"testing"
)

// TestPartRefused: a part that cannot be is refused with the field named.
func TestPartRefused(t *testing.T) {
	for _, tt := range []struct{ text, field string }{
		{`{"kind":"sleeve","DCONMS":25,"DCONWS":32}`, "DCONWS"},                                         // wider inside than outside
		{`{"kind":"sleeve","DCONMS":25,"DCONWS":23}`, "DCONWS"},                                         // a wall of 1 mm
		{`{"kind":"sleeve","DCONMS":-25,"DCONWS":16}`, "DCONMS"},                                        // under zero
		{`{"kind":"sleeve","DCONMS":0,"DCONWS":16}`, "DCONMS"},                                          // zero is not "unknown"
		{`{"kind":"sleeve","DCONMS":"50","DCONWS":16}`, "DCONMS"},                                       // text
		{`{"kind":"sleeve","DCONMS":1e400,"DCONWS":16}`, "DCONMS"},                                      // no number
		{`{"kind":"sleeve","DCONWS":16}`, "DCONMS"},                                                     // missing
		{`{"kind":"sleve","DCONMS":25,"DCONWS":16}`, "kind"},                                            // typo in a word
		{`{"kind":"holder","interface":"VDI50","DCONW":40}`, "DCONW"},                                   // typo in a name
		{`{"kind":"holder","interface":"VDI50","DCONWS":40,"OAL":9}`, "OAL"},                            // field of another kind
		{`{"kind":"bar","DCONMS":25,"construction":"carbide","CCWS":"H25","OHN":300,"OHX":200}`, "OHN"}, // shortest over longest
		{`{"kind":"bar","DCONMS":25,"construction":"wood","CCWS":"H25"}`, "construction"},
		{`{"kind":"bar","DCONMS":25,"CCWS":"H25","coolant_in":["1/4"]}`, "coolant_in"}, // a bare number says nothing
		{`{"kind":"hose","ends":["M:G 1/4"]}`, "ends"},
		{`{"kind":"hose","ends":["M:G 1/4","M:9/4"]}`, "ends"},
		{`{"kind":"insert","designation":"CNMG 432","seat":"CNMG1606"}`, "seat"}, // contradicts its name
		{`{"kind":"insert","seat":"CNMG1204","edges":1.5}`, "edges"},
		{`{"kind":"head","CCMS":"H25","CCMS":"H32","HAND":"R","seat":"CNMG1204"}`, "CCMS"}, // twice
		{`{"kind":"holder","interface":"VDI50","DCONWS":40,"joints":[{"side":"workpiece","family":"cylindrical","size":50}]}`, "joints"},
	} {
		_, err := ReadPart([]byte(tt.text))
		var bad *BadField
		if !errors.As(err, &bad) || bad.Field != tt.field {
			t.Errorf("%s: %v, want the field %s", tt.text, err, tt.field)
		}
	}
}

// TestJointsAndColumns: both spellings read into the same part.
func TestJointsAndColumns(t *testing.T) {
	for _, tt := range []struct{ columns, joints string }{
		{`{"kind":"holder","interface":"VDI50","DCONWS":40,"LSC":165,"clamp":"split","coolant":"through"}`,
			`{"kind":"holder","coolant":"through","joints":[{"side":"machine","family":"turret-seat","code":"VDI50"},{"side":"workpiece","family":"cylindrical","size":40,"lsc":165,"clamp":"split"}]}`},
		{`{"kind":"head","CCMS":"H40","HAND":"R","seat":"DCMT11T3","LF":32}`,
			`{"kind":"head","HAND":"R","LF":32,"joints":[{"side":"machine","family":"coupling","code":"H40"},{"side":"workpiece","family":"pocket","code":"DCMT11T3"}]}`},
		{`{"kind":"hose","ends":["M:G 1/4","M:NPT 1/4"]}`,
			`{"kind":"hose","joints":[{"side":"coolant-in","family":"thread","code":"G 1/4","gender":"M"},{"side":"coolant-in","family":"thread","code":"NPT 1/4","gender":"M"}]}`},
	} {
		a, err := ReadPart([]byte(tt.columns))
		if err != nil {
			t.Fatal(err)
		}
		b, err := ReadPart([]byte(tt.joints))
		if err != nil {
			t.Fatal(err)
		}
		if !reflect.DeepEqual(a, b) {
			t.Errorf("%s reads as %+v,\n%s as %+v", tt.columns, a, tt.joints, b)
		}
	}
}

// TestRequestRefused: a request that lacks something or contradicts itself is refused.
func TestRequestRefused(t *testing.T) {
	const good = `{"need_date":"2026-03-16","station":{"interface":"VDI50"},"bore_start_d":40,"depth":100,"clearance":10,"hand":"R","insert":{"seat":"CCMT09T3"},"coolant":false,"coolant_bar":0}`
	if _, err := ReadRequest([]byte(good)); err != nil {
		t.Fatal(err)
	}
	for _, tt := range []struct{ old, now, field string }{
		{`"clearance":10,`, ``, "request.clearance"},
		{`"depth":100,`, ``, "request.depth"},
		{`"depth":100`, `"depth":-1`, "request.depth"},
		{`"depth":100`, `"dept":100`, "request.dept"},
		{`"coolant_bar":0`, `"coolant_bar":40`, "request.coolant_bar"},
		{`"coolant":false,"coolant_bar":0`, `"coolant":true`, "request.coolant_bar"},
		{`"bore_start_d":40`, `"bore_start_d":0.2`, "request.bore_start_d"},
		{`"hand":"R"`, `"hand":"right"`, "request.hand"},
		{`"2026-03-16"`, `"16.3.2026"`, "request.need_date"},
		{`"interface":"VDI50"`, `"interface":""`, "request.station.interface"},
		{`{"seat":"CCMT09T3"}`, `{}`, "request.insert.seat"},
	} {
		text := strings.Replace(good, tt.old, tt.now, 1)
		if text == good {
			t.Fatalf("%s is not in the good request", tt.old)
		}
		_, err := ReadRequest([]byte(text))
		var bad *BadField
		if !errors.As(err, &bad) || bad.Field != tt.field {
			t.Errorf("%s: %v, want %s", tt.now, err, tt.field)
		}
	}
}

// TestMates: by code, never by a bare number.
func TestMates(t *testing.T) {
	end := func(s string) Joint {
		j, err := parseEnd(s)
		if err != nil {
			t.Fatal(err)
		}
		return j
	}
	shank := func(d float64) Joint { return Joint{Family: Cylindrical, Gender: "M", Size: Some(d)} }
	hole := func(d float64) Joint { return Joint{Family: Cylindrical, Gender: "F", Size: Some(d)} }
	code := func(f Family, c string) Joint { return Joint{Family: f, Code: c} }
	for _, tt := range []struct {
		a, b Joint
		want bool
	}{
		{end("M:G 1/4"), end("F:G 1/4"), true},
		{end("M:G 1/4"), end("M:G 1/4"), false},
		{end("M:NPT 1/4"), end("F:G 1/4"), false},
		{shank(25), hole(25), true},
		{shank(25), hole(25.02), true},
		{shank(25), hole(25.4), false},
		{shank(31.75), hole(32), false},
		{shank(25), shank(25), false},
		{Joint{Family: Cylindrical, Gender: "M"}, hole(25), false}, // unknown is not a fit
		{code(Coupling, "H32"), code(Coupling, "H32"), true},
		{code(Coupling, "H32"), code(Coupling, "K32"), false},
		{code(TurretSeat, "VDI50"), code(TurretSeat, "BMT50"), false},
		{code(Pocket, "CNMG1204"), code(Pocket, "CNGA1204"), true},  // tolerance and chip groove do not decide
		{code(Pocket, "CNMG1204"), code(Pocket, "CNMN1204"), false}, // the hole does
		{code(Pocket, "CNMG1204"), code(Pocket, "CNMG1606"), false},
	} {
		if Mates(tt.a, tt.b) != tt.want || Mates(tt.b, tt.a) != tt.want {
			t.Errorf("Mates(%+v, %+v), want %v both ways", tt.a, tt.b, tt.want)
		}
	}
}

// A round insert of 12.0 mm does not fit a pocket for 12.7 mm, though both are called 12; a
// pocket that does not say which is met by neither.
func TestRoundInsertsAreTwoSizes(t *testing.T) {
	seat := func(designation string) Joint {
		p, err := ReadPart([]byte(`{"kind":"insert","id":"I","designation":"` + designation + `","edges":4}`))
		if err != nil {
			t.Fatal(err)
		}
		j, ok := p.joint(Machine, Pocket)
		if !ok {
			t.Fatalf("%s has no pocket", designation)
		}
		return *j
	}
	pocket := func(code string) Joint {
		p, err := ReadPart([]byte(`{"kind":"head","id":"H","CCMS":"H32","seat":"` + code + `","HAND":"R","DMIN":40,"LF":32}`))
		if err != nil {
			t.Fatal(err)
		}
		j, _ := p.joint(Workpiece, Pocket)
		return *j
	}
	for _, tt := range []struct {
		insert, pocket string
		want           bool
	}{
		{"RCMT 1204M0", "RCMT1204M0", true},
		{"RCMT 120400", "RCMT120400", true},
		{"RCMT 1204M0", "RCMT120400", false},
		{"RCMT 120400", "RCMT1204M0", false},
		{"RCMT 120400", "RCMT1204", false},
		{"CNMG 120408", "CNMG1204", true},
	} {
		if got := Mates(seat(tt.insert), pocket(tt.pocket)); got != tt.want {
			t.Errorf("%s in a pocket %s: %v, want %v", tt.insert, tt.pocket, got, tt.want)
		}
	}
}
