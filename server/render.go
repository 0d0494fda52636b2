package server

import (
	"bytes"
	"compress/gzip"
	"fmt"
	"html/template"
	"io/fs"
	"path"
	"slices"
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
	Title     string
	Words     []word      // the pages this person works on every day
	More      []wordGroup // the others he may open
	Elsewhere string      // the page he is on, when it is one of the others
	Person    string      // "" when nobody is logged in
	Role      string
	Shared    bool // on a computer that several people use: it locks
	Locked    bool
	Plain     bool // no encryption beyond this computer
	Demo      bool
	Body      any
}

// A word of the navigation.
type word struct {
	Href, Text string
	Here       bool
}

type wordGroup struct {
	Name  string
	Words []word
}

// A place of the navigation is a page with the right it needs. The pages below those other
// addresses belong to it.
type navWord struct {
	href, text string
	right      access.Right
	also       []string
}

// nav are the pages, by who looks after what.
var nav = []struct {
	name  string
	words []navWord
}{
	{"Crib", []navWord{
		{"/window", "Window", access.UseWindow, nil},
		{"/search", "Search", access.SeeShop, []string{"/parts/", "/pieces/", "/places/"}},
		{"/counting", "Counting", access.MovePieces, nil},
		{"/labels", "Labels", access.PrintLabels, nil},
	}},
	{"Jobs", []navWord{
		{"/jobs", "Jobs", access.SeeShop, []string{"/newjob"}},
		{"/purchases", "Missing parts", access.SeeShop, nil},
		{"/machines", "Machines", access.SeeShop, nil},
		{"/edges", "Edges", access.SeeShop, nil},
		{"/lives", "Lives", access.SeeShop, nil},
	}},
	{"Buying", []navWord{
		{"/buying", "Buying", access.SeeBuying, nil},
		{"/orders", "Orders", access.SeeBuying, nil},
		{"/suppliers", "Suppliers", access.SeeBuying, nil},
	}},
	{"Records", []navWord{
		{"/names", "Names", access.SeeShop, nil},
		{"/parts/new", "New part", access.KeepParts, []string{"/parts/import"}},
		{"/codes", "Foreign codes", access.KeepParts, nil},
		{"/regrind", "Regrinding", access.KeepParts, nil},
		{"/ledger", "Ledger", access.SeeLedger, nil},
		{"/people", "People", access.SeePeople, nil},
		{"/shop", "The shop", access.KeepPlaces, nil},
		{"/sessions", "My log-ins", access.LogOut, nil},
		{"/devices", "Shared computers", access.KeepDevices, nil},
	}},
}

// daily are the pages that stand in the head for each role, first the one he works on most;
// all others are behind one word.
var daily = map[access.Role][]string{
	access.Operator:  {"/window", "/machines", "/jobs", "/search"},
	access.Attendant: {"/window", "/jobs", "/search", "/counting", "/labels"},
	access.Manager:   {"/jobs", "/buying", "/orders", "/machines", "/search"},
	access.Admin:     {"/people", "/jobs", "/search", "/ledger"},
}

// words fills the navigation of f for a role at the page path.
func (f *frame) words(role access.Role, path string) {
	here := ""
	for _, g := range nav { // the longest address that the page lies under
		for _, w := range g.words {
			for _, at := range append([]string{w.href}, w.also...) {
				if strings.HasPrefix(path, at) && len(at) > len(here) {
					here = at
				}
			}
		}
	}
	top := make([]word, len(daily[role]))
	for _, g := range nav {
		more := wordGroup{Name: g.name}
		for _, w := range g.words {
			if access.Of(role, w.right) == access.No {
				continue
			}
			x := word{w.href, w.text, here != "" && (w.href == here || slices.Contains(w.also, here))}
			if i := slices.Index(daily[role], w.href); i >= 0 {
				top[i] = x
				continue
			}
			if x.Here {
				f.Elsewhere = w.text
			}
			more.Words = append(more.Words, x)
		}
		if len(more.Words) > 0 {
			f.More = append(f.More, more)
		}
	}
	f.Words = top
}

// page renders a whole page into memory and sends it with that status, so that a template
// that fails half way is a clean 500.
func (s *Server) page(c echo.Context, status int, name, title string, body any) error {
	f := frame{Title: title, Demo: s.cfg.Demo, Body: body}
	f.Plain = !s.cfg.TLS && !loopback(c)
	if p, ok := actor(c); ok {
		f.Person, f.Role = p.name, string(p.role)
		f.Shared, f.Locked = p.shared, p.locked
		if !p.locked {
			f.words(p.role, c.Path())
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
	return sendPacked(c, status, echo.MIMETextHTMLCharsetUTF8, b.Bytes())
}

// leastPacked is the least number of bytes that packing is worth.
const leastPacked = 1400

// sendPacked sends text, packed for a client that takes it. No page holds a secret beside what
// a stranger can make it repeat, which packing would give away.
func sendPacked(c echo.Context, status int, kind string, text []byte) error {
	h := c.Response().Header()
	h.Add("Vary", "Accept-Encoding")
	if len(text) < leastPacked || !takesGzip(c) {
		return c.Blob(status, kind, text)
	}
	var b bytes.Buffer
	w, err := gzip.NewWriterLevel(&b, gzip.DefaultCompression)
	if err != nil {
		return err
	}
	if _, err := w.Write(text); err != nil {
		return err
	}
	if err := w.Close(); err != nil {
		return err
	}
	h.Set(echo.HeaderContentEncoding, "gzip")
	return c.Blob(status, kind, b.Bytes())
}

func takesGzip(c echo.Context) bool {
	return strings.Contains(c.Request().Header.Get(echo.HeaderAcceptEncoding), "gzip")
}
