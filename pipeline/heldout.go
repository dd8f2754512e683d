package pipeline

import (
	"github.com/asfound/asfound/pipeline/adjust"
	"github.com/asfound/asfound/pipeline/correct"
	"github.com/asfound/asfound/pipeline/judge"
	"github.com/asfound/asfound/pipeline/survey"
)

// holdOut adjusts once more without some traces, from a cold start, and tests the
// lines that come out with them. They keep the records that they were matched to.
func holdOut(r *survey.Result, job Job) error {
	held := judge.HoldOut(r.Survey, r.Matches, job.Judge)
	if held == nil {
		return nil
	}
	m, err := adjust.Network(r.Survey, held, r.ExposureMatches, nil, job.Adjust)
	if err != nil {
		return err
	}
	judgements, findings := judge.Records(r.Survey, held, m, job.Judge)
	c := correct.Lines(r.Survey, judgements, findings, m, job.Correct)
	r.HeldOut = judge.CheckHeldOut(r.Survey, r.Matches, held, m, judgements, c.Lines, job.Judge)
	return nil
}
