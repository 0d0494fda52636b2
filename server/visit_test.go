package server

import (
	"compress/gzip"
	"fmt"
	"io"
	"net/http"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"brasspeg/server/access"
	"brasspeg/web"
)

// mostVisit is what a page may weigh on a first visit, everything it loads included: design,
// section 12.
const mostVisit = 200 << 10

var loaded = regexp.MustCompile(`(?:href|src)="(/[^"]+)"|url\("(/[^"]+)"\)|(?:from|import) "(/[^"]+)"`)

// A visit is a browser with an empty cache: what it has loaded so far, in bytes as sent.
type visit struct {
	c     *client
	bytes map[string]int
}

// load asks an address as a browser does, and for what the answer loads in turn. page follows
// what a page loads by itself, not what it links to.
func (v *visit) load(t *testing.T, path string, page bool) {
	t.Helper()
	if _, ok := v.bytes[path]; ok {
		return
	}
	req, err := http.NewRequestWithContext(t.Context(), "GET", v.c.sh.http.URL+path, nil)
	must(t, err)
	req.Header.Set("Accept-Encoding", "gzip") // set by hand: the client then leaves the body as it came
	resp, err := v.c.http.Do(req)
	must(t, err)
	defer resp.Body.Close()
	raw, err := io.ReadAll(resp.Body)
	must(t, err)
	v.bytes[path] = len(raw)
	kind := resp.Header.Get("Content-Type")
	text := raw
	if resp.Header.Get("Content-Encoding") == "gzip" {
		z, err := gzip.NewReader(strings.NewReader(string(raw)))
		must(t, err)
		text, err = io.ReadAll(z)
		must(t, err)
	} else if len(raw) > leastPacked && (strings.HasPrefix(kind, "text/") || strings.Contains(kind, "svg")) && page {
		t.Errorf("%s is sent unpacked, %d bytes of %s", path, len(raw), kind)
	}
	if strings.HasPrefix(path, "/static/") {
		if resp.StatusCode != 200 {
			t.Errorf("%s: %d", path, resp.StatusCode)
		}
		if !strings.Contains(resp.Header.Get("Cache-Control"), "immutable") {
			t.Errorf("%s is loaded by a page, and a browser asks for it again each time", path)
		}
	}
	for _, m := range loaded.FindAllStringSubmatch(string(text), -1) {
		next := m[1] + m[2] + m[3]
		if page && m[1] != "" && !strings.HasPrefix(next, "/static/") && !strings.Contains(next, ".svg") {
			continue // a link
		}
		if strings.HasPrefix(kind, "text/") && !strings.HasSuffix(next, ".pdf") {
			v.load(t, strings.ReplaceAll(next, "&amp;", "&"), false)
		}
	}
}

// Every page weighs at most 200 KB on a first visit, with its fonts, scripts and pictures.
func TestFirstVisit(t *testing.T) {
	sh := newShop(t)
	most, where := 0, ""
	for role, paths := range map[access.Role][]string{access.Visitor: {"/login"}, access.Operator: {"/window", "/machines/L3"}, access.Attendant: {"/window"}, access.Manager: sh.pagesOfShop(), access.Admin: {"/people", "/labels/badges"}} {
		c := sh.as(everyRole[role])
		for _, path := range paths {
			v := visit{c, map[string]int{}}
			v.load(t, path, true)
			sum := 0
			for _, n := range v.bytes {
				sum += n
			}
			if sum > mostVisit {
				t.Errorf("%s as %s: %d bytes on a first visit: %v", path, role, sum, v.bytes)
			}
			if sum > most {
				most, where = sum, fmt.Sprintf("%s as %s, %d files", path, role, len(v.bytes))
			}
		}
	}
	t.Logf("at most %d bytes: %s", most, where)
}

// A character of a page that its faces do not have comes from another face, and looks it.
func TestFacesHaveWhatPagesSay(t *testing.T) {
	css, err := web.Files.ReadFile("static/app.css")
	must(t, err)
	faces := regexp.MustCompile(`unicode-range: ([^;]+);`).FindAllStringSubmatch(string(css), -1)
	if len(faces) != 3 || faces[0][1] != faces[1][1] || faces[0][1] != faces[2][1] {
		t.Fatalf("%d faces, or not of one range", len(faces))
	}
	has := map[rune]bool{}
	for _, r := range strings.Split(faces[0][1], ", ") {
		from, to, ok := strings.Cut(strings.TrimPrefix(r, "U+"), "-")
		if !ok {
			to = from
		}
		a, err := strconv.ParseInt(from, 16, 32)
		must(t, err)
		b, err := strconv.ParseInt(to, 16, 32)
		must(t, err)
		for c := a; c <= b; c++ {
			has[rune(c)] = true
		}
	}
	said := 0
	for _, pattern := range []string{"../web/templates/*.html", "../web/static/*.js", "*.go", "drawing/*.go"} {
		files, err := filepath.Glob(pattern)
		must(t, err)
		for _, file := range files {
			if strings.HasSuffix(file, "_test.go") || strings.HasSuffix(file, "form.go") {
				continue
			}
			text := readFile(t, file)
			for _, r := range text {
				if r > '~' && !has[r] && !readOnly[r] {
					t.Errorf("%s says %q (%U), which the faces of the pages do not have; add it to unicode-range and run web/fonts.mjs", file, r, r)
				}
				said++
			}
		}
	}
	if said < 100_000 {
		t.Errorf("only %d characters were looked at", said)
	}
}

// readOnly are characters that the program reads from people and never writes to a page.
var readOnly = map[rune]bool{'\uff01': true, '\uff5e': true}
