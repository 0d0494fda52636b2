package stack

import "slices"

// lengths judges overhang, reach and what is left to grip.
func (j *judge) lengths() {
	r, b := j.r, j.part(j.bar)
	d, l := barD(b), r.Overhang()
	// What is not recorded first: nothing can be worked out without it.
	proj, ext, lf := 0.0, 0.0, 0.0
	room := r.Station.MaxProjection
	for _, i := range j.seats {
		if p := j.part(i); p.LF.Known {
			proj += p.LF.V
		} else if room.Known {
			j.add(i, codeProject, "LF_max", j.parts[i].LF.Or(0), 1.5, sayf("how far it brings the stack out (LF) is not recorded; the machine can swing %s mm", num(room.V)))
			return
		}
	}
	stop, unsaid := inf, 0
	for _, i := range j.units {
		p := j.part(i)
		if !p.LF.Known {
			j.add(i, codeShort, "LF_min", j.parts[i].LF.Or(0), 1.5, sayf("how far it stands out of its holder (LF) is not recorded"))
			return
		}
		if p.OHX.Known {
			stop = min(stop, ext+p.OHX.V)
		}
		if ext += p.LF.V; ext > r.Clearance+deadband && (!p.DMIN.Known || p.DMIN.V > r.BoreStartD+deadband) {
			into := ext - r.Clearance
			j.add(i, codeDmin, "DMIN_max", r.BoreStartD, 1.5, sayf("reaches %s mm into the hole and needs one of %s, the part has %s mm", num(into), sizeOrNot(p.DMIN, p.inch("")), num(r.BoreStartD)))
		}
	}
	reach := j.fronts
	if j.head >= 0 {
		reach = append(slices.Clip(reach), j.head)
	}
	for _, i := range reach {
		if p := j.part(i); p.LF.Known {
			lf += p.LF.V
		} else {
			lf += j.parts[i].LF.Or(0) // what would do, beside what else is wrong
			unsaid = i + 1
		}
	}
	oal := b.OAL.V
	if !b.OAL.Known {
		oal = j.parts[j.bar].OAL.Or(0)
		j.add(j.bar, codeShort, "OAL_min", round(oal, 6), 1.5, sayf("its length (OAL) is not recorded; %s mm needed", num(oal)))
	}
	if unsaid > 0 {
		i := unsaid - 1
		j.add(i, codeShort, "LF_min", j.parts[i].LF.Or(0), 1.5, sayf("its length (LF) is not recorded"))
	}
	// How far it is set.
	set, least := l, 0.0
	if b.Damped() {
		least = b.OHN.Or(0)
	}
	if j.coupled {
		set = oal + lf + ext
	} else if least+ext > set+deadband && least > 0 {
		set = least + ext
	}
	// longer and shorter tell which size of the judged part would have to change by mm.
	longer := func(code Code, mm float64, say func() string) {
		switch p := j.p; {
		case j.at == j.bar:
			j.add(j.at, code, "OAL_min", round(oal+mm, 6), off(oal, oal+mm), say)
		case p != nil && p.LF.Known && (slices.Contains(reach, j.at) || slices.Contains(j.units, j.at)):
			j.add(j.at, code, "LF_min", round(p.LF.V+mm, 6), min(mm/max(p.LF.V+mm, 1), 1), say)
		default:
			j.other = true
		}
	}
	shorter := func(code Code, mm float64, say func() string) {
		switch p := j.p; {
		case j.at == j.bar && j.coupled:
			j.add(j.at, code, "OAL_max", round(oal-mm, 6), off(oal, oal-mm), say)
		case p != nil && p.LF.Known && p.LF.V >= mm && (slices.Contains(j.seats, j.at) || j.coupled && slices.Contains(reach, j.at) || slices.Contains(j.units, j.at)):
			j.add(j.at, code, "LF_max", round(p.LF.V-mm, 6), min(mm/max(p.LF.V, 1), 1), say)
		default:
			j.other = true
		}
	}
	if j.coupled {
		if set < l-deadband {
			longer(codeShort, l-set, sayf("with it the bar reaches %s mm, at least %s mm needed: %s mm short", num(set), num(l), num(l-set)))
		}
		if least > set-ext+deadband {
			out := set - ext
			say := sayf("with it the bar sticks out %s mm, the bar may not be used under %s mm: %s mm short", num(out), num(least), num(least-out))
			if j.at == j.bar {
				j.add(j.at, codeOverMin, "OHN_max", round(out, 6), off(least, out), say)
			} else {
				longer(codeOverMin, least-out, say)
			}
		}
	} else if left := oal + lf - (set - ext); left < minGripD*d-deadband && d > 0 && (unsaid == 0 || j.n == 0) {
		short := minGripD*d - left
		longer(codeShort, short, sayf("leaves %s mm of the bar to grip, at least %s mm (3 x D) needed: %s mm short", num(max(left, 0)), num(minGripD*d), num(short)))
	}
	j.overhang(set, ext, stop, shorter)
	if !room.Known || set+proj <= room.V+deadband {
		return
	}
	over := set + proj - room.V
	switch {
	case j.coupled || l+proj > room.V+deadband:
		shorter(codeProject, over, sayf("with it the stack stands out %s mm, the machine can swing %s mm: %s mm too long", num(set+proj), num(room.V), num(over)))
	case j.at == j.bar:
		j.add(j.bar, codeOverMin, "OHN_max", round(least-over, 6), off(least, least-over),
			sayf("may not be set under %s mm; the machine can swing %s mm: %s mm too long", num(set+proj), num(room.V), num(over)))
	default:
		shorter(codeOverMin, over, sayf("with it the bar stands out %s mm at least, the machine can swing %s mm: %s mm too long", num(set+proj), num(room.V), num(over)))
	}
}

