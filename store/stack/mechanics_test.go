package stack

import (
	"encoding/csv"
	"encoding/json"
	"maps"
	"math"
	"os"
	"strconv"
	"testing"
)

// TestMechanicsChecks runs every published check through the function that the program uses.
// Source and tolerance of each stand in the file.
func TestMechanicsChecks(t *testing.T) {
	b, err := os.ReadFile("../../testdata/stack/checks.json")
	if err != nil {
		t.Fatal(err)
	}
	var file struct {
		Checks []struct {
			Name      string
			Inputs    map[string]float64
			Expected  float64
			Tolerance float64
			Source    string
		}
	}
	if err := json.Unmarshal(b, &file); err != nil {
		t.Fatal(err)
	}
	type in = map[string]float64
	speed := func(i in) float64 { return RPM(i["vc"], i["D"]) }
	speedInch := func(i in) float64 { return RPMInch(i["sfm"], i["D"]) }
	round := func(i in) float64 { return FrequencyRound(i["E"], i["rho"], i["d"], i["L"]) }
	plate := func(i in) float64 { return FrequencyPlate(i["E"], i["rho"], i["t"], i["L"]) }
	bar := func(i in) float64 { return BarMass(i["D"], i["L"], i["rho"]*1e9) }
	tip := func(i in) float64 { return TipDeflection(i["F"], i["L"], i["E"], i["I"]) }
	by := map[string]func(in) float64{
		"second moment of area, solid 25.4 mm":                                   func(i in) float64 { return AreaMomentSolid(i["D"]) },
		"second moment of area, tube 40/12 mm":                                   func(i in) float64 { return AreaMomentTube(i["Do"], i["Di"]) },
		"tip deflection, steel 25.4 mm bar, 101.6 mm out (metric)":               tip,
		"tip deflection, steel 1 in bar, 4 in out (inch)":                        tip,
		"tip deflection, public calculator default":                              func(i in) float64 { return TipDeflection(i["F"], i["L"], i["E"], AreaMomentSolid(i["d"])) },
		"bending stress at the clamp, same case":                                 func(i in) float64 { return BendingStress(i["F"], i["L"], i["d"]) / 1000 },
		"doubling the overhang multiplies deflection":                            func(i in) float64 { return DeflectionRatio(i["r"], 1, 1) },
		"25 percent more diameter divides deflection":                            func(i in) float64 { return 1 / DeflectionRatio(1, i["r"], 1) },
		"carbide against steel, same bar and load":                               func(i in) float64 { return DeflectionRatio(1, 1, i["Ec"]/i["Es"]) },
		"bore error on diameter from radial spring":                              func(i in) float64 { return DiameterError(i["delta"]) },
		"first bending frequency, cantilever plate 75 x 30 x 1250 mm, weak axis": plate,
		"same plate, strong axis":                                                plate,
		"first bending frequency, solid steel bar 32 mm, 128 mm out":             round,
		"same bar at twice the overhang":                                         round,
		"CAUTION case: a public verification page prints 208.6 Hz for this beam": func(i in) float64 { return FrequencyPlate(i["E"], i["rho"], i["a"], i["L"]) },
		"spindle speed, 150 m/min at 60 mm":                                      speed,
		"spindle speed, 1000 sfm at 6.5 in":                                      speedInch,
		"spindle speed, fourth cut of the same exercise at 5.0 in":               speedInch,
		"feed per revolution from a timed cut":                                   func(i in) float64 { return FeedPerRev(i["length"], i["minutes"], i["n"]) },
		"time in cut":                                                            func(i in) float64 { return TimeInCut(i["length"], i["vf"]) },
		"cutting speed, 12.5 mm rod at 400 rpm":                                  func(i in) float64 { return CuttingSpeed(i["D"], i["n"]) },
		"metal removed, 12.5 to 12.0 mm at 200 mm/min":                           func(i in) float64 { return RemovalRing(i["Do"], i["Df"], i["vf"]) },
		"time for 150 mm of it":                                                  func(i in) float64 { return TimeInCut(i["length"], i["vf"]) },
		"power of it at 3 W s/mm3":                                               func(i in) float64 { return PowerFromEnergy(i["Q"], i["u"]) },
		"metal removed, 75 to 65 mm titanium at 250 mm/min":                      func(i in) float64 { return RemovalRing(i["Do"], i["Df"], i["vf"]) / 1000 },
		"metal removal rate from cutting data":                                   func(i in) float64 { return Removal(i["vc"], i["ap"], i["f"]) },
		"inch metal removal rate":                                                func(i in) float64 { return RemovalInch(i["sfm"], i["ap"], i["f"]) },
		"theoretical peak-to-valley, f 0.2 r 0.8":                                func(i in) float64 { return RoughnessRt(i["f"], i["r"]) },
		"theoretical Ra, f 0.2 r 0.8":                                            func(i in) float64 { return RoughnessRa(i["f"], i["r"]) },
		"largest feed for Ra 0.8 um with r 0.4":                                  func(i in) float64 { return FeedForRa(i["Ra"]*1000, i["r"]) },
		"machine power, 3 x 0.2 at 120 m/min, kc 3100, efficiency 0.8":           func(i in) float64 { return MachinePower(i["ap"], i["f"], i["vc"], i["kc"], i["eta"]) },
		"specific cutting force at 0.2 mm chip, group 2":                         func(i in) float64 { return SpecificForce(i["kc11"], i["mc"], i["h"]) },
		"tangential force, ap 2 f 0.2, group 2":                                  func(i in) float64 { return CuttingForce(i["ap"], i["f"], SpecificForce(i["kc11"], i["mc"], i["f"])) },
		"radial share of it at 30 percent":                                       func(i in) float64 { return RadialForce(i["Fc"], i["share"]) },
		"orifice, 50 mm hole under 3 m head":                                     func(i in) float64 { return OrificeFlow(i["Cd"], i["d"]*1000, 1000*i["g"]*i["h"]/1e5, 1000) / 60 },
		"coolant nozzle, 1.5 mm at 70 bar":                                       func(i in) float64 { return OrificeFlow(i["Cd"], i["d"]*1000, i["dp"]/1e5, i["rho"]) },
		"same nozzle at twice the pressure":                                      func(i in) float64 { return OrificeFlow(.62, 1.5, 70*i["r"], 1000) / OrificeFlow(.62, 1.5, 70, 1000) },
		"jet speed at 70 bar, no loss":                                           func(i in) float64 { return JetSpeed(i["dp"], i["rho"]) },
		"line rating is the lowest part":                                         func(i in) float64 { return LineRating(i["a"], i["b"], i["c"], i["d"]) },
		"grip for a 32 mm bar, minimum":                                          func(i in) float64 { return LeastGrip(i["D"]) },
		"overhang ratio":                                                         func(i in) float64 { return OverhangRatio(i["depth"], i["clearance"], i["D"]) },
		"weight of a solid steel bar 60 x 760":                                   bar,
		"weight of a solid carbide bar 32 x 400":                                 bar,
		"sleeve wall, 50 over 32":                                                func(i in) float64 { return SleeveWall(i["Do"], i["Di"]) },
		"thread pitch difference, NPT 1/4 against G 1/4":                         func(i in) float64 { return PitchFromTPI(i["n1"]) - PitchFromTPI(i["n2"]) },
	}
	if len(file.Checks) != 46 {
		t.Errorf("%d checks, the README says 46", len(file.Checks))
	}
	// Levels are computed in the buying room: TestReorderLevelCheck of the command runs it.
	const elsewhere = "reorder level"
	ran := map[string]bool{}
	for _, c := range file.Checks {
		if c.Source == "" || c.Tolerance < 0 {
			t.Errorf("%s: source %q, tolerance %v; each check states both", c.Name, c.Source, c.Tolerance)
		}
		if ran[c.Name] {
			t.Errorf("%s: two checks of one name, and one function for both", c.Name)
		}
		if ran[c.Name] = true; c.Name == elsewhere {
			continue
		}
		f := by[c.Name]
		if f == nil {
			t.Errorf("%s: no function for it", c.Name)
			continue
		}
		if got := f(c.Inputs); !(math.Abs(got-c.Expected) <= c.Tolerance+1e-9) {
			t.Errorf("%s = %v, want %v within %v (%s)", c.Name, got, c.Expected, c.Tolerance, c.Source)
		}
		// A function that gives the expected number whatever it is asked proves nothing.
		looks := false
		for k := range c.Inputs {
			more := maps.Clone(c.Inputs)
			more[k] *= 0.5 // a line's rating is its lowest
			looks = looks || math.Abs(f(more)-c.Expected) > c.Tolerance+1e-9
		}
		if !looks {
			t.Errorf("%s: half of any input changes nothing: it does not look at them", c.Name)
		}
	}
	if len(ran) != len(by)+1 {
		t.Errorf("%d checks in the file, %d functions and 1 elsewhere", len(ran), len(by))
	}
}

