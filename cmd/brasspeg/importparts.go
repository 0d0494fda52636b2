package main

import (
	"fmt"

	"brasspeg/store"
)

// parts reads a file of parts in: first as a dry run that names every row that can not be
// taken and every one that looks like what the shop has, then all of it or nothing.
func (c *importCmd) parts(e *env, s *store.Store, who store.PersonID, data []byte) error {
	rep, err := s.ImportParts(e.ctx, who, data, c.Apply, c.Sure)
	if rep.Rows == 0 && err != nil {
		return err
	}
	for _, b := range rep.Bad {
		fmt.Fprintf(e.out, "line %d, %s: %s\n", b.Line, b.Field, b.Says)
	}
	for _, b := range rep.Doubles {
		fmt.Fprintf(e.out, "line %d, a double? %s\n", b.Line, b.Says)
	}
	for _, b := range rep.Notes {
		fmt.Fprintf(e.out, "line %d, note: %s\n", b.Line, b.Says)
	}
	switch {
	case rep.Applied && c.Apply && err == nil:
		fmt.Fprintf(e.out, "Taken in: %d new parts; %d were there already.\n", len(rep.New), len(rep.Same))
	case len(rep.Bad) > 0:
		fmt.Fprintf(e.out, "%d of %d rows can not be taken; nothing changed. Mend them and read the file in again.\n", len(rep.Bad), rep.Rows)
		return status(1)
	case err != nil:
		return err
	default:
		fmt.Fprintf(e.out, "A dry run: %d new parts, %d there already. To take them in, add --apply", len(rep.New), len(rep.Same))
		if len(rep.Doubles) > 0 {
			fmt.Fprint(e.out, ", and --sure if the doubles are none")
		}
		fmt.Fprintln(e.out, ".")
	}
	return nil
}
