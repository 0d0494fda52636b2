package store

import (
	"errors"
	"fmt"

	"gorm.io/gorm"
)

// one reads the single row that cond names, or says which noun by which key was not found.
func one[T any](db *gorm.DB, noun string, key any, cond string, args ...any) (T, error) {
	var row T
	r := db.Where(cond, args...).Limit(1).Find(&row)
	if r.Error != nil {
		return row, r.Error
	}
	if r.RowsAffected == 0 {
		return row, refuse(ErrNotFound, noun, "%s %v is not known here", noun, key)
	}
	return row, nil
}

// duplicate turns a broken unique index into ErrExists that names the thing.
func duplicate(err error, field, format string, args ...any) error {
	if errors.Is(err, gorm.ErrDuplicatedKey) {
		return refuse(ErrExists, field, "%s exists already", fmt.Sprintf(format, args...))
	}
	return err
}
