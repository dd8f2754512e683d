package judge

import (
	"cmp"
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"

	"github.com/asfound/asfound/internal/spatial"
	"github.com/asfound/asfound/internal/words"
	"github.com/asfound/asfound/pipeline/survey"
	"github.com/paulmach/orb"
)

// What covers look like: most are recorded right to a decimetre or two, some are
// anything; a few sheets have one mistake in all of them. Common practice, no source.
const (
	coverGoodM   = 0.12 // standard deviation of a cover recorded right
	coverFarM    = 0.6  // and of one that is not
	coverFar     = 0.1  // share of those
	commonM      = 0.5  // of what covers may have in common otherwise
	mistakeShare = 0.02 // of sheets, each mistake
	commonShare  = 0.03
	patternFrom  = 3    // covers of a sheet, at least
	patternSure  = 0.9  // probability that there is one, from which on it is named
	worthSaying  = 0.1  // and what else it may be
	tellsU       = 0.25 // a difference that is less sure tells nothing of a sheet
)

// coverMistake is a mistake that all covers of a sheet may have.
type coverMistake struct {
	words string
	// differs is true cover minus recorded one, of a record.
	differs func(recordedM, diameterM float64) float64
}

// timesTrue is a mistake of units: the truth is so many times what is recorded.
func timesTrue(factor float64) func(recordedM, _ float64) float64 {
	return func(recordedM, _ float64) float64 { return (factor - 1) * recordedM }
}

// lessTrue is a mistake of the point: the truth is so many diameters less.
func lessTrue(diameters float64) func(_, diameterM float64) float64 {
	return func(_, diameterM float64) float64 { return -diameters * diameterM }
}

// 1 ft is 0.3048 m and 1 in 2.54 cm by definition.
var coverMistakes = []coverMistake{
	{"feet where the map has metres", timesTrue(0.3048)},
	{"metres where the map has feet", timesTrue(1 / 0.3048)},
	{"inches where the map has centimetres", timesTrue(2.54)},
	{"centimetres where the map has inches", timesTrue(1 / 2.54)},
	{"depths to the invert, a diameter more than the cover", lessTrue(1)},
	{"depths to the centre, half a diameter more than the cover", lessTrue(0.5)},
	{"covers where the map has depths to the invert, a diameter less than those", lessTrue(-1)},
	{"covers where the map has depths to the centre, half a diameter less than those", lessTrue(-0.5)},
}

// toldCover is a record whose cover the readings tell well enough.
type toldCover struct {
	record, readings int
	differs, u       float64
	at               orb.Point
	under            bool // of a pattern already
}

// coverPatterns are the mistakes that a sheet's covers have in common, and the
// places where all covers differ alike.
func coverPatterns(s *survey.Survey, m *survey.Model) []survey.Finding {
	told := toldCovers(s, m)
	bySheet := map[string][]*toldCover{}
	for i := range told {
		if name := s.Records[told[i].record].Sheet; name != "" {
			bySheet[name] = append(bySheet[name], &told[i])
		}
	}
	var out []survey.Finding
	for _, name := range slices.Sorted(maps.Keys(bySheet)) {
		if f, ok := sheetPattern(s, name, bySheet[name]); ok {
			out = append(out, f)
		}
	}
	return append(out, regraded(s, told)...)
}

// explainDepths adds patterns to the findings, and to those of the depths under
// them what they look like.
func explainDepths(findings, patterns []survey.Finding) []survey.Finding {
	of := map[int]*survey.Finding{}
	for i := range patterns {
		for _, r := range patterns[i].Records {
			of[r] = &patterns[i]
		}
	}
	for i := range findings {
		if p := of[findings[i].Record]; p != nil && findings[i].Kind == survey.KindDepth {
			findings[i].Sentence += " " + p.Sentence
			if p.Attribution == survey.AttributionNone && findings[i].Attribution == survey.AttributionRecord {
				findings[i].Attribution = survey.AttributionInseparable
			}
		}
	}
	return append(findings, patterns...)
}

// toldCovers lists them by the records' keys.
func toldCovers(s *survey.Survey, m *survey.Model) []toldCover {
	var out []toldCover
	for _, r := range s.ByKey() {
		if c := &m.Profiles[r].Cover; !math.IsNaN(s.Records[r].CoverM) && c.Readings > 0 && c.U <= tellsU {
			out = append(out, toldCover{record: r, readings: c.Readings, differs: c.DifferenceM, u: c.U, at: s.Records[r].Parts.Bound().Center()})
		}
	}
	return out
}

