package store

import (
	"encoding/json"
	"fmt"
	"slices"
	"strings"

	"gorm.io/gorm"
)

// A rowCheck is one question to the tables that hang on the ledger: each row that sql finds is a
// fault of rule. says is the sentence, in which {a}, {b} and {c} stand for the columns of the row.
type rowCheck struct{ rule, says, sql string }

// rowChecks are the invariants of edges, orders, counts, promises and plans. The ledger's own,
// I1 to I4, I6, I7, I9 and I13, stand in package ledger; I10 and I14 in verify.
//
//	I5  a lot has 0 edges left, or at most as many as its insert has when new
//	I15 an edge that was logged names an insert, lot, job, station and family that exist, and the booking it was
//	I16 the edges of an insert are logged once each, without a gap; those logged and those given up
//	    are all it had, once it has gone
//	I17 an insert goes to the tub by the two movements of the booking that took its last edge
//	I18 the edge account can be made up, and leaves out nothing that was logged or given up
//	I19 a delivery names an approved order and the booking that brought as many pieces, undone whole or not at all
//	I20 a count that was made names its booking
//	I21 a promise names a job, an item and bookings that exist; a piece is promised once a day
//	I22 a plan names a job, pieces, parts and bookings that exist
//
// I16 and I17 hold for each insert, so edges issued, used, left, given up and unexplained add up
// for each lot and each job too.
var rowChecks = []rowCheck{
	{"I5", "lot {a} is said to have {b} edges left, and a new one has {c}", `
		SELECT i.tag AS a, i.edges_left AS b, p.edges AS c FROM items i JOIN parts p ON p.id = i.part_id
		WHERE i.edges_left < 0 OR i.edges_left > p.edges ORDER BY i.id LIMIT 100`},

	{"I15", "edge run {a} names {c} that is not there (op {b})", `
		SELECT r.id AS a, r.op_id AS b, CASE WHEN u.id IS NULL THEN 'an insert' WHEN i.id IS NULL THEN 'a lot' WHEN j.id IS NULL THEN 'a job'
			WHEN s.id IS NULL THEN 'a station' WHEN m.id IS NULL THEN 'a machine' ELSE 'a family' END AS c
		FROM edge_runs r LEFT JOIN edge_inserts u ON u.id = r.insert_id LEFT JOIN items i ON i.id = r.item_id LEFT JOIN jobs j ON j.id = r.job_id
			LEFT JOIN stations s ON s.id = r.station_id LEFT JOIN machines m ON m.id = r.machine_id LEFT JOIN edge_families f ON f.id = r.family_id
		WHERE u.id IS NULL OR i.id IS NULL OR j.id IS NULL OR s.id IS NULL OR m.id IS NULL OR f.id IS NULL ORDER BY r.id LIMIT 100`},
	{"I15", "edge run {a} is of {c} (op {b})", `
		SELECT r.id AS a, r.op_id AS b, CASE WHEN s.machine_id <> r.machine_id THEN 'a station of another machine' ELSE 'another lot than its insert' END AS c
		FROM edge_runs r JOIN edge_inserts u ON u.id = r.insert_id JOIN stations s ON s.id = r.station_id
		WHERE s.machine_id <> r.machine_id OR u.item_id <> r.item_id ORDER BY r.id LIMIT 100`},
	{"I15", "edge run {a} has no booking of an edge by the same person ({b})", `
		SELECT r.id AS a, r.op_id AS b, '' AS c FROM edge_runs r LEFT JOIN ops o ON o.op_id = r.op_id
		WHERE o.op_id IS NULL OR o.act <> 'edge' OR o.actor_id <> r.actor_id ORDER BY r.id LIMIT 100`},
	{"I15", "the booking {a} was of an edge, and no edge is logged under it", `
		SELECT o.op_id AS a, '' AS b, '' AS c FROM ops o LEFT JOIN edge_runs r ON r.op_id = o.op_id
		WHERE o.act = 'edge' AND r.id IS NULL ORDER BY o.op_id LIMIT 100`},
	{"I15", "edge run {a} is said to be undone by {b}, which is no undo", `
		SELECT r.id AS a, r.undone_op AS b, '' AS c FROM edge_runs r LEFT JOIN ops o ON o.op_id = r.undone_op
		WHERE r.undone_op IS NOT NULL AND (o.op_id IS NULL OR o.act <> 'reverse') ORDER BY r.id LIMIT 100`},

	{"I16", "insert {a}: {c} edges are logged on it, its account says {b}", `
		SELECT u.id AS a, u.used - CASE WHEN i.edges_left IS NULL THEN 0 ELSE u.edges - i.edges_left END AS b, count(r.id) AS c
		FROM edge_inserts u JOIN items i ON i.id = u.item_id LEFT JOIN edge_runs r ON r.insert_id = u.id AND r.undone_op IS NULL
		GROUP BY u.id, u.used, u.edges, i.edges_left
		HAVING u.used - CASE WHEN i.edges_left IS NULL THEN 0 ELSE u.edges - i.edges_left END <> count(r.id) ORDER BY u.id LIMIT 100`},
	{"I16", "insert {a}: its edges are numbered {b}, so one was used twice or is missing", `
		SELECT u.id AS a, CAST(min(r.edge) AS TEXT) || ' to ' || CAST(max(r.edge) AS TEXT) || ', ' || CAST(count(r.id) AS TEXT) || ' of them' AS b, '' AS c
		FROM edge_inserts u JOIN items i ON i.id = u.item_id JOIN edge_runs r ON r.insert_id = u.id AND r.undone_op IS NULL
		GROUP BY u.id, u.edges, i.edges_left
		HAVING count(DISTINCT r.edge) <> count(r.id) OR max(r.edge) - min(r.edge) + 1 <> count(r.id)
			OR min(r.edge) <> 1 + CASE WHEN i.edges_left IS NULL THEN 0 ELSE u.edges - i.edges_left END ORDER BY u.id LIMIT 100`},
	{"I16", "insert {a} is {b}, and its edges do not add up: {c}", `
		SELECT u.id AS a, CASE WHEN u.ended_how = '' THEN 'in use' ELSE u.ended_how END AS b,
			CAST(u.used AS TEXT) || ' used and ' || CAST(u.thrown AS TEXT) || ' given up of ' || CAST(u.edges AS TEXT) AS c
		FROM edge_inserts u
		WHERE u.edges > 0 AND (u.used + u.thrown > u.edges OR u.ended_how IN ('used up','finished') AND u.used + u.thrown <> u.edges)
			OR u.ended_how = 'used up' AND u.thrown > 0 OR u.ended_how IN ('','taken out','gone','undone') AND u.thrown > 0
			OR (u.ended_at IS NULL) <> (u.ended_how = '') ORDER BY u.id LIMIT 100`},

	{"I17", "insert {a} is {b}, and the booking {c} did not take it to the tub", `
		SELECT u.id AS a, u.ended_how AS b, coalesce(u.ended_op, 'none') AS c FROM edge_inserts u
		WHERE u.ended_how IN ('used up','finished') AND NOT EXISTS (
			SELECT 1 FROM movements m JOIN places p ON p.id = m.to_id JOIN movements n ON n.op_id = m.op_id AND n.line = m.line + 1
				JOIN items i ON i.id = n.item_id JOIN places q ON q.id = n.to_id
			WHERE m.op_id = u.ended_op AND m.act = 'use' AND n.act = 'use' AND m.item_id = u.item_id AND m.from_id = u.place_id AND m.qty = 1 AND n.qty = 1
				AND p.kind = 'use' AND q.kind = 'scrap' AND i.edges_left = 0 AND NOT EXISTS (SELECT 1 FROM movements v WHERE v.reverses = m.seq))
		ORDER BY u.id LIMIT 100`},
	{"I17", "movement {a} took an insert to the tub in the booking of an edge ({b}), and no insert went with it", `
		SELECT m.seq AS a, m.op_id AS b, '' AS c FROM ops o JOIN movements m ON m.op_id = o.op_id
		WHERE o.act = 'edge' AND m.act = 'use' AND NOT EXISTS (SELECT 1 FROM movements v WHERE v.reverses = m.seq)
			AND m.op_id NOT IN (SELECT ended_op FROM edge_inserts WHERE ended_op IS NOT NULL AND ended_how IN ('used up','finished'))
		ORDER BY m.seq LIMIT 100`},

	{"I19", "delivery {a} ({b}) names {c}", `
		SELECT r.id AS a, r.op_id AS b, CASE WHEN l.id IS NULL THEN 'a line that is not there' WHEN d.id IS NULL THEN 'a line of no order'
			WHEN d.state <> 'approved' THEN 'an order that is ' || d.state WHEN o.op_id IS NULL THEN 'a booking that is not there' ELSE 'a booking that received nothing' END AS c
		FROM order_receipts r LEFT JOIN order_lines l ON l.id = r.line_id LEFT JOIN orders d ON d.id = l.order_id LEFT JOIN ops o ON o.op_id = r.op_id
		WHERE l.id IS NULL OR d.id IS NULL OR d.state <> 'approved' OR o.op_id IS NULL OR o.act <> 'receive' ORDER BY r.id LIMIT 100`},
	{"I19", "delivery {a} is of {b} pieces, its booking brought {c}", `
		SELECT r.id AS a, r.pieces AS b, coalesce(sum(m.qty), 0) AS c FROM order_receipts r LEFT JOIN movements m ON m.op_id = r.op_id
		GROUP BY r.id, r.pieces HAVING coalesce(sum(m.qty), 0) <> r.pieces ORDER BY r.id LIMIT 100`},
	{"I19", "delivery {a} is undone in part, {b} of its {c} movements, so its line is neither open nor filled", `
		SELECT r.id AS a, count(v.seq) AS b, count(m.seq) AS c FROM order_receipts r JOIN movements m ON m.op_id = r.op_id LEFT JOIN movements v ON v.reverses = m.seq
		GROUP BY r.id HAVING count(v.seq) <> 0 AND count(v.seq) <> count(m.seq) ORDER BY r.id LIMIT 100`},

	{"I20", "count {a} has {b}", `
		SELECT t.id AS a, CASE WHEN (t.counted_at IS NULL) <> (t.found IS NULL) THEN 'a day and no number, or a number and no day' ELSE 'no booking of a count by the same person' END AS b, '' AS c
		FROM count_tasks t LEFT JOIN ops o ON o.op_id = t.op_id
		WHERE (t.counted_at IS NULL) <> (t.found IS NULL) OR t.counted_at IS NOT NULL AND (o.op_id IS NULL OR o.act <> 'count' OR o.actor_id <> t.counted_by) ORDER BY t.id LIMIT 100`},

	{"I21", "promise {a} names {b} that is not there", `
		SELECT r.id AS a, CASE WHEN j.id IS NULL THEN 'a job' WHEN i.id IS NULL THEN 'an item' ELSE 'a booking' END AS b, '' AS c
		FROM reservations r LEFT JOIN jobs j ON j.id = r.job_id LEFT JOIN items i ON i.id = r.item_id LEFT JOIN ops o ON o.op_id = r.op_id LEFT JOIN ops z ON z.op_id = r.ended_op
		WHERE j.id IS NULL OR i.id IS NULL OR o.op_id IS NULL OR r.ended_op <> '' AND r.ended_op NOT LIKE 'undone %' AND z.op_id IS NULL ORDER BY r.id LIMIT 100`},
	{"I21", "promise {a} is open and ended by {b}", `
		SELECT r.id AS a, r.ended_op AS b, '' AS c FROM reservations r WHERE r.ended_at IS NULL AND r.ended_op <> '' ORDER BY r.id LIMIT 100`},
	{"I21", "piece {a} is promised twice for the same days: promises {b} and {c}", `
		SELECT i.tag AS a, r.id AS b, x.id AS c FROM reservations r JOIN reservations x ON x.item_id = r.item_id AND x.id > r.id AND x.job_id <> r.job_id
			AND x.from_day <= r.to_day AND x.to_day >= r.from_day AND x.ended_at IS NULL JOIN items i ON i.id = r.item_id
		WHERE r.ended_at IS NULL AND i.kind = 'piece' ORDER BY r.id, x.id LIMIT 100`},

	{"I22", "plan {a} names {b} that is not there", `
		SELECT p.id AS a, CASE WHEN j.id IS NULL THEN 'a job' ELSE 'a booking' END AS b, '' AS c
		FROM plans p LEFT JOIN jobs j ON j.id = p.job_id LEFT JOIN ops o ON o.op_id = p.op_id LEFT JOIN ops z ON z.op_id = p.ended_op
		WHERE j.id IS NULL OR o.op_id IS NULL OR p.ended_op <> '' AND p.ended_op NOT LIKE 'undone %' AND z.op_id IS NULL ORDER BY p.id LIMIT 100`},
}

