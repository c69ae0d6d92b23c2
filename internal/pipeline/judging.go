package pipeline

import (
	"errors"

	"brakewear/forecast"
	"brakewear/ingest"
	"brakewear/internal/fleet"
	"brakewear/internal/store"
)

// openJudges bounds the vehicles that are judged ahead of the first whose
// judgement is awaited, each with its history.
const openJudges = 32

// errEnough ends the judging of a file with too many doubts to read.
var errEnough = errors.New("enough")

// judging looks at the rows of one file, vehicle by vehicle. The model takes a
// millisecond for a visit, so several vehicles are held against it at a time;
// what is found comes in the order of the vehicles all the same.
type judging struct {
	model    forecast.Model
	claims   *claims
	all      bool          // each visit is held against the model
	left     int           // visits that still may be
	turn     chan struct{} // holds one for each that uses the model
	open     []openJudge
	problems []fleet.Problem
	rows     int // in doubt
}

// openJudge is one that may be at work yet.
type openJudge struct {
	*judge
	wait func() error
}

// vehicle judges the rows of the next vehicle; errEnough when more would not be
// read.
func (g *judging) vehicle(h *store.History, rows []claim) error {
	h.Memory = new(forecast.Memory) // the forecast that follows goes on from there
	j := &judge{model: g.model, claims: g.claims, all: g.all, known: h}
	j.fresh = j.freshOf(h, rows)
	if len(j.fresh) == 0 {
		return nil
	}
	j.odometers()
	j.fitments()
	granted := min(j.look(), g.left)
	g.left -= granted
	o := openJudge{judge: j}
	if granted == 0 {
		j.readings(0)
	} else {
		o.wait = beside(func() error {
			g.turn <- struct{}{}
			defer func() { <-g.turn }()
			j.readings(granted)
			return nil
		})
	}
	g.open = append(g.open, o)
	return g.close(openJudges)
}

// close takes what was found in until no more than some judges are open.
func (g *judging) close(some int) error {
	for len(g.open) > some || len(g.open) > 0 && g.open[0].wait == nil {
		o := g.open[0]
		g.open = g.open[1:]
		if o.wait != nil {
			o.wait()
		}
		room := ingest.MaxProblems - len(g.problems)
		g.problems = append(g.problems, o.problems[:min(room, len(o.problems))]...)
		g.rows += o.rows
		if room <= len(o.problems) {
			return errEnough
		}
	}
	return nil
}

// await waits for the judges that are open yet, of which nothing is wanted.
func (g *judging) await() {
	for _, o := range g.open {
		if o.wait != nil {
			o.wait()
		}
	}
}
