package ingest

import (
	"errors"
	"fmt"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"brakewear/internal/fleet"
)

const longHeader = "vehicle,date,odometer_km,axle,part,side,face,value_mm,gauge,technician,note\n"

// TestProblems has one good row before and one after each bad one: both must
// come through.
func TestProblems(t *testing.T) {
	const (
		odoHeader  = "vehicle,date,odometer_km\n"
		vehHeader  = "vehicle,fleet,depot,plate,category,make,model,year,duty\n"
		axleHeader = "vehicle,axle,brake,pad_new_mm,pad_limit_mm,rotor_new_mm,rotor_limit_mm,lining_new_mm,lining_limit_mm,drum_new_mm,drum_limit_mm\n"
		good       = "Bus 1,2026-02-01,155000,1,pad,left,inner,7.4,,,\n"
		goodOdo    = "Bus 1,2026-02-01,155000\n"
		goodVeh    = "Bus 1,,,,M3,,,2019,\n"
		goodAxle   = "Bus 1,1,disc,19,4,,,,,,\n"
	)
	read := func(cells string) string { return longHeader + good + cells + "\n" + good }
	odo := func(cells string) string { return odoHeader + goodOdo + cells + "\n" + goodOdo }
	swap := func(cells string) string {
		return "vehicle,date,odometer_km,previous_km\nBus 1,2026-02-01,0,155000\n" + cells + "\nBus 1,2026-02-02,90,\n"
	}
	veh := func(cells string) string { return vehHeader + goodVeh + cells + "\n" + goodVeh }
	axle := func(cells string) string { return axleHeader + goodAxle + cells + "\n" + goodAxle }
	const isoHelp = "write year-month-day, such as 2026-03-01"

	for _, c := range []struct {
		name, text string
		opt        Options
		want       []string
		rows       int // 0 = 2
		refused    int // 0 = 1
	}{
		// Dates.
		{name: "blank date", text: read("Bus 1,,,1,pad,left,inner,7,,,"), want: []string{`3 refused date "": blank: write the day, such as 2026-03-01`}},
		{name: "no such day", text: odo("Bus 1,2026-02-30,1"), want: []string{`3 refused date "2026-02-30": there is no day 30 of month 02 in 2026: correct it`}},
		{name: "future", text: odo("Bus 1,2026-03-02,1"), want: []string{`3 refused date "2026-03-02": 2026-03-02 is in the future: correct it`}},
		{name: "too long ago", text: odo("Bus 1,1926-02-01,1"), want: []string{`3 refused date "1926-02-01": 1926-02-01 is before 1950-01-01: correct it`}},
		{name: "undeclared order", text: odo("Bus 1,02/01/2026,1"), want: []string{`3 refused date "02/01/2026": the file does not say whether the day or the month comes first: write year-month-day, or say the order for the whole file, where it is handed in or as in a header "date (dd/mm/yyyy)"`}},
		{name: "order declared, day 31 of month 13", text: odo("Bus 1,01/13/2026,1"), opt: Options{DateOrder: "dmy"}, want: []string{`3 refused date "01/13/2026": there is no day 01 of month 13 in 2026: correct it`}},
		{name: "words", text: odo("Bus 1,last week,1"), want: []string{`3 refused date "last week": not a date: ` + isoHelp}},
		{name: "a spreadsheet's day number in text", text: odo("Bus 1,46054,1"), want: []string{`3 refused date "46054": not a date: ` + isoHelp}},
		{name: "no time of day", text: odo("Bus 1,2026-02-01 25:00,1"), want: []string{`3 refused date "2026-02-01 25:00": not a date: ` + isoHelp}},

		// Odometers.
		{name: "blank odometer", text: odo("Bus 1,2026-02-01,"), want: []string{`3 refused odometer_km "": blank: write the odometer, or leave the row out`}},
		{name: "odometer in words", text: odo("Bus 1,2026-02-01,broken"), want: []string{`3 refused odometer_km "broken": not a number: write the odometer in digits, such as 155000`}},
		{name: "a unit of its own", text: odo("Bus 1,2026-02-01,155000 km"), rows: 3, refused: -1},
		{name: "another unit than the column's", text: odo("Bus 1,2026-02-01,96000 mi\nBus 1,2026-02-02,96100 mi"), rows: 4, refused: -1,
			want: []string{`3 note odometer_km "96000 mi": the column is in km and this cell says mi: read in mi, as all cells that say so`}},
		{name: "no unit of distance", text: odo("Bus 1,2026-02-01,155000 kg"), want: []string{`3 refused odometer_km "155000 kg": not a number: write the odometer in digits, such as 155000`}},
		{name: "a unit does not say what the comma is", text: odo(`Bus 1,2026-02-01,"155,000 km"`), want: []string{`3 refused odometer_km "155,000 km": may be thousands or decimals: write it without a sign between thousands, such as 155000`}},
		{name: "thousands or decimals", text: odo(`Bus 1,2026-02-01,"155,000"`), want: []string{`3 refused odometer_km "155,000": may be thousands or decimals: write it without a sign between thousands, such as 155000`}},
		{name: "digits lost", text: odo("Bus 1,2026-02-01,1.55E+05"), want: []string{`3 refused odometer_km "1.55E+05": digits are lost: show the cell as a plain number before saving`}},
		{name: "negative odometer", text: odo("Bus 1,2026-02-01,-5"), want: []string{`3 refused odometer_km "-5": no odometer shows that: want 0 to 10000000 km`}},
		{name: "too far, in miles", text: "vehicle,date,odometer mi\nBus 1,2026-02-01,7000000\n", rows: -1, want: []string{`2 refused odometer mi "7000000": no odometer shows that: want 0 to 6213711 mi`}},
		{name: "an old cluster in words", text: swap("Bus 1,2026-02-01,0,unknown"), want: []string{`3 refused previous_km "unknown": not a number: write the odometer in digits, such as 155000`}},
		{name: "an old cluster below nothing", text: swap("Bus 1,2026-02-01,0,-1"), want: []string{`3 refused previous_km "-1": no odometer shows that: want 0 to 10000000 km`}},
		{name: "an old cluster and no new one", text: swap("Bus 1,2026-02-01,,155000"), want: []string{`3 refused odometer_km "": blank: write the odometer, or leave the row out`}},
		{name: "groups of two", text: odo("Bus 1,2026-02-01,15 50 00"), want: []string{`3 refused odometer_km "15 50 00": not a number: write the odometer in digits, such as 155000`}},

		// Values.
		{name: "blank value", text: read("Bus 1,2026-02-01,,1,pad,left,inner,,,,"), want: []string{`3 refused value_mm "": no value: write the thickness, or leave the row out`}},
		{name: "not measured", text: read("Bus 1,2026-02-01,,1,pad,left,inner,N/M,,,"), want: []string{`3 refused value_mm "N/M": no value: write the thickness, or leave the row out`}},
		{name: "value in words", text: read("Bus 1,2026-02-01,,1,pad,left,inner,ok,,,"), want: []string{`3 refused value_mm "ok": not a number: write mm in digits, such as 7.4`}},
		{name: "a spreadsheet's error", text: read("Bus 1,2026-02-01,,1,pad,left,inner,#VALUE!,,,"), want: []string{`3 refused value_mm "#VALUE!": a spreadsheet's error, not a number: mend the cell, or leave it out`}},
		{name: "negative value", text: read("Bus 1,2026-02-01,,1,pad,left,inner,-7,,,"), want: []string{`3 refused value_mm "-7": no brake part measures that: correct the value, or the unit in the header`}},
		{name: "a metre of lining", text: read("Bus 1,2026-02-01,,1,pad,left,inner,1001,,,"), want: []string{`3 refused value_mm "1001": no brake part measures that: correct the value, or the unit in the header`}},
		{name: "a fraction of what", text: read("Bus 1,2026-02-01,,1,pad,left,inner,9/32,,,"), want: []string{`3 refused value_mm "9/32": a fraction, but the unit is mm: write the unit behind it, such as 9/32 in`}},
		{name: "a fraction of nothing", text: read("Bus 1,2026-02-01,,1,pad,left,inner,9/0 in,,,"), want: []string{`3 refused value_mm "9/0 in": not a number: write mm in digits, such as 7.4`}},
		{name: "not a number, by name", text: read("Bus 1,2026-02-01,,1,pad,left,inner,NaN,,,"), want: []string{`3 refused value_mm "NaN": not a number: write mm in digits, such as 7.4`}},
		{name: "hexadecimal", text: read("Bus 1,2026-02-01,,1,pad,left,inner,0x7p0,,,"), want: []string{`3 refused value_mm "0x7p0": not a number: write mm in digits, such as 7.4`}},
		{name: "a formula", text: read("Bus 1,2026-02-01,,1,pad,left,inner,=1+6,,,"), want: []string{`3 refused value_mm "=1+6": not a number: write mm in digits, such as 7.4`}},
		{name: "new parts of no thickness", text: "vehicle,date,axle,part,value_mm\nBus 1,2026-02-01,1,pad,0\n", opt: Options{Kind: Fitments}, rows: -1, want: []string{`2 refused value_mm "0": not the thickness of a part just fitted: write it, or leave the cell blank for a new part`}},

		// Positions.
		{name: "blank axle", text: read("Bus 1,2026-02-01,,,pad,left,inner,7,,,"), want: []string{`3 refused axle "": blank: write the axle's number, 1 is the front`}},
		{name: "axle 13", text: read("Bus 1,2026-02-01,,13,pad,left,inner,7,,,"), want: []string{`3 refused axle "13": no axle: write its number, 1 (front) to 12`}},
		{name: "front of what", text: read("Bus 1,2026-02-01,,front,pad,left,inner,7,,,"), want: []string{`3 refused axle "front": clear only for a vehicle that is known to have two axles: write the axle's number, 1 is the front`}},
		{name: "blank part", text: read("Bus 1,2026-02-01,,1,,left,,7,,,"), want: []string{`3 refused part "": blank: write pad, rotor, lining or drum`}},
		{name: "unknown part", text: read("Bus 1,2026-02-01,,1,calliper,left,,7,,,"), want: []string{`3 refused part "calliper": no part: want pad, rotor, lining or drum`}},
		{name: "side by the road", text: read("Bus 1,2026-02-01,,1,pad,N/S,,7,,,"), want: []string{`3 refused side "N/S": which side that is depends on the country: write left or right, seen in the direction of travel`}},
		{name: "unknown side", text: read("Bus 1,2026-02-01,,1,pad,top,,7,,,"), want: []string{`3 refused side "top": no side: want left, right, or blank for the thinner of both`}},
		{name: "unknown face", text: read("Bus 1,2026-02-01,,1,pad,left,back,7,,,"), want: []string{`3 refused face "back": no face: want inner, outer, or blank for the thinner of both`}},
		{name: "face of a drum", text: read("Bus 1,2026-02-01,,1,drum,left,inner,300,,,"), want: []string{`3 refused face "inner": only a pad has faces: clear the face of a drum`}},
		{name: "row and header disagree", text: "vehicle,date,axle,part,left mm,right mm\nBus 1,2026-02-01,1,pad,7,6\nBus 1,2026-02-01,1,,7,6\n",
			want: []string{`3 refused part "": blank: write pad, rotor, lining or drum`, `3 refused part "": blank: write pad, rotor, lining or drum`}, refused: 2},
		{name: "row and column name other sides", text: "vehicle,date,axle,side,part,left mm,right mm\nBus 1,2026-02-01,1,left,pad,7,\nBus 1,2026-02-01,1,left,pad,7,6\n",
			want: []string{`3 refused right mm "": the row names another side than the header of this column: clear one of them`}},
		{name: "row and column name other axles", text: "vehicle,date,axle,axle 1 pad mm,axle 2 pad mm\nBus 1,2026-02-01,,7,6\nBus 1,2026-02-01,1,7,6\n",
			want: []string{`3 refused axle 2 pad mm "": the row names another axle than the header of this column: clear one of them`}, rows: 3},
		{name: "one bad cell of a wide row", text: "vehicle,date,axle,left pad mm,right pad mm\nBus 1,2026-02-01,1,7,x\nBus 1,2026-02-01,1,,\nBus 1,2026-02-01,2,6,\n",
			want: []string{`2 refused right pad mm "x": not a number: write mm in digits, such as 7.4`, `3 refused value_mm "": no value in any column: nothing measured, leave the row out`}, refused: 2},

		// Names.
		{name: "blank vehicle", text: odo(" ,2026-02-01,1"), want: []string{`3 refused vehicle "": blank: write the vehicle's number`}},
		{name: "rounded vehicle number", text: odo("1.23457E+15,2026-02-01,1"), want: []string{`3 refused vehicle "1.23457E+15": a spreadsheet has made a rounded number of this: format the column as text and type it anew`}},
		{name: "NUL", text: odo("Bus\x001,2026-02-01,1"), want: []string{`3 refused vehicle "Bus\x001": has a character that is no text: type it anew`}},
		{name: "a long name", text: odo(strings.Repeat("ä", 101) + ",2026-02-01,1"), want: []string{`3 refused vehicle "` + strings.Repeat("ä", 80) + `…": longer than 100 characters: shorten it`}},
		{name: "several at once", text: read("Bus 1,soon,far,0,pads,middle,inner,7,,,"), want: []string{
			`3 refused date "soon": not a date: ` + isoHelp,
			`3 refused odometer_km "far": not a number: write the odometer in digits, such as 155000`,
			`3 refused axle "0": no axle: write its number, 1 (front) to 12`,
			`3 refused side "middle": no side: want left, right, or blank for the thinner of both`,
		}},

		// Vehicles and axles.
		{name: "category", text: veh("Bus 2,,,,M4,,,,"), want: []string{`3 refused category "M4": no such category: want one of M1 M2 M3 N1 N2 N3 O1 O2 O3 O4, or blank`}},
		{name: "year", text: veh("Bus 2,,,,,,,19,"), want: []string{`3 refused year "19": no year of manufacture: want four digits such as 2021, or blank`}},
		{name: "brake", text: axle("Bus 1,2,air,,,,,,,,"), want: []string{`3 refused brake "air": no kind of brake: want disc or drum`}},
		{name: "no brake", text: axle("Bus 1,2,,,,,,,,,"), want: []string{`3 refused brake "": blank, and no part tells it: write disc or drum`}},
		{name: "a new value in words", text: axle("Bus 1,2,disc,thick,4,,,,,,"), want: []string{`3 refused pad_new_mm "thick": not a number: write millimetres such as 19.5`}},
		{name: "less than a limit", text: axle("Bus 1,2,disc,19,<4,,,,,,"), want: []string{`3 refused pad_limit_mm "<4": not a number: write millimetres such as 19.5`}},
		{name: "limit without new", text: axle("Bus 1,2,disc,,4,,,,,,"), want: []string{`3 refused pad_new_mm "": blank, but the pad's limit is given: write its new value too`}},
		{name: "new without limit", text: axle("Bus 1,2,disc,19,,,,,,,"), want: []string{`3 refused pad_limit_mm "": blank, but the pad's new value is given: write its limit too`}},
		{name: "limit above new", text: axle("Bus 1,2,disc,4,19,,,,,,"), want: []string{`3 refused pad_limit_mm "19": pad: the limit 19 mm must be below the new thickness 4 mm: correct one of the two`}},
		{name: "a drum that shrinks", text: axle("Bus 1,2,drum,,,,,,,300,298"), want: []string{`3 refused drum_limit_mm "298": drum: the limit 298 mm must be above the new diameter 300 mm: correct one of the two`}},
		{name: "linings of a disc brake", text: axle("Bus 1,2,disc,,,,,19,6,,"), want: []string{`3 refused lining_new_mm "19": a disc brake has no lining: correct the brake or clear the cell`}},
		{name: "pads and linings", text: axle("Bus 1,2,,19,4,,,19,6,,"), want: []string{`3 refused lining_new_mm "19": a disc brake has no lining: correct the brake or clear the cell`}},

		// Lines.
		{name: "short line", text: odo("Bus 1,2026-02-01"), want: []string{`3 refused  "Bus 1 | 2026-02-01": the line has 2 cells and the header 3: is it cut off?`}},
		{name: "decimal comma between commas", text: read("Bus 1,2026-02-01,,1,pad,left,inner,7,4,,,"), want: []string{`3 refused  "Bus 1 | 2026-02-01 |  | 1 | pad | left | inner | 7 | 4 |  |  | ": the line has 12 cells and the header 11: put quotes round text that has a comma, and write decimals with a point`}},
		{name: "long line between semicolons", text: "vehicle;date;odometer_km\nBus 1;2026-02-01;1;;\nBus 1;2026-02-01;1;x\n", rows: 1, want: []string{`3 refused  "Bus 1 | 2026-02-01 | 1 | x": the line has 4 cells and the header 3: put quotes round text that has the sign between cells`}},
		{name: "a quote never closed", text: read(`Bus 1,2026-02-01,,1,pad,left,inner,7,"calliper,,`), want: []string{`3 refused  "Bus 1,2026-02-01,,1,pad,left,inner,7,\"calliper,,": a quote is opened and never closed: close it, or double a quote that belongs to the text`}},
		{name: "a quote closed by the next line's", text: longHeader + good + "Bus 1,2026-02-01,,1,pad,left,inner,7,,\",\n" + strings.Replace(good, "left", `"left"`, 1),
			want: []string{`3 refused  "Bus 1,2026-02-01,,1,pad,left,inner,7,,\",": a quote is opened and never closed: close it, or double a quote that belongs to the text`}},
		{name: "text behind a quote", text: odo(`"Bus" 1,2026-02-01,1`), want: []string{`3 refused  "\"Bus\" 1,2026-02-01,1": text stands behind a closing quote: double a quote that belongs to the text`}},
		{name: "a line without end", text: odo("Bus 1" + strings.Repeat(" ", 300_000) + ",2026-02-01,1"), want: []string{`3 refused  "Bus 1` + strings.Repeat(" ", 75) + `": the line is longer than 65536 characters: is a line break missing?`}},

		// JSON.
		{name: "an item that is no object", text: `[{"vehicle":"1","date":"2026-02-01","odometer_km":1}, [1,[2]], {"vehicle":"1","date":"2026-02-01","odometer_km":1}]`,
			want: []string{`2 refused  "[": not an object: write the names of the columns with their values`}},
		{name: "an object in a cell", text: `[{"vehicle":"1","date":"2026-02-01","odometer_km":1}, {"vehicle":{"id":[1]},"date":"2026-02-01","odometer_km":1}, {"vehicle":"1","date":"2026-02-01","odometer_km":1}]`,
			want: []string{`2 refused vehicle "": want text, a number or null, not an array or object`}},
		{name: "a name missing", text: `[{"vehicle":"1","date":"2026-02-01"},{"vehicle":"1","date":"2026-02-01","odometer_km":1.5e3},{"vehicle":"1","date":"2026-02-01","odometer_km":"1500"}]`, opt: Options{Kind: Odometer},
			want: []string{`1 refused odometer_km "": blank: write the odometer, or leave the row out`}},
		{name: "a name nobody knows", text: `[{"vehicle":"1","date":"2026-02-01","odometer_km":1},{"vehicle":"1","date":"2026-02-01","odometer_km":1,"colour":"blue"}]`, refused: -1,
			want: []string{`0 note  "": no such column in a file of odometer, not read: "colour"`}},
	} {
		t.Run(c.name, func(t *testing.T) {
			rows, r := mustRead(t, c.text, c.opt)
			var got []fleet.Problem
			for _, p := range r.Problems() {
				if !strings.HasPrefix(p.Message, "read as readings") {
					got = append(got, p)
				}
			}
			if d := cmp.Diff(c.want, showProblems(got)); d != "" {
				t.Errorf("problems (-want +got):\n%s", d)
			}
			if want := orDefault(c.rows, 2); len(rows) != want {
				t.Errorf("got rows %q, want %d of them", showAll(rows), want)
			}
			if want := orDefault(c.refused, 1); r.Refused() != want {
				t.Errorf("got %d refused, want %d", r.Refused(), want)
			}
		})
	}
}

