package main

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"brasspeg/store"
)

// seedLabels puts the labels of the demo shop on record: each printed on the day its thing
// came, those of holders and sleeves renewed two months ago, so that the list of worn labels
// holds what an older shop's would. Afterwards the store's clock is the wall clock.
func seedLabels(ctx context.Context, st *store.Store, by string) error {
	defer st.SetClock(time.Now)
	who, err := st.PersonByLogin(ctx, by)
	if err != nil {
		return err
	}
	ls, err := st.Labels(ctx, "pieces, lots")
	if err != nil {
		return err
	}
	came := map[string][]string{} // day -> tags
	at := map[string]time.Time{}
	renew := time.Now().AddDate(0, 0, -60)
	var again []string
	for _, l := range ls {
		it, err := st.ItemByTag(ctx, l.Tag)
		if err != nil {
			return err
		}
		day := string(store.DayOf(it.CreatedAt.Time))
		came[day] = append(came[day], l.Tag)
		at[day] = it.CreatedAt.Time
		if (l.Part == "holder" || l.Part == "sleeve") && it.CreatedAt.Before(renew) {
			again = append(again, l.Tag)
		}
	}
	n := 0
	print := func(day time.Time, tags []string) error {
		st.SetClock(func() time.Time { return day })
		n++
		_, err := st.PrintLabels(ctx, store.Op{ID: fmt.Sprintf("demo-labels-%07d", n), Actor: who.ID, Device: "window"}, store.PrintIn{Tags: tags, Medium: "a4"})
		return err
	}
	var days []string
	for day := range came {
		days = append(days, day)
	}
	slices.SortFunc(days, strings.Compare)
	for _, day := range days[:len(days)-1] { // what came last is still to be labelled
		if err := print(at[day], came[day]); err != nil {
			return err
		}
	}
	return print(renew, again)
}