// likely is the log density of a difference where the covers have mu in common.
func (c *toldCover) likely(mu float64) float64 {
	d, u2 := c.differs-mu, c.u*c.u
	normal := func(scale float64) float64 {
		v := scale*scale + u2
		return math.Exp(-d*d/(2*v)) / math.Sqrt(2*math.Pi*v)
	}
	return math.Log((1-coverFar)*normal(coverGoodM) + coverFar*normal(coverFarM))
}

// inCommon is the log likelihood of covers that have something in common, of
// standard deviation commonM, and its mean.
func inCommon(cs []*toldCover) (log, mean float64) {
	const steps, reach = 120, 3
	var logs [2*steps + 1]float64
	top := math.Inf(-1)
	for k := range logs {
		z := reach * float64(k-steps) / steps
		logs[k] = -z*z/2 - math.Log(math.Sqrt(2*math.Pi)*steps/reach)
		for _, c := range cs {
			logs[k] += c.likely(commonM * z)
		}
		top = max(top, logs[k])
	}
	sum := 0.0
	for k := range logs {
		p := math.Exp(logs[k] - top)
		sum += p
		mean += p * commonM * reach * float64(k-steps) / steps
	}
	return top + math.Log(sum), mean / sum
}

// sheetPattern is the mistake that a sheet's covers have in common, if one is far
// likelier than none.
func sheetPattern(s *survey.Survey, name string, cs []*toldCover) (survey.Finding, bool) {
	if len(cs) < patternFrom {
		return survey.Finding{}, false
	}
	none := math.Log(1 - float64(len(coverMistakes))*mistakeShare - commonShare)
	for _, c := range cs {
		none += c.likely(0)
	}
	common, _ := inCommon(cs)
	logs := []float64{none, common + math.Log(commonShare)}
	for i := range coverMistakes {
		log := math.Log(mistakeShare)
		for _, c := range cs {
			rec := &s.Records[c.record]
			mu := coverMistakes[i].differs(rec.CoverM, rec.DiameterM)
			if math.IsNaN(mu) {
				mu = 0
			}
			log += c.likely(mu)
		}
		logs = append(logs, log)
	}
	shares := sharesOf(logs)
	if 1-shares[0] < patternSure {
		return survey.Finding{}, false
	}
	sum := 0.0
	for _, c := range cs {
		c.under = true
		sum += c.differs / float64(len(cs))
	}
	looks, p := patternWords(shares[1:], sum)
	f := patternOf(s, cs, sum, p)
	f.Sheet, f.Attribution = name, survey.AttributionRecord
	f.Sentence = fmt.Sprintf("The covers of sheet %s look like %s: %s of it differ from the readings, by %+.2f m on average. This data attributes the difference to the record.",
		name, looks, words.Count(len(cs), "surveyed record"), sum)
	return f, true
}

// patternWords says what covers look like, the likeliest first, and how likely
// that is; the first share is of something in common that is none of the mistakes.
func patternWords(shares []float64, differs float64) (looks string, p float64) {
	like := make([]int, len(shares))
	for i := range like {
		like[i] = i
	}
	slices.SortStableFunc(like, func(a, b int) int { return cmp.Compare(shares[b], shares[a]) })
	var said []string
	for _, i := range like {
		if i != like[0] && shares[i] < worthSaying {
			break
		}
		what := fmt.Sprintf("those of a surface %.2f m %s than now, or otherwise measured", math.Abs(differs), map[bool]string{true: "lower", false: "higher"}[differs > 0])
		if i > 0 {
			what = coverMistakes[i-1].words
		}
		said = append(said, fmt.Sprintf("%s (probability %.2f)", what, shares[i]))
	}
	return strings.Join(said, ", or "), shares[like[0]]
}

// sharesOf are the shares of log likelihoods.
func sharesOf(logs []float64) []float64 {
	top, sum := slices.Max(logs), 0.0
	out := make([]float64, len(logs))
	for i, l := range logs {
		out[i] = math.Exp(l - top)
		sum += out[i]
	}
	for i := range out {
		out[i] /= sum
	}
	return out
}

