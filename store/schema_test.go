package store

import (
	"maps"
	"slices"
	"sync"
	"testing"

	"gorm.io/gorm"
	"gorm.io/gorm/schema"
)

// rowTypes is every struct that gorm reads a table into.
var rowTypes = []any{
	Place{}, Person{}, Part{}, Fact{}, Item{}, Machine{}, Station{}, Supplier{}, Job{}, Reservation{}, Movement{}, opRow{}, EdgeRun{}, EdgeInsert{}, EdgeFamily{}, partCode{}, mergeRow{},
	Order{}, OrderLine{}, orderReceipt{}, LevelsRow{}, SnoozeRow{}, CountTask{}, Plan{}, Remark{}, LabelRun{}, Substitute{}, actChange{}, Device{},
}

// columns lists table.column of a store.
func columns(t *testing.T, db *gorm.DB) []string {
	t.Helper()
	q := `SELECT m.name || '.' || c.name FROM sqlite_master m, pragma_table_info(m.name) c WHERE m.type = 'table' AND m.name NOT LIKE 'sqlite_%' AND m.name NOT LIKE 'goose_%'`
	if db.Name() == "postgres" {
		q = `SELECT table_name || '.' || column_name FROM information_schema.columns WHERE table_schema = current_schema() AND table_name NOT LIKE 'goose_%'`
	}
	var out []string
	if err := db.Raw(q).Scan(&out).Error; err != nil {
		t.Fatal(err)
	}
	slices.Sort(out)
	return out
}

// Both engines have the same columns, and every column a row struct asks for exists.
func TestSchemas(t *testing.T) {
	have := map[string][]string{}
	engines(t, func(t *testing.T, s *shop) {
		cols := columns(t, s.read)
		have[s.Engine()] = cols
		known := map[string]bool{}
		for _, c := range cols {
			known[c] = true
		}
		for _, row := range rowTypes {
			sc, err := schema.Parse(row, &sync.Map{}, schema.NamingStrategy{})
			s.must(err)
			for _, f := range sc.Fields {
				if f.DBName != "" && !known[sc.Table+"."+f.DBName] {
					t.Errorf("%T asks for %s.%s, which the schema does not have", row, sc.Table, f.DBName)
				}
			}
		}
	})
	if len(have) == 2 && !slices.Equal(have["sqlite"], have["postgres"]) {
		diff := map[string]int{}
		for _, c := range have["sqlite"] {
			diff[c]++
		}
		for _, c := range have["postgres"] {
			diff[c]--
		}
		for _, c := range slices.Sorted(maps.Keys(diff)) {
			if diff[c] != 0 {
				t.Errorf("%s stands in one engine only", c)
			}
		}
	}
}
