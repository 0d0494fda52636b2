package server

import (
	"bytes"
	"fmt"
	"html/template"
	"io/fs"
	"path"
	"strings"

	"github.com/labstack/echo/v4"

	"brasspeg/server/access"
	"brasspeg/web"
)

// pages are the parsed templates by page name; parts, the pieces htmx asks for, are in each.
type pages map[string]*template.Template

// loadPages parses every template once. A page is a file that defines "main".
func loadPages(a *assets) (pages, error) {
	funcs := template.FuncMap{"asset": a.url}
	base, err := template.New("").Funcs(funcs).ParseFS(web.Files, "templates/layout.html", "templates/parts.html")
	if err != nil {
		return nil, fmt.Errorf("templates: %w", err)
	}
	files, err := fs.Glob(web.Files, "templates/*.html")
	if err != nil {
		return nil, err
	}
	ps := pages{"parts": base}
	for _, f := range files {
		name := strings.TrimSuffix(path.Base(f), ".html")
		if name == "layout" || name == "parts" {
			continue
		}
		t, err := template.Must(base.Clone()).ParseFS(web.Files, f)
		if err != nil {
			return nil, fmt.Errorf("template %s: %w", f, err)
		}
		ps[name] = t
	}
	return ps, nil
}

// A frame is what every page shows around its own content.
type frame struct {
	Title  string
	Words  []word // the pages this person can open
	Person string // "" when nobody is logged in
	Role   string
	Plain  bool // no encryption beyond this computer
	Demo   bool
	Body   any
}

// A word of the navigation.
type word struct {
	Href, Text string
	Here       bool
}

// nav are the pages that stand in the head of each, with the right each needs.
var nav = []struct {
	href, text string
	right      access.Right
}{
	{"/window", "Window", access.UseWindow},
	{"/jobs", "Jobs", access.SeeShop},
	{"/machines", "Machines", access.SeeShop},
	{"/edges", "Edges", access.SeeShop},
	{"/lives", "Lives", access.SeeShop},
	{"/search", "Search", access.SeeShop},
	{"/buying", "Buying", access.SeeBuying},
	{"/orders", "Orders", access.SeeBuying},
	{"/counting", "Counting", access.MovePieces},
	{"/names", "Names", access.SeeShop},
	{"/labels", "Labels", access.PrintLabels},
	{"/ledger", "Ledger", access.SeeLedger},
	{"/people", "People", access.SeePeople},
}

// page renders a whole page into memory and sends it with that status, so that a template
// that fails half way is a clean 500.
func (s *Server) page(c echo.Context, status int, name, title string, body any) error {
	f := frame{Title: title, Demo: s.cfg.Demo, Body: body}
	f.Plain = !s.cfg.TLS && !loopback(c)
	if p, ok := actor(c); ok {
		f.Person, f.Role = p.name, string(p.role)
		for _, n := range nav {
			if access.Of(p.role, n.right) != access.No {
				f.Words = append(f.Words, word{n.href, n.text, strings.HasPrefix(c.Path(), n.href)})
			}
		}
	}
	return s.render(c, status, name, "layout", f)
}

// part renders one named partial of the common parts.
func (s *Server) part(c echo.Context, status int, name string, data any) error {
	return s.render(c, status, "parts", name, data)
}

func (s *Server) render(c echo.Context, status int, page, name string, data any) error {
	t := s.pages[page]
	if t == nil {
		return fmt.Errorf("no page %q", page)
	}
	var b bytes.Buffer
	if err := t.ExecuteTemplate(&b, name, data); err != nil {
		return fmt.Errorf("page %s: %w", page, err)
	}
	return c.HTMLBlob(status, b.Bytes())
}
