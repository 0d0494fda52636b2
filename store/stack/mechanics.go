package stack

import (
	"fmt"
	"math"
)

// The formulas of deep boring, as plain functions. Units are those of the doc comment; where a
// formula holds in any consistent system of units it says so. Sources: the tables in
// testdata/stack, where every formula has checks with their own source.

// AreaMomentSolid returns the second moment of area of a round bar of diameter d: pi d^4/64,
// in the fourth power of d's unit.
func AreaMomentSolid(d float64) float64 { return math.Pi * math.Pow(d, 4) / 64 }

// AreaMomentTube returns the second moment of area of a tube, outside do, inside di < do.
func AreaMomentTube(do, di float64) float64 {
	return math.Pi * (math.Pow(do, 4) - math.Pow(di, 4)) / 64
}

// TipDeflection returns the deflection at the tip of a cantilever of length l under force f at
// its tip, modulus e, second moment i, in consistent units (N, mm, N/mm2, mm4 give mm; lbf,
// in, psi, in4 give in). The clamp is taken as perfect; a real one gives more.
func TipDeflection(f, l, e, i float64) float64 { return f * math.Pow(l, 3) / (3 * e * i) }

// BendingStress returns the stress at the clamp of a round bar of diameter d, force f at
// length l, in force per area of the units given.
func BendingStress(f, l, d float64) float64 { return 32 * f * l / (math.Pi * math.Pow(d, 3)) }

// DeflectionRatio returns by what factor deflection changes when length grows by rl, diameter
// by rd and modulus by re: rl^3 / (rd^4 re).
func DeflectionRatio(rl, rd, re float64) float64 {
	return math.Pow(rl, 3) / (math.Pow(rd, 4) * re)
}

// DiameterError returns the error on the diameter of a bore from a radial movement: twice.
func DiameterError(radial float64) float64 { return 2 * radial }

// beamRoot is the first root of the cantilever equation (slender beam, fixed and free end).
const beamRoot = 1.8751

// bendingFrequency returns the first bending frequency in Hz of a cantilever from modulus e
// (Pa), radius of gyration squared i/a (m2), density rho (kg/m3) and length l (m).
func bendingFrequency(e, gyration2, rho, l float64) float64 {
	return beamRoot * beamRoot / (2 * math.Pi) * math.Sqrt(e*gyration2/(rho*math.Pow(l, 4)))
}

// FrequencyRound returns the first bending frequency in Hz of a solid round bar: e Pa, rho
// kg/m3, d and l m. Not for damped or hollow bars. The clamp is taken as perfect.
func FrequencyRound(e, rho, d, l float64) float64 { return bendingFrequency(e, d*d/16, rho, l) }

// FrequencyPlate is FrequencyRound for a rectangular section bending over its thickness t (m).
func FrequencyPlate(e, rho, t, l float64) float64 { return bendingFrequency(e, t*t/12, rho, l) }

// RPM returns the spindle speed for vc m/min at d mm.
func RPM(vc, d float64) float64 { return 1000 * vc / (math.Pi * d) }

// RPMInch returns the spindle speed for sfm ft/min at d in.
func RPMInch(sfm, d float64) float64 { return 12 * sfm / (math.Pi * d) }

// CuttingSpeed returns m/min at d mm and n rev/min.
func CuttingSpeed(d, n float64) float64 { return math.Pi * d * n / 1000 }

// FeedPerRev returns mm/rev of a cut of length mm that took minutes at n rev/min.
func FeedPerRev(length, minutes, n float64) float64 { return length / minutes / n }

// TimeInCut returns minutes for length mm at vf mm/min.
func TimeInCut(length, vf float64) float64 { return length / vf }

// RemovalRing returns the metal removed in mm3/min between diameters do and df (mm) at vf mm/min.
func RemovalRing(do, df, vf float64) float64 { return math.Pi / 4 * math.Abs(do*do-df*df) * vf }

// Removal returns the metal removed in cm3/min: vc m/min, ap mm, f mm/rev.
func Removal(vc, ap, f float64) float64 { return vc * ap * f }

// RemovalInch returns the metal removed in in3/min: sfm ft/min, ap in, f in/rev.
func RemovalInch(sfm, ap, f float64) float64 { return 12 * sfm * ap * f }

