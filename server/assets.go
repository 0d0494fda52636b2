package server

import (
	"bytes"
	"compress/gzip"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"io/fs"
	"mime"
	"net/http"
	"path"
	"regexp"
	"strconv"
	"strings"

	"brasspeg/web"

	"github.com/labstack/echo/v4"
)

// An asset is one static file as it is sent.
type asset struct {
	url    string // with the hash of its content, so that a browser may keep it for ever
	kind   string // media type
	plain  []byte
	packed []byte // gzip, nil where it would not be smaller
}

// assets are all static files by their name without hash, and by their url.
type assets struct {
	byName map[string]*asset
	byURL  map[string]*asset
}

var staticRef = regexp.MustCompile(`/static/[A-Za-z0-9._/-]+\.(?:css|js|svg|woff2|png|wasm)`)

// loadAssets reads the embedded files and writes the hashed name of every file into those
// that refer to it. A reference to a file that is not there is an error: a page would load
// without its script and nobody would know why.
func loadAssets() (*assets, error) {
	raw := map[string][]byte{}
	static, err := fs.Sub(web.Files, "static")
	if err != nil {
		return nil, err
	}
	err = fs.WalkDir(static, ".", func(p string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		raw[p], err = fs.ReadFile(static, p)
		return err
	})
	if err != nil {
		return nil, fmt.Errorf("static files: %w", err)
	}
	a := &assets{byName: map[string]*asset{}, byURL: map[string]*asset{}}
	for name := range raw {
		if err := a.add(name, raw, nil); err != nil {
			return nil, err
		}
	}
	return a, nil
}

// add puts one file in, after those it refers to; via are the files that led here.
func (a *assets) add(name string, raw map[string][]byte, via []string) error {
	if a.byName[name] != nil {
		return nil
	}
	for _, v := range via {
		if v == name {
			return fmt.Errorf("static files %s refer to each other in a ring", strings.Join(append(via, name), " -> "))
		}
	}
	b, ok := raw[name]
	if !ok {
		return fmt.Errorf("static file %s refers to %s, which is not there", via[len(via)-1], name)
	}
	ext := path.Ext(name)
	if ours := (ext == ".css" || ext == ".js") && !strings.HasSuffix(name, ".min.js"); ours {
		var failed error
		b = staticRef.ReplaceAllFunc(b, func(ref []byte) []byte {
			other := strings.TrimPrefix(string(ref), "/static/")
			if err := a.add(other, raw, append(via, name)); err != nil {
				failed = err
				return ref
			}
			return []byte(a.byName[other].url)
		})
		if failed != nil {
			return failed
		}
	}
	sum := sha256.Sum256(b)
	f := &asset{
		url:   "/static/" + strings.TrimSuffix(name, ext) + "." + hex.EncodeToString(sum[:6]) + ext,
		kind:  mediaType(ext),
		plain: b,
	}
	var z bytes.Buffer
	w, _ := gzip.NewWriterLevel(&z, gzip.BestCompression)
	_, _ = w.Write(b)
	if w.Close() == nil && z.Len() < len(b)*9/10 {
		f.packed = z.Bytes()
	}
	a.byName[name], a.byURL[f.url] = f, f
	return nil
}

// mediaType does not ask the machine's own table first: on Windows a registry entry can
// make .js text/plain, which nosniff then refuses.
func mediaType(ext string) string {
	switch ext {
	case ".css":
		return "text/css; charset=utf-8"
	case ".js":
		return "text/javascript; charset=utf-8"
	case ".svg":
		return "image/svg+xml"
	case ".woff2":
		return "font/woff2"
	case ".txt":
		return "text/plain; charset=utf-8"
	case ".wasm":
		return "application/wasm"
	}
	if t := mime.TypeByExtension(ext); t != "" {
		return t
	}
	return "application/octet-stream"
}

// url returns the hashed address of a static file, for templates; an unknown name is a
// mistake of ours that the template test finds.
func (a *assets) url(name string) (string, error) {
	f := a.byName[name]
	if f == nil {
		return "", fmt.Errorf("no static file %q", name)
	}
	return f.url, nil
}

// asset serves GET /static/*: for ever under the hashed name, freshly under the plain one.
func (s *Server) asset(c echo.Context) error {
	p := c.Request().URL.Path
	h := c.Response().Header()
	f := s.assets.byURL[p]
	if f != nil {
		h.Set("Cache-Control", "public, max-age=31536000, immutable")
	} else if f = s.assets.byName[strings.TrimPrefix(p, "/static/")]; f == nil {
		return &refusal{class: errNotFound, detail: "There is no such file."}
	}
	body := f.plain
	h.Set("Vary", "Accept-Encoding")
	if f.packed != nil && takesGzip(c) {
		h.Set("Content-Encoding", "gzip")
		body = f.packed
	}
	h.Set(echo.HeaderContentLength, strconv.Itoa(len(body)))
	if c.Request().Method == http.MethodHead {
		h.Set(echo.HeaderContentType, f.kind)
		return c.NoContent(http.StatusOK)
	}
	return c.Blob(http.StatusOK, f.kind, body)
}

// offlineWorker is the service worker that keeps the pages of machines: GET /offline.js. It
// stands at the root because a worker rules what lies below its own address, and is never kept:
// the browser compares it at each visit, and another hash in it is another version.
func (s *Server) offlineWorker(c echo.Context) error {
	f := s.assets.byName["offline.js"]
	return c.Blob(http.StatusOK, f.kind, f.plain)
}
