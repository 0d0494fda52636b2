package main

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"

	"brasspeg/store"
)

// importCmd reads a supplier's file in: first as a dry run that names every row that can not
// be taken, then all of it or nothing.
type importCmd struct {
	storeFlags
	Kind  string `arg:"" enum:"prices,suppliers,parts" help:"What the file holds: prices, suppliers or parts."`
	File  string `arg:"" help:"CSV or XLSX file; - for standard input."`
	As    string `help:"Login of the manager who reads it in." required:""`
	Sure  bool   `help:"Parts: rows that look like doubles are other things; take them too."`
	Apply bool   `help:"Take it in. Without this nothing changes."`
}

func (c *importCmd) Run(e *env) error {
	var data []byte
	var err error
	if c.File == "-" {
		data, err = io.ReadAll(io.LimitReader(e.in, 6<<20))
	} else {
		data, err = os.ReadFile(c.File)
	}
	if err != nil {
		return err
	}
	s, err := c.open(e, false)
	if err != nil {
		return err
	}
	defer s.Close()
	who, err := s.PersonByLogin(e.ctx, c.As)
	if err != nil {
		return err
	}
	if c.Kind == "parts" {
		return c.parts(e, s, who.ID, data)
	}
	rep, err := s.Import(e.ctx, who.ID, c.Kind, data, c.Apply)
	if rep.Rows == 0 {
		return err
	}
	for _, b := range rep.Bad {
		fmt.Fprintf(e.out, "line %d, %s: %s\n", b.Line, b.Field, b.Says)
	}
	if len(rep.Bad) == 0 && !rep.Applied {
		for _, ch := range rep.Changes {
			fmt.Fprintf(e.out, "line %d, %s: %s %q, now %q\n", ch.Line, ch.What, ch.Field, ch.New, ch.Old)
		}
	}
	switch {
	case rep.Before:
		fmt.Fprintln(e.out, "This very file was read in before; nothing changed.")
	case rep.Applied:
		fmt.Fprintf(e.out, "Taken in: %d rows, %d changes.\n", rep.Rows, len(rep.Changes))
	case len(rep.Bad) > 0:
		fmt.Fprintf(e.out, "%d of %d rows can not be taken; nothing changed. Mend them and read the file in again.\n", len(rep.Bad), rep.Rows)
		return status(1)
	default:
		fmt.Fprintf(e.out, "A dry run: %d rows would make %d changes. To take them in, add --apply.\n", rep.Rows, len(rep.Changes))
	}
	return err
}

// exportCmd writes a table.
type exportCmd struct {
	storeFlags
	What string `arg:"" help:"today, all, cover, abc, levels, surplus, frees, suppliers, or the code of an order."`
	Out  string `help:"File to write, .csv or .xlsx; none: CSV to standard output." type:"path"`
}

func (c *exportCmd) Run(e *env) error {
	as := strings.ToLower(filepath.Ext(c.Out))
	if c.Out != "" && as != ".csv" && as != ".xlsx" {
		return fmt.Errorf("%s: a table is written as .csv or .xlsx", c.Out)
	}
	s, err := c.open(e, false)
	if err != nil {
		return err
	}
	defer s.Close()
	sh, err := c.sheet(e, s)
	if err != nil {
		return err
	}
	if c.Out == "" {
		return sh.WriteCSV(e.out)
	}
	f, err := os.OpenFile(c.Out, os.O_WRONLY|os.O_CREATE|os.O_TRUNC, 0o600)
	if err != nil {
		return err
	}
	if as == ".xlsx" {
		err = sh.WriteXLSX(f)
	} else {
		err = sh.WriteCSV(f)
	}
	return errors.Join(err, f.Close())
}

func (c *exportCmd) sheet(e *env, s *store.Store) (store.Sheet, error) {
	switch {
	case c.What == "suppliers":
		vs, err := s.Vendors(e.ctx)
		return store.VendorSheet(vs), err
	case strings.HasPrefix(strings.ToUpper(c.What), "O-"):
		o, err := s.Order(e.ctx, strings.ToUpper(c.What))
		return o.Sheet(), err
	}
	b, err := s.Buying(e.ctx)
	if err != nil {
		return store.Sheet{}, err
	}
	return b.Sheet(c.What)
}