// orDefault is n, or def when n is 0, or 0 when n is negative.
func orDefault(n, def int) int {
	switch {
	case n == 0:
		return def
	case n < 0:
		return 0
	}
	return n
}

// TestUnreadable is of files that cannot be read at all.
func TestUnreadable(t *testing.T) {
	odo := "vehicle,date,odometer_km\nBus 1,2026-02-01,1\nBus 1,2026-02-02,2\n"
	for _, c := range []struct {
		name, text string
		opt        Options
		want       string
	}{
		{name: "empty", want: "f: the file is empty: the first line must name the columns; a template shows them"},
		{name: "blank lines", text: "\n ,,\n\n", want: "f: the file is empty: the first line must name the columns; a template shows them"},
		{name: "another table", text: "soup,price\nleek,4\n", want: `f, line 1: these are not the columns of a file of vehicles, axles, odometer, fitments, readings, brake_tests, parts, absences or planned_visits: "soup", "price"; the first line must name them, as in the template`},
		{name: "another table, kind declared", text: "soup,price\nleek,4\n", opt: Options{Kind: Axles}, want: `f, line 1: these are not the columns of a file of axles: "soup", "price"; the first line must name them, as in the template`},
		{name: "a column short", text: "Bus sheet\nvehicle;date;axle;part\n", want: "f, line 2: a file of readings needs a column value_mm: name the columns as in the template"},
		{name: "two short", text: "vehicle;odometer_km;part;side\n", want: "f, line 1: a file of readings needs the columns date, axle and value_mm: name the columns as in the template"},
		{name: "brake tests without their method", text: "vehicle,date,odometer_km,mean_m_s2,peak_m_s2,how\n", want: "f, line 1: a file of brake_tests needs a column method: name the columns as in the template"},
		{name: "forces without their method", text: "vehicle,date,odometer_km,axle,side,force_n,how\n", want: "f, line 1: a file of brake_tests needs a column method: name the columns as in the template"},
		{name: "readings whose axle and value have other names", text: "vehicle,date,odometer_km,part,side,face,wheel pos,belag\n", want: "f, line 1: a file of readings needs the columns axle and value_mm: name the columns as in the template"},
		{name: "specifications without their axle", text: "vehicle,date,odometer_km,pad_new_mm,pad_limit_mm,rotor_new_mm,rotor_limit_mm,pos\n", want: "f, line 1: a file of axles needs a column axle: name the columns as in the template"},
		{name: "wrong kind declared", text: odo, opt: Options{Kind: Fitments}, want: "f, line 1: a file of fitments needs the columns axle and value_mm: name the columns as in the template"},
		{name: "unknown kind", text: odo, opt: Options{Kind: "menus"}, want: `kind "menus": want vehicles, axles, odometer, fitments, readings, brake_tests, parts, absences or planned_visits`},
		{name: "unknown order", text: odo, opt: Options{DateOrder: "ydm"}, want: `date order "ydm": want dmy, mdy or ymd, or none for ISO dates`},
		{name: "a column twice", text: "vehicle,date,day,odometer_km\n", want: `f, line 1: columns "date" and "day" mean the same: keep one`},
		{name: "a position twice", text: "vehicle,date,axle,left pad mm,pad left mm\n", want: `f, line 1: columns "left pad mm" and "pad left mm" are the same position: keep one`},
		{name: "mileage in what", text: "vehicle,date,mileage\n", want: `f, line 1: column "mileage": say km or mi in its header, such as "mileage (mi)"`},
		{name: "sides by the road", text: "vehicle,date,axle,nearside pad mm,offside pad mm\n", want: `f, line 1: column "nearside pad mm": which side that is depends on the country; write left or right, seen in the direction of travel`},
		{name: "too many rows", text: odo, opt: Options{MaxRows: 1}, want: "f: more than 1 rows: split the file"},
		{name: "too many bytes", text: odo, opt: Options{MaxBytes: 60}, want: "f: larger than 60 bytes: split the file"},
		{name: "old spreadsheet", text: "\xd0\xcf\x11\xe0\xa1\xb1", want: "f: this is a spreadsheet of the old kind or one with a password: save it as .xlsx without a password, or as CSV"},
		{name: "PDF", text: "%PDF-1.7", want: "f: this is a PDF: hand in the spreadsheet it was made from, or enter the readings by hand"},
		{name: "web page", text: "\n<html><table>", want: "f: this is a web page or XML, whatever its name says: open it in a spreadsheet program and save it as .xlsx or CSV"},
		{name: "picture", text: "\x89PNG\r\n", want: "f: this is a picture: enter the readings by hand"},
		{name: "packed", text: "\x1f\x8b\x08", want: "f: this is a packed file: unpack it first"},
		{name: "bytes", text: strings.Repeat("\x00\x01\x02", 50), want: "f: this is not text: save it as .xlsx or as CSV in UTF-8"},
		{name: "an object", text: `{"vehicle":1}`, want: `f: want an array of objects, such as [{"vehicle": "Bus 114", …}]`},
		{name: "no items", text: `[]`, want: "f: the array is empty"},
		{name: "items of another thing", text: `[{"soup":"leek"}]`, want: `f, line 1: these are not the columns of a file of vehicles, axles, odometer, fitments, readings, brake_tests, parts, absences or planned_visits: "soup"; the first line must name them, as in the template`},
		{name: "broken off", text: `[{"vehicle":1,"date":"2026-02-01","odometer_km":1},{"veh`, want: "f: not JSON near byte 52, item 2: the text ends before the array does"},
		{name: "not JSON", text: `[{"vehicle":1,"date":"2026-02-01","odometer_km":1},{vehicle:1}]`, want: "f: not JSON near byte 52, item 2: invalid character 'v'"},
		{name: "a long text", text: `[{"vehicle":"` + strings.Repeat(`a\"`, maxText/2) + `"}]`, want: "f: it has a text or number of more than 1048576 bytes: is a quote missing?"},
		{name: "a long number", text: `[{"vehicle":` + strings.Repeat("1", maxText+1) + `}]`, want: "f: it has a text or number of more than 1048576 bytes: is a quote missing?"},
		{name: "text behind", text: `[{"vehicle":1,"date":"2026-02-01","odometer_km":1}] x`, want: "f: text follows the array: send one array"},
	} {
		t.Run(c.name, func(t *testing.T) {
			opt := c.opt
			opt.Today = today
			r, err := NewReader(strings.NewReader(c.text), "f", opt)
			if err == nil {
				_, err = readAll(r)
			}
			if !errors.Is(err, fleet.ErrInvalid) {
				t.Fatalf("got error %v, want an ErrInvalid", err)
			}
			if got := err.Error(); got != c.want {
				t.Errorf("got  %s\nwant %s", got, c.want)
			}
		})
	}
}

