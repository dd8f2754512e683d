package publish

// Placeholder until the stage is written: delete this file then.

import (
	"errors"

	"github.com/asfound/asfound/pipeline/survey"
)

// Run is not written yet.
func Run(r *survey.Result, o Options) (folder string, err error) {
	return "", errors.New("publish: not written yet")
}