// TestTables holds the tables in the code against the files they come from.
func TestTables(t *testing.T) {
	f, err := os.Open("../../testdata/stack/kc_table.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	if len(rows)-1 != len(kcTable) {
		t.Errorf("%d groups in the file, %d in the code", len(rows)-1, len(kcTable))
	}
	for _, r := range rows[1:] {
		g, _ := strconv.Atoi(r[0])
		kc, _ := strconv.ParseFloat(r[5], 64)
		mc := 0.0
		if r[6] != "" {
			mc, _ = strconv.ParseFloat(r[6], 64)
		}
		if kcTable[g] != (kcRow{kc, mc}) {
			t.Errorf("group %d: %v in the code, %v %v in the file", g, kcTable[g], kc, mc)
		}
	}
	var limits struct {
		Limits []struct {
			Construction string
			Over         float64  `json:"D_over"`
			UpTo         *float64 `json:"D_up_to"`
			Recommended  float64
			Max          float64
		}
	}
	b, err := os.ReadFile("../../testdata/stack/overhang_limits.json")
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(b, &limits); err != nil {
		t.Fatal(err)
	}
	for _, l := range limits.Limits {
		d := l.Over + 1
		if l.UpTo != nil {
			d = *l.UpTo
		}
		rec, most, _, ok := OverhangLimit(l.Construction, d)
		if !ok || rec != l.Recommended || most != l.Max {
			t.Errorf("%s at %v mm: %v %v, the file says %v %v", l.Construction, d, rec, most, l.Recommended, l.Max)
		}
	}
}

