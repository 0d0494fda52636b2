package main

import (
	"os/exec"
	"strings"
	"testing"
)

// arrows is which rooms a room of ours may know. What is not listed may know nothing of ours.
var arrows = map[string][]string{
	"brasspeg/cmd/brasspeg":     {"server", "store", "store/ledger", "store/standard", "store/stack", "store/life", "store/reorder", "labels", "testdata/shop"},
	"brasspeg/server":           {"server/access", "server/drawing", "store", "store/ledger", "store/standard", "store/stack", "store/life", "store/reorder", "labels", "web"},
	"brasspeg/server/access":    {},
	"brasspeg/server/drawing":   {"store/stack", "store/standard", "labels"},
	"brasspeg/store":            {"store/ledger", "store/standard", "store/stack", "store/life", "store/reorder", "store/migrations"},
	"brasspeg/store/ledger":     {},
	"brasspeg/store/standard":   {},
	"brasspeg/store/stack":      {"store/standard"},
	"brasspeg/store/life":       {},
	"brasspeg/store/reorder":    {},
	"brasspeg/store/migrations": {},
	"brasspeg/labels":           {"store/standard"},
	"brasspeg/web":              {},
	"brasspeg/testdata/shop":    {"store/stack", "store/standard"},
}

// pure rooms import no database, no server, no clock's neighbours and no logger, not even
// through something else.
var pure = []string{"store/ledger", "store/standard", "store/stack", "store/life", "store/reorder", "server/access", "server/drawing", "labels"}

var banned = []string{"gorm.io/", "github.com/labstack/", "database/sql", "log/slog", "net/http", "modernc.org/", "github.com/mattn/", "github.com/jackc/"}

func golist(t *testing.T, args ...string) []string {
	t.Helper()
	out, err := exec.Command("go", append([]string{"list"}, args...)...).Output()
	if err != nil {
		t.Fatalf("go list %v: %v", args, err)
	}
	return strings.Fields(string(out))
}

func TestLayers(t *testing.T) {
	rooms := golist(t, "brasspeg/...")
	rooms = append(rooms, "brasspeg/testdata/shop")
	for _, room := range rooms {
		may, known := arrows[room]
		if !known {
			t.Errorf("%s is not on the map; draw its arrows here and in DEVELOPERS.md", room)
			continue
		}
		allowed := map[string]bool{}
		for _, m := range may {
			allowed["brasspeg/"+m] = true
		}
		for _, dep := range golist(t, "-f", "{{join .Imports \"\\n\"}}", room) {
			if strings.HasPrefix(dep, "brasspeg/") && !allowed[dep] {
				t.Errorf("%s imports %s; move what it needs down, or pass the value", room, dep)
			}
			if strings.HasPrefix(dep, "gorm.io/") && room != "brasspeg/store" {
				t.Errorf("%s imports %s; gorm stays inside store", room, dep)
			}
			if strings.HasPrefix(dep, "github.com/labstack/") && room != "brasspeg/server" {
				t.Errorf("%s imports %s; echo stays inside server", room, dep)
			}
		}
	}
	for _, room := range pure {
		for _, dep := range golist(t, "-deps", "brasspeg/"+room) {
			for _, b := range banned {
				if strings.HasPrefix(dep, b) && !(b == "net/http" && room == "labels") {
					t.Errorf("the pure room %s reaches %s", room, dep)
				}
			}
		}
	}
}
