package server

import (
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/labstack/echo/v4"

	"brasspeg/server/access"
)

var update = flag.Bool("update", false, "rewrite the golden files; read the difference before keeping it")

// The table of who may call what is a file that a person reads. A new route, or a right that
// grew, shows up there as a changed line.
func TestRoutesByRole(t *testing.T) {
	sh := newShop(t)
	var b strings.Builder
	fmt.Fprintf(&b, "%-46s", "route")
	for _, r := range access.Roles {
		fmt.Fprintf(&b, " %-9s", r)
	}
	b.WriteString("\n")
	for _, r := range sh.server.routes {
		fmt.Fprintf(&b, "%-46s", r.method+" "+r.path)
		for _, role := range access.Roles {
			fmt.Fprintf(&b, " %-9s", access.Of(role, r.right))
		}
		b.WriteString("\n")
	}
	got := strings.ReplaceAll(b.String(), " \n", "\n")
	for strings.Contains(got, " \n") {
		got = strings.ReplaceAll(got, " \n", "\n")
	}
	golden(t, "routes.txt", got)
}

func golden(t *testing.T, name, got string) {
	t.Helper()
	path := filepath.Join("..", "testdata", "server", name)
	if *update {
		must(t, os.MkdirAll(filepath.Dir(path), 0o755))
		must(t, os.WriteFile(path, []byte(got), 0o644))
	}
	want, err := os.ReadFile(path)
	must(t, err)
	if got != string(want) {
		t.Errorf("%s differs from what is served now; run go test ./server -update and read the difference\n%s", path, got)
	}
}

// Every route is called by every role: who has no right is stopped before the handler, who
// has one is not.
func TestEveryRouteHoldsItsRight(t *testing.T) {
	sh := newShop(t)
	clients := map[access.Role]*client{}
	for role, login := range everyRole {
		clients[role] = sh.as(login)
	}
	for _, r := range sh.server.routes {
		path := strings.NewReplacer(":tag", sh.tags("BAR-40-470")[0], ":code", "J-1", ":op", "nothing-of-that-name", "*", "nothing").Replace(r.path)
		for _, role := range access.Roles {
			if r.path == "/logout" && role != access.Visitor {
				continue // would end the session of the next calls; TestLogout has it
			}
			var a answer
			if r.method == "GET" {
				a = clients[role].get(path)
			} else {
				a = clients[role].do(r.method, path, "application/json", "{}")
			}
			stopped := a.status == 401 && !strings.Contains(a.body, "wrong_login") || a.status == 303 && a.head.Get("Location") == "/login" && role == access.Visitor && r.right != access.Open
			if role != access.Visitor {
				stopped = a.status == 403
			}
			if r.right == access.Open {
				stopped = false
			}
			if may := access.Of(role, r.right) != access.No; may == stopped {
				t.Errorf("%s %s as %s: %d %s; may: %v", r.method, path, role, a.status, a.body, may)
			}
			if a.status >= 500 {
				t.Errorf("%s %s as %s: %d %s", r.method, path, role, a.status, a.body)
			}
		}
	}
}

func TestRouteWithoutRightDoesNotStart(t *testing.T) {
	sh := newShop(t)
	for _, tt := range []struct {
		name string
		add  route
	}{
		{"no right", route{method: "GET", path: "/new", handler: sh.server.healthz}},
		{"a right without a row", route{method: "GET", path: "/new", right: "something else", handler: sh.server.healthz}},
		{"a route that is there", route{method: "GET", path: "/jobs", right: access.SeeShop, handler: sh.server.healthz}},
	} {
		if err := sh.server.addRoutes(echo.New(), append(sh.server.table(), tt.add)); err == nil {
			t.Errorf("%s: the server starts all the same", tt.name)
		}
	}
}

// A right that no route and no act asks for is a row nobody reads.
func TestEveryRightIsAsked(t *testing.T) {
	sh := newShop(t)
	used := map[access.Right]bool{
		access.SeeHolders:   true, // asked where a name would be shown, by holdersFor
		access.TakePromised: true, // asked where it would be offered; the store asks again
	}
	for _, r := range sh.server.routes {
		used[r.right] = true
	}
	for _, right := range rightOf {
		used[right] = true
	}
	for right := range access.Table {
		if !used[right] {
			t.Errorf("no route asks for the right %q", right)
		}
	}
}
