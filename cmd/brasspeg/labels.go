package main

import (
	"crypto/rand"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"brasspeg/labels"
	"brasspeg/server"
	"brasspeg/store"
)

// labelsCmd prints labels into a file.
type labelsCmd struct {
	storeFlags
	Demo      bool    `help:"Label the demo shop instead of a shop's own store."`
	Select    string  `help:"What to label: all, a kind (pieces, lots, bins, stations, machines, jobs, cards, reasons, bars, inserts, …), a tag, a place, a part, a job, a machine, or words of the search; several with commas between." default:"all" placeholder:"QUERY"`
	Sheet     string  `help:"a4, letter, a single label as 50x25 in mm, or paper:label as a4:50x25." default:"a4" placeholder:"MEDIUM"`
	Start     int     `help:"Label of the sheet to begin on, counted along the rows." default:"1" placeholder:"N"`
	Right     float64 `help:"Move everything right by so many mm, -10 to 10; see --calibrate." placeholder:"MM"`
	Down      float64 `help:"Move everything down by so many mm, -10 to 10." placeholder:"MM"`
	DPI       int     `name:"dpi" help:"Resolution of a label printer: 203, 300 or 600." placeholder:"N"`
	Matrix    bool    `help:"Data Matrix instead of QR, for direct marking."`
	Calibrate bool    `help:"Print the page that shows by how much the printer is out, instead of labels."`
	Out       string  `help:"File to write; its ending says what: .pdf, .svg, .png, .zpl, .epl. Of .svg and .png one file a label." required:"" type:"path" placeholder:"FILE"`
}

func (c *labelsCmd) sheet() (labels.Sheet, error) {
	s, err := labels.ParseSheet(c.Sheet)
	if err != nil {
		return s, err
	}
	if c.Start < 1 {
		return s, fmt.Errorf("--start %d: the first label of a sheet is 1", c.Start)
	}
	s.Start, s.OffsetX, s.OffsetY, s.DPI = c.Start, c.Right, c.Down, c.DPI
	return s, s.Check()
}

func (c *labelsCmd) Run(e *env) error {
	sheet, err := c.sheet()
	if err != nil {
		return err
	}
	if c.Calibrate {
		if !strings.EqualFold(filepath.Ext(c.Out), ".pdf") {
			return fmt.Errorf("--out %s: the calibration page is a .pdf", c.Out)
		}
		page, err := labels.Calibration(sheet)
		if err != nil {
			return err
		}
		if err := writeAll([]labels.File{{Name: c.Out, Bytes: page}}); err != nil {
			return err
		}
		fmt.Fprintf(e.out, "%s: print it at 100 %%, measure with a steel rule, and give the differences as --right and --down.\n", c.Out)
		return nil
	}
	s, end, err := c.store(e)
	if err != nil {
		return err
	}
	defer end()
	texts, err := s.Labels(e.ctx, c.Select)
	if err != nil {
		return err
	}
	ls := server.DrawLabels(texts, string(s.Today()))
	for i := range ls {
		ls[i].Matrix = c.Matrix
	}
	files, err := labels.Files(ls, sheet, c.Out)
	if err != nil {
		return err
	}
	if err := writeAll(files); err != nil {
		return err
	}
	if !c.Demo {
		in := store.PrintIn{Medium: sheet.Name, First: c.Start, Right: c.Right, Down: c.Down, DPI: c.DPI}
		for _, l := range ls {
			in.Tags = append(in.Tags, l.Tag)
		}
		if err := s.PrintedAtConsole(e.ctx, "console-"+rand.Text(), in); err != nil {
			return fmt.Errorf("%s is written, but not on record as printed: %w", c.Out, err)
		}
	}
	where := fmt.Sprintf("%d files", len(files))
	if len(files) == 1 {
		where = files[0].Name
	}
	pages := ""
	if strings.EqualFold(filepath.Ext(c.Out), ".pdf") {
		pages = fmt.Sprintf(" on %s", counted(sheet.Pages(len(ls)), "page", "pages"))
	}
	fmt.Fprintf(e.out, "%s%s: %s\n", counted(len(ls), "label", "labels"), pages, where)
	return nil
}

func (c *labelsCmd) store(e *env) (*store.Store, func(), error) {
	if c.Demo {
		return demoStore(e)
	}
	s, err := c.open(e, false)
	if err != nil {
		return nil, nil, err
	}
	return s, func() { s.Close() }, nil
}

func counted(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, many)
}

// writeAll writes every file beside its place first and moves them there when all are whole,
// so that a full disk leaves nothing half printed.
func writeAll(files []labels.File) (err error) {
	var temps []string
	defer func() {
		for _, t := range temps {
			err = errors.Join(err, os.Remove(t))
		}
	}()
	for _, f := range files {
		t, err := os.CreateTemp(filepath.Dir(f.Name), ".labels-*")
		if err != nil {
			return err
		}
		temps = append(temps, t.Name())
		_, err = t.Write(f.Bytes)
		if err = errors.Join(err, t.Sync(), t.Close(), os.Chmod(t.Name(), 0o644)); err != nil {
			return fmt.Errorf("%s: %w; nothing was written", f.Name, err)
		}
	}
	for i, f := range files {
		if err := os.Rename(temps[0], f.Name); err != nil {
			return fmt.Errorf("%w; %d of %d files were written", err, i, len(files))
		}
		temps = temps[1:]
	}
	return nil
}
