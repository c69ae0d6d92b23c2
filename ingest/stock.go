package ingest

import (
	"strconv"
	"strings"

	"brakewear/internal/fleet"
)

// PartRow is a line of a parts file: a part, at most one thing that it fits,
// and at most one depot's stock.
type PartRow struct {
	Part  fleet.StockPart
	Depot string
	Stock *int
	Fit   *fleet.Fit // its vehicle by number
	// What the line says; the rest stays as it is known.
	HasPrice, HasLead, HasPerAxle bool
}

// partColumns are the columns of a parts file.
var partColumns = []Column{
	{
		Name: "part_number", Required: true, field: fPartNumber, Example: "VE-ST12-P1",
		Help:     "Number of the part as the supplier writes it; unique within its fleet, whatever its case.",
		Synonyms: []string{"part no", "part nr", "article", "article number", "article no", "item number", "sku", "stock number"},
	},
	{
		Name: "fleet", field: fFleet, Example: "Ferry Lines",
		Help:     "Name of the fleet whose part it is. Needed where there are several.",
		Synonyms: colFleet.Synonyms,
	},
	{
		Name: "name", field: fPartName, Example: "Pad set, front",
		Help:     "What people call it.",
		Synonyms: []string{"part name", "description", "designation"},
	},
	{
		Name: "item", field: fItem, Example: "pads",
		Help:     "pads, rotors, linings, drums, sensor, hoses, calipers or fluid. Needed for a part that is new.",
		Synonyms: []string{"part", "kind", "kind of part", "type", "part type"},
	},
	{
		Name: "make", field: fMake, Example: "Velquary",
		Help:     "Maker of the vehicles it fits; blank for any. A line for each make and model that it fits.",
		Synonyms: []string{"maker", "manufacturer", "brand", "fits make", "vehicle make"},
	},
	{
		Name: "model", field: fModel, Example: "Strand 12",
		Help:     "Model of the vehicles it fits; blank for any.",
		Synonyms: []string{"vehicle model", "fits model"},
	},
	{
		Name: "vehicle", field: fVehicle, Example: "",
		Help:     "Number of the one vehicle it fits, where that is no matter of make and model.",
		Synonyms: colVehicle.Synonyms,
	},
	{
		Name: "axle", field: fAxle, Example: "1",
		Help:     "Axle it fits, 1 is the front; blank for all.",
		Synonyms: colAxle.Synonyms,
	},
	{
		Name: "per_axle", field: fPerAxle, Example: "1",
		Help:     "How many an axle takes (of fluid: a vehicle); 1 unless given.",
		Synonyms: []string{"quantity per axle", "per axle quantity", "pieces per axle"},
	},
	{
		Name: "price", field: fPrice, Example: "236.00",
		Help:     "Price of one, in the workshop's currency.",
		Synonyms: []string{"unit price", "cost", "price each"},
	},
	{
		Name: "lead_days", field: fLead, Example: "5",
		Help:     "Days from order to shelf.",
		Synonyms: []string{"lead time", "lead time days", "delivery days", "days to deliver"},
	},
	{
		Name: "depot", field: fDepot, Example: "Harbour",
		Help:     "Depot whose stock the line gives. A line for each depot.",
		Synonyms: []string{"depot name", "workshop", "garage", "site", "location", "warehouse", "store"},
	},
	{
		Name: "stock", field: fStock, Example: "4",
		Help:     "How many lie there now.",
		Synonyms: []string{"on hand", "in stock", "quantity", "qty", "stock level", "on the shelf"},
	},
}

