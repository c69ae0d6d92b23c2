package pipeline

import (
	"context"
	"fmt"
	"strings"
	"time"
)

func cleanUpJob(s *Service) Job {
	return Job{
		Name:  "clean-up",
		What:  "Removes what has had its time: files nobody took in, old keys of requests, old runs, proposals that were replaced. Nothing measured.",
		Spec:  "30 0 * * *",
		Limit: time.Hour,
		Run: func(ctx context.Context, _ string) (string, error) {
			done, err := s.DB.CleanUp(ctx)
			if err != nil {
				return "", err
			}
			if len(done) == 0 {
				return "There was nothing to remove.", nil
			}
			var words []string
			for _, c := range done {
				words = append(words, fmt.Sprintf("%d %s", c.Rows, c.What))
			}
			return "Removed " + strings.Join(words, ", ") + ".", nil
		},
	}
}
