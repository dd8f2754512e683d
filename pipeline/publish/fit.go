package publish

import (
	"fmt"

	"github.com/asfound/asfound/pipeline/survey"
)

// worstFitted is one of the readings that fit worst, as adjusters look at it.
type worstFitted struct {
	Source       string   `json:"source"`
	Row          int      `json:"row"`
	Trace        string   `json:"trace"` // "" an exposure
	Record       string   `json:"record"`
	ResidualM    *float64 `json:"residual_m"`
	Standardised *float64 `json:"standardised"`
	Redundancy   *float64 `json:"redundancy"`
	WithoutM     *float64 `json:"change_without_m"`
}

func (e *edition) fit() *fit {
	f := &e.Model.Fit
	out := &fit{f.Readings, f.Unknowns, finite(f.Redundancy), finite(f.VarianceFactor), f.Iterations, []worstFitted{}}
	for i := range f.Worst {
		v := &f.Worst[i]
		place, trace := e.placeOf(v)
		out.Worst = append(out.Worst, worstFitted{
			place.File, place.Row, trace, e.Survey.Records[v.Record].ID,
			finite(v.ResidualM), finite(v.Standardised), finite(v.Redundancy), finite(v.WithoutM),
		})
	}
	return out
}

// placeOf is where a reading, or an exposure, stands in the input.
func (e *edition) placeOf(v *survey.Influence) (survey.Place, string) {
	if v.Trace < 0 {
		return e.Survey.Exposures[v.Reading].Place, ""
	}
	t := &e.Survey.Traces[v.Trace]
	return t.Readings[v.Reading].Place, t.ID
}

// fitFacts are how well the model fits, in words.
func (e *edition) fitFacts() []fact {
	f := &e.Model.Fit
	facts := []fact{{
		Name: "Fit",
		Value: fmt.Sprintf("%d used readings, %d unknowns, redundancy %s, variance factor %s in %d iterations",
			f.Readings, f.Unknowns, fixed(f.Redundancy, 1), fixed(f.VarianceFactor, 3), f.Iterations),
		Source: "Weighted squares of the residuals over the readings' redundancy numbers: 1 where the error budget is right, less where it is generous",
	}}
	for i := range f.Worst {
		v := &f.Worst[i]
		place, _ := e.placeOf(v)
		facts = append(facts, fact{
			Name: fmt.Sprintf("Fits worst, %d", i+1),
			Value: fmt.Sprintf("%s row %d on record %s: residual %s m, %s times its standard deviation, redundancy %s; without it the record would move by %s m there",
				place.File, place.Row, e.Survey.Records[v.Record].ID, fixed(v.ResidualM, 3), fixed(v.Standardised, 1), fixed(v.Redundancy, 2), fixed(v.WithoutM, 3)),
		})
	}
	return facts
}