// TestEstimates checks a stack's estimates against the formulas by hand, and that what is not
// recorded stays not known.
func TestEstimates(t *testing.T) {
	cases, _ := reference(t)
	c := cases[4] // SC-05: a 25 mm steel bar, 87.5 mm out
	c.Request.Cutting = Cutting{Group: 2, VC: Some(150), F: Some(0.2), AP: Some(2), Eta: Some(0.8)}
	v, err := c.Check()
	if err != nil {
		t.Fatal(err)
	}
	m := v.Stacks[0].Mech
	near := func(name string, got Opt, want, tol float64) {
		t.Helper()
		if !got.Known || math.Abs(got.V-want) > tol {
			t.Errorf("%s = %v, want %v", name, got, want)
		}
	}
	near("force", m.ForceN, 855, 1) // checks.json, tangential force of group 2
	near("radial", m.RadialN, 256.5, 0.5)
	// hypot(855, 256.5) = 892.6 N; 892.6 * 87.5^3 / (3 * 207000 * pi 25^4/64) = 0.0502 mm
	near("deflection", m.DeflectionMM, 0.0502, 0.0002)
	near("rpm", m.RPM, 1256.5, 0.1)    // 150 m/min at 38 mm
	near("ft/min", m.SFM, 492.13, .01) // 150 / 0.3048
	near("power", m.PowerKW, 2*0.2*150*2137/(60000*0.8), 0.01)
	near("frequency", m.FrequencyHz, 1403.1*(25.0/32)*math.Pow(128/87.5, 2), 3) // scaled from checks.json
	c = cases[0]                                                                // SC-01: a damped bar, no bore recorded
	v, _ = c.Check()
	m = v.Stacks[0].Mech
	if m.FrequencyHz.Known || m.DeflectionMM.Known || m.PerKilonewt.Known || m.RPM.Known || m.PowerKW.Known {
		t.Errorf("figures out of nothing: %+v", m)
	}
	if len(m.Notes) == 0 {
		t.Error("no word on why nothing is known")
	}
}
