package life

import (
	"bufio"
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"
	"unicode/utf8"
)

// A File is a CSV of edge runs as read. A plain file (time, event) tells failed from unfinished
// and nothing more: then Lives is filled and Runs is nil. A file with reasons fills Runs.
type File struct {
	Runs  []Run
	Lives []Life
}

// A BadRows names every row of a file that cannot be right. Nothing of the file was taken.
type BadRows struct {
	Rows []string // "line 3: …", the first hundred
	More int      // further bad rows not listed
}

func (b *BadRows) Error() string {
	s := strings.Join(b.Rows, "\n")
	if b.More > 0 {
		s += fmt.Sprintf("\nand %d more", b.More)
	}
	return s
}

func (b *BadRows) Unwrap() error { return ErrNoAnswer }

func (b *BadRows) add(line int, err error) {
	if len(b.Rows) < 100 {
		b.Rows = append(b.Rows, fmt.Sprintf("line %d: %v", line, err))
	} else {
		b.More++
	}
}

// Bounds of a CSV file.
const (
	maxFileBytes = 64 << 20
	maxFileRows  = 1_000_000
)

// columns are the names a column may have, in any order and case. Columns of other names are
// passed over, so that a log with more in it need not be cut down first.
var columns = map[string]string{
	"time": "time", "life": "time", "age": "time",
	"event": "event", "failed": "event",
	"count": "count", "edges": "count",
	"parts": "parts", "minutes": "minutes", "min": "minutes",
	"reason": "reason",
	"vb":     "vb", "vb_mm": "vb", "wear_mm": "vb",
	"speed": "speed", "v": "speed", "feed": "feed", "f": "feed",
	"batch": "batch", "edge": "edge", "late": "late", "id": "id",
}

// ReadCSV reads edge runs. The first line names the columns: "time" and "event" (1 failed, 0
// taken off still good), or "reason" with "parts" or "minutes" or both, and as wanted "count",
// "vb" (mm), "speed" (m/min), "feed" (mm/rev), "batch", "edge", "late", "id". Separators are
// comma, semicolon or tab; beside the latter two a decimal comma is understood. A byte order
// mark is passed over. Errors: a *Refusal for the file as a whole, *BadRows with every bad row.
func ReadCSV(in io.Reader) (File, error) {
	raw, err := io.ReadAll(io.LimitReader(in, maxFileBytes+1))
	if err != nil {
		return File{}, fmt.Errorf("reading edge runs: %w", err)
	}
	if len(raw) > maxFileBytes {
		return File{}, refuse("too_long", "the file is larger than %d MB; split it", maxFileBytes>>20)
	}
	raw = bytes.TrimPrefix(raw, []byte("\ufeff"))
	if !utf8.Valid(raw) || bytes.IndexByte(raw, 0) >= 0 {
		return File{}, refuse("invalid_text", "the file is not UTF-8 text; save it as CSV UTF-8")
	}
	r := csv.NewReader(bytes.NewReader(raw))
	r.Comma = separator(raw)
	r.FieldsPerRecord = -1
	r.TrimLeadingSpace = r.Comma != '\t'
	head, err := r.Read()
	if errors.Is(err, io.EOF) {
		return File{}, refuse("no_data", "the file is empty; its first line names the columns, such as time,event or parts,reason")
	} else if err != nil {
		return File{}, refuse("invalid_text", "the first line cannot be read: %v", err)
	}
	at := map[string]int{}
	for i, name := range head {
		c, ok := columns[strings.ToLower(strings.TrimSpace(name))]
		if !ok {
			continue
		}
		if _, twice := at[c]; twice {
			return File{}, refuse("invalid_text", "two columns mean %s; keep one", c)
		}
		at[c] = i
	}
	_, hasTime := at["time"]
	_, hasEvent := at["event"]
	_, hasReason := at["reason"]
	_, hasParts := at["parts"]
	_, hasMinutes := at["minutes"]
	plain := hasTime && hasEvent
	if !plain && !(hasReason && (hasParts || hasMinutes)) {
		return File{}, refuse("invalid_text", "the first line must name the columns time and event, or reason with parts or minutes; it reads %q", clip(strings.Join(head, ",")))
	}

	var f File
	bad := &BadRows{}
	for {
		rec, err := r.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			// A broken quote runs to the end of the file: what follows would be guesswork.
			line := 0
			if p, ok := errors.AsType[*csv.ParseError](err); ok {
				line, err = p.StartLine, p.Err
			}
			bad.add(line, err)
			break
		}
		line, _ := r.FieldPos(0)
		if len(f.Runs)+len(f.Lives) >= maxFileRows {
			return File{}, refuse("too_long", "more than %d rows; split the file", maxFileRows)
		}
		row := csvRow{at: at, rec: rec, comma: r.Comma != ','}
		if row.empty() {
			continue
		}
		if plain {
			l := row.life()
			if row.err == nil {
				row.err = checkLives([]Life{l}, true)
			}
			f.Lives = append(f.Lives, l)
		} else {
			run := row.run()
			if row.err == nil {
				row.err = run.Check(0)
			}
			f.Runs = append(f.Runs, run)
		}
		if row.err != nil {
			bad.add(line, row.err)
		}
	}
	if len(bad.Rows) > 0 {
		return File{}, bad
	}
	return f, nil
}