// overhang judges the overhang by the limit of the bar and of the adapters behind it.
func (j *judge) overhang(set, ext, stop float64, shorter func(Code, float64, func() string)) {
	b := j.part(j.bar)
	d := barD(b)
	_, most, _, ok := OverhangLimit(b.Construction, d)
	limit := b.OHX.Or(most * d)
	allowed := func() string {
		if b.OHX.Known {
			return num(limit) + " mm by its maker"
		}
		return num(limit) + " mm (" + num(most) + " x D of " + word(b.Construction) + ")"
	}
	switch {
	case d == 0 && !b.OHX.Known: // how thick it is is not recorded, which is told
	case !ok && !b.OHX.Known:
		j.add(j.bar, codeOverMax, "OHX_min", round(set, 6), 1.5, sayf("neither its construction nor its maker's longest overhang is recorded; %s mm of overhang needed", num(set)))
	case set <= limit+deadband:
	case j.at == j.bar && (!j.coupled || limit < j.r.Overhang()-deadband): // shorter it would not reach
		j.add(j.bar, codeOverMax, "OHX_min", round(set, 6), off(limit, set), func() string {
			return "may stand out at most " + allowed() + ", " + num(set) + " mm needed: " + num(set-limit) + " mm too far"
		})
	default:
		shorter(codeOverMax, set-limit, func() string {
			return "with it the overhang is " + num(set) + " mm, allowed are " + allowed() + ": " + num(set-limit) + " mm too far"
		})
	}
	from := 0.0
	for _, i := range j.units {
		p := j.part(i)
		if need := set - from; !p.OHX.Known {
			j.add(i, codeOverMax, "OHX_min", round(need, 6), 1.5, sayf("its maker's longest overhang (OHX) is not recorded; %s mm needed", num(need)))
		} else if need > p.OHX.V+deadband {
			if i == j.at {
				j.add(i, codeOverMax, "OHX_min", round(need, 6), off(p.OHX.V, need), sayf("its maker allows %s mm of overhang, %s mm needed: %s mm too far", num(p.OHX.V), num(need), num(need-p.OHX.V)))
			} else {
				shorter(codeOverMax, set-stop, sayf("with it the overhang is %s mm, the adapters behind the bar allow %s mm: %s mm too far", num(set), num(stop), num(set-stop)))
			}
		}
		from += p.LF.Or(0)
	}
}
