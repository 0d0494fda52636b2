package store

import (
	"context"
	"errors"
	"fmt"
	"strings"
)

// A HandsFull says what somebody who leaves still has. It is an ErrAsk.
type HandsFull struct {
	Name string
	Has  []string // pieces and parts
}

func (h *HandsFull) Error() string {
	return fmt.Sprintf("%s still has %s; take it back at the window, or say that it is looked for later", h.Name, strings.Join(h.Has, ", "))
}

// Unwrap makes a HandsFull an ErrAsk.
func (h *HandsFull) Unwrap() error { return ErrAsk }

// A PersonChange is a person as an admin wants him.
type PersonChange struct {
	Person PersonID
	Seen   Seen
	Name   string
	Role   Role
	Phone  string
}

// keepsAnAdmin refuses to lose the last admin.
func (e *entry) keepsAnAdmin(p Person) error {
	if p.Role != Admin {
		return nil
	}
	var n int64
	if err := e.Raw("SELECT count(*) FROM people WHERE role = ? AND left_at IS NULL AND id <> ?", string(Admin), p.ID).Scan(&n).Error; err != nil {
		return err
	}
	if n == 0 {
		return refuse(ErrConflict, "role", "%s is the only admin; make another one first", p.Name)
	}
	return nil
}

func (e *entry) onlyAdmin() error {
	if e.role != Admin {
		return refuse(ErrForbidden, "act", "%s may not change who works here", e.role.withArticle())
	}
	return nil
}

// ChangePerson changes name, role and phone of one who works here. A new role holds from the next
// request on. The last admin keeps his role.
func (s *Store) ChangePerson(ctx context.Context, o Op, in PersonChange) (Receipt, error) {
	var no error
	if in.Name, no = printable("name", in.Name, maxName); no == nil && in.Phone != "" {
		in.Phone, no = printable("phone", in.Phone, 40)
	}
	if no == nil && !in.Role.Known() {
		no = refuse(ErrBadInput, "role", "role %q is not known; it is operator, attendant, manager or admin", in.Role)
	}
	return s.op(ctx, o, ActShop, in, func(e *entry) error {
		if err := errors.Join(e.onlyAdmin(), no); err != nil {
			return err
		}
		p, err := one[Person](e.DB, "person", in.Person, "id = ? AND left_at IS NULL", in.Person)
		if err != nil {
			return err
		}
		if in.Role != p.Role {
			if err := e.keepsAnAdmin(p); err != nil {
				return err
			}
		}
		says := changes(nil, "name", p.Name, in.Name)
		says = changes(says, "role", string(p.Role), string(in.Role))
		says = changes(says, "phone", p.Phone, in.Phone)
		if err := e.changeIt("people", int64(p.ID), "person", p.Login, p.Version, in.Seen, map[string]any{"name": in.Name, "role": string(in.Role), "phone": in.Phone}, says); err != nil {
			return err
		}
		delete(e.roles, p.ID)
		if p.Name == in.Name {
			return nil
		}
		e.replace(p.PlaceID)
		return e.exec("UPDATE places SET name = ? WHERE id = ?", in.Name, p.PlaceID)
	})
}

// LetGo ends the rights of one who leaves, at once: badge, sessions and tokens stop working. What
// is still in his hands is told as a HandsFull, and let go over with all.
func (s *Store) LetGo(ctx context.Context, o Op, id PersonID, all bool) (Receipt, error) {
	return s.op(ctx, o, ActShop, struct {
		LetGo PersonID
		All   bool
	}{id, all}, func(e *entry) error {
		if err := e.onlyAdmin(); err != nil {
			return err
		}
		p, err := one[Person](e.DB, "person", id, "id = ? AND left_at IS NULL", id)
		if err != nil {
			return err
		}
		if err := e.keepsAnAdmin(p); err != nil {
			return err
		}
		has, err := e.names(`SELECT i.tag FROM stock s JOIN items i ON i.id = s.item_id WHERE s.place_id = ? AND s.qty > 0 ORDER BY i.tag LIMIT 100`, p.PlaceID)
		if err != nil {
			return err
		}
		if len(has) > 0 && !all {
			return &HandsFull{Name: p.Name, Has: has}
		}
		e.receipt.Says = p.Name + " has left."
		return e.leave(o.Actor, id)
	})
}
