package store

// What logging an edge asks and writes each time, prepared like the statements of a booking.
const (
	sqlStation = "SELECT s.id, s.machine_id, s.place_id, s.number, m.name FROM stations s JOIN machines m ON m.id = s.machine_id WHERE s.id = ?"
	sqlLastRun = `SELECT id, op_id, at, actor_id, job_id, part_id, edge, parts, reason FROM edge_runs
		WHERE station_id = ? AND undone_op IS NULL ORDER BY id DESC LIMIT 1`
	sqlJob     = "SELECT id, code, name, machine_id, material, parts_qty, parts_done, state, dear, request FROM jobs WHERE id = ?"
	sqlInsert  = "SELECT id, code, kind, grade, edges FROM parts WHERE id = ?"
	sqlCountAt = "SELECT coalesce(max(count_at), 0) FROM edge_runs WHERE job_id = ? AND station_id = ? AND undone_op IS NULL"
	sqlCounted = "SELECT coalesce(max(count_at), 0) FROM edge_runs WHERE job_id = ? AND undone_op IS NULL"
	sqlUp      = "SELECT id, item_id, part_id, job_id, place_id, edges, used FROM edge_inserts WHERE station_id = ? AND ended_at IS NULL"
	sqlFamily  = "SELECT id, version FROM edge_families WHERE operation = ? AND material = ? AND part_id = ? AND band = ?"
	sqlRecent  = `SELECT parts FROM edge_runs WHERE family_id = ? AND undone_op IS NULL ORDER BY id DESC LIMIT 100`
	sqlUseEdge = "UPDATE edge_inserts SET used = ?, thrown = ?, thrown_why = ?, ended_at = ?, ended_op = ?, ended_how = ? WHERE id = ? AND ended_at IS NULL"
	sqlAddRun  = `INSERT INTO edge_runs (op_id, at, noted_at, actor_id, machine_id, station_id, job_id, family_id, insert_id, item_id, part_id, edge, parts, minutes, reason,
		wear_vb, speed, feed, batch, note, why, late, count_at, made_before) VALUES (?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?)`
	sqlFamilyGrew = "UPDATE edge_families SET version = version + 1 WHERE id = ?"
	sqlMade       = "UPDATE jobs SET parts_done = ? WHERE id = ? AND parts_done < ?"
)

var edgeStatements = []string{
	sqlStation, sqlLastRun, sqlJob, sqlInsert, sqlCountAt, sqlCounted, sqlUp, sqlFamily, sqlRecent, sqlUseEdge, sqlAddRun, sqlFamilyGrew, sqlMade,
}