// PowerFromEnergy returns W for q mm3/min at u W s/mm3.
func PowerFromEnergy(q, u float64) float64 { return q / 60 * u }

// RoughnessRt returns the peak to valley height in um left by a perfect edge: f mm/rev, re mm.
// Real surfaces run 1.5 to 3 times rougher.
func RoughnessRt(f, re float64) float64 { return f * f / (8 * re) * 1000 }

// RoughnessRa returns the mean roughness in um left by a perfect edge: f mm/rev, re mm.
func RoughnessRa(f, re float64) float64 { return f * f / (18 * math.Sqrt(3) * re) * 1000 }

// FeedForRa returns the largest feed in mm/rev for a mean roughness of ra um with re mm.
func FeedForRa(ra, re float64) float64 { return math.Sqrt(ra / 1000 * 18 * math.Sqrt(3) * re) }

// MachinePower returns kW: ap mm, f mm/rev, vc m/min, kc N/mm2, eta the drive's efficiency.
func MachinePower(ap, f, vc, kc, eta float64) float64 { return ap * f * vc * kc / (60000 * eta) }

// SpecificForce returns kc in N/mm2 from kc1.1 and mc at chip thickness h mm.
func SpecificForce(kc11, mc, h float64) float64 { return kc11 * math.Pow(h, -mc) }

// CuttingForce returns the tangential force in N: ap mm, f mm/rev, kc N/mm2.
func CuttingForce(ap, f, kc float64) float64 { return ap * f * kc }

// RadialForce returns the radial force in N at a share (0.25 to 0.30) of the tangential one.
func RadialForce(fc, share float64) float64 { return fc * share }

// JetSpeed returns m/s of a jet without loss: dp Pa, rho kg/m3.
func JetSpeed(dp, rho float64) float64 { return math.Sqrt(2 * dp / rho) }

// OrificeFlow returns L/min through one hole of diameter d mm at dp bar: cd the discharge
// coefficient (0.62 sharp edge, 0.80 short tube, 0.97 rounded), rho kg/m3. The pressure is
// that at the nozzle, not at the pump.
func OrificeFlow(cd, d, dp, rho float64) float64 {
	return cd * math.Pi / 4 * math.Pow(d/1000, 2) * JetSpeed(dp*1e5, rho) * 60000
}

// LineRating returns the rating of a line in bar: that of its lowest part. No part: +Inf.
func LineRating(parts ...float64) float64 {
	low := math.Inf(1)
	for _, p := range parts {
		low = min(low, p)
	}
	return low
}

// LeastGrip returns the least grip in mm of a bar of d mm: 3 D.
func LeastGrip(d float64) float64 { return minGripD * d }

// OverhangRatio returns (depth + clearance) / d, all mm.
func OverhangRatio(depth, clearance, d float64) float64 { return (depth + clearance) / d }

// BarMass returns kg of a solid round bar, d and l mm, rho kg/m3.
func BarMass(d, l, rho float64) float64 { return math.Pi / 4 * d * d * l * rho * 1e-9 }

// SleeveWall returns the wall of a sleeve in mm.
func SleeveWall(do, di float64) float64 { return (do - di) / 2 }

// PitchFromTPI returns mm of pitch from threads per inch.
func PitchFromTPI(n float64) float64 { return 25.4 / n }

// Material is the body of a solid bar. Source: materials.json; a maker's own value is better.
type material struct {
	e   float64 // N/mm2
	rho float64 // kg/m3
}

var materials = map[string]material{
	"steel":       {207000, 7850},
	"heavy_metal": {345000, 17500},
	"carbide":     {590000, 14900},
}

// kcRow is a row of the kc table: specific force at 1 x 1 mm and its exponent. mc 0 is "not
// given" (hardened materials).
type kcRow struct{ kc11, mc float64 }

