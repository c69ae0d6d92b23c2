package dashboard

import (
	"bytes"
	"context"
	"embed"
	"fmt"
	"io/fs"
	"net/http"
	"net/url"
	"runtime"
	"strings"
	"sync"

	"github.com/gin-gonic/gin"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/pipeline"
	"brakewear/internal/units"
	"brakewear/internal/web"
)

//go:embed static
var staticFiles embed.FS

// Dashboard serves the pages.
type Dashboard struct {
	svc    *pipeline.Service
	assets *web.Assets
	pages  map[string]*page
	// examples are the worked example of the help by units.Reader, each made
	// when first asked for.
	examples *sync.Map
	drawn    *drawn
	// turns holds one for each page that is being written out; see inTurn.
	turns chan struct{}
	// Demo are accounts that the page to sign in offers to everybody; nil but
	// in the demo.
	Demo []DemoAccount
}

// New parses the templates; a fault in one of them shows here, not when
// somebody opens its page.
func New(svc *pipeline.Service) (*Dashboard, error) {
	files, err := fs.Sub(staticFiles, "static")
	if err != nil {
		return nil, err
	}
	assets, err := web.NewAssets(files, "/static/")
	if err != nil {
		return nil, err
	}
	pages, err := parsePages(assets)
	if err != nil {
		return nil, err
	}
	return &Dashboard{svc: svc, assets: assets, pages: pages, examples: new(sync.Map), drawn: &drawn{}, turns: make(chan struct{}, runtime.GOMAXPROCS(0))}, nil
}

// Register adds the pages to r, which has let nobody in yet who may not be.
func (d *Dashboard) Register(r *gin.Engine) {
	d.assets.Register(r)
	r.Use(d.homeZone)
	r.GET("/", web.Handle(d.due))
	r.GET("/due.csv", web.Handle(d.dueFile))
	r.GET("/due.xlsx", web.Handle(d.dueFile))
	r.GET("/overview", web.Handle(d.overview))
	r.GET("/overview/:file", web.Handle(d.overviewFile))
	r.GET("/vehicles", web.Handle(d.vehicles))
	r.GET("/vehicles/:id", web.Handle(d.vehicle))
	r.GET("/vehicles/:id/charts/:file", web.Handle(d.chartFile))
	r.GET("/readings", web.Handle(d.readings))
	r.POST("/readings", web.AllowBody(web.MaxFile), web.Handle(d.handIn))
	r.GET("/readings/files/:id", web.Handle(d.file))
	r.POST("/readings/files/:id/take", web.Handle(d.takeFile))
	r.POST("/readings/files/:id/drop", web.Handle(d.dropFile))
	r.GET("/readings/files/:id/problems.csv", web.Handle(d.fileCSV))
	r.GET("/readings/:id", web.Handle(d.upload))
	r.GET("/readings/:id/problems.csv", web.Handle(d.problemsCSV))
	r.GET("/measure", web.Handle(d.findVehicle))
	r.GET("/measure-worker.js", web.Handle(d.worker))
	r.GET("/vehicles/:id/measure", web.Handle(d.form))
	r.POST("/vehicles/:id/measure", web.Handle(d.sendForm))
	r.GET("/vehicles/:id/odometer", web.Handle(d.swapForm))
	r.POST("/vehicles/:id/odometer", web.Handle(d.declareSwap))
	r.GET("/vehicles/:id/measured/:upload", web.Handle(d.formSent))
	d.registerPlan(r)
	d.registerTests(r)
	d.registerOffice(r)
	d.registerChanges(r)
	d.registerCards(r)
	d.registerFindings(r)
	r.GET("/record", web.Handle(d.record))
	r.GET("/learned", web.Handle(d.learned))
	r.GET("/help", web.Handle(d.help))
	r.GET("/templates/:file", web.Handle(d.template))
	d.registerSignIn(r)
}

// scope is what the request reaches.
func (d *Dashboard) scope(c *gin.Context) auth.Scope { return web.Scope(c) }

// who is by whom something is done.
func (d *Dashboard) who(c *gin.Context) string { return web.SignedIn(c).Name }

// Shell is what the layout needs of every page.
type Shell struct {
	Title    string
	Place    string // the entry of the navigation the page belongs to
	Cautions bool   // the page shows a limit or a forecast
	Signed   *Signed
	Tell     units.Reader // how whoever looks wants quantities and days said
	of       place        // whom the record belongs to that the page shows
	hidden   map[int64]bool
}

// OpensUpload says whether whoever looks may see an upload that the page names:
// a file may have brought what is theirs, and what is not.
func (s Shell) OpensUpload(id int64) bool { return !s.hidden[id] }

// place is whom a record belongs to. Zero is nobody: the page shows no one
// record.
type place struct {
	fleet, depot int64 // depot 0 = the whole fleet
}

// ofVehicle is whom a vehicle belongs to.
func ofVehicle(v *fleet.Vehicle) place { return place{v.FleetID, v.DepotID} }