type faultFunc func(rule string, seq int64, format string, args ...any)

// verifyRows holds everything that hangs on the ledger against it.
func (s *Store) verifyRows(db *gorm.DB, places []Place, items []Item, fault faultFunc) error {
	for _, c := range slices.Concat(rowChecks, actChecks, shopChecks) {
		var rows []struct{ A, B, C string }
		yes := slices.Repeat([]any{true}, strings.Count(c.sql, "?")) // bools are spelled by the engine
		if err := db.Raw(c.sql, yes...).Scan(&rows).Error; err != nil {
			return fmt.Errorf("check %s (%s): %w", c.rule, c.says, err)
		}
		for _, r := range rows {
			fault(c.rule, 0, "%s", strings.NewReplacer("{a}", r.A, "{b}", r.B, "{c}", r.C).Replace(c.says))
		}
	}
	if err := verifyAccount(db, fault); err != nil {
		return err
	}
	if err := verifyShop(db, places, items, fault); err != nil {
		return err
	}
	if err := verifySchema(db, s.Engine(), fault); err != nil {
		return err
	}
	if err := verifyLinks(db, s.Engine(), fault); err != nil {
		return err
	}
	return verifyPlans(db, items, fault)
}

// verifyAccount is I18: the account has every edge that was logged and every edge given up, and
// its rows add up.
func verifyAccount(db *gorm.DB, fault faultFunc) error {
	acc, err := edgeAccount(db, "")
	if err != nil {
		fault("I18", 0, "the edge account can not be made up: %v", err)
		return nil
	}
	var is struct{ Runs, Thrown int }
	if err := db.Raw(`SELECT (SELECT count(*) FROM edge_runs WHERE undone_op IS NULL) AS runs, (SELECT coalesce(sum(thrown), 0) FROM edge_inserts) AS thrown`).Scan(&is).Error; err != nil {
		return err
	}
	used, thrown := 0, 0
	for _, r := range acc.Rows {
		used, thrown = used+r.Used, thrown+r.Thrown
		if r.Issued != r.Used+r.Left+r.Thrown+r.Unexplained {
			fault("I18", 0, "the account of %s: %d edges issued are not %d used, %d left, %d thrown away and %d unexplained", r.Job, r.Issued, r.Used, r.Left, r.Thrown, r.Unexplained)
		}
	}
	if used != is.Runs || used != acc.Total.Used {
		fault("I18", 0, "%d edges are logged, the account of the jobs has %d, its total %d", is.Runs, used, acc.Total.Used)
	}
	if thrown < is.Thrown || thrown != acc.Total.Thrown { // whole inserts thrown away come on top
		fault("I18", 0, "%d edges were given up with their inserts, the account of the jobs has %d thrown away, its total %d", is.Thrown, thrown, acc.Total.Thrown)
	}
	return nil
}