// kcTable is kc_table.csv, by VDI 3323 group; groups 29 and 30 are no metals.
var kcTable = map[int]kcRow{
	1: {1350, 0.21}, 2: {1500, 0.22}, 3: {1675, 0.24}, 4: {1700, 0.24}, 5: {1900, 0.24}, 6: {1775, 0.24},
	7: {1675, 0.24}, 8: {1725, 0.24}, 9: {1800, 0.24}, 10: {2450, 0.23}, 11: {2500, 0.23}, 12: {1875, 0.21},
	13: {1875, 0.21}, 14: {2150, 0.20}, 15: {1150, 0.20}, 16: {1350, 0.28}, 17: {1225, 0.25}, 18: {1350, 0.28},
	19: {1225, 0.25}, 20: {1420, 0.30}, 21: {700, 0.25}, 22: {800, 0.25}, 23: {700, 0.25}, 24: {700, 0.25},
	25: {750, 0.25}, 26: {700, 0.27}, 27: {700, 0.27}, 28: {700, 0.27}, 31: {2600, 0.24}, 32: {3100, 0.24},
	33: {3300, 0.24}, 34: {3300, 0.24}, 35: {3300, 0.24}, 36: {1700, 0.23}, 37: {2110, 0.22},
	38: {4600, 0}, 39: {4700, 0}, 40: {4600, 0}, 41: {4500, 0},
}

// KC returns the specific cutting force in N/mm2 for a VDI 3323 group at chip thickness h mm,
// neutral rake. ok is false for an unknown group, or one whose exponent is not known.
func KC(group int, h float64) (kc float64, ok bool) {
	r := kcTable[group]
	if r.kc11 == 0 || r.mc == 0 || !(h > 0) {
		return 0, false
	}
	return SpecificForce(r.kc11, r.mc, h), true
}

// radialShare and flow coefficients used in the estimates of a stack.
const (
	radialShare = 0.30 // upper end of the public range 0.25 to 0.30
	sharpEdge   = 0.62
	waterRho    = 1000.0 // kg/m3; oil is lighter and gives a little more
	ftPerM      = 1 / 0.3048
)

// Mechanics are estimates beside a stack. They rank and warn; they never allow what a rule
// forbids. What cannot be computed from what is recorded stays unknown, and Notes say why.
type Mechanics struct {
	KC           Opt // N/mm2
	ForceN       Opt // N, tangential
	RadialN      Opt // N, at 30 % of it
	DeflectionMM Opt // mm at the edge from the force of both, perfect clamp; solid bars, or hollow with the maker's bore
	PerKilonewt  Opt // mm per 1000 N at the edge: known without cutting data
	FrequencyHz  Opt // Hz, first bending, solid bars only, perfect clamp
	RPM          Opt // rev/min at the finished bore, else at the starting hole
	VC           Opt // m/min
	SFM          Opt // ft/min
	FeedMMMin    Opt // mm/min
	MinutesInCut Opt // min for the depth
	RemovalCM3   Opt // cm3/min
	CutKW        Opt // kW at the edge, before the losses of the drive
	PowerKW      Opt // kW at the machine
	RtUM, RaUM   Opt // um, perfect edge; real surfaces run 1.5 to 3 times rougher
	FlowLMin     Opt // L/min through the head's nozzles at the asked pressure, sharp-edged
	Notes        []string
}

// known lists the figures that are known, unit in the name.
func (m *Mechanics) known() map[string]float64 {
	out := map[string]float64{}
	for name, o := range map[string]Opt{
		"kc_n_mm2": m.KC, "cutting_force_n": m.ForceN, "radial_force_n": m.RadialN, "deflection_mm": m.DeflectionMM,
		"deflection_mm_per_kn": m.PerKilonewt, "first_frequency_hz": m.FrequencyHz, "rpm": m.RPM, "vc_m_min": m.VC,
		"vc_ft_min": m.SFM, "feed_mm_min": m.FeedMMMin, "minutes_in_cut": m.MinutesInCut, "removal_cm3_min": m.RemovalCM3,
		"cut_kw": m.CutKW, "power_kw": m.PowerKW, "rt_um": m.RtUM, "ra_um": m.RaUM, "coolant_l_min": m.FlowLMin,
	} {
		if o.Known {
			out[name] = round(o.V, 4)
		}
	}
	return out
}

