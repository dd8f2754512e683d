package publish

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"github.com/paulmach/orb"

	positional "github.com/asfound/asfound/internal/estimate/accuracy"
	"github.com/asfound/asfound/internal/lineref"
	"github.com/asfound/asfound/internal/words"
	"github.com/asfound/asfound/pipeline/survey"
)

// statement is what independent points say of the positions of one data set.
//
// Points are surveyed fittings: each can be told from all others, so that it
// tells of both coordinates, and is known by its id, so that none is left out for
// lying far off. The map as it was handed in owes nothing to a survey of this job:
// all surveyed fittings are independent of it. Of the proposed lines only those
// are that were held out of the adjustment, and whose positions come from another
// source than the readings'. Places along a line tell of one coordinate: they make
// no horizontal accuracy in the words of a standard.
type statement struct {
	DataSet  string   `json:"data_set"`
	Quantity string   `json:"quantity"`
	State    string   `json:"state"` // handed in, or proposed
	Points   int      `json:"points"`
	NSSDA    string   `json:"nssda"` // in the standard's words; "" where there is none
	ASPRS    string   `json:"asprs"`
	RMSEx    *float64 `json:"rmse_east_m"`
	RMSEy    *float64 `json:"rmse_north_m"`
	RMSEz    *float64 `json:"rmse_vertical_m"`
	Notes    []string `json:"notes"`
}

const (
	quantityHorizontal = "horizontal"
	quantityVertical   = "vertical"
)

const (
	stateHandedIn = "as handed in"
	stateProposed = "as proposed"
	sharedSource  = "the source of their positions is one that readings have, or may have where none is named."
)

// checkPoint is one surveyed fitting: map less survey, and where it is.
type checkPoint struct {
	at          orb.Point
	east, north float64 // true, ground metres
	sigmaM      float64 // stated, of the check survey
}

// statements are those of each source of fittings, as handed in and as proposed,
// and of held-out places across their lines.
func (e *edition) statements() []statement {
	handedIn, proposed := map[string][]checkPoint{}, map[string][]checkPoint{}
	shared := map[string]int{}
	byID := e.Survey.FittingsByID()
	met, evidence := map[string]bool{}, map[string]bool{}
	for i := range e.Survey.Exposures {
		if x := &e.Survey.Exposures[i]; !x.Check {
			evidence[x.Fitting] = true
		}
	}
	for i := range e.Survey.Exposures {
		x := &e.Survey.Exposures[i]
		f := byID[x.Fitting]
		if x.Fitting == "" || f == nil || met[x.Fitting] {
			continue
		}
		met[x.Fitting] = true
		handedIn[f.Source] = append(handedIn[f.Source], difference(f.Point, x))
		switch {
		case evidence[x.Fitting]: // by this survey of it or another
		case e.readWith(x.Positions):
			shared[f.Source]++
		default:
			proposed[f.Source] = append(proposed[f.Source], difference(e.proposedPlace(f.Point, &e.ExposureMatches[i]), x))
		}
	}
	var out []statement
	for _, source := range sources(e.Survey.Fittings) {
		out = append(out, state(source, stateHandedIn, handedIn[source], e.withinWords()))
		if len(proposed[source])+shared[source] == 0 {
			continue
		}
		st := state(source, stateProposed, proposed[source], "")
		if n := shared[source]; n > 0 {
			st.Notes = append(st.Notes, words.Count(n, "held-out point")+" not counted: "+sharedSource)
		}
		out = append(out, st)
	}
	return out
}

func sources(fs []survey.Fitting) []string {
	var out []string
	for i := range fs {
		if !slices.Contains(out, fs[i].Source) {
			out = append(out, fs[i].Source)
		}
	}
	return out
}

// readWith says whether some trace has its positions from a source; what is not
// named may be the same.
func (e *edition) readWith(positions string) bool {
	return positions == "" || slices.ContainsFunc(e.Survey.Traces, func(t survey.Trace) bool { return t.Positions == positions || t.Positions == "" })
}

func difference(at orb.Point, x *survey.Exposure) checkPoint {
	scale := x.Scale
	if !(scale > 0) {
		scale = 1
	}
	east, north := survey.True(orb.Point{(at[0] - x.Point[0]) / scale, (at[1] - x.Point[1]) / scale}, x.Convergence)
	return checkPoint{at, east, north, x.SigmaM}
}

