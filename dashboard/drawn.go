package dashboard

import (
	"html/template"
	"sync"

	"brakewear/dashboard/chart"
	"brakewear/internal/store"
	"brakewear/internal/units"
)

// drawn keeps pictures of vehicles' forecasts. A forecast that is remembered is the
// same one in memory only while all that it rests on is the same, see
// pipeline.Remembered: then so are its pictures. Another is drawn anew.
type drawn struct {
	mu    sync.Mutex
	bytes int
	of    map[drawnAs]twoWidths
}

// drawnAs is what a picture is drawn from and for.
type drawnAs struct {
	forecast *store.AxleForecast // by its place, which is taken while it is here
	file     string
	tell     units.Reader
}

type twoWidths struct{ wide, narrow template.HTML }

// maxDrawn is how many bytes of pictures are kept: those of a hundred vehicles or
// so. All are given up when there would be more.
const maxDrawn = 24 << 20

// draw is newPicture of a chart of a forecast.
func (k *drawn) draw(title string, c *chart.Chart, as drawnAs) *Picture {
	k.mu.Lock()
	x, ok := k.of[as]
	k.mu.Unlock()
	if ok {
		return &Picture{Title: title, Figures: c.Figures, Wide: x.wide, Narrow: x.narrow}
	}
	p := newPicture(title, c)
	n := len(p.Wide) + len(p.Narrow)
	k.mu.Lock()
	defer k.mu.Unlock()
	if k.of == nil || k.bytes+n > maxDrawn {
		k.of, k.bytes = map[drawnAs]twoWidths{}, 0
	}
	k.of[as] = twoWidths{p.Wide, p.Narrow}
	k.bytes += n
	return p
}
