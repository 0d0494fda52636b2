package standard

import (
	"bytes"
	"embed"
	"encoding/csv"
	"fmt"
	"strconv"
	"strings"
	"sync"
)

// The look-up tables are data: the reference files as they are, with their column of how
// sure each row is, and one file of further thread sizes from memory.
//
//go:embed tables/*.csv
var files embed.FS

// table returns one embedded table: one map a row, by column name. The rows are shared:
// read only.
func table(name string) []map[string]string {
	t, ok := tables()[name]
	if !ok {
		panic("no table " + name)
	}
	return t
}

// tables reads all embedded tables once. It panics on one that does not parse, which is
// our own mistake and seen by the first test.
var tables = sync.OnceValue(func() map[string][]map[string]string {
	entries, err := files.ReadDir("tables")
	if err != nil {
		panic(err)
	}
	all := map[string][]map[string]string{}
	for _, e := range entries {
		text, err := files.ReadFile("tables/" + e.Name())
		if err != nil {
			panic(err)
		}
		rows, err := csv.NewReader(bytes.NewReader(text)).ReadAll()
		if err != nil || len(rows) < 1 {
			panic(fmt.Sprintf("table %s: %v", e.Name(), err))
		}
		out := make([]map[string]string, 0, len(rows)-1)
		for _, row := range rows[1:] {
			m := make(map[string]string, len(row))
			for i, v := range row {
				m[rows[0][i]] = v
			}
			out = append(out, m)
		}
		all[strings.TrimSuffix(e.Name(), ".csv")] = out
	}
	return all
})

// num reads a number of a table; an empty field is 0.
func num(t string) float64 {
	if t == "" {
		return 0
	}
	v, err := strconv.ParseFloat(t, 64)
	if err != nil {
		panic(err)
	}
	return v
}

// threads is the thread table in order, known by id.
var threads = sync.OnceValue(func() threadTable {
	t := threadTable{byID: map[string]Thread{}}
	for _, name := range []string{"threads", "threads_more"} {
		for _, r := range table(name) {
			th := Thread{
				ID: r["thread_id"], Standard: r["standard"], Family: r["family"], Size: r["size"],
				MajorMM: num(r["major_diameter_mm"]), TPI: num(r["tpi"]), PitchMM: num(r["pitch_mm"]),
				AngleDeg: num(r["thread_angle_deg"]), Taper: r["taper"] == "yes", TaperRatio: r["taper_ratio"],
				SealsBy: r["seals_by"], MatesWith: r["mates_with"], Remark: r["remark"], Status: r["status"],
			}
			t.list = append(t.list, th)
			t.byID[th.ID] = th
		}
	}
	return t
})

type threadTable struct {
	list []Thread
	byID map[string]Thread
}