// separator finds which of comma, semicolon and tab the first line uses most.
func separator(raw []byte) rune {
	line, _, _ := bufio.NewReader(bytes.NewReader(raw)).ReadLine()
	best, n := ',', bytes.Count(line, []byte(","))
	for _, c := range ";\t" {
		if k := bytes.Count(line, []byte(string(c))); k > n {
			best, n = c, k
		}
	}
	return best
}

// A csvRow reads the fields of one record and keeps the first error.
type csvRow struct {
	at    map[string]int
	rec   []string
	comma bool // a decimal comma is understood
	err   error
}

func (r *csvRow) empty() bool {
	for _, s := range r.rec {
		if strings.TrimSpace(s) != "" {
			return false
		}
	}
	return true
}

func (r *csvRow) text(col string) string {
	i, ok := r.at[col]
	if !ok || i >= len(r.rec) {
		return ""
	}
	return strings.TrimSpace(r.rec[i])
}

func (r *csvRow) fail(col, s, want string) {
	if r.err == nil {
		r.err = refuse("invalid", "%s %q: %s", col, clip(s), want)
	}
}

// number reads a number of 0 or more; an empty field is 0.
func (r *csvRow) number(col string) float64 {
	s := r.text(col)
	if s == "" {
		return 0
	}
	t := s
	if r.comma {
		t = strings.Replace(t, ",", ".", 1)
	}
	x, err := strconv.ParseFloat(t, 64)
	if err != nil {
		r.fail(col, s, "not a number")
	}
	return x
}

func (r *csvRow) whole(col string, empty int) int {
	s := r.text(col)
	if s == "" {
		return empty
	}
	n, err := strconv.Atoi(s)
	if err != nil {
		r.fail(col, s, "not a whole number")
	}
	return n
}

func (r *csvRow) flag(col string) bool {
	switch s := strings.ToLower(r.text(col)); s {
	case "", "0", "no", "false":
		return false
	case "1", "yes", "true":
		return true
	default:
		r.fail(col, s, "give 1 or 0")
		return false
	}
}

func (r *csvRow) life() Life {
	for _, col := range []string{"time", "event"} {
		if r.text(col) == "" {
			r.fail(col, "", "must not be empty")
		}
	}
	return Life{Age: r.number("time"), Failed: r.flag("event"), Count: r.whole("count", 1)}
}

func (r *csvRow) run() Run {
	reason, err := ParseReason(r.text("reason"))
	if err != nil && r.err == nil {
		r.err = err
	}
	n := r.whole("count", 1)
	if n < 1 {
		r.fail("count", r.text("count"), "give 1 or more")
	}
	return Run{
		ID: r.text("id"), Parts: r.whole("parts", 0), Minutes: r.number("minutes"), Reason: reason,
		WearVB: r.number("vb"), Speed: r.number("speed"), Feed: r.number("feed"), Batch: r.text("batch"),
		Edge: r.whole("edge", 0), Late: r.flag("late"), Count: n,
	}
}