// proposedPlace is where the proposed line of a record has a point that the map
// draws on it: it moves as the vertices around it do.
func (e *edition) proposedPlace(at orb.Point, m *survey.Match) orb.Point {
	c := e.correction(m.Record)
	if c == nil {
		return at
	}
	rec := &e.Survey.Records[m.Record]
	line := lineref.New(rec.Parts, rec.Scale)
	part, drawn := &c.Parts[m.Part], rec.Parts[m.Part]
	stations := line.Stations(m.Part)
	move := func(vertex int) (dx, dy float64) {
		for k, from := range part.From {
			if from == vertex {
				return part.Line[k][0] - drawn[vertex][0], part.Line[k][1] - drawn[vertex][1]
			}
		}
		return 0, 0
	}
	t := 0.0
	if length := stations[m.Segment+1] - stations[m.Segment]; length > 0 {
		t = min(max((m.StationM-stations[m.Segment])/length, 0), 1)
	}
	ax, ay := move(m.Segment)
	bx, by := move(m.Segment + 1)
	return orb.Point{at[0] + ax + t*(bx-ax), at[1] + ay + t*(by-ay)}
}

// withinWords says what stands where there are too few points for a statement.
func (e *edition) withinWords() string {
	within, covered := 0.0, 0.0
	for i := range e.Judgements {
		within, covered = within+e.Judgements[i].WithinM, covered+e.Judgements[i].CoveredM
	}
	if covered == 0 {
		return ""
	}
	return fmt.Sprintf(" Of the surveyed length %s lies within tolerance.", percent(within, covered))
}

// heldOutWords say how the proposed lines pass by traces that were held out.
func (e *edition) heldOutWords() string {
	h := e.HeldOut
	if h == nil {
		return ""
	}
	return fmt.Sprintf("Without %s (%s, %s on %s that other sessions read too) lines were proposed once more: of what these traces read %s lies within tolerance of the map as handed in, %s of those lines. Traces that walk where others did are no random sample.",
		words.Count(h.Traces, "trace"), words.Count(h.Readings, "reading"), lengthWords(h.LengthM), words.Count(h.Records, "record"), percent(h.BeforeM, h.LengthM), percent(h.AfterM, h.LengthM))
}

// state words what points say of a data set; instead follows where there are too
// few of them.
func state(dataSet, state string, points []checkPoint, instead string) statement {
	s := statement{DataSet: dataSet, Quantity: quantityHorizontal, State: state, Points: len(points), Notes: []string{}}
	var east, north []float64
	var at []orb.Point
	survey2, unstated := 0.0, 0
	for i := range points {
		p := &points[i]
		east, north, at = append(east, p.east), append(north, p.north), append(at, p.at)
		if !(p.sigmaM > 0) {
			unstated++
		}
		survey2 += 2 * p.sigmaM * p.sigmaM / float64(len(points))
	}
	if len(points) < positional.NSSDAPoints {
		s.Notes = append(s.Notes, tooFew(len(points), "independent point", "independent points", instead))
		return s
	}
	x, y := positional.Describe(east), positional.Describe(north)
	s.RMSEx, s.RMSEy = finite(x.RMSE), finite(y.RMSE)
	if v, ok := positional.NSSDA(x.RMSE, y.RMSE); ok {
		s.NSSDA = fmt.Sprintf("Tested %.3f meters horizontal accuracy at 95%% confidence level", v)
	} else {
		s.Notes = append(s.Notes, fmt.Sprintf("No NSSDA statement: the smaller RMSE is %.2f of the larger, and appendix 3-A has no formula under 0.6.", min(x.RMSE, y.RMSE)/max(x.RMSE, y.RMSE)))
	}
	if why := noASPRS(len(points), unstated, "point does", "points do"); why != "" {
		s.Notes = append(s.Notes, why)
	} else {
		cm := 100 * positional.ASPRS2023(positional.RMSER(x.RMSE, y.RMSE), math.Sqrt(survey2))
		s.ASPRS = fmt.Sprintf("This data set was tested to meet ASPRS Positional Accuracy Standards for Digital Geospatial Data, Edition 2 (2023) for a %.0f (cm) RMSEH horizontal positional accuracy class. The tested horizontal positional accuracy was found to be RMSEH = %.1f (cm)", math.Ceil(cm), cm)
	}
	if x.Biased() || y.Biased() {
		s.Notes = append(s.Notes, fmt.Sprintf("The means, %+.3f m east and %+.3f m north, point to a shift of the data set as a whole.", x.Mean, y.Mean))
	}
	if n := thinQuadrants(at); n > 0 {
		s.Notes = append(s.Notes, thinWords(n))
	}
	return s
}

// tooFew says that points are too few for a statement; instead follows.
func tooFew(n int, one, many, instead string) string {
	return fmt.Sprintf("%s: NSSDA asks for %d, ASPRS edition 2 for %d. No statement is made in their words.%s",
		words.Count(n, one, many), positional.NSSDAPoints, positional.ASPRS2023Points, instead)
}

