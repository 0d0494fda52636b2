package store

// actChecks are the invariants of what acts changed besides movements, and of what hangs on the
// single booking. A store brought up from an older program has bookings without a row in
// act_changes, and promises and plans that it marked as undone in words; those are left out.
//
//	I6  a booking that must move something did, by movements of its kind, at its own time; an undo undid something
//	I7  a step of the clock is that of the movement it names
//	I10 a line of the list of issues is of the movement that handed it out, and of whose hands those are
//	I23 a change names a booking, its movement and the row it changed; it is undone once, whole and with its
//	    movements; and the changes of a row lead to how the row stands
//	I24 a substitute names a booking that issued that item to that job, and what was planned for the job
var actChecks = []rowCheck{
	{"I6", "the booking {a} is {b}, and moved nothing", `
		SELECT o.op_id AS a, o.act AS b, '' AS c FROM ops o WHERE o.lines = 0 AND o.act IN ('issue','return','receive','transfer','adjust','scrap','use') ORDER BY o.op_id LIMIT 100`},
	{"I6", "movement {a} is {b}, its booking is {c}", `
		SELECT m.seq AS a, m.act AS b, o.act AS c FROM movements m JOIN ops o ON o.op_id = m.op_id
		WHERE m.act <> o.act AND NOT (m.act = 'use' AND o.act IN ('return','edge','close','transfer') OR m.act = 'issue' AND o.act IN ('edge','start') OR m.act = 'transfer' AND o.act = 'start' OR m.act IN ('return','transfer') AND o.act = 'close')
		ORDER BY m.seq LIMIT 100`},
	{"I6", "movement {a} is not dated as its booking {b}, and no step of the clock says why", `
		SELECT m.seq AS a, m.op_id AS b, '' AS c FROM movements m JOIN ops o ON o.op_id = m.op_id
		WHERE m.at <> o.at AND NOT EXISTS (SELECT 1 FROM clock_steps s WHERE s.seq = m.seq) ORDER BY m.seq LIMIT 100`},
	{"I6", "the booking {a} is an undo, and nothing is undone by it", `
		SELECT o.op_id AS a, '' AS b, '' AS c FROM ops o WHERE o.act = 'reverse' AND o.lines = 0
			AND NOT EXISTS (SELECT 1 FROM act_changes c WHERE c.undone_op = o.op_id) AND NOT EXISTS (SELECT 1 FROM edge_runs r WHERE r.undone_op = o.op_id) ORDER BY o.op_id LIMIT 100`},

	{"I7", "the step of the clock before movement {a} is {b}", `
		SELECT s.seq AS a, CASE WHEN m.seq IS NULL THEN 'of a movement that is not there' WHEN m.at <> s.used THEN 'of another time than its movement' ELSE 'no step back' END AS b, '' AS c
		FROM clock_steps s LEFT JOIN movements m ON m.seq = s.seq WHERE m.seq IS NULL OR m.at <> s.used OR s.seen >= s.used ORDER BY s.seq LIMIT 100`},

	{"I10", "the line of issues {a} {b}", `
		SELECT h.seq AS a, CASE WHEN m.seq IS NULL THEN 'names a movement that is not there' WHEN m.item_id <> h.item_id OR m.to_id <> h.place_id THEN 'is of another item or place than its movement'
			WHEN h.qty > m.qty THEN 'has more pieces than its movement brought' ELSE 'is of a place that nobody holds' END AS b, '' AS c
		FROM holdings h LEFT JOIN movements m ON m.seq = h.seq LEFT JOIN places p ON p.id = h.place_id
		WHERE m.seq IS NULL OR m.item_id <> h.item_id OR m.to_id <> h.place_id OR h.qty > m.qty OR p.id IS NULL OR p.kind NOT IN ('person','station','kit') ORDER BY h.seq LIMIT 100`},
	{"I10", "the line of issues {a} is in the hands of {b}, and is said to be with {c}", `
		SELECT h.seq AS a, p.code AS b, coalesce(pe.login, 'nobody') AS c FROM holdings h JOIN places p ON p.id = h.place_id AND p.kind = 'person' LEFT JOIN people pe ON pe.id = h.person_id
		WHERE pe.id IS NULL OR pe.place_id <> h.place_id ORDER BY h.seq LIMIT 100`},

	{"I23", "change {a} of a {b} names a booking that is not there ({c})", `
		SELECT c.id AS a, c.what AS b, c.op_id AS c FROM act_changes c LEFT JOIN ops o ON o.op_id = c.op_id WHERE o.op_id IS NULL ORDER BY c.id LIMIT 100`},
	{"I23", "change {a} of a {b} is undone by {c}, which is no undo", `
		SELECT c.id AS a, c.what AS b, c.undone_op AS c FROM act_changes c LEFT JOIN ops z ON z.op_id = c.undone_op
		WHERE c.undone_op <> '' AND (z.op_id IS NULL OR z.act NOT IN ('reverse','reserve') OR z.op_id = c.op_id) ORDER BY c.id LIMIT 100`},
	{"I23", "change {a} names {b} that is not there", `
		SELECT c.id AS a, CASE c.what WHEN 'job state' THEN 'a job' WHEN 'promise' THEN 'a promise' WHEN 'plan' THEN 'a plan' WHEN 'substitute' THEN 'a substitute'
			WHEN 'held back' THEN 'an item' WHEN 'retired' THEN 'an item' ELSE 'a line of issues' END AS b, '' AS c
		FROM act_changes c WHERE NOT CASE c.what WHEN 'job state' THEN EXISTS (SELECT 1 FROM jobs x WHERE x.id = c.row_id)
			WHEN 'promise' THEN EXISTS (SELECT 1 FROM reservations x WHERE x.id = c.row_id) WHEN 'plan' THEN EXISTS (SELECT 1 FROM plans x WHERE x.id = c.row_id)
			WHEN 'substitute' THEN EXISTS (SELECT 1 FROM substitutes x WHERE x.id = c.row_id) WHEN 'held back' THEN EXISTS (SELECT 1 FROM items x WHERE x.id = c.row_id)
			WHEN 'retired' THEN EXISTS (SELECT 1 FROM items x WHERE x.id = c.row_id) ELSE EXISTS (SELECT 1 FROM holdings x WHERE x.seq = c.row_id) END ORDER BY c.id LIMIT 100`},
	{"I23", "change {a} goes with line {b} of its booking, and {c}", `
		SELECT c.id AS a, c.line AS b, CASE WHEN c.line > 0 AND m.seq IS NULL THEN 'no such movement is there' ELSE 'only what left a list goes with one' END AS c
		FROM act_changes c LEFT JOIN movements m ON m.op_id = c.op_id AND m.line = c.line
		WHERE c.line > 0 AND m.seq IS NULL OR (c.what = 'taken off') <> (c.line > 0) ORDER BY c.id LIMIT 100`},
	{"I23", "movement {a} took {c} pieces off the lists, and {b} left with it", `
		SELECT m.seq AS a, m.qty AS b, sum(CASE WHEN c.was <> '' AND trim(c.was, '0123456789') = '' AND h.item_id = m.item_id AND h.place_id = m.from_id THEN CAST(c.was AS BIGINT) ELSE 0 END) AS c
		FROM act_changes c JOIN movements m ON m.op_id = c.op_id AND m.line = c.line LEFT JOIN holdings h ON h.seq = c.row_id WHERE c.what = 'taken off' GROUP BY m.seq, m.qty
		HAVING sum(CASE WHEN c.was <> '' AND trim(c.was, '0123456789') = '' AND h.item_id = m.item_id AND h.place_id = m.from_id THEN CAST(c.was AS BIGINT) ELSE 0 END) <> m.qty ORDER BY m.seq LIMIT 100`},
	{"I23", "the booking {a} is undone in part, {b} of its {c} changes", `
		SELECT c.op_id AS a, sum(CASE WHEN c.undone_op <> '' THEN 1 ELSE 0 END) AS b, count(*) AS c FROM act_changes c
		GROUP BY c.op_id HAVING count(DISTINCT c.undone_op) > 1 ORDER BY c.op_id LIMIT 100`},
	{"I23", "the booking {a} is undone in its changes, and not movement {b}", `
		SELECT m.op_id AS a, m.seq AS b, '' AS c FROM movements m WHERE EXISTS (SELECT 1 FROM act_changes c WHERE c.op_id = m.op_id AND c.undone_op <> '')
			AND NOT EXISTS (SELECT 1 FROM movements v WHERE v.reverses = m.seq) ORDER BY m.seq LIMIT 100`},
	{"I23", "movement {a} is undone, and not what its booking {b} changed", `
		SELECT m.seq AS a, m.op_id AS b, '' AS c FROM movements v JOIN movements m ON m.seq = v.reverses JOIN ops o ON o.op_id = m.op_id JOIN act_changes c ON c.op_id = m.op_id
		WHERE o.act <> 'edge' AND c.undone_op = '' GROUP BY m.seq, m.op_id ORDER BY m.seq LIMIT 100`},
	{"I23", "promise {a} is {b}, and its changes say {c}", rowState("reservations")},
	{"I23", "plan {a} is {b}, and its changes say {c}", rowState("plans")},
	{"I23", "item {a} is {b}, and its last change says {c}", `
		SELECT i.tag AS a, CASE WHEN i.held = '' THEN 'not held back' ELSE 'held back' END AS b, 'otherwise' AS c FROM items i
		JOIN act_changes c ON c.row_id = i.id AND c.what = 'held back' AND c.id = (SELECT max(x.id) FROM act_changes x WHERE x.what = 'held back' AND x.row_id = i.id)
		WHERE c.became <> i.held ORDER BY i.id LIMIT 100`},
	{"I23", "item {a} is {b}, and its last change says {c}", `
		SELECT i.tag AS a, CASE WHEN i.retired_at IS NULL THEN 'in use' ELSE 'out of use' END AS b, 'otherwise' AS c FROM items i
		JOIN act_changes c ON c.row_id = i.id AND c.what = 'retired' AND c.id = (SELECT max(x.id) FROM act_changes x WHERE x.what = 'retired' AND x.row_id = i.id)
		WHERE (c.became = 'yes') <> (i.retired_at IS NOT NULL) ORDER BY i.id LIMIT 100`},

	{"I24", "substitute {a} names {b} that is not there", `
		SELECT s.id AS a, CASE WHEN j.id IS NULL THEN 'a job' WHEN i.id IS NULL THEN 'an item' WHEN t.id IS NULL THEN 'a planned item' WHEN a.id IS NULL OR b.id IS NULL THEN 'a part'
			WHEN o.op_id IS NULL THEN 'a booking' ELSE 'an undo' END AS b, '' AS c
		FROM substitutes s LEFT JOIN jobs j ON j.id = s.job_id LEFT JOIN items i ON i.id = s.item_id LEFT JOIN items t ON t.tag = s.planned_tag LEFT JOIN parts a ON a.id = s.planned_part_id
			LEFT JOIN parts b ON b.id = s.part_id LEFT JOIN ops o ON o.op_id = s.op_id LEFT JOIN ops z ON z.op_id = s.undone_op
		WHERE j.id IS NULL OR i.id IS NULL OR t.id IS NULL OR a.id IS NULL OR b.id IS NULL OR o.op_id IS NULL OR s.undone_op <> '' AND z.op_id IS NULL ORDER BY s.id LIMIT 100`},
	{"I24", "substitute {a}: the booking {b} did not issue {c} of that item to that job", `
		SELECT s.id AS a, s.op_id AS b, s.qty AS c FROM substitutes s JOIN ops o ON o.op_id = s.op_id
		WHERE s.actor_id <> o.actor_id OR NOT EXISTS (SELECT 1 FROM movements m WHERE m.op_id = s.op_id AND m.act = 'issue' AND m.item_id = s.item_id AND m.job_id = s.job_id AND m.qty = s.qty) ORDER BY s.id LIMIT 100`},
	{"I24", "substitute {a} stands for {b}, which no plan of the job has", `
		SELECT s.id AS a, s.planned_tag AS b, '' AS c FROM substitutes s
		WHERE NOT EXISTS (SELECT 1 FROM plans p WHERE p.job_id = s.job_id AND p.pieces LIKE '%"' || s.planned_tag || '"%') ORDER BY s.id LIMIT 100`},
	{"I24", "substitute {a} is {b}, and {c} says so", `
		SELECT s.id AS a, CASE WHEN s.undone_op = '' THEN 'in force' ELSE 'undone' END AS b, CASE WHEN c.id IS NULL THEN 'no change' ELSE 'not its change' END AS c
		FROM substitutes s LEFT JOIN act_changes c ON c.what = 'substitute' AND c.row_id = s.id WHERE c.id IS NULL OR c.undone_op <> s.undone_op OR c.op_id <> s.op_id ORDER BY s.id LIMIT 100`},
}

