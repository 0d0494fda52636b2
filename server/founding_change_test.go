package server

import (
	"html"
	"strings"
	"testing"
)

// What was entered of a shop is changed on its pages: each field's mistake is told at the field,
// what another changed meanwhile and the jobs a change stops are shown first.
func TestFoundingIsChanged(t *testing.T) {
	sh := newShop(t)
	mads, ada := sh.page("mads"), sh.page("ada")
	field := func(c *client, path string, body map[string]string, status int, field, word string) {
		t.Helper()
		body["op"] = newOp()
		a := c.post(path, body)
		if a.status != status || a.head.Get("Refused-Field") != field || !strings.Contains(html.UnescapeString(a.body), word) {
			t.Errorf("POST %s %v: %d at %q: %s; want %d at %q with %q", path, body, a.status, a.head.Get("Refused-Field"), a.body, status, field, word)
		}
	}
	const station = "/shop/stations/L3%2F4"
	for _, path := range []string{"/shop/bins", "/shop/bins/A1-1", "/shop/machines/L3", station} {
		if a := mads.get(path); a.status != 200 || !strings.Contains(a.body, "/labels?select=") {
			t.Errorf("%s: %d, without a link to its label", path, a.status)
		}
	}
	field(mads, station, map[string]string{"version": "0", "seat": "50"}, 422, "seat", "bare number")
	field(mads, station, map[string]string{"version": "0", "seat": "VDI50", "pressure": "much"}, 422, "pressure", "much")
	field(mads, station, map[string]string{"version": "0", "seat": "VDI50", "mass": "0"}, 422, "mass", "above 0")
	field(mads, station, map[string]string{"version": "0", "seat": "VDI40"}, 409, "", "J-1")
	field(mads, station, map[string]string{"version": "0", "seat": "VDI40"}, 409, "", "Save it all the same")
	field(mads, station, map[string]string{"version": "0", "seat": "VDI40", "broken": "yes"}, 204, "", "")
	if body := mads.get("/jobs/J-1").body; !strings.Contains(body, "VDI40") || !strings.Contains(body, "cannot be built") {
		t.Error("the job's verdict is still of the old seat")
	}
	field(mads, station, map[string]string{"version": "0", "seat": "VDI50"}, 412, "", "turret seat VDI50 → VDI40")
	field(mads, station, map[string]string{"version": "0", "over": "1", "seat": "VDI50", "broken": "yes"}, 204, "", "")

	field(mads, "/shop/machines/L3", map[string]string{"version": "0", "name": ""}, 422, "name", "")
	field(mads, "/shop/machines/L3", map[string]string{"version": "0", "name": "Lathe", "power": "-3"}, 422, "power", "kW")
	field(mads, "/shop/machines/L3", map[string]string{"version": "0", "name": "Lathe", "power": "22,5", "rpm": "3500"}, 204, "", "")
	if body := mads.get("/shop/machines/L3").body; !strings.Contains(body, `value="22.5"`) || !strings.Contains(body, `value="3500"`) {
		t.Error("power and speed are not kept")
	}
	field(mads, "/shop/machines/L3/retire", map[string]string{"retired": "yes"}, 412, "retired", "J-1")

	field(mads, "/shop/bins/C1-1", map[string]string{"version": "0", "code": "A1-1"}, 409, "code", "A1-1")
	field(mads, "/shop/bins/C1-1", map[string]string{"version": "0", "code": "C1-9", "name": "odd things"}, 204, "", "")
	field(mads, "/shop/bins/A1-2/retire", map[string]string{"retired": "yes"}, 412, "retired", "not empty")
	field(mads, "/shop/bins/C1-9/retire", map[string]string{"retired": "yes"}, 204, "", "")
	if body := mads.get("/shop/bins/C1-9").body; !strings.Contains(body, "Out of use since") || !strings.Contains(body, "Take it into use again") {
		t.Error("the page of a bin out of use does not say so")
	}
	field(mads, "/shop/bins/L3%2F4", map[string]string{"version": "0", "code": "X"}, 404, "", "not a bin")

	field(ada, "/shop/people/orla", map[string]string{"version": "0", "name": "Orla Vane", "role": "king"}, 422, "role", "king")
	field(ada, "/shop/people/orla", map[string]string{"version": "0", "name": "Orla Vane-Tull", "role": "attendant"}, 204, "", "")
	field(ada, "/shop/people/ada", map[string]string{"version": "0", "name": "Ada", "role": "manager"}, 412, "role", "only admin")
	field(mads, "/shop/people/orla", map[string]string{"version": "1", "name": "O", "role": "admin"}, 403, "", "")
	sh.window("brisa").scan(sh.tags("BAR-40-470")[0], sh.badges["ivo"])
	field(ada, "/shop/people/ivo/leave", map[string]string{}, 409, "", sh.tags("BAR-40-470")[0])
	field(ada, "/shop/people/ivo/leave", map[string]string{"all": "yes"}, 204, "", "")
	if body := ada.get("/people").body; strings.Contains(body, "Ivo Lend") || !strings.Contains(body, `href="/shop/people/orla"`) {
		t.Error("the list of people is not as it was left")
	}
}

// A second press of a button is the same act, not a refusal.
func TestFoundingEntersOnce(t *testing.T) {
	sh := newShop(t)
	mads := sh.page("mads")
	body := map[string]string{"op": newOp(), "codes": "Z1 Z2"}
	for range 2 {
		if a := mads.post("/shop/bins", body); a.status != 204 {
			t.Errorf("%d %s", a.status, a.body)
		}
	}
}
