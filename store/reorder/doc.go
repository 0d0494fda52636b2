// Package reorder says what to buy, when, how much, and why.
//
// It knows demand, lead times and prices; it knows no shelf, no database and no clock.
// Everything it needs comes in as arguments and everything it knows goes out as values.
//
// Read it in this order. quantity.go, discount.go: how much to order. point.go,
// discrete.go, fill.go: at which stock position. intermittent.go, class.go: how much will
// be used, from what was used. abc.go, cover.go: which parts matter. lead.go: how long a
// supplier really takes. need.go: planned jobs and statistical demand together, no
// withdrawal twice. reuse.go, spares.go: bars that come back, screws that follow them.
// review.go puts it all together for one part, alert.go says it in one sentence,
// snooze.go keeps it quiet for a while, propose.go and supplier.go turn it into proposals.
// simulate.go plays a year of it against fixed minimum and maximum levels.
//
// Words. Stock position = on hand + on order - promised; free = on hand - promised. The
// reorder point R is compared with the position: order when position <= R. A unit is what
// is counted out (an edge, a screw), a piece is what is bought (an insert), a pack is how
// it is sold (a box of ten).
//
// Proposals are proposals: nothing here changes a level.
package reorder
