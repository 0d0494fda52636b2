package stack

import "slices"

// coolant judges the way of the coolant: through the bore or by the line.
func (j *judge) coolant() {
	if !j.r.Coolant {
		return
	}
	through := judge{setup: j.setup, at: j.at, p: j.p}
	through.byBore()
	if through.n == 0 && !through.other {
		return
	}
	line := judge{setup: j.setup, at: j.at, p: j.p, other: len(j.line) == 0}
	if len(j.line) > 0 {
		line.byLine()
	}
	if line.n == 0 && !line.other {
		return
	}
	k := &through
	if j.route == byLine {
		k = &line
	}
	j.other = j.other || k.other
	if j.n == 0 {
		j.one = k.one
	}
	j.n += k.n
}

// passes judges whether a part lets the coolant through, and at its pressure.
func (j *judge) passes(i int, open bool, name string, say func() string) {
	if !open {
		j.add(i, codeBreak, name, true, 2, say)
	}
	p, need := j.part(i), j.r.CoolantBar
	switch {
	case need <= 0:
	case !p.CP.Known:
		j.add(i, codePressure, "CP_min", need, 1.5, sayf("its coolant rating (CP) is not recorded; %s bar needed", num(need)))
	case p.CP.V < need-deadband:
		j.add(i, codePressure, "CP_min", need, off(p.CP.V, need), sayf("rated %s bar, at least %s bar needed: %s bar too little", num(p.CP.V), num(need), num(need-p.CP.V)))
	}
}

var sayDry = sayf("does not pass coolant on")

// body judges the bar and what is before it.
func (j *judge) body() {
	j.passes(j.bar, j.part(j.bar).Coolant, "coolant", sayf("not drilled for coolant"))
	for _, i := range j.fronts {
		j.passes(i, j.part(i).Coolant, "coolant", sayDry)
	}
	if j.head >= 0 {
		j.passes(j.head, j.part(j.head).Coolant, "coolant", sayDry)
	}
}

func (j *judge) byBore() {
	for _, i := range j.seats {
		j.passes(i, j.part(i).Coolant, "coolant", sayDry)
	}
	j.passes(j.holder, j.part(j.holder).Coolant, "coolant", sayf("does not feed its bore with coolant"))
	for _, i := range j.units {
		j.passes(i, j.part(i).Coolant, "coolant", sayDry)
	}
	if j.sleeve >= 0 {
		j.passes(j.sleeve, j.part(j.sleeve).Sealed, "sealed", sayf("not sealed: it would lose the coolant"))
	}
	if !slices.ContainsFunc(j.part(j.bar).Joints, func(x Joint) bool { return x.Side == CoolantIn && x.Family == Through }) {
		j.add(j.bar, codeBreak, "coolant_in", []string{"bore"}, 2, sayf("no coolant inlet at its rear"))
	}
	j.body()
}

func (j *judge) byLine() {
	open := portEnd(j.r.Station.CoolantPort)
	if open == "" {
		j.other = true
		return
	}
	for n, i := range j.line {
		enter, was := opposite(open), j.parts[i].Ends()
		leave := ""
		switch k := slices.Index(was, enter); {
		case k < 0 || len(was) != 2:
			j.other = true // not even the one that would do
			return
		default:
			leave = was[1-k]
		}
		if ends := j.part(i).Ends(); i == j.at {
			ok := len(ends) == 2
			if ok {
				last := n == len(j.line)-1 && (ends[0] == enter && j.feeds(ends[1]) || ends[1] == enter && j.feeds(ends[0]))
				ok = ends[0] == enter && ends[1] == leave || ends[1] == enter && ends[0] == leave || last
			}
			if !ok && j.joins(portEnd(j.r.Station.CoolantPort), j.line) {
				return // in another order of the pieces it does
			}
			if !ok && len(ends) == 2 && (slices.Contains(ends, enter) || slices.Contains(ends, leave)) {
				want := []string{enter, leave}
				slices.Sort(want)
				have := slices.Clone(ends)
				slices.Sort(have)
				j.add(i, codeBreak, "ends", want, 2, sayf("ends %s, %s needed", endWords(have, " and "), endWords(want, " and ")))
			} else if !ok {
				j.other = true
			}
		}
		j.passes(i, true, "", nil)
		open = leave
	}
	if !j.feeds(open) && j.at != j.lastOf(j.line) {
		want := []string{opposite(open)}
		j.add(j.bar, codeBreak, "coolant_in", want, 2, sayf("no coolant inlet %s", endWord(want[0])))
	}
	j.body()
}

func (j *judge) lastOf(list []int) int { return list[len(list)-1] }

// joins reports whether pieces of the line, in some order, lead from an open end to the bar.
func (j *judge) joins(open string, line []int) bool {
	if len(line) < len(j.line) && j.feeds(open) {
		return true
	}
	for n, i := range line {
		ends := j.part(i).Ends()
		for k := range ends {
			if len(ends) == 2 && ends[k] == opposite(open) && j.joins(ends[1-k], slices.Delete(slices.Clone(line), n, n+1)) {
				return true
			}
		}
	}
	return false
}

// feeds reports whether an open end of the line goes into an inlet of the bar.
func (j *judge) feeds(open string) bool {
	return slices.ContainsFunc(j.part(j.bar).Joints, func(x Joint) bool {
		return x.Side == CoolantIn && x.Family != Through && x.End() == opposite(open)
	})
}
