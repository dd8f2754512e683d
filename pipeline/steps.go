package pipeline

import (
	"context"
	"log/slog"
	"time"
)

// stages in the order in which a person sees them.
var stages = []string{"read", "match", "adjust", "judge", "correct", "check", "rank", "publish"}

// steps runs the stages: it looks for cancellation between them, logs their
// bounds and tells the progress.
type steps struct {
	ctx      context.Context
	log      *slog.Logger
	progress Progress
}

func (s steps) do(stage string, work func() error) error {
	if err := s.ctx.Err(); err != nil {
		return err
	}
	if s.progress != nil {
		for i, name := range stages {
			if name == stage {
				s.progress(stage, i, len(stages))
			}
		}
	}
	began := time.Now()
	err := work()
	if s.log != nil && err == nil {
		s.log.Info(stage, "took", time.Since(began).Round(time.Millisecond))
	}
	return err
}
