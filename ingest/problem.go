package ingest

import (
	"fmt"

	"brakewear/internal/fleet"
)

// MaxProblems bounds the problems listed for one file: nobody mends more by
// hand, and a file of a million wrong rows must not fill the memory.
const MaxProblems = 10_000

// problems collects what was refused or assumed.
type problems struct {
	list    []fleet.Problem
	more    int // beyond MaxProblems
	refused int // rows
}

func (p *problems) add(q fleet.Problem) {
	if len(p.list) >= MaxProblems {
		p.more++
		return
	}
	n := 0
	for at := range q.Read { // of a text of any length its beginning alone is looked at
		if n++; n > maxRead {
			q.Read = q.Read[:at] + "…"
			break
		}
	}
	p.list = append(p.list, q)
}

// maxRead bounds how much of a cell is repeated to the person who wrote it.
const maxRead = 80

// all returns the problems with one more that counts those not listed.
func (p *problems) all() []fleet.Problem {
	if p.more == 0 {
		return p.list[:len(p.list):len(p.list)]
	}
	return append(p.list[:len(p.list):len(p.list)], fleet.Problem{
		Message: fmt.Sprintf("%d more problems are not listed: mend these first", p.more),
	})
}
