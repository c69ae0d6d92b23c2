package ingest

import (
	"slices"

	"brakewear/internal/fleet"
)

// Column is one column of a kind of file. The table below is the only place
// where columns are described: headers are matched by it, and the templates
// and the documentation are written from it.
type Column struct {
	Name     string // header as the templates have it, such as "value_mm"
	Unit     string // such as "mm" or "km"; the header may name another
	Required bool   // the file must have it
	Help     string // what to write, a sentence
	Example  string
	Synonyms []string // other headers, without unit, in lower case

	field field
}

// field says where the cells of a column go.
type field int

const (
	fVehicle field = iota
	fFleet
	fDepot
	fPlate
	fCategory
	fMake
	fModel
	fYear
	fDuty
	fFirstUsed
	fActuation
	fGross
	fDate
	fOdometer
	fPrevious
	fAxle
	fBrake
	fPart
	fSide
	fFace
	fValue
	fGauge
	fTechnician
	fNote
	fMethod
	fSystem
	fStage
	fWeight
	fForce
	fLocked
	fPedal
	fMean
	fPeak
	fSpeed
	fStop
	fBegin
	fEnd
	fPartNumber
	fPartName
	fItem
	fPerAxle
	fPrice
	fLead
	fStock
	fFirst
	fLast
	fWeekdays
	fHours
	fReason
	fWhat
	fSpec // the first of new and limit of each part, in the order of fleet.Parts

	numFields = fSpec + 8
)

// specField returns the field of a part's new or limit value; part is an
// index into fleet.Parts.
func specField(part int, limit bool) field {
	f := fSpec + field(2*part)
	if limit {
		f++
	}
	return f
}

var (
	colVehicle = Column{
		Name: "vehicle", Required: true, field: fVehicle, Example: "Bus 114",
		Help:     "What the vehicle is called; unique within its fleet.",
		Synonyms: []string{"vehicle number", "vehicle no", "vehicle id", "vehicle name", "fleet number", "fleet no", "bus", "truck", "trailer", "asset", "asset number"},
	}
	colFleet = Column{
		Name: "fleet", field: fFleet, Example: "Ferry Lines",
		Help:     "Name of the fleet. Needed where two fleets have a vehicle of the same number, and for a new vehicle where there are several fleets.",
		Synonyms: []string{"fleet name", "operator", "owner"},
	}
	colDate = Column{
		Name: "date", Required: true, field: fDate, Example: "2026-03-01",
		Help:     "Day in ISO form, year-month-day, or a date cell of a spreadsheet. Another order is taken when the header declares it for the whole file, as in \"date (dd/mm/yyyy)\".",
		Synonyms: []string{"day"},
	}
	colOdometer = Column{
		Name: "odometer_km", Unit: "km", field: fOdometer, Example: "155000",
		Help:     "Odometer on that day. Blank when it was not read: it is then read off the vehicle's odometer readings.",
		Synonyms: []string{"odometer", "odometer reading", "odo", "mileage", "distance", "vehicle distance", "kilometrage"},
	}
	colAxle = Column{
		Name: "axle", Required: true, field: fAxle, Example: "1",
		Help:     "Axle counted from the front, 1 to 12. \"front\" and \"rear\" are taken for a vehicle that is known to have two axles.",
		Synonyms: []string{"axle number", "axle no", "axle position"},
	}
	colPart = Column{
		Name: "part", field: fPart, Example: "pad",
		Help:     "pad, rotor (disc), lining (shoe) or drum. May be blank where a face is given, since only a pad has faces; nothing else tells a pad from a rotor, or a lining from a drum.",
		Synonyms: []string{"brake part", "component", "item"},
	}
	colSide = Column{
		Name: "side", field: fSide, Example: "left",
		Help:     "left or right, seen in the direction of travel; blank for the thinner of both. Near side and off side are not taken: which is which depends on the country.",
		Synonyms: []string{"wheel side", "vehicle side"},
	}
	colFace = Column{
		Name: "face", field: fFace, Example: "inner",
		Help:     "inner or outer, of a pad; blank for the thinner of both and for every other part.",
		Synonyms: []string{"pad face", "pad position", "inner outer", "inboard outboard"},
	}
)

