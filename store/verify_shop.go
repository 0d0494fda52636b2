package store

import (
	"fmt"
	"regexp"
	"slices"
	"strings"

	"gorm.io/gorm"

	"brasspeg/store/migrations"
	"brasspeg/store/standard"
)

// shopChecks are the invariants of what the shop is made of, beside the ledger.
//
//	I19 (further) no line of an order got more than was ordered but by what was confirmed as too much
//	I20 (further) a count's difference is the movement of its booking
//	I21 (further) nothing is promised to a job that is closed; a piece is promised as one
//	I22 (further) a plan in force is of a job that is open, and its pieces are promised by it; with a plan end its promises
//	I25 an item is counted as its part is; one out of use is not in the shop; a place is of its kind, and a person's
//	    hands and a station are the place of one; nothing stands in a place out of use, no open job on such a station
//	I26 a part that is merged into another has nothing of its own left, and the merge is on record
//	I27 a print has as many labels as it says
//	I28 a session is somebody's whole or nobody's, and on a device in use; who has left has no token
var shopChecks = []rowCheck{
	{"I19", "order line {a} is of {b} pieces and got {c}, more than was confirmed", `
		SELECT l.id AS a, l.pieces AS b, sum(r.pieces) AS c FROM order_lines l JOIN order_receipts r ON r.line_id = l.id
		WHERE NOT EXISTS (SELECT 1 FROM movements m JOIN movements v ON v.reverses = m.seq WHERE m.op_id = r.op_id)
		GROUP BY l.id, l.pieces HAVING sum(r.pieces) - sum(r.surplus) > l.pieces ORDER BY l.id LIMIT 100`},
	{"I20", "count {a} found {b} where the record had {c}, and its booking moved something else", `
		SELECT t.id AS a, t.found AS b, coalesce(t.was, -1) AS c FROM count_tasks t WHERE t.counted_at IS NOT NULL AND t.found IS NOT NULL AND (t.was IS NULL OR abs(t.found - t.was)
			<> (SELECT coalesce(sum(m.qty), 0) FROM movements m WHERE m.op_id = t.op_id AND m.item_id = t.item_id AND t.place_id IN (m.from_id, m.to_id))) ORDER BY t.id LIMIT 100`},

	{"I21", "promise {a} is open, and its job {b} is {c}", `
		SELECT r.id AS a, j.code AS b, j.state AS c FROM reservations r JOIN jobs j ON j.id = r.job_id WHERE r.ended_at IS NULL AND j.state = 'closed' ORDER BY r.id LIMIT 100`},
	{"I21", "promise {a} is of {c} of the piece {b}", `
		SELECT r.id AS a, i.tag AS b, r.qty AS c FROM reservations r JOIN items i ON i.id = r.item_id WHERE i.kind = 'piece' AND r.qty <> 1 ORDER BY r.id LIMIT 100`},
	{"I21", "promise {a} was made with the plan {b} and outlives it", `
		SELECT r.id AS a, p.id AS b, '' AS c FROM reservations r JOIN plans p ON p.op_id = r.op_id AND p.job_id = r.job_id WHERE r.ended_at IS NULL AND p.ended_at IS NOT NULL ORDER BY r.id LIMIT 100`},
	{"I22", "plan {a} is in force, and its job {b} is {c}", `
		SELECT p.id AS a, j.code AS b, j.state AS c FROM plans p JOIN jobs j ON j.id = p.job_id WHERE p.ended_at IS NULL AND j.state = 'closed' ORDER BY p.id LIMIT 100`},

	{"I25", "item {a} is a {b}, and its part is counted by the {c}", `
		SELECT i.tag AS a, i.kind AS b, p.counted AS c FROM items i JOIN parts p ON p.id = i.part_id WHERE p.counted <> i.kind ORDER BY i.id LIMIT 100`},
	{"I25", "item {a} is out of use, and {b} of it are in {c}", `
		SELECT i.tag AS a, s.qty AS b, p.code AS c FROM items i JOIN stock s ON s.item_id = i.id JOIN places p ON p.id = s.place_id
		WHERE i.retired_at IS NOT NULL AND s.qty > 0 AND p.kind NOT IN ('regrind','supplier','scrap','use','adjust') ORDER BY i.id LIMIT 100`},
	{"I25", "place {a} is a {b}, and is said to be {c} the shop", `
		SELECT p.code AS a, p.kind AS b, CASE WHEN p.outside = ? THEN 'outside' ELSE 'inside' END AS c FROM places p
		WHERE (p.kind IN ('regrind','supplier','scrap','use','adjust')) <> (p.outside = ?) ORDER BY p.id LIMIT 100`},
	{"I25", "{a} is at place {b}, which is {c}", `
		SELECT 'person ' || pe.login AS a, p.code AS b, 'no hands' AS c FROM people pe JOIN places p ON p.id = pe.place_id WHERE p.kind <> 'person'
		UNION ALL SELECT 'station ' || CAST(s.id AS TEXT), p.code, 'no station' FROM stations s JOIN places p ON p.id = s.place_id WHERE p.kind <> 'station'
		ORDER BY 1 LIMIT 100`},
	{"I25", "place {a} is a {b}, and it is that of {c}", `
		SELECT p.code AS a, p.kind AS b, CAST(count(x.place_id) AS TEXT) AS c FROM places p LEFT JOIN (SELECT place_id FROM people UNION ALL SELECT place_id FROM stations) x ON x.place_id = p.id
		WHERE p.kind IN ('person','station') GROUP BY p.id, p.code, p.kind HAVING count(x.place_id) <> 1 ORDER BY p.id LIMIT 100`},
	{"I25", "place {a} is out of use, and {b} pieces are in it", `
		SELECT p.code AS a, sum(s.qty) AS b, '' AS c FROM places p JOIN stock s ON s.place_id = p.id WHERE p.retired_at IS NOT NULL AND s.qty > 0 GROUP BY p.id, p.code ORDER BY p.id LIMIT 100`},
	{"I25", "{a} is {b}, and {c}", `
		SELECT p.code AS a, CASE WHEN s.retired_at IS NULL THEN 'in use' ELSE 'out of use' END AS b, CASE WHEN (s.retired_at IS NULL) <> (p.retired_at IS NULL) THEN 'its place is otherwise' ELSE 'its machine is out of use' END AS c
		FROM stations s JOIN places p ON p.id = s.place_id JOIN machines m ON m.id = s.machine_id
		WHERE (s.retired_at IS NULL) <> (p.retired_at IS NULL) OR s.retired_at IS NULL AND m.retired_at IS NOT NULL ORDER BY p.id LIMIT 100`},
	{"I25", "job {a} is {b} on {c}, which is out of use", `
		SELECT j.code AS a, j.state AS b, p.code AS c FROM jobs j JOIN stations s ON s.id = j.station_id JOIN places p ON p.id = s.place_id
		WHERE s.retired_at IS NOT NULL AND j.state IN ('planned','running') ORDER BY j.id LIMIT 100`},
	{"I25", "job {a} is on {b}, and its station is on {c}", `
		SELECT j.code AS a, coalesce(m.code, 'no machine') AS b, n.code AS c FROM jobs j JOIN stations s ON s.id = j.station_id JOIN machines n ON n.id = s.machine_id LEFT JOIN machines m ON m.id = j.machine_id
		WHERE m.id IS NOT NULL AND m.id <> n.id ORDER BY j.id LIMIT 100`},

	{"I26", "part {a} is merged into {b}, and {c}", `
		SELECT p.code AS a, coalesce(q.code, 'one that is not there') AS b, CASE WHEN q.id IS NULL OR q.id = p.id THEN 'that can not be' WHEN p.retired_at IS NULL THEN 'still in use'
			WHEN EXISTS (SELECT 1 FROM items i WHERE i.part_id = p.id) THEN 'still has pieces' ELSE 'no merge of the two is on record' END AS c
		FROM parts p LEFT JOIN parts q ON q.id = p.merged_into WHERE p.merged_into IS NOT NULL AND (q.id IS NULL OR q.id = p.id OR p.retired_at IS NULL OR EXISTS (SELECT 1 FROM items i WHERE i.part_id = p.id)
			OR (SELECT count(*) FROM part_merges m WHERE m.from_id = p.id AND m.into_id = q.id AND m.undone_at IS NULL) <> 1) ORDER BY p.id LIMIT 100`},
	{"I26", "the merge {a} of {b} is in force, and the record does not say so", `
		SELECT m.op_id AS a, p.code AS b, '' AS c FROM part_merges m JOIN parts p ON p.id = m.from_id WHERE m.undone_at IS NULL AND (p.merged_into IS NULL OR p.merged_into <> m.into_id) ORDER BY m.op_id LIMIT 100`},
	{"I26", "the merge {a} names a booking that is not there", `
		SELECT m.op_id AS a, '' AS b, '' AS c FROM part_merges m LEFT JOIN ops o ON o.op_id = m.op_id WHERE o.op_id IS NULL OR o.act <> 'merge' ORDER BY m.op_id LIMIT 100`},
	{"I26", "the change {a} of part {b} {c}", `
		SELECT c.op_id AS a, p.code AS b, CASE WHEN o.op_id IS NULL THEN 'names a booking that is not there' ELSE 'is newer than the record' END AS c
		FROM part_changes c JOIN parts p ON p.id = c.part_id LEFT JOIN ops o ON o.op_id = c.op_id WHERE o.op_id IS NULL OR c.version > p.version ORDER BY c.op_id LIMIT 100`},
	{"I27", "the print {a} is of {b} labels, {c} are on record", `
		SELECT r.op_id AS a, r.labels AS b, count(l.id) AS c FROM label_runs r LEFT JOIN label_prints l ON l.op_id = r.op_id GROUP BY r.op_id, r.labels HAVING count(l.id) <> r.labels ORDER BY r.op_id LIMIT 100`},
	{"I28", "a session begun on {a} {b}", `
		SELECT coalesce(s.place, 'no device') AS a, CASE WHEN d.ended_at IS NOT NULL THEN 'is on a device that is no longer registered' ELSE 'is half somebody''s' END AS b, '' AS c FROM sessions s LEFT JOIN devices d ON d.id = s.device_id
		WHERE d.ended_at IS NOT NULL OR (s.person_id IS NULL) <> (s.code IS NULL) OR (s.person_id IS NULL) <> (s.begun_at IS NULL) ORDER BY s.token LIMIT 100`},
	{"I28", "{a} has left, and the token {b} still works", `
		SELECT pe.login AS a, t.name AS b, '' AS c FROM tokens t JOIN people pe ON pe.id = t.person_id WHERE pe.left_at IS NOT NULL AND t.revoked_at IS NULL ORDER BY t.id LIMIT 100`},
}

