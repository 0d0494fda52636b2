package standard

import (
	"embed"
	"encoding/csv"
	"fmt"
	"io/fs"
	"strconv"
	"sync"
)

// The look-up tables are data: the reference files as they are, with their column of how
// sure each row is, and one file of further thread sizes from memory.
//
//go:embed tables/*.csv
var files embed.FS

// table reads one embedded table: one map a row, by column name. It panics on a table
// that does not parse, which is our own mistake and seen by the first test.
func table(name string) []map[string]string {
	f, err := files.Open("tables/" + name + ".csv")
	if err != nil {
		panic(err)
	}
	defer func(f fs.File) { _ = f.Close() }(f)
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil || len(rows) < 1 {
		panic(fmt.Sprintf("table %s: %v", name, err))
	}
	out := make([]map[string]string, 0, len(rows)-1)
	for _, row := range rows[1:] {
		m := make(map[string]string, len(row))
		for i, v := range row {
			m[rows[0][i]] = v
		}
		out = append(out, m)
	}
	return out
}

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
