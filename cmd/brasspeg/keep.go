package main

import (
	"bufio"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"brasspeg/store"
)

type verifyCmd struct{ storeFlags }

func (c *verifyCmd) Run(e *env) error {
	s, err := c.open(e, false)
	if err != nil {
		return err
	}
	defer s.Close()
	rep, err := s.Verify(e.ctx)
	if err != nil {
		return err
	}
	fmt.Fprintf(e.out, "%d movements in %d bookings of %d items; the ledger ends at %d %s\n", rep.Movements, rep.Ops, rep.Items, rep.HeadSeq, rep.Head)
	for _, f := range rep.Faults {
		fmt.Fprintln(e.out, f)
	}
	if len(rep.Faults) > 0 {
		return fmt.Errorf("%w: %d faults", store.ErrDamaged, len(rep.Faults))
	}
	fmt.Fprintln(e.out, "The store holds together.")
	return nil
}

type backupCmd struct {
	storeFlags
	To string `arg:"" help:"File to write; it must not exist."`
}

func (c *backupCmd) Run(e *env) error {
	if c.DB != "" {
		return errors.New("a store in PostgreSQL is copied by PostgreSQL's own means, pg_dump; keep secret.key of the folder with the copy, in a place of its own")
	}
	m, err := store.Backup(e.ctx, c.Data, c.To)
	if err != nil {
		return err
	}
	fmt.Fprintf(e.out, "%s holds the ledger up to movement %d, %s\n", c.To, m.Seq, m.Hash)
	return nil
}

type restoreCmd struct {
	storeFlags
	From string `arg:"" help:"Backup file." type:"existingfile"`
}

func (c *restoreCmd) Run(e *env) error {
	if c.DB != "" {
		return errors.New("a store in PostgreSQL is put back by PostgreSQL's own means, pg_restore")
	}
	aside, err := store.Restore(e.ctx, c.From, c.Data)
	if err != nil && aside != "" {
		return fmt.Errorf("%w; the files that were in place are in %s", err, aside)
	}
	if err != nil {
		return err
	}
	if aside != "" {
		fmt.Fprintf(e.out, "The files that were there are in %s\n", aside)
	}
	if _, err := os.Stat(filepath.Join(c.Data, "secret.key")); errors.Is(err, fs.ErrNotExist) {
		fmt.Fprintf(e.out, "There is no secret.key in %s: badges and PINs are checked with it, and it is in no backup. Copy it from the old folder before the first start, or give every person a new badge and PIN.\n", c.Data)
	}
	fmt.Fprintf(e.out, "%s is in place, and everybody is logged out. Check it with: brasspeg verify --data %s\n", c.From, c.Data)
	return nil
}

type personCmd struct {
	Add  personAddCmd  `cmd:"" help:"Add a person; prints the text of the badge once."`
	Set  personSetCmd  `cmd:"" help:"Give a person a new PIN, password or badge."`
	Left personLeftCmd `cmd:"" help:"End a person's rights at once."`
	List personListCmd `cmd:"" help:"List who works here."`
}

type secretFlags struct {
	PIN      bool `name:"pin" help:"Ask for a PIN of 6 digits on standard input."`
	Password bool `help:"Ask for a password of 12 characters or more on standard input."`
}

// ask reads what the flags want, a line each, so that no secret stands on a command line.
func (f secretFlags) ask(e *env) (pin, password string, err error) {
	lines := bufio.NewScanner(e.in)
	read := func(what string) (string, error) {
		fmt.Fprintf(e.errOut, "%s: ", what)
		if !lines.Scan() {
			return "", fmt.Errorf("no %s was given on standard input", what)
		}
		return strings.TrimRight(lines.Text(), "\r"), nil
	}
	if f.PIN {
		if pin, err = read("PIN"); err != nil {
			return "", "", err
		}
	}
	if f.Password {
		if password, err = read("password"); err != nil {
			return "", "", err
		}
	}
	return pin, password, nil
}