// ownPlaces is what every shop has.
var ownPlaces = map[string]PlaceKind{
	CodeInspection: Inspection, CodeLost: Lost, CodeRegrind: Regrind, CodeSupplier: SupplierAt, CodeScrap: ScrapAt, CodeUse: UseAt, CodeAdjust: AdjustAt, CodePartUsed: Bin,
}

// verifyShop is the part of I25 that needs the making of a tag.
func verifyShop(db *gorm.DB, places []Place, items []Item, fault faultFunc) error {
	own := map[string]bool{}
	tag := func(has string, letter byte, id int64) {
		if want, err := standard.NewTag(letter, id); err != nil || has != want {
			fault("I25", 0, "the tag %q is that of number %d, which has %q", has, id, want)
		}
	}
	for _, p := range places {
		own[p.Code] = ownPlaces[p.Code] == p.Kind
		if p.Tag != nil {
			tag(*p.Tag, TagPlace, int64(p.ID))
		}
	}
	for code := range ownPlaces {
		if !own[code] {
			fault("I25", 0, "the place %s, which every shop has, is not there", code)
		}
	}
	for _, it := range items {
		letter := byte(TagPiece)
		if it.Kind == KindLot {
			letter = TagLot
		}
		tag(it.Tag, letter, int64(it.ID))
	}
	var jobs []struct {
		ID  int64
		Tag *string
	}
	if err := db.Raw("SELECT id, tag FROM jobs ORDER BY id").Scan(&jobs).Error; err != nil {
		return err
	}
	for _, j := range jobs {
		if j.Tag != nil {
			tag(*j.Tag, TagJob, j.ID)
		}
	}
	return nil
}