// verifyPlans is the half of I22 that is written as JSON.
func verifyPlans(db *gorm.DB, items []Item, fault faultFunc) error {
	var codes []string
	if err := db.Raw("SELECT code FROM parts").Scan(&codes).Error; err != nil {
		return err
	}
	slices.Sort(codes)
	tags := make([]string, 0, len(items))
	for _, it := range items {
		tags = append(tags, it.Tag)
	}
	slices.Sort(tags)
	type promised struct {
		JobID JobID
		Tag   string
	}
	var open []promised
	if err := db.Raw("SELECT r.job_id, i.tag FROM reservations r JOIN items i ON i.id = r.item_id WHERE r.ended_at IS NULL").Scan(&open).Error; err != nil {
		return err
	}
	kept := map[promised]bool{}
	for _, p := range open {
		kept[p] = true
	}
	has := func(sorted []string, s string) bool { _, ok := slices.BinarySearch(sorted, s); return ok }
	for from := int64(0); ; {
		var plans []Plan
		if err := db.Where("id > ?", from).Order("id").Limit(1000).Find(&plans).Error; err != nil {
			return err
		}
		for _, p := range plans {
			var pieces []PlanPiece
			if err := json.Unmarshal([]byte(p.Pieces), &pieces); err != nil || len(pieces) == 0 {
				fault("I22", 0, "the pieces of plan %d can not be read", p.ID)
			}
			for _, x := range pieces {
				if !has(tags, x.Tag) || !has(codes, x.Part) {
					fault("I22", 0, "plan %d takes %s %s, which is not there", p.ID, x.Part, x.Tag)
				}
				if p.EndedAt.IsZero() && strings.HasPrefix(x.Tag, string(TagPiece)) && !kept[promised{p.JobID, x.Tag}] { // of lots, what was issued is promised no more
					fault("I22", 0, "plan %d takes %s %s, and it is not promised to its job", p.ID, x.Part, x.Tag)
				}
			}
		}
		if len(plans) < 1000 {
			return nil
		}
		from = plans[len(plans)-1].ID
	}
}
