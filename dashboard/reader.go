package dashboard

import (
	"cmp"
	"net/http"
	"slices"
	"strings"
	"time"

	"github.com/gin-gonic/gin"

	"brakewear/internal/fleet"
	"brakewear/internal/units"
	"brakewear/internal/web"
)

// reader is how whoever sends the request wants quantities and days said.
func reader(c *gin.Context) units.Reader {
	r := web.SignedIn(c).Reader
	r.Zone = cmp.Or(r.Zone, c.GetString(homeZoneKey))
	return r
}

const homeZoneKey = "dashboard.zone"

// homeZone gives pages the clock of those who chose none: that of most depots.
func (d *Dashboard) homeZone(c *gin.Context) { c.Set(homeZoneKey, d.svc.HomeZone(c.Request.Context())) }

// ReaderForm chooses how one's own pages say numbers and days.
type ReaderForm struct {
	Distance, Thickness, Days []Choice
	// Guessed says that nothing was chosen yet: what stands there is what the
	// browser's language suggests.
	Guessed bool
	// Zone is the clock that times are told by, Zones those of the depots; any
	// other can be typed.
	Zone     string
	Zones    []string
	HomeZone string // that goes where none is chosen
}

// readerForm shows what is chosen; before that, what is usual where the
// browser's language is spoken.
func readerForm(chosen units.Reader, accept string, today fleet.Date) ReaderForm {
	var f ReaderForm
	chosen.Zone = "" // a choice of its own
	shown := chosen
	if chosen == (units.Reader{}) {
		shown = readerOf(accept)
		f.Guessed = shown != chosen
	}
	words := map[string]string{
		string(units.Kilometres): "kilometres", string(units.Miles): "miles", string(units.Millimetres): "mm",
		string(units.Inches): "1/32 in for pads and linings, 0.001 in for rotors and drums",
	}
	for _, u := range units.Distances {
		f.Distance = append(f.Distance, Choice{string(u), words[string(u)], u == shown.DistanceIn})
	}
	for _, u := range units.Thicknesses {
		f.Thickness = append(f.Thickness, Choice{string(u), words[string(u)], u == shown.ThicknessIn})
	}
	// A day that is no month, so that the two are told apart.
	example := fleet.NewDate(today.Time().Year(), time.March, 25)
	for _, u := range units.AllDays {
		f.Days = append(f.Days, Choice{string(u), units.Reader{DaysAs: u}.Day(example), u == shown.DaysAs})
	}
	for _, cs := range [][]Choice{f.Distance, f.Thickness, f.Days} {
		// What was never chosen is the usual.
		cs[0].Chosen = !slices.ContainsFunc(cs[1:], func(c Choice) bool { return c.Chosen })
	}
	return f
}

// readerOf is what is usual where the first language of an Accept-Language
// header is spoken; blank where that is what everybody gets. Common practice,
// no source.
func readerOf(accept string) units.Reader {
	tag, _, _ := strings.Cut(accept, ",")
	tag, _, _ = strings.Cut(tag, ";")
	language, region, _ := strings.Cut(strings.TrimSpace(tag), "-")
	switch region = strings.ToUpper(region); region {
	case "US", "LR":
		return units.Reader{DistanceIn: units.Miles, ThicknessIn: units.Inches, DaysAs: units.MonthDay}
	case "GB":
		return units.Reader{DistanceIn: units.Miles}
	}
	switch strings.ToLower(language) {
	case "cs", "da", "de", "et", "fi", "lv", "nb", "nn", "no", "pl", "ru", "sk", "sl", "tr", "uk":
		return units.Reader{DaysAs: units.Dots}
	case "el", "es", "fr", "it", "pt", "vi":
		return units.Reader{DaysAs: units.DaySlash}
	case "hu", "ja", "ko", "lt", "sv", "zh":
		return units.Reader{DaysAs: units.ISO}
	}
	return units.Reader{}
}

// setReader keeps what was chosen.
func (d *Dashboard) setReader(c *gin.Context) error {
	r := units.Reader{
		DistanceIn:  units.Distance(c.PostForm("distance")),
		ThicknessIn: units.Thickness(c.PostForm("thickness")),
		DaysAs:      units.Days(c.PostForm("days")),
		Zone:        strings.TrimSpace(c.PostForm("time_zone")),
	}
	if r.DistanceIn == "" || r.ThicknessIn == "" || r.DaysAs == "" {
		return d.accountDone(c, fleet.Invalidf("units: choose one of each"), "")
	}
	if err := d.svc.DB.SetReader(c.Request.Context(), web.SignedIn(c), r); err != nil {
		return d.accountDone(c, err, "")
	}
	c.Redirect(http.StatusSeeOther, "/account?done=units#units")
	return nil
}