// rowState is the check that a promise or a plan was made once, by the act it names, and stands
// as often opened as its changes opened it. One undone twice has been ended twice.
func rowState(table string) string {
	what := map[string]string{"reservations": "promise", "plans": "plan"}[table]
	return `
		SELECT r.id AS a, CASE WHEN r.ended_at IS NULL THEN 'open' ELSE 'ended' END AS b,
			'made ' || CAST(coalesce(n.made, 0) AS TEXT) || ' times by it, opened ' || CAST(coalesce(n.opened, 0) AS TEXT) || ' and ended ' || CAST(coalesce(n.ended, 0) AS TEXT) || ' times' AS c
		FROM ` + table + ` r LEFT JOIN (SELECT c.row_id, sum(CASE WHEN c.was = '' AND c.op_id = x.op_id THEN 1 ELSE 0 END) AS made,
				sum(CASE WHEN c.became = 'open' THEN 1 ELSE 0 END) AS opened, sum(CASE WHEN c.became = 'ended' THEN 1 ELSE 0 END) AS ended
			FROM act_changes c JOIN ` + table + ` x ON x.id = c.row_id WHERE c.what = '` + what + `' GROUP BY c.row_id) n ON n.row_id = r.id
		WHERE coalesce(n.made, 0) <> 1 OR (r.ended_at IS NULL OR r.ended_op <> '' AND r.ended_op NOT LIKE 'undone %')
			AND coalesce(n.opened, 0) - coalesce(n.ended, 0) <> CASE WHEN r.ended_at IS NULL THEN 1 ELSE 0 END ORDER BY r.id LIMIT 100`
}