func patternOf(s *survey.Survey, cs []*toldCover, meanM, p float64) survey.Finding {
	f := survey.Finding{Kind: survey.KindCoverPattern, Record: -1, Verdict: survey.VerdictOutside, OffsetM: meanM, Probability: p}
	f.Utility = s.Records[cs[0].record].Utility
	for _, c := range cs {
		f.Line = append(f.Line, s.Records[c.record].Parts...)
		f.Readings += c.readings
		f.Records = append(f.Records, c.record)
		if s.Records[c.record].Utility != f.Utility {
			f.Utility = ""
		}
	}
	return f
}

// Where a surface was regraded the covers of all that lies under it differ alike,
// whatever the utility and the sheet. Common practice, no source.
const (
	regradedM     = 50   // around a record, what may lie under one regraded surface
	regradedFrom  = 4    // records
	regradedShare = 0.01 // of places
	regradedLeast = 0.2  // metres
	fitsM         = 0.3  // a cover that has the common difference
)

// regraded are the places where the covers differ alike over utilities and
// sheets, the surest first.
func regraded(s *survey.Survey, told []toldCover) []survey.Finding {
	points := make([]spatial.Segment, len(told))
	for i := range told {
		points[i] = spatial.Segment{A: told[i].at, B: told[i].at}
	}
	index := spatial.New(points, regradedM)
	type place struct {
		covers      []*toldCover
		shift, sure float64
	}
	var places []place
	var near []int32
	for i := range told {
		c := &told[i]
		if c.under || math.Abs(c.differs) < regradedLeast {
			continue
		}
		var around []*toldCover
		near = index.Within(c.at, regradedM, near)
		for _, k := range near {
			if o := &told[k]; !o.under {
				around = append(around, o)
			}
		}
		if shift, sure := regradedBy(s, around); sure >= patternSure && math.Abs(shift) >= regradedLeast {
			places = append(places, place{around, shift, sure})
		}
	}
	slices.SortStableFunc(places, func(a, b place) int { return cmp.Compare(b.sure, a.sure) })
	var out []survey.Finding
	for _, p := range places {
		p.covers = slices.DeleteFunc(p.covers, func(c *toldCover) bool { return c.under || math.Abs(c.differs-p.shift) > fitsM })
		if len(p.covers) < regradedFrom {
			continue
		}
		utilities, sheets := kindsOf(s, p.covers)
		for _, c := range p.covers {
			c.under = true
		}
		f := patternOf(s, p.covers, p.shift, p.sure)
		f.Sentence = fmt.Sprintf("%d surveyed records of %s and %s within %d m differ alike, by %+.2f m of cover: a surface that was %s since is the likely cause (probability %.2f), not the records.",
			len(p.covers), words.Count(utilities, "utility", "utilities"), words.Count(sheets, "sheet"), regradedM, p.shift, map[bool]string{true: "raised", false: "lowered"}[p.shift > 0], p.sure)
		out = append(out, f)
	}
	return out
}

// regradedBy is by how much the covers of a place differ alike, and how likely it
// is that a surface is behind it: every utility and every sheet left out, the rest
// must say so too.
func regradedBy(s *survey.Survey, cs []*toldCover) (shift, sure float64) {
	utilities, sheets := kindsOf(s, cs)
	if utilities < 2 || sheets < 2 {
		return 0, 0
	}
	odds := func(cs []*toldCover) (log, mean float64) {
		none := 0.0
		for _, c := range cs {
			none += c.likely(0)
		}
		common, mean := inCommon(cs)
		return common - none, mean
	}
	least, shift := odds(cs)
	least += math.Log(regradedShare / (1 - regradedShare))
	left := map[[2]string]bool{} // utility and sheet, out already
	for _, c := range cs {
		out := &s.Records[c.record]
		if left[[2]string{out.Utility, out.Sheet}] {
			continue
		}
		left[[2]string{out.Utility, out.Sheet}] = true
		rest := slices.DeleteFunc(slices.Clone(cs), func(o *toldCover) bool {
			r := &s.Records[o.record]
			return r.Utility == out.Utility || r.Sheet == out.Sheet
		})
		without, _ := odds(rest)
		least = min(least, without+math.Log(0.5)) // some support, beyond what one of two shares by chance
	}
	return shift, 1 / (1 + math.Exp(-least))
}

func kindsOf(s *survey.Survey, cs []*toldCover) (utilities, sheets int) {
	u, k := map[string]bool{}, map[string]bool{}
	for _, c := range cs {
		u[s.Records[c.record].Utility], k[s.Records[c.record].Sheet] = true, true
	}
	return len(u), len(k)
}
