package server

import (
	"context"
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"github.com/labstack/echo/v4"

	"brasspeg/store"
	"brasspeg/store/standard"
)

// opOf is who acts, on what device, under which op id: the one a program sends as
// Idempotency-Key. The store refuses an id that is too short or missing.
func opOf(c echo.Context) store.Op {
	v, _ := actor(c)
	return store.Op{ID: c.Request().Header.Get("Idempotency-Key"), Actor: v.id, Device: device(c)}
}

// A tagRef is a tag taken apart: the letter says what kind of thing it is on, the number
// which one.
type tagRef struct {
	text   string // canonical
	letter byte
	number int64
}

// parseTag reads a tag. A wrong check character is refused, with the tags it may have been;
// nothing is guessed.
func parseTag(field, text string) (tagRef, error) {
	t, err := standard.ParseTag(text)
	if err != nil {
		return tagRef{}, &refusal{class: errInvalid, field: field, detail: fmt.Sprintf("%s: %v", clip(text), err)}
	}
	n, err := strconv.ParseInt(t[1:8], 10, 64)
	if err != nil {
		return tagRef{}, &refusal{class: errInvalid, field: field, detail: clip(text) + " is not a tag of this shop"}
	}
	return tagRef{t, t[0], n}, nil
}

// scanned says what a scan or a typed code is. A label may carry this server's own address
// before its tag; an address of another server is no tag, and is never followed.
func (s *Server) scanned(ctx context.Context, text string) (store.Thing, error) {
	plain, err := store.ReadScan(text)
	if err != nil {
		return store.Thing{}, err
	}
	if u, err := url.Parse(plain); err == nil && (u.Scheme == "http" || u.Scheme == "https") && s.hosts[canonicalHost(u.Host)] {
		if tag, ok := strings.CutPrefix(strings.ToUpper(u.Path), "/T/"); ok {
			plain = tag
		}
	}
	return s.store.Scan(ctx, plain)
}

// clip shortens foreign text for a message and takes what cannot be shown out of it.
func clip(text string) string {
	text = strings.Map(func(r rune) rune {
		if r < ' ' || r == 0x7f || r >= 0x202a && r <= 0x202e || r >= 0x2066 && r <= 0x2069 {
			return -1
		}
		return r
	}, text)
	if r := []rune(text); len(r) > 40 {
		text = string(r[:40]) + "…"
	}
	return `"` + text + `"`
}

// item reads a piece or a lot by its tag.
func (s *Server) item(ctx context.Context, field, text string) (store.Item, error) {
	t, err := parseTag(field, text)
	if err != nil {
		if _, likely := s.store.ReadTag(ctx, field, text); likely != nil { // names the right ones that exist
			err = likely
		}
		return store.Item{}, err
	}
	if t.letter != store.TagPiece && t.letter != store.TagLot {
		return store.Item{}, &refusal{class: errInvalid, field: field, detail: t.text + " is the tag of no piece and no lot"}
	}
	return s.store.ItemByTag(ctx, t.text)
}

// place reads a place by its tag or its code, or the hands of a person by login name.
func (s *Server) place(ctx context.Context, field, text string) (store.Place, error) {
	if text == "" {
		return store.Place{}, &refusal{class: errInvalid, field: field, detail: "name the place by its code or tag"}
	}
	p, err := s.store.PlaceByCode(ctx, strings.ToUpper(text))
	if err == nil {
		return p, nil
	}
	if t, tagErr := parseTag(field, text); tagErr == nil {
		return s.placeByTag(ctx, field, t)
	}
	if person, perr := s.store.PersonByLogin(ctx, text); perr == nil {
		return s.store.Place(ctx, person.PlaceID)
	}
	return store.Place{}, &refusal{class: errNotFound, field: field, detail: "no place, station or person is called " + clip(text)}
}

func (s *Server) placeByTag(ctx context.Context, field string, t tagRef) (store.Place, error) {
	if t.letter == store.TagPlace {
		p, err := s.store.Place(ctx, store.PlaceID(t.number))
		if err == nil && p.Tag != nil && *p.Tag == t.text {
			return p, nil
		}
	}
	return store.Place{}, &refusal{class: errNotFound, field: field, detail: "no place of this shop carries the tag " + t.text}
}

// job reads a job by its tag or its code; "" is no job.
func (s *Server) job(ctx context.Context, field, text string) (store.Job, error) {
	if text == "" {
		return store.Job{}, nil
	}
	j, err := s.store.JobByCode(ctx, text)
	if err == nil {
		return j, nil
	}
	if t, tagErr := parseTag(field, text); tagErr == nil && t.letter == store.TagJob {
		return s.store.Job(ctx, store.JobID(t.number))
	}
	return j, &refusal{class: errNotFound, field: field, detail: "no job is called " + clip(text)}
}

// pageOf reads limit and after of a list. limit is 1 to 200, 50 when not given.
func pageOf(c echo.Context) (limit int, after string, err error) {
	limit = 50
	if t := c.QueryParam("limit"); t != "" {
		n, err := store.ReadWhole("limit", t, 1, 200)
		if err != nil {
			return 0, "", err
		}
		limit = int(n)
	}
	return limit, c.QueryParam("after"), nil
}

// lostPlace refuses an after that is no key of the list.
func lostPlace() error {
	return &refusal{class: errInvalid, code: "cursor_invalid", field: "after", detail: "after is what the page before gave as its own; begin again without it"}
}

// seqAfter is the number a page of a list of numbered rows goes on from, 0 at its beginning.
func seqAfter(after string) (int64, error) {
	if after == "" {
		return 0, nil
	}
	n, err := strconv.ParseInt(after, 10, 64)
	if err != nil || n < 1 {
		return 0, lostPlace()
	}
	return n, nil
}

// sendRows answers with one page of rows that are all at hand: in the order the client asks
// for by sort (a word of sorts, with - before it backwards; in their own order without), from
// behind the row whose key is after. The words stand in the description too, which refuses
// others before this.
func sendRows[T any](c echo.Context, rows []T, key func(T) string, sorts map[string]func(a, b T) int) error {
	limit, after, err := pageOf(c)
	if err != nil {
		return err
	}
	if by, back := strings.CutPrefix(c.QueryParam("sort"), "-"); sorts[by] != nil {
		slices.SortStableFunc(rows, func(a, b T) int {
			if back {
				a, b = b, a
			}
			return sorts[by](a, b)
		})
	}
	if after != "" {
		i := slices.IndexFunc(rows, func(r T) bool { return key(r) == after })
		if i < 0 {
			return lostPlace()
		}
		rows = rows[i+1:]
	}
	more := len(rows) > limit
	l := listOf(rows[:min(limit, len(rows))], limit, key)
	if !more {
		l.After = ""
	}
	return c.JSON(http.StatusOK, l)
}

// byText orders rows by a text of theirs.
func byText[T any](of func(T) string) func(a, b T) int {
	return func(a, b T) int { return strings.Compare(of(a), of(b)) }
}

// list is the form of every list: the rows, and the key to ask the next page with.
type list[T any] struct {
	Items []T    `json:"items"`           // never null
	After string `json:"after,omitempty"` // "" at the end
}

// listOf makes a list of rows read with limit; key names the last row.
func listOf[T any](rows []T, limit int, key func(T) string) list[T] {
	l := list[T]{Items: rows}
	if rows == nil {
		l.Items = []T{}
	}
	if n := len(rows); n > 0 && n == limit {
		l.After = key(rows[n-1])
	}
	return l
}
