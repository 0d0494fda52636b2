package store

import (
	"errors"
	"fmt"

	"github.com/jackc/pgx/v5/pgconn"
	_ "github.com/jackc/pgx/v5/stdlib" // the PostgreSQL driver
	"gorm.io/driver/postgres"
	"gorm.io/driver/sqlite"
	"gorm.io/gorm"
)

// dialect gives gorm the error classes of either SQLite engine; the driver's own translation
// understands only one of them.
type dialect struct{ *sqlite.Dialector }

// Translate maps SQLite's extended result codes to gorm's errors.
func (d dialect) Translate(err error) error {
	switch engineCode(err) {
	case 1555, 2067:
		return fmt.Errorf("%w: %w", gorm.ErrDuplicatedKey, err)
	case 787:
		return fmt.Errorf("%w: %w", gorm.ErrForeignKeyViolated, err)
	case 275:
		return fmt.Errorf("%w: %w", gorm.ErrCheckConstraintViolated, err)
	}
	return err
}

type pgDialect struct{ *postgres.Dialector }

// Translate maps PostgreSQL's SQLSTATE to gorm's errors.
func (d pgDialect) Translate(err error) error {
	var e *pgconn.PgError
	if !errors.As(err, &e) {
		return err
	}
	switch e.Code {
	case "23505":
		return fmt.Errorf("%w: %w", gorm.ErrDuplicatedKey, err)
	case "23503", "23001":
		return fmt.Errorf("%w: %w", gorm.ErrForeignKeyViolated, err)
	case "23514", "23502":
		return fmt.Errorf("%w: %w", gorm.ErrCheckConstraintViolated, err)
	}
	return err
}

// mayRetry says whether PostgreSQL asks for the whole transaction again.
func mayRetry(err error) bool {
	var e *pgconn.PgError
	return errors.As(err, &e) && (e.Code == "40001" || e.Code == "40P01")
}