// failing gives an error after its text.
type failing struct{ r *strings.Reader }

var errCable = errors.New("cable pulled")

func (f failing) Read(p []byte) (int, error) {
	if f.r.Len() == 0 {
		return 0, errCable
	}
	return f.r.Read(p)
}

// TestBrokenSource wants an error that is not the file's fault to stay what it
// is, and no half file to pass for a whole one.
func TestBrokenSource(t *testing.T) {
	for _, text := range []string{
		"",
		"vehicle,date,odometer_km\nBus 1,2026-02-01,1\n",
		"vehicle,date,odometer_km\n" + strings.Repeat("Bus 1,2026-02-01,1\n", 50_000),
		`[{"vehicle":1,"date":"2026-02-01","odometer_km":1}`,
		"PK\x03\x04",
	} {
		r, err := NewReader(failing{strings.NewReader(text)}, "f", Options{})
		if err == nil {
			_, err = readAll(r)
		}
		if !errors.Is(err, errCable) || errors.Is(err, fleet.ErrInvalid) {
			t.Errorf("%.30q: got error %v, want the source's own", text, err)
		}
	}
}

func TestProblemsAreBounded(t *testing.T) {
	const bad = MaxProblems + 7
	_, r := mustRead(t, "vehicle,date,odometer_km\n"+strings.Repeat("Bus 1,never,1\n", bad), Options{})
	ps := r.Problems()
	if len(ps) != MaxProblems+1 || r.Refused() != bad {
		t.Fatalf("got %d problems and %d refused, want %d and %d", len(ps), r.Refused(), MaxProblems+1, bad)
	}
	if got, want := ps[MaxProblems].Message, "7 more problems are not listed: mend these first"; got != want {
		t.Errorf("got %q, want %q", got, want)
	}
}