// columns is the table.
var columns = map[Kind][]Column{
	Vehicles: {
		colVehicle,
		colFleet,
		{
			Name: "depot", field: fDepot, Example: "Harbour",
			Help:     "Name of the depot where the vehicle is looked after. Blank leaves a known vehicle where it is.",
			Synonyms: []string{"depot name", "workshop", "garage", "site", "location"},
		},
		{
			Name: "plate", field: fPlate, Example: "KEA 114",
			Help:     "Registration plate.",
			Synonyms: []string{"registration", "registration plate", "registration number", "reg", "reg no", "licence plate", "license plate", "number plate"},
		},
		{
			Name: "category", field: fCategory, Example: "M3",
			Help:     "Category of UNECE R.E.3: M1 M2 M3 (people), N1 N2 N3 (goods), O1 O2 O3 O4 (trailers).",
			Synonyms: []string{"vehicle category", "ece category", "unece category"},
		},
		{
			Name: "make", field: fMake, Example: "",
			Help:     "Maker of the vehicle.",
			Synonyms: []string{"maker", "manufacturer", "brand"},
		},
		{
			Name: "model", field: fModel, Example: "",
			Help:     "Model of the vehicle.",
			Synonyms: []string{"vehicle model"},
		},
		{
			Name: "year", field: fYear, Example: "2021",
			Help:     "Year of manufacture.",
			Synonyms: []string{"year of manufacture", "model year", "built", "year built"},
		},
		{
			Name: "duty", field: fDuty, Example: "city",
			Help:     "Kind of work, such as city, regional or long haul; vehicles of a like duty are compared.",
			Synonyms: []string{"use", "usage", "work", "service", "operation"},
		},
		{
			Name: "first_used", field: fFirstUsed, Example: "2021-04-19",
			Help:     "Day of first use or registration, which decides what a brake test must reach. Blank: the year stands in.",
			Synonyms: []string{"first use", "first registration", "first registered", "date of first use", "date of first registration", "date first used", "registered on"},
		},
		{
			Name: "actuation", field: fActuation, Example: "air",
			Help:     "How the brakes are worked: air, hydraulic or electric. Rules with other limits for air brakes look at it.",
			Synonyms: []string{"brake actuation", "brakes worked by", "brake system"},
		},
		{
			Name: "gross_kg", Unit: "kg", field: fGross, Example: "19000",
			Help:     "Greatest mass the vehicle may have with its load; some rules go by it.",
			Synonyms: []string{"gross", "gross mass", "gross weight", "gross vehicle mass", "gross vehicle weight", "gvm", "gvw", "gvwr", "max mass", "maximum mass"},
		},
	},
	Axles: append([]Column{
		colVehicle,
		colFleet,
		colAxle,
		{
			Name: "brake", field: fBrake, Example: "disc",
			Help:     "disc or drum. May be blank where the row gives a part's values, which tell it.",
			Synonyms: []string{"brake type", "brake kind", "type of brake"},
		},
	}, specColumns()...),
	Odometer: {
		colVehicle,
		colFleet,
		colDate,
		required(colOdometer, "Odometer on that day."),
		{
			Name: "previous_km", Unit: "km", field: fPrevious, Example: "",
			Help:     "Only where the instrument cluster was changed on that day: what the old one showed last. odometer_km is then what the new one shows, and the distance goes on across the change.",
			Synonyms: []string{"previous", "previous odometer", "old odometer", "odometer before", "odometer of the old cluster", "old cluster"},
		},
	},
	Fitments: {
		colVehicle,
		colFleet,
		also(colDate, "date fitted", "fitted", "fitted on", "fitting date", "fitment date", "date replaced", "replaced on", "replacement date"),
		colOdometer,
		colAxle,
		colPart,
		colSide,
		colFace,
		{
			Name: "value_mm", Unit: "mm", Required: true, field: fValue, Example: "19.0",
			Help:     "Thickness when fitted, a drum's diameter; blank for the new value of the axle's specification. Several columns may name a position each, as in a readings file.",
			Synonyms: []string{"value", "thickness", "thickness fitted", "fitted thickness", "value fitted", "fitted value", "new thickness", "new value"},
		},
	},
	Readings: {
		colVehicle,
		colFleet,
		also(colDate, "date measured", "measured on", "inspection date", "date of inspection", "inspected", "inspected on", "reading date"),
		colOdometer,
		colAxle,
		colPart,
		colSide,
		colFace,
		{
			Name: "value_mm", Unit: "mm", Required: true, field: fValue, Example: "7.4",
			Help: "Thickness at the thinnest point, a drum's inside diameter. \"<3\" is a wear sensor's signal: at or below 3. " +
				"Instead of this column there may be one for each position, named by its words in any order, such as \"left inner pad mm\" beside a column axle, or \"axle 1 left inner pad mm\" without one; a blank cell was not measured.",
			Synonyms: []string{"value", "thickness", "reading", "measured", "measurement", "measured value", "measured thickness", "remaining", "remaining thickness"},
		},
		{
			Name: "gauge", field: fGauge, Example: "calliper 0.1 mm",
			Help:     "What it was measured with.",
			Synonyms: []string{"tool", "instrument", "gauge used", "measured with"},
		},
		{
			Name: "technician", field: fTechnician, Example: "",
			Help:     "Who measured.",
			Synonyms: []string{"measured by", "inspected by", "inspector", "mechanic", "by", "initials"},
		},
		{
			Name: "note", field: fNote, Example: "",
			Help:     "Anything else worth keeping.",
			Synonyms: []string{"notes", "remark", "remarks", "comment", "comments"},
		},
	},
	BrakeTests: brakeTestColumns,
	Parts:      partColumns,
	Absences:   absenceColumns,

	PlannedVisits: plannedVisitColumns,
}

