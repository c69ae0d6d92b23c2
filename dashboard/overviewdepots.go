package dashboard

import (
	"slices"
	"strings"

	"brakewear/dashboard/chart"
	"brakewear/internal/pipeline"
	"brakewear/internal/units"
)

// OverviewDepots are the depots side by side.
type OverviewDepots struct {
	Picture *Picture
	Rows    []OverviewDepot
	More    int // depots that are not shown
	Files   Files
}

// OverviewDepot is the quarter of one depot.
type OverviewDepot struct {
	Name, Link, Fleet string // Fleet blank where all are of one
	Past              int
	Expected, Booked  string
	ToBook            int
	BookLink          string // the axles to book
	Hours, Free       string
	Taken             string // share of the free hours
	Short             bool   // more hours are to be booked than are free
}

// waitingWords say how many axles are expected to have reached their limit in
// four and in eight weeks and by the end, if nothing more is booked.
func waitingWords(tell units.Reader, o *pipeline.Overview) string {
	var words []string
	waiting := o.Waiting()
	last := len(waiting) - 1
	if last < 0 || waiting[last] < worthSaying {
		return ""
	}
	for _, i := range slices.Compact([]int{min(4, last), min(8, last), last}) {
		words = append(words, about(waiting[i])+" by "+dayNear(tell, o.Weeks[i].To, o.AsOf))
	}
	return "What waiting comes to: if nothing more is booked, so many axles are expected to have reached their limit: " + strings.Join(words, ", ") + "."
}

// depots sets the depots side by side; nil where there are not two.
func (x *overviewLinks) depots(o *pipeline.Overview) *OverviewDepots {
	if len(o.Depots) < 2 {
		return nil
	}
	v := OverviewDepots{Files: x.files("depots")}
	fleets := map[string]bool{}
	for i := range o.Depots {
		fleets[o.Depots[i].Fleet] = true
	}
	var names []string
	booked, open := chart.Layer{Name: "booked"}, chart.Layer{Name: "not booked"}
	for i := range o.Depots {
		d := &o.Depots[i]
		link := *x
		link.query.Depot = d.DepotID
		row := OverviewDepot{
			Name: d.Depot, Link: "/overview" + link.place().encode(),
			Past: d.Past, Expected: about(d.Expected), Booked: about(d.Booked), ToBook: d.ToBook,
			Hours: hoursAbout(d.HoursToBook), Free: hoursAbout(d.HoursFree),
			Taken: percent(d.Taken()), Short: d.HoursToBook > d.HoursFree,
		}
		name := d.Depot
		if len(fleets) > 1 {
			row.Fleet = d.Fleet
			name += ", " + d.Fleet
		}
		if d.ToBook > 0 {
			until := o.Weeks[len(o.Weeks)-1].To
			row.BookLink = link.unbooked(Narrow{Measured: "yes", DueTo: &until})
		}
		names = append(names, name)
		booked.Values = append(booked.Values, d.Booked)
		open.Values = append(open.Values, d.Expected-d.Booked)
		if len(v.Rows) == overviewGroups {
			v.More++
			continue
		}
		v.Rows = append(v.Rows, row)
	}
	const title = "Limits expected in the quarter, by depot"
	if ch := chart.Lying(title, "axles", names, []chart.Layer{booked, open}); ch != nil {
		v.Picture = newPicture(title, ch)
	}
	return &v
}

// depotNames names the depots of n figures, with the fleet where several depots are
// called alike.
func depotNames(n int, at func(i int) (id int64, name, fleet string)) []string {
	shared := sharedNames(n, func(i int) (string, int64) {
		id, name, _ := at(i)
		return name, id
	})
	names := make([]string, n)
	for i := range n {
		_, name, fleet := at(i)
		if names[i] = name; shared[name] {
			names[i] += " (" + fleet + ")"
		}
	}
	return names
}