// May says whether whoever looks may ask for a route, such as "POST /cards", of
// the record that the page shows, or anywhere on a page of many: the table of
// routes says so, and pages offer nothing else.
func (s Shell) May(route string) (bool, error) {
	rule, who, err := s.rule(route)
	if err != nil || s.of == (place{}) {
		return err == nil && rule.Lets(who), err
	}
	return rule.LetsAt(who, s.of.fleet, s.of.depot), nil
}

// MayAnywhere is May for what leads away from the record.
func (s Shell) MayAnywhere(route string) (bool, error) {
	rule, who, err := s.rule(route)
	return err == nil && rule.Lets(who), err
}

// MakesParts says whether whoever looks may enter a new part: it is a whole fleet's.
func (s Shell) MakesParts() bool {
	if s.Signed == nil {
		return false
	}
	plans := s.Signed.who.Scope(auth.Plan)
	return plans.All() || len(plans.Fleets()) > 0
}

func (s Shell) rule(route string) (rule web.Rule, who auth.Who, err error) {
	method, path, _ := strings.Cut(route, " ")
	rule, ok := web.RuleOf(method, path)
	if !ok {
		err = fmt.Errorf("route %q: there is none", route)
	}
	if s.Signed != nil {
		who = s.Signed.who
	}
	return rule, who, err
}

// Signed is who looks at a page; nil before sign-in.
type Signed struct {
	Name   string
	Person int64 // whose forms a phone keeps, of those who share it
	who    auth.Who
}

// signed says who looks.
func signed(c *gin.Context) *Signed {
	who := web.SignedIn(c)
	if who.Account == 0 {
		return nil
	}
	return &Signed{Name: who.Name, Person: who.Account, who: who}
}

// ErrorPage is the page of a request that failed.
type ErrorPage struct {
	Shell
	Problem web.Problem
	Again   string // link to what was asked, where another time may do; blank = no use
	Back    string // link to the page that a form was sent from; blank = none was, or not known
}

// ErrorPage renders a problem, for web.UseErrorPage.
func (d *Dashboard) ErrorPage(c *gin.Context, p web.Problem) ([]byte, error) {
	title := map[int]string{
		http.StatusBadRequest:            "That cannot be done as it was asked",
		http.StatusUnauthorized:          "Sign in first",
		http.StatusForbidden:             "Not yours to do",
		http.StatusTooManyRequests:       "Too much at once",
		http.StatusNotFound:              "Not found",
		http.StatusRequestEntityTooLarge: "Too large",
		http.StatusRequestTimeout:        "Too slow",
		http.StatusMethodNotAllowed:      "Nothing is sent here that way",
		http.StatusConflict:              "Something else came first",
		http.StatusServiceUnavailable:    "Not available just now",
		http.StatusInsufficientStorage:   "No space left",
		http.StatusInternalServerError:   "Something went wrong here",
	}[p.Status]
	if title == "" {
		title = p.Title
	}
	tell := reader(c)
	p.Detail = sentence(capital(tell.Days(p.Detail)))
	page := ErrorPage{Shell: Shell{Title: title}, Problem: p}
	switch {
	case c.Request == nil:
	case c.Request.Method != http.MethodGet:
		page.Back = sentFrom(c.Request)
	case p.Status >= 500 || p.Status == http.StatusTooManyRequests || p.Status == http.StatusRequestTimeout:
		page.Again = c.Request.URL.RequestURI()
	}
	return d.pages["error"].render(page, signed(c), tell)
}

// sentFrom is the page of ours that a form was sent from, as far as the browser
// says.
func sentFrom(r *http.Request) string {
	from, err := url.Parse(r.Referer())
	if err != nil || from.Host != r.Host {
		return ""
	}
	return ours(from.RequestURI(), "")
}

// send renders a page and sends it.
func (d *Dashboard) send(c *gin.Context, status int, name string, data any) error {
	return d.sendMade(c, status, name, func() any { return data })
}

// sendMade is send for data that take as long to make as the page to write out.
func (d *Dashboard) sendMade(c *gin.Context, status int, name string, data func() any) error {
	b := bodies.Get().(*bytes.Buffer)
	defer bodies.Put(b) // when it is sent
	b.Reset()
	err := d.inTurn(c.Request.Context(), func() error { return d.pages[name].renderInto(b, data(), signed(c), reader(c)) })
	if err != nil {
		return err
	}
	web.Send(c, status, "text/html; charset=utf-8", b.Bytes())
	return nil
}

// bodies keeps what pages were written in.
var bodies = sync.Pool{New: func() any { return new(bytes.Buffer) }}

// inTurn calls work, which only calculates, when fewer do so than there are
// processors, first come, first served. Twenty at once are no faster together,
// and some of them take several times as long as the others.
func (d *Dashboard) inTurn(ctx context.Context, work func() error) error {
	select {
	case d.turns <- struct{}{}:
	case <-ctx.Done(): // who asked has gone
		return ctx.Err()
	}
	defer func() { <-d.turns }()
	return work()
}
