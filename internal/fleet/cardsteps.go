package fleet

// What steps rest on.
const (
	Practice = "common practice, no source"
	manuals  = "service manuals"
)

// DefaultSteps are the steps of a section until a workshop keeps its own. The
// order of work is common practice, no source; check values name theirs.
func DefaultSteps(s Section) []Step {
	switch s {
	case SectionStart:
		return startSteps()
	case SectionDisc:
		return discSteps()
	case SectionDrum:
		return drumSteps()
	case SectionHydraulics:
		return hydraulicSteps()
	case SectionFinish:
		return finishSteps()
	}
	return nil
}

func startSteps() []Step {
	return []Step{
		{Key: "test_before", Text: "Brake test before, where the vehicle can be driven: enter it with its pedal force", Source: Practice},
		{Key: "stands", Text: "Secured against rolling, lifted at the maker's points, standing on stands", Safety: true, Source: Practice},
		{Key: "nuts_off", Text: "Wheel nuts loosened crosswise, wheels off and marked by their side", Source: Practice},
		{Key: "level", Text: "Fluid level looked at: pistons pushed back must not make the reservoir run over", Source: Practice},
	}
}

func discSteps() []Step {
	return []Step{
		{Key: "sensor_off", Text: "Wear sensor unplugged, its cable freed", Items: []Item{ItemSensor, ItemPads}, Source: Practice},
		{Key: "caliper_off", Text: "Caliper and bracket off; caliper hung up, never by its hose", Source: Practice},
		{Key: "measured_off", Text: "What comes off measured at its thinnest point, every position (Parts off, below)", Source: manuals},
		{Key: "rotor_off", Text: "Rotor off", Items: []Item{ItemRotors}, Source: Practice},
		{Key: "hub_face", Text: "Hub face cleaned to bare metal, rotor seated; runout and thickness variation measured at 4 to 8 points", Source: manuals + ": WP-05.1, WP-04.2",
			Measures: []Measure{
				{Name: "runout left", Unit: "mm", High: bound(.05)}, {Name: "runout right", Unit: "mm", High: bound(.05)},
				{Name: "variation left", Unit: "mm", High: bound(.03)}, {Name: "variation right", Unit: "mm", High: bound(.03)},
			}},
		{Key: "hoses", Text: "Hose to the caliper first, then its clips, with new washers; no twist at full lock", Items: []Item{ItemHoses}, Safety: true, Source: Practice},
		{Key: "caliper_side", Text: "Caliper on its proper side, bleed nipple at the top", Items: []Item{ItemCalipers}, Safety: true, Source: Practice},
		{Key: "pins", Text: "Slide pins cleaned and greased; both move by hand, boots whole", Source: Practice},
		{Key: "pads", Text: "Pads on their proper side and face, friction faces clean and dry", Items: []Item{ItemPads}, Safety: true, Source: Practice},
		{Key: "sensor_on", Text: "Wear sensor fitted, plugged in, cable clear of wheel and rotor", Items: []Item{ItemSensor, ItemPads}, Source: Practice},
		{Key: "wiped", Text: "Spilled fluid wiped up and rinsed off at once", Items: []Item{ItemHoses, ItemCalipers}, Source: Practice},
		{Key: "torque_disc", Text: "Bolts tightened to the maker's torque", Safety: true, Source: "the maker's value, as the workshop keeps it",
			Measures: []Measure{{Name: "bracket bolts", Unit: "Nm", Makers: true}, {Name: "guide pins", Unit: "Nm", Makers: true}}},
	}
}

func drumSteps() []Step {
	return []Step{
		{Key: "drum_off", Text: "Adjuster backed off, drum off; dust taken up wet or by a filter, never blown", Safety: true, Source: Practice},
		{Key: "measured_off", Text: "What comes off measured at its thinnest point, every position (Parts off, below)", Source: manuals},
		{Key: "cylinder", Text: "Wheel cylinder dry under its boots, pistons free; springs and camshaft sound", Safety: true, Source: Practice},
		{Key: "drum", Text: "Drum's friction face free of cracks; largest diameter and roundness measured", Source: manuals,
			Measures: []Measure{{Name: "diameter left", Unit: "mm", Makers: true}, {Name: "diameter right", Unit: "mm", Makers: true}}},
		{Key: "linings", Text: "Linings or shoes on their proper side, faces clean and dry, anchor points greased sparingly", Items: []Item{ItemLinings}, Safety: true, Source: Practice},
		{Key: "wiped", Text: "Spilled fluid wiped up and rinsed off at once", Items: []Item{ItemHoses}, Source: Practice},
		{Key: "adjusted", Text: "Adjusted: wheels turn free and grip alike", Safety: true, Source: Practice},
	}
}

func hydraulicSteps() []Step {
	return []Step{
		{Key: "bled", Text: "Bled at every nipple in the maker's order: slow full strokes, hose end under fluid, until no bubble comes", Safety: true, Source: Practice,
			Measures: []Measure{{Name: "strokes per nipple", Low: bound(8), High: bound(10), Advice: true}}},
		{Key: "topped", Text: "Reservoir topped up after each side and never let run dry; new fluid of the right kind only", Safety: true, Source: Practice},
		{Key: "tight", Text: "No leak at any union under full pedal; nipples closed and capped", Safety: true, Source: Practice},
	}
}

func finishSteps() []Step {
	return []Step{
		{Key: "nuts_on", Text: "Wheels on their side; nuts tightened crosswise to the maker's torque", Safety: true, Source: "the maker's value, as the workshop keeps it",
			Measures: []Measure{{Name: "wheel nuts", Unit: "Nm", Makers: true}}},
		{Key: "pedal", Text: "Pedal pumped until it is high and firm, before the vehicle moves", Safety: true, Source: Practice},
		{Key: "bedded", Text: "Bedded in: gentle stops from 50 km/h to about 10 km/h, without standing still, with time to cool", Items: []Item{ItemPads, ItemRotors, ItemLinings, ItemDrums}, Source: Practice,
			Measures: []Measure{{Name: "stops", Low: bound(10), High: bound(12), Advice: true}, {Name: "from", Unit: "km/h", High: bound(50), Advice: true}}},
		{Key: TestStep, Text: "Brake test after, before the vehicle goes back on the road", Safety: true, Source: "the vehicle's rule set"},
		{Key: "final", Text: "Final check: no noise, no pull, no leak, no lamp; wheel nuts checked again; tools counted", Safety: true, Source: Practice},
	}
}

func bound(x float64) *float64 { return &x }
