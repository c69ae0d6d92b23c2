package pipeline

import (
	"bytes"
	"embed"
	"fmt"
	htmltemplate "html/template"
	"strings"
	"text/template"

	"brakewear/internal/fleet"
	"brakewear/internal/store"
	"brakewear/internal/units"
)

//go:embed digest.txt digest.html
var digestFiles embed.FS

var (
	digestText = template.Must(template.ParseFS(digestFiles, "digest.txt"))
	digestHTML = htmltemplate.Must(htmltemplate.ParseFS(digestFiles, "digest.html"))
)

// digestLines bounds what a section lists; the pages have all of it.
const digestLines = 40

// digestPage is a digest as it is written.
type digestPage struct {
	Subject  string
	Name     string
	Day      string
	Role     string
	Sections []digestSection
	AllDue   int
	Ahead    int
	DueLink  string // to the list; "" = no links
	People   string // link to where one is taken off
}

type digestSection struct {
	Title string
	Lines []digestLine
	More  int // that are not listed
}

type digestLine struct {
	What string // what it is of
	Says string
	Link string
}

// digestMail puts news into words.
func (s *Service) digestMail(r *store.Recipient, d store.Digest, n news) digestPage {
	tell := r.Reader
	p := digestPage{Name: r.Name, Day: dayWord(tell, d.Day), Role: r.Role, AllDue: n.allDue, Ahead: DigestAhead}
	vehicle := func(id int64, axle int) string {
		if s.URL == "" {
			return ""
		}
		link := s.link(fmt.Sprintf("/vehicles/%d", id))
		if axle != 0 {
			link += fmt.Sprintf("#axle-%d", axle)
		}
		return link
	}
	if s.URL != "" {
		p.DueLink = s.link(fmt.Sprintf("/?within=%d", DigestAhead/7))
		// What was counted: whoever reads it may see more.
		if len(r.Places) == 1 && !r.Everything {
			if at := r.Places[0]; at.DepotID != 0 {
				p.DueLink += fmt.Sprintf("&depot=%d", at.DepotID)
			} else {
				p.DueLink += fmt.Sprintf("&fleet=%d", at.FleetID)
			}
		}
		if r.Role == store.RoleManager { // others may not change it
			p.People = s.link("/people")
		}
	}
	var due, moved, missed digestSection
	for _, x := range n.due {
		due.Lines = append(due.Lines, digestLine{axleName(x), dueSays(tell, x), vehicle(x.VehicleID, x.Axle)})
	}
	for _, c := range n.moved {
		moved.Lines = append(moved.Lines, digestLine{c.Vehicle, movedSays(tell, c), vehicle(c.VehicleID, 0)})
	}
	for _, c := range n.missed {
		says := fmt.Sprintf("did not come in on %s at %s", dayWord(tell, c.To.Day), c.ToDepot)
		missed.Lines = append(missed.Lines, digestLine{c.Vehicle, says + because(c.Why), vehicle(c.VehicleID, 0)})
	}
	for _, b := range n.unsaid {
		says := fmt.Sprintf("was booked for %s at %s, and nobody has said what became of it", dayWord(tell, b.Day), b.Depot)
		missed.Lines = append(missed.Lines, digestLine{b.Vehicle, says, vehicle(b.VehicleID, 0)})
	}
	for _, x := range n.unbooked {
		says := fmt.Sprintf("its book-by date, %s, has passed without a booking", dayWord(tell, *x.BookBy))
		missed.Lines = append(missed.Lines, digestLine{axleName(x), says, vehicle(x.VehicleID, x.Axle)})
	}
	var subject []string
	for _, x := range []struct {
		digestSection
		what string
	}{{due, "became due"}, {moved, "moved"}, {missed, "missed"}} {
		k := len(x.Lines)
		if k == 0 {
			continue
		}
		subject = append(subject, fmt.Sprintf("%d %s", k, x.what))
		x.Title = strings.ToUpper(x.what[:1]) + x.what[1:]
		if k > digestLines {
			x.Lines, x.More = x.Lines[:digestLines], k-digestLines
		}
		p.Sections = append(p.Sections, x.digestSection)
	}
	p.Subject = "Brakes: " + strings.Join(subject, ", ")
	return p
}

// axleName names an axle, and the place on it that is first to wear out.
func axleName(x dueNews) string {
	name := fmt.Sprintf("%s, axle %d", x.Vehicle, x.Axle)
	if x.Position.Part != "" {
		name += ", " + x.Position.Within()
	}
	return name
}

func dueSays(tell units.Reader, x dueNews) string {
	says := "no book-by date is known"
	switch {
	case x.PastLimit:
		says = "at or past its limit: book it now"
	case x.BookBy != nil:
		says = "book by " + dayWord(tell, *x.BookBy)
	}
	if x.was != nil && x.BookBy != nil {
		says += fmt.Sprintf(" (told before: %s)", dayWord(tell, *x.was))
	}
	if x.P50 != nil && !x.PastLimit {
		says += ", limit likely " + dayWord(tell, *x.P50)
	}
	if x.booked != nil {
		says += fmt.Sprintf("; booked for %s at %s", dayWord(tell, x.booked.Day), x.booked.Depot)
		if x.BookBy != nil && x.booked.Day > *x.BookBy {
			says += ", which is too late"
		}
		return says
	}
	return says + "; not booked, depot " + x.Depot
}

func movedSays(tell units.Reader, c fleet.BookingChange) string {
	if c.What == "withdrawn" {
		return fmt.Sprintf("taken off the plan; it was booked for %s at %s", dayWord(tell, c.From.Day), c.FromDepot) + because(c.Why)
	}
	says := fmt.Sprintf("from %s %s to %s %s", dayWord(tell, c.From.Day), c.From.Starts, dayWord(tell, c.To.Day), c.To.Starts)
	if c.From.DepotID != c.To.DepotID {
		says += fmt.Sprintf(", from %s to %s", c.FromDepot, c.ToDepot)
	} else {
		says += " at " + c.ToDepot
	}
	return says + because(c.Why)
}

func because(why string) string {
	if why == "" {
		return ""
	}
	return ": " + why
}

// dayWord is a day as people write it: Mon 2 Mar 2026.
func dayWord(tell units.Reader, d fleet.Date) string { return d.Time().Format("Mon ") + tell.Day(d) }

// render returns the digest as text and as HTML.
func (p *digestPage) render() (text, html string, err error) {
	var t, h bytes.Buffer
	if err := digestText.Execute(&t, p); err != nil {
		return "", "", fmt.Errorf("digest: %w", err)
	}
	if err := digestHTML.Execute(&h, p); err != nil {
		return "", "", fmt.Errorf("digest: %w", err)
	}
	return t.String(), h.String(), nil
}