// noASPRS says why there is no statement in the words of ASPRS; "" where there is one.
func noASPRS(points, unstated int, one, many string) string {
	switch {
	case points < positional.ASPRS2023Points:
		return fmt.Sprintf("No ASPRS statement: edition 2 asks for %d points.", positional.ASPRS2023Points)
	case unstated > 0:
		return fmt.Sprintf("No ASPRS statement: edition 2 adds the error of the check survey, which %s not state.", words.Count(unstated, one, many))
	}
	return ""
}

func thinWords(n int) string {
	return fmt.Sprintf("In %s of the points' extent lie fewer than 20 %% of them: NSSDA appendix 3-C asks for that (recalled).", words.Count(n, "quadrant"))
}

// thinQuadrants counts the quadrants of the points' extent that hold fewer than a
// fifth of them.
func thinQuadrants(points []orb.Point) int {
	box := orb.MultiPoint(points).Bound()
	var counts [4]int
	for _, p := range points {
		k := 0
		if p[0] > box.Center()[0] {
			k++
		}
		if p[1] > box.Center()[1] {
			k += 2
		}
		counts[k]++
	}
	thin := 0
	for _, n := range counts {
		if 5*n < len(points) {
			thin++
		}
	}
	return thin
}

// acrossLines says, in one dimension, how far held-out places along lines lie from
// the map and from the proposed lines; "" where there are none.
func (e *edition) acrossLines() string {
	before, after, unsure, shared := e.heldOut()
	switch {
	case len(before) == 0 && shared > 0:
		return words.Count(shared, "held-out place") + " along lines not counted: " + sharedSource
	case len(before) == 0:
		return ""
	}
	b, a := positional.Describe(before).RMSE, positional.Describe(after).RMSE
	text := fmt.Sprintf("At %s that the adjustment did not have, lines lie off by %.2f m as handed in and by %.2f m as proposed (root mean square across the line; 95 %% in one dimension: %.2f m and %.2f m).",
		words.Count(len(before), "exposed place"), b, a, positional.Factor95Linear*b, positional.Factor95Linear*a)
	if unsure > 0 {
		text += fmt.Sprintf(" %s on no record for sure and not counted.", words.Count(unsure, "more is", "more are"))
	}
	return text
}

// heldOut are the offsets of held-out places along lines, from the record as it was
// handed in and from its proposed line, and how many could not be used: on no record
// for sure, and with positions that readings share.
func (e *edition) heldOut() (before, after []float64, unsure, shared int) {
	for i := range e.Survey.Exposures {
		x := &e.Survey.Exposures[i]
		if !x.Check || x.Fitting != "" || i >= len(e.ExposureMatches) {
			continue
		}
		m := &e.ExposureMatches[i]
		switch {
		case m.Status != survey.StatusCheck:
			unsure++
			continue
		case e.readWith(x.Positions):
			shared++
			continue
		}
		rec := &e.Survey.Records[m.Record]
		line := lineref.New(rec.Parts, rec.Scale)
		was, _ := line.Nearest(x.Point)
		is := was
		if c := e.correction(m.Record); c != nil {
			parts := make(orb.MultiLineString, len(c.Parts))
			for k := range c.Parts {
				parts[k] = c.Parts[k].Line
			}
			moved := lineref.New(parts, rec.Scale)
			is, _ = moved.Nearest(x.Point)
		}
		before, after = append(before, was.OffsetM), append(after, is.OffsetM)
	}
	return before, after, unsure, shared
}

// accuracyFacts are the statements in words, a line each.
func (e *edition) accuracyFacts() []fact {
	var out []fact
	for _, s := range e.accuracy {
		f := fact{Name: fmt.Sprintf("%s accuracy of %s, %s", strings.ToUpper(s.Quantity[:1])+s.Quantity[1:], s.DataSet, s.State), Source: words.Count(s.Points, "independent point")}
		for _, said := range []string{s.NSSDA, s.ASPRS} {
			if said != "" {
				f.Value += said + ". "
			}
		}
		if s.NSSDA != "" {
			f.Source += "; FGDC-STD-007.3-1998 (NSSDA), appendix 3-A, wording recalled"
		}
		if s.ASPRS != "" {
			f.Source += "; ASPRS Positional Accuracy Standards, edition 2 (2023), wording recalled"
		}
		f.Value += strings.Join(s.Notes, " ")
		out = append(out, f)
	}
	if text := e.heldOutWords(); text != "" {
		out = append(out, fact{Name: "Share within tolerance, by held-out traces", Value: text})
	}
	if e.across != "" {
		out = append(out, fact{Name: "Accuracy across lines", Value: e.across})
	}
	return out
}