// A schemaThing is a table, an index or a trigger that a migration makes.
type schemaThing struct{ kind, name string }

var (
	makes   = regexp.MustCompile(`(?im)^\s*CREATE\s+(TABLE|(?:UNIQUE\s+)?INDEX|TRIGGER)\s+(?:IF NOT EXISTS\s+)?(\w+)`)
	unmakes = regexp.MustCompile(`(?im)^\s*DROP\s+(TABLE|INDEX|TRIGGER)\s+(?:IF EXISTS\s+)?(\w+)`)
)

// schemaThings is all that the migrations of an engine leave behind.
func schemaThings(engine string) ([]schemaThing, error) {
	files, err := migrations.Files.ReadDir(engine)
	if err != nil {
		return nil, err
	}
	var out []schemaThing
	for _, f := range files {
		b, err := migrations.Files.ReadFile(engine + "/" + f.Name())
		if err != nil {
			return nil, err
		}
		kind := func(s string) string {
			words := strings.Fields(strings.ToLower(s))
			return words[len(words)-1]
		}
		for _, m := range unmakes.FindAllStringSubmatch(string(b), -1) {
			out = slices.DeleteFunc(out, func(t schemaThing) bool { return t == schemaThing{kind(m[1]), m[2]} })
		}
		for _, m := range makes.FindAllStringSubmatch(string(b), -1) {
			out = append(out, schemaThing{kind(m[1]), m[2]})
		}
	}
	return out, nil
}