// mechanics computes what can be computed for a stack.
func mechanics(r *Request, st *Stack) (m Mechanics) {
	note := func(s string, args ...any) { m.Notes = append(m.Notes, fmt.Sprintf(s, args...)) }
	c := r.Cutting
	all := func(os ...Opt) bool {
		for _, o := range os {
			if !o.Known {
				return false
			}
		}
		return true
	}
	d := r.BoreEndD.Or(r.BoreStartD)
	if c.VC.Known {
		m.VC, m.SFM, m.RPM = c.VC, Some(c.VC.V*ftPerM), Some(RPM(c.VC.V, d))
		if !r.BoreEndD.Known {
			note("speed is for the starting hole; the finished bore is not given")
		}
	} else {
		note("speed: not known, no cutting speed given")
	}
	if all(m.RPM, c.F) {
		m.FeedMMMin = Some(m.RPM.V * c.F.V)
		m.MinutesInCut = Some(TimeInCut(r.Depth, m.FeedMMMin.V))
	}
	if all(c.VC, c.AP, c.F) {
		m.RemovalCM3 = Some(Removal(c.VC.V, c.AP.V, c.F.V))
	}
	if c.F.Known {
		if kc, ok := KC(c.Group, c.F.V); ok {
			m.KC = Some(kc)
		} else {
			note("cutting force: not known, the material group is not given or has no exponent")
		}
	}
	if all(m.KC, c.AP) {
		m.ForceN = Some(CuttingForce(c.AP.V, c.F.V, m.KC.V))
		m.RadialN = Some(RadialForce(m.ForceN.V, radialShare))
		if c.VC.Known {
			m.CutKW = Some(MachinePower(c.AP.V, c.F.V, c.VC.V, m.KC.V, 1))
			if c.Eta.Known {
				m.PowerKW = Some(MachinePower(c.AP.V, c.F.V, c.VC.V, m.KC.V, c.Eta.V))
			} else {
				note("power at the machine: not known, the efficiency of the drive is not given; it is more than at the edge")
			}
		}
	} else if !c.AP.Known || !c.F.Known {
		note("cutting force and power: not known, depth of cut or feed is not given")
	}
	bend(st, &m, note)
	if u, ok := st.Find(Insert); ok && c.F.Known && u.Part.RE.Known && u.Part.RE.V > 0 {
		m.RtUM, m.RaUM = Some(RoughnessRt(c.F.V, u.Part.RE.V)), Some(RoughnessRa(c.F.V, u.Part.RE.V))
	}
	if r.Coolant {
		head, ok := st.Find(Head)
		if !ok {
			head, ok = st.Find(Bar)
		}
		if ok && head.Part.NozzleD.Known && head.Part.Nozzles > 0 && r.CoolantBar > 0 {
			m.FlowLMin = Some(float64(head.Part.Nozzles) * OrificeFlow(sharpEdge, head.Part.NozzleD.V, r.CoolantBar, waterRho))
			note("flow is for the asked pressure at the nozzle; elbows, small bores and filters cost pressure")
		} else {
			note("coolant flow: not known, the nozzles of the head are not recorded")
		}
	}
	return m
}

// bend estimates deflection and frequency. The bar is taken at its shank diameter over the
// whole overhang, head included.
func bend(st *Stack, m *Mechanics, note func(string, ...any)) {
	u, ok := st.Find(Bar)
	if !ok {
		return
	}
	p, d, l := u.Part, st.D(), st.Overhang
	mat, solid := materials[p.Construction]
	i := AreaMomentSolid(d)
	if p.Damped() {
		solid = false
		if !p.Hollow.Known {
			note("deflection: not known, the inside bore of the damped bar is not recorded")
			note("frequency: not known, the solid-bar formula does not hold for a damped bar")
			return
		}
		mat = materials["steel"] // damped carbide is stiffer: this errs on the soft side
		i = AreaMomentTube(d, p.Hollow.V)
		note("deflection of the damped bar by the tube formula with the maker's bore and the modulus of steel")
		note("frequency: not known, the solid-bar formula does not hold for a damped bar")
	}
	if mat.e == 0 || d <= 0 || l <= 0 {
		note("deflection: not known, the construction of the bar is not recorded")
		return
	}
	for _, u := range st.Pieces {
		if u.Role == Bar {
			break
		}
		if u.Role == Adapter {
			note("the bending of %s behind the bar is not known and not counted: more in truth", u.ID())
		}
	}
	m.PerKilonewt = Some(TipDeflection(1000, l, mat.e, i))
	if m.ForceN.Known {
		f := math.Hypot(m.ForceN.V, m.RadialN.V)
		m.DeflectionMM = Some(TipDeflection(f, l, mat.e, i))
	}
	if solid {
		m.FrequencyHz = Some(FrequencyRound(mat.e*1e6, mat.rho, d/1000, l/1000))
	}
}