// TestSHA256 compares with sha256sum (GNU coreutils) of the same bytes.
func TestSHA256(t *testing.T) {
	_, r := mustRead(t, "vehicle,date,odometer_km\nBus 1,2026-02-01,1\n", Options{})
	if got, want := r.SHA256(), "41bbd8be87286741e46ea4db65047c532bfdad861b82443e35d8d0b5e1ee88d5"; got != want {
		t.Errorf("got %s, want %s", got, want)
	}
}

func TestCSVCell(t *testing.T) {
	for _, c := range []struct{ in, want string }{
		{"", ""}, {"Bus 1", "Bus 1"}, {"7.4", "7.4"}, {"a=b", "a=b"},
		// The signs by which spreadsheets know a formula: OWASP, CSV Injection.
		{"=1+1", "'=1+1"}, {"+1", "'+1"}, {"-1", "'-1"}, {"@x", "'@x"}, {"\tx", "'\tx"}, {"\rx", "'\rx"},
	} {
		if got := CSVCell(c.in); got != c.want {
			t.Errorf("CSVCell(%q): got %q, want %q", c.in, got, c.want)
		}
	}
}

func ExampleReader() {
	r, err := NewReader(strings.NewReader("vehicle,date,odometer_km\nBus 1,2026-02-01,155000\nBus 1,soon,155100\n"), "odometer.csv", Options{})
	if err != nil {
		fmt.Println(err)
		return
	}
	rows, err := readAll(r)
	fmt.Println(len(rows), rows[0].Vehicle, rows[0].Odometer.Km, err)
	for _, p := range r.Problems() {
		fmt.Println(p.Line, p.Column, p.Read, p.Message)
	}
	// Output:
	// 1 Bus 1 155000 <nil>
	// 3 date soon not a date: write year-month-day, such as 2026-03-01
}
