package store

import (
	"context"
	"database/sql"
	"errors"
	"slices"
	"strconv"
	"strings"

	"gorm.io/gorm"
)

// The statements every booking runs. They are prepared once on the writer's only connection,
// because parsing them took a third of a booking's time; everything else goes through gorm.
const (
	sqlSave     = "SAVEPOINT booking"
	sqlBack     = "ROLLBACK TO SAVEPOINT booking"
	sqlRelease  = "RELEASE SAVEPOINT booking"
	sqlSeenOp   = "SELECT op_id, act, fingerprint, actor_id, role, lines, answer, at FROM ops WHERE op_id = ?"
	sqlAddOp    = "INSERT INTO ops (op_id, act, fingerprint, actor_id, role, lines, answer, at) VALUES (?,?,?,?,?,?,?,?)"
	sqlRole     = "SELECT role FROM people WHERE id = ? AND left_at IS NULL"
	sqlEnd      = "SELECT seq, hash, at FROM ledger_head WHERE id = 1"
	sqlSetEnd   = "UPDATE ledger_head SET seq = ?, hash = ?, at = ? WHERE id = 1"
	sqlTake     = "UPDATE stock SET qty = qty - ? WHERE item_id = ? AND place_id = ? AND qty >= ? RETURNING qty"
	sqlPut      = "INSERT INTO stock (item_id, place_id, qty) VALUES (?,?,?) ON CONFLICT (item_id, place_id) DO UPDATE SET qty = stock.qty + excluded.qty"
	sqlMove     = "INSERT INTO movements (seq, op_id, line, at, actor_id, device, act, item_id, from_id, to_id, qty, job_id, reason, reverses, prev_hash, hash) VALUES (?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?)"
	sqlOwner    = "SELECT id FROM people WHERE place_id = ?"
	sqlHold     = "INSERT INTO holdings (seq, item_id, place_id, person_id, job_id, qty, since_at, due_day, note) VALUES (?,?,?,?,?,?,?,?,?)"
	sqlPromised = `SELECT r.qty, j.code, r.from_day, r.to_day FROM reservations r JOIN jobs j ON j.id = r.job_id
		WHERE r.item_id = ? AND r.ended_at IS NULL AND r.from_day <= ? AND r.to_day >= ? AND r.job_id <> ? ORDER BY r.from_day`
	sqlStanding = `SELECT i.id, i.tag, i.part_id, i.kind, i.edges_left, i.box, i.owner, i.home_id, i.serial, i.held, i.retired_at,
		p.code, p.counted, p.edges, p.home_id, EXISTS (SELECT 1 FROM reservations r WHERE r.item_id = i.id AND r.ended_at IS NULL) FROM items i JOIN parts p ON p.id = i.part_id WHERE i.id = ?`
)

var hotStatements = []string{
	sqlSave, sqlBack, sqlRelease, sqlSeenOp, sqlAddOp, sqlRole, sqlEnd, sqlSetEnd, sqlTake, sqlPut, sqlMove, sqlOwner, sqlHold, sqlPromised, sqlStanding, sqlChanged,
}

// prepare readies the hot statements. PostgreSQL's driver keeps prepared statements by their
// text on every connection, so there it only spells the placeholders.
func (s *Store) prepare(ctx context.Context, db *sql.DB) error {
	s.hot, s.spelt = map[string]*sql.Stmt{}, map[string]string{}
	for _, q := range slices.Concat(hotStatements, edgeStatements) {
		if s.postgres {
			s.spelt[q] = dollars(q)
			continue
		}
		st, err := db.PrepareContext(ctx, q)
		if err != nil {
			return err
		}
		s.hot[q] = st
	}
	s.spelt[sqlEnd] += " FOR UPDATE"
	return nil
}

// dollars writes ? as $1, $2 …; none of the hot statements holds a ? in a text.
func dollars(q string) string {
	var b strings.Builder
	n := 0
	for _, r := range q {
		if r != '?' {
			b.WriteRune(r)
			continue
		}
		n++
		b.WriteString("$" + strconv.Itoa(n))
	}
	return b.String()
}

// stmt is a hot statement as this transaction runs it, nil where the driver keeps it. One handle
// serves a whole batch: making one for each use took a twentieth of a booking.
func (tx *Tx) stmt(q string) *sql.Stmt {
	if st := tx.ready[q]; st != nil {
		return st
	}
	hot := tx.s.hot[q]
	if hot == nil {
		return nil
	}
	if tx.ready == nil {
		tx.ready = make(map[string]*sql.Stmt, 16)
	}
	st := tx.raw.StmtContext(tx.Statement.Context, hot)
	tx.ready[q] = st
	return st
}

// run executes a hot statement.
func (tx *Tx) run(q string, args ...any) (int64, error) {
	var r sql.Result
	var err error
	if st := tx.stmt(q); st != nil {
		r, err = st.ExecContext(tx.Statement.Context, args...)
	} else {
		r, err = tx.raw.ExecContext(tx.Statement.Context, tx.s.spelt[q], args...)
	}
	if err != nil {
		return 0, tx.translate(err)
	}
	return r.RowsAffected()
}

// find reads the one row of a hot statement; false when there is none.
func (tx *Tx) find(q string, args []any, into ...any) (bool, error) {
	var row *sql.Row
	if st := tx.stmt(q); st != nil {
		row = st.QueryRowContext(tx.Statement.Context, args...)
	} else {
		row = tx.raw.QueryRowContext(tx.Statement.Context, tx.s.spelt[q], args...)
	}
	err := row.Scan(into...)
	if errors.Is(err, sql.ErrNoRows) {
		return false, nil
	}
	if err != nil {
		return false, tx.translate(err)
	}
	return true, nil
}

// list calls each for every row of a hot statement.
func (tx *Tx) list(q string, args []any, each func(scan func(...any) error) error) error {
	var rows *sql.Rows
	var err error
	if st := tx.stmt(q); st != nil {
		rows, err = st.QueryContext(tx.Statement.Context, args...)
	} else {
		rows, err = tx.raw.QueryContext(tx.Statement.Context, tx.s.spelt[q], args...)
	}
	if err != nil {
		return tx.translate(err)
	}
	defer rows.Close()
	for rows.Next() {
		if err := each(rows.Scan); err != nil {
			return err
		}
	}
	return rows.Err()
}

func (tx *Tx) translate(err error) error {
	if t, ok := tx.Dialector.(gorm.ErrorTranslator); ok {
		return t.Translate(err)
	}
	return err
}
