package pipeline

import (
	"context"
	"errors"
	"io"
	"strings"

	"brakewear/ingest"
)

// A file of at most fewBytes and fewRows rows is read once more beforehand, for
// the vehicles that it is about: an upload of one vehicle must not take longer in
// a fleet of many. What is larger learns of all vehicles at once.
const (
	fewBytes = 1 << 20
	fewRows  = 2000
)

// numbersIn returns the numbers of the vehicles that a small file is about, and
// begins it again; nil when it is not small, or cannot be read.
func numbersIn(body io.ReadSeeker, f File) (numbers []string, err error) {
	defer func() {
		if _, serr := body.Seek(0, io.SeekStart); err == nil {
			err = serr
		}
	}()
	size, err := body.Seek(0, io.SeekEnd)
	if err != nil || size > fewBytes {
		return nil, err
	}
	if _, err := body.Seek(0, io.SeekStart); err != nil {
		return nil, err
	}
	numbers = []string{}
	seen := map[string]bool{}
	see := func(number string) {
		if !seen[number] {
			seen[number] = true
			numbers = append(numbers, number)
		}
	}
	r, err := ingest.NewReader(body, f.Name, ingest.Options{
		Kind: f.Kind, DateOrder: f.DateOrder,
		// Where an axle is named by its place, the reader asks for its vehicle.
		AxleCount: func(_, number string) int { see(number); return 2 },
	})
	if err != nil {
		return nil, nil // whoever reads it next says what is wrong
	}
	defer r.Close()
	var rows [16]ingest.Row
	for read := 0; read <= fewRows; {
		n, err := r.Read(rows[:])
		for i := range rows[:n] {
			see(rows[i].Vehicle)
		}
		read += n
		switch {
		case errors.Is(err, io.EOF):
			return numbers, nil
		case err != nil:
			return nil, nil // as above
		}
	}
	return nil, nil
}

// maxGuesses bounds the numbers of a file that are looked for in another spelling: each
// is looked for in the names of all vehicles.
const maxGuesses = 10

var spelling = strings.NewReplacer(" ", "", "-", "")

// guess finds what the numbers that no vehicle has may stand for: another spelling of one
// that there is, or a plate. All are looked for at once, for others may wait meanwhile.
func (s *Service) guess(ctx context.Context, k *resolver, numbers []string) error {
	var unknown []string
	for _, number := range numbers {
		if len(unknown) < maxGuesses && len(k.vehicles[number]) == 0 && strings.TrimSpace(number) != "" {
			unknown = append(unknown, number)
		}
	}
	if len(unknown) == 0 {
		return nil
	}
	vs, err := s.DB.VehiclesSpelled(ctx, k.sc, unknown)
	if err != nil {
		return err
	}
	k.meant = map[string]string{}
	for _, number := range unknown {
		same := func(text string) bool { return strings.EqualFold(spelling.Replace(text), spelling.Replace(number)) }
		differ := false
		for i := range vs {
			v, write := &vs[i], ""
			switch {
			case same(v.Number):
				write = v.Number
			case v.Plate != "" && same(v.Plate):
				write = v.Number + ", which has this plate"
			default:
				continue
			}
			before, found := k.meant[number]
			differ = differ || found && before != write // two fleets may have a vehicle of one number
			k.meant[number] = write
		}
		if differ {
			delete(k.meant, number) // nobody knows which
		}
	}
	return nil
}
