package read

// Placeholder until the stage is written: delete this file then.

import (
	"context"
	"errors"

	"github.com/asfound/asfound/pipeline/survey"
)

// Files is not written yet.
func Files(ctx context.Context, o Options) (*survey.Survey, error) {
	return nil, errors.New("read: not written yet")
}
