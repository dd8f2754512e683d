package publish

import (
	"fmt"
	"math"
	"slices"

	"github.com/paulmach/orb"

	positional "github.com/asfound/asfound/internal/estimate/accuracy"
	"github.com/asfound/asfound/internal/words"
	"github.com/asfound/asfound/pipeline/survey"
)

// A cover is the height of the ground above the line: how far it is right is how
// far the map is right vertically, the ground's own height aside. A place anywhere
// along a line tells of it. What the map says of a record's covers owes nothing to
// this job's holes: all count for the map as it was handed in. What the readings
// make of the covers is tested by the holes that the adjustment did not have.
const (
	stateAdjusted = "as the readings have it"
	groundAside   = "Covers, from the ground to the top of the line: the ground's own height is not tested."
)

// depthPoint is a cover less the measured one, and where that was.
type depthPoint struct {
	at                  orb.Point
	differenceM, sigmaM float64 // stated standard deviation of the measured depth; NaN not stated
}

// vertical are the statements on the covers of each source of records.
func (e *edition) vertical() []statement {
	handedIn, adjusted := map[string][]depthPoint{}, map[string][]depthPoint{}
	unsure := map[string]int{}
	var sources []string
	for i := range e.Survey.Exposures {
		x := &e.Survey.Exposures[i]
		if i >= len(e.ExposureMatches) || math.IsNaN(x.DepthM) {
			continue
		}
		m := &e.ExposureMatches[i]
		if m.Record < 0 {
			continue
		}
		rec := &e.Survey.Records[m.Record]
		measured := coverOf(x, rec)
		if math.IsNaN(rec.CoverM) || math.IsNaN(measured) {
			continue
		}
		if !slices.Contains(sources, rec.Source) {
			sources = append(sources, rec.Source)
		}
		if m.Status != survey.StatusUsed && m.Status != survey.StatusCheck {
			unsure[rec.Source]++
			continue
		}
		at := depthPoint{x.Point, rec.CoverM - measured, x.DepthSigmaM}
		handedIn[rec.Source] = append(handedIn[rec.Source], at)
		if c := e.profile(m.Record); x.Check && c != nil && c.Cover.Readings > 0 {
			readM, _ := c.Cover.At(m.StationM)
			at.differenceM += readM
			adjusted[rec.Source] = append(adjusted[rec.Source], at)
		}
	}
	slices.Sort(sources)
	var out []statement
	for _, source := range sources {
		st := stateVertical(source, stateHandedIn, handedIn[source], e.depthWithinWords(source))
		if n := unsure[source]; n > 0 {
			st.Notes = append(st.Notes, words.Count(n, "more is", "more are")+" on no record for sure and not counted.")
		}
		out = append(out, st)
		if held := adjusted[source]; len(held) > 0 {
			out = append(out, stateVertical(source, stateAdjusted, held, ""))
		}
	}
	return out
}

// coverOf is the measured cover in a hole: to the outside top of the line. NaN
// where its depth is to the centre of a line whose diameter nobody knows.
func coverOf(x *survey.Exposure, rec *survey.Record) float64 {
	if x.DepthTo == survey.DepthToTop {
		return x.DepthM
	}
	diameter := x.DiameterM
	if math.IsNaN(diameter) {
		diameter = rec.DiameterM
	}
	return x.DepthM - diameter/2
}

// depthWithinWords says what stands where there are too few holes in a source's lines
// for a statement.
func (e *edition) depthWithinWords(source string) string {
	within, judged := 0, 0
	for i := range e.Judgements {
		if e.Survey.Records[i].Source != source {
			continue
		}
		switch e.Judgements[i].Depth {
		case survey.VerdictWithin:
			within++
			judged++
		case survey.VerdictOutside, survey.VerdictUndecided:
			judged++
		}
	}
	if judged == 0 {
		return ""
	}
	return fmt.Sprintf(" Of %s with a cover on the map and depth readings %s have it within tolerance.", words.Count(judged, "record"), percent(float64(within), float64(judged)))
}

// stateVertical words what holes say of the covers of a data set.
func stateVertical(dataSet, state string, points []depthPoint, instead string) statement {
	s := statement{DataSet: dataSet, Quantity: quantityVertical, State: state, Points: len(points), Notes: []string{}}
	if len(points) < positional.NSSDAPoints {
		s.Notes = append(s.Notes, tooFew(len(points), "independent hole with a measured depth", "independent holes with a measured depth", instead))
		return s
	}
	var differences []float64
	var at []orb.Point
	survey2, unstated := 0.0, 0
	for i := range points {
		p := &points[i]
		differences, at = append(differences, p.differenceM), append(at, p.at)
		if !(p.sigmaM > 0) {
			unstated++
		}
		survey2 += p.sigmaM * p.sigmaM / float64(len(points))
	}
	z := positional.Describe(differences)
	s.RMSEz = finite(z.RMSE)
	s.NSSDA = fmt.Sprintf("Tested %.3f meters vertical accuracy at 95%% confidence level", positional.NSSDAVertical(z.RMSE))
	if why := noASPRS(len(points), unstated, "depth does", "depths do"); why != "" {
		s.Notes = append(s.Notes, why)
	} else {
		cm := 100 * positional.ASPRS2023(z.RMSE, math.Sqrt(survey2))
		s.ASPRS = fmt.Sprintf("This data set was tested to meet ASPRS Positional Accuracy Standards for Digital Geospatial Data, Edition 2 (2023) for a %.0f (cm) RMSEV vertical accuracy class. The tested vertical accuracy was found to be RMSEV = %.1f (cm)", math.Ceil(cm), cm)
	}
	s.Notes = append(s.Notes, groundAside)
	if z.Biased() {
		s.Notes = append(s.Notes, fmt.Sprintf("The mean, %+.3f m, points to an error that they have in common.", z.Mean))
	}
	if n := thinQuadrants(at); n > 0 {
		s.Notes = append(s.Notes, thinWords(n))
	}
	return s
}
