package server

import (
	"net/http"
	"regexp"
	"strings"
	"testing"

	"brasspeg/store"
)

// A shop of nothing is entered on its pages alone, from the first admin to a verdict on a job.
func TestFoundingOfAShop(t *testing.T) {
	sh := emptyShop(t)
	sh.hire("ada", "admin")
	ada := sh.page("ada")
	if body := ada.get("/jobs").body; !strings.Contains(body, `href="/shop"`) || !strings.Contains(body, "at least a manager") {
		t.Fatal("the first page of a new shop leads nowhere")
	}
	post := func(c *client, path string, body map[string]string, status int, word string) {
		t.Helper()
		body["op"] = newOp()
		if a := c.post(path, body); a.status != status || !strings.Contains(a.body, word) {
			t.Errorf("POST %s %v: %d %s; want %d with %q", path, body, a.status, a.body, status, word)
		}
	}
	post(ada, "/shop/people", map[string]string{"login": "mo", "name": "Mo Tessel", "role": "manager"}, 422, "PIN of 6 digits")
	post(ada, "/shop/people", map[string]string{"login": "mo", "name": "Mo Tessel", "role": "king", "pin": "493817"}, 422, "king")
	post(ada, "/shop/people", map[string]string{"login": "mo", "name": "Mo Tessel", "role": "manager", "pin": "493817"}, 204, "")
	post(ada, "/shop/people", map[string]string{"login": "mo", "name": "Mo Tessel", "role": "manager", "pin": "493817"}, http.StatusConflict, "mo")
	sh.hire("bea", "manager")
	bea := sh.page("bea")
	says := func(word string) {
		t.Helper()
		if body := bea.get("/shop").body; !strings.Contains(body, word) {
			t.Errorf("the shop does not say %q", word)
		}
	}
	says("To enter next: the bins of the crib.")
	post(bea, "/shop/bins", map[string]string{"codes": " ,\n"}, 422, "1 to 1000 bins")
	post(bea, "/shop/bins", map[string]string{"codes": "A1 A2\nB1, B2"}, 204, "")
	post(bea, "/shop/bins", map[string]string{"codes": "C1 A2 C2"}, http.StatusConflict, "A2")
	says("<p>4 entered.</p>") // all or none
	says("To enter next: a machine.")
	post(bea, "/shop/machines", map[string]string{"code": "L 1"}, 422, "without space")
	post(bea, "/shop/machines", map[string]string{"code": "l1", "name": "Long lathe"}, 204, "")
	post(bea, "/shop/machines", map[string]string{"code": "L1"}, http.StatusConflict, "L1")
	says("To enter next: the stations of its turret.")
	good := map[string]string{"machine": "L1", "from": "1", "to": "3", "seat": "vdi 50", "port": "F:G 1/4", "pressure": "3 MPa", "projection": "400", "mass": "40"}
	for field, bad := range map[string][2]string{"from": {"0", "first and the last"}, "to": {"999", "first and the last"}, "seat": {"40", "bare number"}, "port": {"hole", "hole"}, "pressure": {"much", "much"},
		"projection": {"far", "far"}, "mass": {"-1", "above 0"}, "machine": {"L9", "L9"}} {
		in := map[string]string{"op": newOp()}
		for k, v := range good {
			in[k] = v
		}
		in["op"] = newOp()
		in[field] = bad[0]
		if a := bea.post("/shop/stations", in); a.status != 422 && a.status != 404 || !strings.Contains(a.body, bad[1]) {
			t.Errorf("stations with %s %s: %d %s", field, bad[0], a.status, a.body)
		}
	}
	post(bea, "/shop/stations", good, 204, "")
	post(bea, "/shop/stations", good, http.StatusConflict, "L1/1")
	stations, err := sh.store.Stations(t.Context(), 0)
	must(t, err)
	if len(stations) != 3 || stations[0].Interface != "VDI50" || stations[0].CoolantPort != "F:G 1/4" || *stations[0].CoolantMaxBar != 30 || *stations[2].MaxProjection != 400 || *stations[2].MaxMassKg != 40 {
		t.Errorf("stations %+v", stations)
	}
	says("To enter next: parts.")
	form := bea.get("/newjob").body
	at := regexp.MustCompile(`value="(\d+)">L1 Long lathe, station 2, VDI50`).FindStringSubmatch(form)
	if at == nil {
		t.Fatal("the new station is not offered to a job")
	}
	post(bea, "/newjob", map[string]string{"code": "J-1", "station": at[1], "from": "2026-12-01", "to": "2026-12-02", "unit": "mm", "bore_start": "62", "depth": "200", "clearance": "20", "hand": "R", "seat": "DCMT11T3"}, 204, "")
	if body := bea.get("/jobs/J-1").body; !strings.Contains(body, "cannot be built") || !strings.Contains(body, "Missing") {
		t.Error("the first job has no verdict")
	}
	for _, path := range []string{"/shop/bins", "/shop/machines", "/shop/stations"} {
		sh.hire("ot"+path[6:7], "operator")
		if a := sh.page("ot"+path[6:7]).post(path, map[string]string{}); a.status != 403 {
			t.Errorf("an operator at %s: %d", path, a.status)
		}
	}
	if a := bea.post("/shop/people", map[string]string{"login": "x", "name": "X", "role": "admin", "pin": "493817"}); a.status != 403 {
		t.Errorf("a manager makes an admin: %d", a.status)
	}
}

func (sh *shop) hire(login, role string) {
	sh.t.Helper()
	p, badge, err := sh.store.AddPerson(sh.t.Context(), 0, store.PersonIn{Login: login, Name: login, Role: store.Role(role), PIN: testPIN, Password: testPassword})
	must(sh.t, err)
	sh.people[login], sh.badges[login] = p, badge
}