// itemWords are the words for an item beside its own.
var itemWords = map[string]fleet.Item{
	"pad": fleet.ItemPads, "pad set": fleet.ItemPads, "brake pads": fleet.ItemPads, "brake pad": fleet.ItemPads,
	"rotor": fleet.ItemRotors, "disc": fleet.ItemRotors, "discs": fleet.ItemRotors, "disk": fleet.ItemRotors, "brake disc": fleet.ItemRotors, "brake rotor": fleet.ItemRotors,
	"lining": fleet.ItemLinings, "lining set": fleet.ItemLinings, "shoe": fleet.ItemLinings, "shoes": fleet.ItemLinings, "brake shoes": fleet.ItemLinings, "brake linings": fleet.ItemLinings,
	"drum": fleet.ItemDrums, "brake drum": fleet.ItemDrums,
	"sensors": fleet.ItemSensor, "wear sensor": fleet.ItemSensor,
	"hose": fleet.ItemHoses, "brake hose": fleet.ItemHoses,
	"caliper": fleet.ItemCalipers, "calliper": fleet.ItemCalipers, "callipers": fleet.ItemCalipers,
	"brake fluid": fleet.ItemFluid,
}

// stockPart builds the row of a line of a parts file.
func (l *line) stockPart() {
	row := Row{Line: l.rec.line, Fleet: l.text(fFleet)}
	p := &PartRow{Part: fleet.StockPart{Number: l.text(fPartNumber), Name: l.text(fPartName), PerAxle: 1}, Depot: l.text(fDepot)}
	if p.Part.Number == "" {
		l.fault(fPartNumber, "", "blank: write the part's number")
	} else if lostDigits(p.Part.Number) {
		l.fault(fPartNumber, p.Part.Number, "a spreadsheet has made a rounded number of this: format the column as text and type it anew")
	}
	if s := l.cell(fItem); s != "" {
		low := strings.ToLower(s)
		if p.Part.Item = fleet.Item(low); !p.Part.Item.Valid() {
			p.Part.Item = itemWords[low]
		}
		if p.Part.Item == "" {
			l.fault(fItem, s, "no part of a brake: want pads, rotors, linings, drums, sensor, hoses, calipers or fluid")
		}
	}
	if n := l.whole(fPerAxle, 1, fleet.MaxPerAxle); n != nil {
		p.Part.PerAxle, p.HasPerAxle = *n, true
	}
	if n := l.whole(fLead, 0, fleet.MaxLeadDays); n != nil {
		p.Part.LeadDays, p.HasLead = *n, true
	}
	if s := l.cell(fPrice); s != "" {
		x, fault := parseNumber(s, true, l.form.exact)
		if fault == "" && x < 0 {
			fault = "below nothing"
		}
		if fault != "" {
			l.fault(fPrice, s, "%s", withHelp(fault, "write the amount alone, such as 236.00"))
		}
		p.Part.Price, p.HasPrice = &x, true
	}
	p.Stock = l.whole(fStock, 0, fleet.MaxStock)
	switch {
	case p.Stock != nil && p.Depot == "":
		l.fault(fDepot, "", "blank, but stock is given: name the depot where it lies")
	case p.Stock == nil && p.Depot != "":
		l.fault(fStock, "", "blank, but a depot is given: write how many lie there, 0 for none")
	}
	row.Vehicle = l.text(fVehicle)
	fit := fleet.Fit{Make: l.text(fMake), Model: l.text(fModel), Vehicle: row.Vehicle}
	if s := l.cell(fAxle); s != "" {
		n, fault := l.axle(l.column(fAxle), s, &row)
		if fault != "" {
			l.fault(fAxle, s, "%s", fault)
		}
		fit.Axle = n
	}
	if fit != (fleet.Fit{}) {
		p.Fit = &fit
	}
	if probe := p.Part; !l.bad {
		if probe.Item == "" {
			probe.Item = fleet.ItemPads
		}
		if err := probe.Validate(); err != nil {
			l.fault(fPartNumber, p.Part.Number, "%v", err)
		}
	}
	if !l.bad {
		row.Part = p
		l.queue = append(l.queue, row)
	}
}

// whole reads a whole number within bounds; nil when the cell is blank.
func (l *line) whole(f field, least, most int) *int {
	s := l.cell(f)
	if s == "" {
		return nil
	}
	n, err := strconv.Atoi(strings.TrimSuffix(s, ".0"))
	if err != nil || n < least || n > most {
		l.fault(f, s, "want a whole number from %d to %d", least, most)
		return nil
	}
	return &n
}
