package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"runtime/debug"
	"sync"

	"gorm.io/gorm"

	"brasspeg/store/ledger"
)

const (
	queueLimit = 200 // waiting bookings; one more is told ErrBusy
	batchLimit = 64  // bookings committed together
)

// A Tx is one open write transaction: gorm's handle, the moment it counts as, and the end of
// the ledger. It must not outlive the function it was given to.
type Tx struct {
	*gorm.DB
	raw   *sql.Tx              // the same transaction, for the hot statements
	ready map[string]*sql.Stmt // of those, the ones it has run
	s     *Store
	now   Time
	head  *ledger.Movement // nil until the ledger is touched; then its row is locked
	grown bool
	after []func() // run once the disk has it
	roles map[PersonID]Role
}

type work struct {
	do   func(*Tx) error
	done chan error
}

// writer is the one goroutine that writes. Bookings that wait are committed together, each
// under its own savepoint, so one refusal does not touch its neighbours, and nobody is told
// before the commit is on disk.
type writer struct {
	s     *Store
	queue chan *work
	quit  sync.Once
	mu    sync.RWMutex
	shut  bool
	ended chan struct{}
}

func startWriter(s *Store) *writer {
	w := &writer{s: s, queue: make(chan *work, queueLimit), ended: make(chan struct{})}
	go w.run()
	return w
}

func (w *writer) stop() {
	w.quit.Do(func() {
		w.mu.Lock()
		w.shut = true
		close(w.queue)
		w.mu.Unlock()
	})
	<-w.ended
}

// book runs fn in a write transaction and returns once it is committed or refused. ctx ends
// the wait for a place in the queue; once queued, the booking runs to its end.
func (s *Store) book(ctx context.Context, fn func(*Tx) error) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	j := &work{do: fn, done: make(chan error, 1)}
	w := s.queue
	w.mu.RLock()
	if w.shut {
		w.mu.RUnlock()
		return fmt.Errorf("%w: the store is closing", ErrBusy)
	}
	select {
	case w.queue <- j:
		w.mu.RUnlock()
	default:
		w.mu.RUnlock()
		return ErrBusy
	}
	return <-j.done
}

func (w *writer) run() {
	defer close(w.ended)
	for first := range w.queue {
		batch := []*work{first}
	more:
		for len(batch) < batchLimit {
			select {
			case j, ok := <-w.queue:
				if !ok {
					break more
				}
				batch = append(batch, j)
			default:
				break more
			}
		}
		w.commit(batch)
	}
}

func (w *writer) commit(batch []*work) {
	var answers []error
	var after []func()
	var err error
	apart := false // each booking under its own savepoint
	for range 5 {
		answers, after, err = w.try(batch, apart)
		if errors.Is(err, errApart) {
			apart = true
			continue
		}
		if err == nil || !mayRetry(err) {
			break
		}
	}
	if err != nil && noRoom(err) && !errors.Is(err, ErrUnknown) {
		err = fmt.Errorf("%w: nothing was booked; make room on the disk, then try again with the same op id (%w)", ErrNoRoom, err)
	}
	for i, a := range answers { // of a lone booking, whose refusal is its own answer
		if a != nil && noRoom(a) {
			answers[i] = fmt.Errorf("%w: nothing was booked; make room on the disk, then try again with the same op id (%w)", ErrNoRoom, a)
		}
	}
	if err == nil {
		for _, f := range after {
			f()
		}
	} else {
		w.s.log.Error("a transaction failed", "error", err, "bookings", len(batch))
	}
	for i, j := range batch {
		switch {
		case err != nil:
			j.done <- err
		default:
			j.done <- answers[i]
		}
	}
}

// errApart says that one of several bookings was refused: the batch is run again with each
// under its own savepoint. Most batches have no refusal, and savepoints cost a fifth.
var errApart = errors.New("a booking was refused in a shared transaction")

// try runs a batch in one transaction. The error is for all of it: nothing was booked, or,
// as ErrUnknown, the commit's outcome is not known. A lone booking needs no savepoint: its
// refusal takes the whole transaction back.
func (w *writer) try(batch []*work, apart bool) (answers []error, after []func(), err error) {
	// No cancellable context below: SQLite would roll back by itself and the next statement
	// would commit alone.
	db := w.s.write.WithContext(context.Background()).Begin()
	if db.Error != nil {
		return nil, nil, fmt.Errorf("opening a transaction: %w", db.Error)
	}
	defer func() {
		if err != nil && !errors.Is(err, ErrUnknown) {
			db.Rollback()
		}
	}()
	raw, ok := db.Statement.ConnPool.(*sql.Tx)
	if !ok {
		return nil, nil, fmt.Errorf("the transaction is a %T, not one of database/sql", db.Statement.ConnPool)
	}
	tx := &Tx{DB: db, raw: raw, s: w.s, now: At(w.s.clock())}
	answers = make([]error, len(batch))
	for i, j := range batch {
		if apart {
			answers[i], err = tx.step(j.do)
		} else if answers[i] = tx.guarded(j.do); answers[i] != nil {
			switch {
			case mayRetry(answers[i]):
				err = answers[i]
			case len(batch) > 1:
				err = errApart
			default:
				db.Rollback()
				return answers, nil, nil
			}
		}
		if err != nil {
			return nil, nil, err
		}
	}
	if tx.grown {
		if _, err = tx.run(sqlSetEnd, tx.head.Seq, tx.head.Hash, At(tx.head.At)); err != nil {
			return nil, nil, err
		}
	}
	if e := db.Commit().Error; e != nil {
		if mayRetry(e) {
			return nil, nil, e
		}
		return nil, nil, fmt.Errorf("%w: %w", ErrUnknown, e)
	}
	return answers, tx.after, nil
}

// step runs one booking. refused is its own "no", after which the transaction stands as if it
// had never begun; fatal ends the whole batch.
func (tx *Tx) step(do func(*Tx) error) (refused, fatal error) {
	if _, err := tx.run(sqlSave); err != nil {
		return nil, err
	}
	head, grown, after := tx.head, tx.grown, len(tx.after)
	err := tx.guarded(do)
	if err != nil && (mayRetry(err) || noRoom(err)) { // of a full disk the engine has taken all of it back
		return nil, err
	}
	if err != nil {
		tx.head, tx.grown, tx.after = head, grown, tx.after[:after]
		if _, e := tx.run(sqlBack); e != nil {
			return nil, e
		}
	}
	if _, e := tx.run(sqlRelease); e != nil {
		return nil, e
	}
	return err, nil
}

func (tx *Tx) guarded(do func(*Tx) error) (err error) {
	defer func() {
		if r := recover(); r != nil {
			tx.s.log.Error("a booking panicked", "panic", r, "stack", string(debug.Stack()))
			err = fmt.Errorf("the booking failed inside: %v", r)
		}
	}()
	return do(tx)
}

// exec runs one statement.
func (tx *Tx) exec(sql string, args ...any) error { return tx.Exec(sql, args...).Error }

// must runs one statement that has to touch exactly one row, and returns miss when it does not.
func (tx *Tx) must(miss error, sql string, args ...any) error {
	r := tx.Exec(sql, args...)
	if r.Error != nil {
		return r.Error
	}
	if r.RowsAffected != 1 {
		return miss
	}
	return nil
}