type personAddCmd struct {
	storeFlags
	secretFlags
	Login string `required:"" help:"Login name."`
	Name  string `required:"" help:"Name as people say it."`
	Role  string `required:"" enum:"operator,attendant,manager,admin" help:"operator, attendant, manager or admin."`
	Phone string `help:"Telephone."`
}

func (c *personAddCmd) Run(e *env) error {
	pin, password, err := c.ask(e)
	if err != nil {
		return err
	}
	s, err := c.open(e, false)
	if err != nil {
		return err
	}
	defer s.Close()
	p, badge, err := s.AddPerson(e.ctx, 0, store.PersonIn{Login: c.Login, Name: c.Name, Role: store.Role(c.Role), Phone: c.Phone, PIN: pin, Password: password})
	if err != nil {
		return err
	}
	fmt.Fprintf(e.out, "%s, %s. Badge, shown only now: %s\n", p.Name, p.Role, badge)
	return nil
}

type personSetCmd struct {
	storeFlags
	secretFlags
	Login string `arg:"" help:"Login name."`
	Badge bool   `help:"Make a new badge; the old one stops working."`
}

func (c *personSetCmd) Run(e *env) error {
	pin, password, err := c.ask(e)
	if err != nil {
		return err
	}
	s, err := c.open(e, false)
	if err != nil {
		return err
	}
	defer s.Close()
	p, err := s.PersonByLogin(e.ctx, c.Login)
	if err != nil {
		return err
	}
	want := ""
	if c.Badge {
		want = "new"
	}
	badge, err := s.SetSecrets(e.ctx, 0, p.ID, pin, password, want)
	if err != nil {
		return err
	}
	if badge != "" {
		fmt.Fprintf(e.out, "Badge, shown only now: %s\n", badge)
	}
	return nil
}

type personLeftCmd struct {
	storeFlags
	Login string `arg:"" help:"Login name."`
}

func (c *personLeftCmd) Run(e *env) error {
	s, err := c.open(e, false)
	if err != nil {
		return err
	}
	defer s.Close()
	p, err := s.PersonByLogin(e.ctx, c.Login)
	if err != nil {
		return err
	}
	return s.Leave(e.ctx, 0, p.ID)
}

type personListCmd struct{ storeFlags }

func (c *personListCmd) Run(e *env) error {
	s, err := c.open(e, false)
	if err != nil {
		return err
	}
	defer s.Close()
	all, err := s.People(e.ctx)
	if err != nil {
		return err
	}
	for _, p := range all {
		fmt.Fprintf(e.out, "%-12s %-10s %s\n", p.Login, p.Role, p.Name)
	}
	return nil
}

type tokenCmd struct {
	Add tokenAddCmd `cmd:"" help:"Make a token; its text is shown once."`
	End tokenEndCmd `cmd:"" help:"End a token at once."`
}

type tokenAddCmd struct {
	storeFlags
	Name   string `required:"" help:"What the token is for."`
	Person string `required:"" help:"Login of the person the program acts as."`
}

func (c *tokenAddCmd) Run(e *env) error {
	s, err := c.open(e, false)
	if err != nil {
		return err
	}
	defer s.Close()
	p, err := s.PersonByLogin(e.ctx, c.Person)
	if err != nil {
		return err
	}
	text, err := s.AddToken(e.ctx, 0, c.Name, p.ID)
	if err != nil {
		return err
	}
	fmt.Fprintln(e.out, text)
	return nil
}

type tokenEndCmd struct {
	storeFlags
	Name string `arg:"" help:"Name of the token."`
}

func (c *tokenEndCmd) Run(e *env) error {
	if c.Name == "" {
		return errors.New("give the name of the token")
	}
	s, err := c.open(e, false)
	if err != nil {
		return err
	}
	defer s.Close()
	return s.RevokeToken(e.ctx, 0, c.Name)
}