// partWords are the names of each part, in the order of fleet.Parts. A rotor
// is a disc and a lining is a shoe's wherever one speaks of wear.
var partWords = [][]string{
	{"pad", "pads", "brake pad", "brake pads"},
	{"rotor", "rotors", "disc", "discs", "disk", "brake disc", "brake disk", "brake rotor"},
	{"lining", "linings", "shoe", "shoes", "brake lining", "brake shoe", "shoe lining"},
	{"drum", "drums", "brake drum"},
}

// specColumns returns the columns of new and limit values.
func specColumns() []Column {
	var cols []Column
	for i, p := range fleet.Parts {
		measure, example, bound := "thickness", [2]string{"", ""}, "Least thickness allowed"
		news := []string{"new", "new thickness", "thickness new", "nominal", "nominal thickness", "original"}
		limits := []string{"limit", "minimum", "min", "min thickness", "minimum thickness", "thickness limit", "wear limit", "discard", "discard thickness"}
		switch p {
		case fleet.Pad:
			example = [2]string{"19.0", "4.0"}
		case fleet.Drum:
			measure, bound = "inside diameter", "Greatest inside diameter allowed"
			news = []string{"new", "new diameter", "diameter new", "nominal", "nominal diameter", "original"}
			limits = []string{"limit", "maximum", "max", "max diameter", "maximum diameter", "diameter limit", "wear limit", "discard", "discard diameter"}
		}
		cols = append(cols, Column{
			Name: string(p) + "_new_mm", Unit: "mm", field: specField(i, false), Example: example[0],
			Help:     "New " + measure + " of the " + string(p) + "; given together with its limit.",
			Synonyms: pairs(partWords[i], news),
		}, Column{
			Name: string(p) + "_limit_mm", Unit: "mm", field: specField(i, true), Example: example[1],
			Help:     bound + " of the " + string(p) + ", by the maker or the rules, whichever comes first.",
			Synonyms: pairs(partWords[i], limits),
		})
	}
	return cols
}

// pairs returns every word of a before and after every word of b.
func pairs(a, b []string) []string {
	var out []string
	for _, x := range a {
		for _, y := range b {
			out = append(out, x+" "+y, y+" "+x)
		}
	}
	return out
}

func required(c Column, help string) Column {
	c.Required, c.Help = true, help
	return c
}

func also(c Column, synonyms ...string) Column {
	c.Synonyms = append(slices.Clone(c.Synonyms), synonyms...)
	return c
}

// Columns returns the columns of a kind in the order of its template.
func Columns(k Kind) []Column { return slices.Clone(columns[k]) }
