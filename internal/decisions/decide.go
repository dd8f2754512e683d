package decisions

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/asfound/asfound/internal/life"
	"github.com/asfound/asfound/pipeline/survey"
)

// Decide takes what was typed into what is known of the findings, and rejects what
// cannot be meant. Of the rows only those count in which something else is typed
// than when they were last read.
func Decide(rows []Row, past *life.Past) (rejects []survey.Reject) {
	byID := map[string]*life.Finding{}
	for i := range past.Findings {
		byID[past.Findings[i].ID] = &past.Findings[i]
	}
	before := map[string]life.Typed{} // what stood there when it was last read
	met := map[string]*Row{}
	for i := range rows {
		r := &rows[i]
		p := byID[r.Finding]
		if p != nil && met[r.Finding] == nil {
			before[r.Finding] = p.Typed
		}
		head, why := r.wrong(p, met[r.Finding], before[r.Finding], past.Started)
		switch {
		case why != "":
			rejects = append(rejects, r.reject(head, why))
			continue
		case p == nil:
			continue
		}
		if first := met[r.Finding]; first == nil || r.Typed != before[r.Finding] && r.Typed != (life.Typed{}) {
			met[r.Finding] = r
			if r.Typed != before[r.Finding] {
				r.decide(p, past.Started)
			}
		}
	}
	return rejects
}

// wrong says what is wrong with a row, and in which column; "" nothing. other is
// an earlier row of the same finding, before what was last read of it.
func (r *Row) wrong(p *life.Finding, other *Row, before life.Typed, started time.Time) (head, why string) {
	said := r.Typed != life.Typed{}
	switch {
	case p == nil && said:
		return headFinding, "is no finding of this job"
	case p == nil, r.Typed == before, other != nil && !said:
		return "", ""
	case other != nil && other.Typed != before && other.Typed != r.Typed:
		return headDecision, "says otherwise than " + other.File + ", " + other.At(headDecision)
	case r.Word != "" && !slices.Contains(life.Words(), r.Word):
		return headDecision, "is no decision: write " + strings.Join(life.Words(), ", ") + ", or nothing"
	case r.Word != string(survey.LifeDeferred):
		return "", ""
	case r.Until == "":
		return headUntil, "is empty: say until which day it is deferred"
	}
	until, err := time.Parse(time.DateOnly, r.Until)
	switch {
	case err != nil:
		return headUntil, "is no date: write it as 2026-12-31"
	case !until.After(started.UTC()):
		return headUntil, "is not after the day of the run, " + started.UTC().Format(time.DateOnly)
	}
	return "", ""
}

func (r *Row) reject(head, why string) survey.Reject {
	value := map[string]string{headFinding: r.Finding, headDecision: r.Word, headUntil: r.Until}[head]
	return survey.Reject{Place: survey.Place{File: r.File, Row: r.Number, Field: r.At(head)}, Value: value, Reason: fmt.Sprintf("%s %s", head, why)}
}

// decide makes what was typed the finding's decision. One that says what it said
// keeps what it was decided on.
func (r *Row) decide(p *life.Finding, started time.Time) {
	p.Typed = r.Typed
	d := life.Decision{Word: r.Word, Who: r.Who, Remark: r.Remark, When: started, OffsetM: p.OffsetM, OffsetU: p.OffsetU, OnTruth: p.OnTruth}
	if r.Word == string(survey.LifeDeferred) {
		d.Until, _ = time.Parse(time.DateOnly, r.Until) // it has been read before
	}
	switch was := &p.Decision; {
	case r.Word == "":
		d = life.Decision{}
	case was.Word == d.Word && was.Until.Equal(d.Until):
		d.When, d.OffsetM, d.OffsetU, d.OnTruth = was.When, was.OffsetM, was.OffsetU, was.OnTruth
		d.Who = cmp.Or(d.Who, was.Who)
	default:
		d.Who = cmp.Or(d.Who, r.savedBy)
	}
	p.Decision = d
}
