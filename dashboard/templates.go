package dashboard

import (
	"bytes"
	"embed"
	"fmt"
	"html/template"
	"reflect"
	"sync/atomic"

	"brakewear/internal/units"
	"brakewear/internal/web"
)

//go:embed templates
var templateFiles embed.FS

// pageData lists the pages: the template of each and the struct it shows. A
// test runs every template against a filled struct of its type.
var pageData = map[string]any{
	"due":        DuePage{},
	"vehicle":    VehiclePage{},
	"vehicles":   VehiclesPage{},
	"readings":   ReadingsPage{},
	"upload":     UploadPage{},
	"file":       FilePage{},
	"find":       FindPage{},
	"form":       FormPage{},
	"sent":       SentPage{},
	"workplan":   WorkplanPage{},
	"booking":    BookingPage{},
	"newbooking": NewBookingPage{},
	"daysheet":   DaySheetPage{},
	"partslist":  PartsListPage{},
	"workshops":  WorkshopsPage{},
	"workshop":   WorkshopPage{},
	"parts":      PartsPage{},
	"part":       PartPage{},
	"days":       DaysPage{},
	"learned":    LearnedPage{},
	"record":     RecordPage{},
	"help":       HelpPage{},
	"work":       WorkPage{},
	"calendars":  CalendarsPage{},
	"error":      ErrorPage{},
	"correction": CorrectionPage{},
	"wrongaxle":  WrongAxlePage{},
	"finding":    FindingPage{},
	"findings":   FindingsPage{},
	"card":       CardPage{},
	"cards":      CardsPage{},
	"newcard":    NewCardPage{},
	"steps":      StepsPage{},
	"testform":   TestFormPage{},
	"braketest":  BrakeTestPage{},
	"rules":      RulesPage{},
	"ruleset":    RuleSetPage{},
	"fleetrules": FleetRulesPage{},
	"limits":     LimitsPage{},
	"swap":       SwapPage{},
	"overview":   OverviewPage{},
	"people":     PeoplePage{},
	"changes":    ChangesPage{},
	"person":     PersonPage{},

	"signin":       SignInPage{},
	"maillink":     MailLinkPage{},
	"link":         LinkPage{},
	"account":      AccountPage{},
	"accounts":     AccountsPage{},
	"otheraccount": OtherAccountPage{},
	"code":         CodePage{},
	"second":       SecondPage{},
	"recovery":     RecoveryPage{},
}

// page is one page's template set: the layout, the shared pieces and the page
// itself. A set each, for pages define blocks of the same name.
type page struct {
	name   string
	t      *template.Template
	data   reflect.Type
	length atomic.Int64 // bytes of the last: the next will be about as long
}

func parsePages(assets *web.Assets) (map[string]*page, error) {
	pages := map[string]*page{}
	for name, data := range pageData {
		t, err := template.New("layout.html").
			Funcs(template.FuncMap{
				"asset":   assets.Path,
				"capital": capital,
				"an":      an,
				"iso":     func(d interface{ String() string }) string { return d.String() },
				"count":   count,
				"plural":  plural,

				"planaxles":      planAxles,
				"summaryrows":    summaryRows,
				"axlewords":      axleWords,
				"picturehead":    pictureHead,
				"picturefigures": pictureFigures,
				"positionrows":   positionRows,
				"measuredrows":   measuredRows,
				"trackrows":      trackRows,
				"fullrows":       fullLines,
				"closerows":      closeLines,
				"ticks":          ticks,
				"smalllane":      smallLaneOf,
				"verdict":        verdictHTML,
			}).
			Option("missingkey=error").
			ParseFS(templateFiles, "templates/layout.html", "templates/pieces.html", "templates/"+name+".html")
		if err != nil {
			return nil, fmt.Errorf("page %s: %w", name, err)
		}
		pages[name] = &page{name: name, t: t, data: reflect.TypeOf(data)}
	}
	return pages, nil
}

// render fills the page, for who looks at it, into a buffer, so that an error
// cannot leave half a page behind.
func (p *page) render(data any, who *Signed, tell units.Reader) ([]byte, error) {
	var b bytes.Buffer
	if err := p.renderInto(&b, data, who, tell); err != nil {
		return nil, err
	}
	return b.Bytes(), nil
}

func (p *page) renderInto(b *bytes.Buffer, data any, who *Signed, tell units.Reader) error {
	if got := reflect.TypeOf(data); got != p.data {
		return fmt.Errorf("page %s: got a %v, want a %v", p.name, got, p.data)
	}
	// Every page embeds a Shell; a copy is told who looks, so that no handler
	// has to.
	shown := reflect.New(p.data).Elem()
	shown.Set(reflect.ValueOf(data))
	shown.FieldByName("Shell").FieldByName("Signed").Set(reflect.ValueOf(who))
	shown.FieldByName("Shell").FieldByName("Tell").Set(reflect.ValueOf(tell))
	last := int(p.length.Load())
	b.Grow(last + last/8)
	if err := p.t.Execute(b, shown.Interface()); err != nil {
		return fmt.Errorf("page %s: %w", p.name, err)
	}
	p.length.Store(int64(b.Len()))
	return nil
}