const (
	sqliteThings   = "SELECT type AS kind, name FROM sqlite_master WHERE type IN ('table','index','trigger')"
	postgresThings = `SELECT 'table' AS kind, table_name AS name FROM information_schema.tables WHERE table_schema = current_schema()
		UNION SELECT 'index', indexname FROM pg_indexes WHERE schemaname = current_schema()
		UNION SELECT 'trigger', t.tgname FROM pg_trigger t JOIN pg_class c ON c.oid = t.tgrelid JOIN pg_namespace n ON n.oid = c.relnamespace
			WHERE n.nspname = current_schema() AND NOT t.tgisinternal AND t.tgenabled <> 'D'`
)

// verifySchema holds the tables, indexes and triggers against those the program makes: without
// its triggers the ledger can be changed, without its indexes a thing happen twice.
func verifySchema(db *gorm.DB, engine string, fault faultFunc) error {
	want, err := schemaThings(engine)
	if err != nil {
		return err
	}
	q := sqliteThings
	if engine == "postgres" {
		q = postgresThings
	}
	var rows []struct{ Kind, Name string }
	if err := db.Raw(q).Scan(&rows).Error; err != nil {
		return err
	}
	have := map[schemaThing]bool{}
	for _, r := range rows {
		have[schemaThing{r.Kind, r.Name}] = true
	}
	for _, t := range want {
		if !have[t] {
			fault("schema", 0, "the %s %s is missing; restore the newest backup, or have whoever took it away make it again", t.kind, t.name)
		}
	}
	return nil
}

// verifyLinks asks every reference between tables for rows that are not there.
func verifyLinks(db *gorm.DB, engine string, fault faultFunc) error {
	var links []struct{ From, Col, To, Key string }
	q := `SELECT m.name AS "from", f."from" AS col, f."table" AS "to", f."to" AS "key" FROM sqlite_master m, pragma_foreign_key_list(m.name) f WHERE m.type = 'table' ORDER BY m.name, f."from"`
	if engine == "postgres" {
		q = `SELECT c.conrelid::regclass::text AS "from", a.attname AS col, c.confrelid::regclass::text AS "to", b.attname AS "key" FROM pg_constraint c
			JOIN pg_attribute a ON a.attrelid = c.conrelid AND a.attnum = c.conkey[1] JOIN pg_attribute b ON b.attrelid = c.confrelid AND b.attnum = c.confkey[1]
			JOIN pg_namespace n ON n.oid = c.connamespace WHERE c.contype = 'f' AND n.nspname = current_schema() ORDER BY 1, 2`
	}
	if err := db.Raw(q).Scan(&links).Error; err != nil {
		return err
	}
	for _, l := range links {
		var n int64
		ask := fmt.Sprintf("SELECT count(*) FROM %s x WHERE x.%s IS NOT NULL AND NOT EXISTS (SELECT 1 FROM %s y WHERE y.%s = x.%s)", l.From, l.Col, l.To, l.Key, l.Col)
		if err := db.Raw(ask).Scan(&n).Error; err != nil {
			return err
		}
		if n > 0 {
			fault("link", 0, "%d rows of %s name in %s rows of %s that are not there", n, l.From, l.Col, l.To)
		}
	}
	return nil
}
