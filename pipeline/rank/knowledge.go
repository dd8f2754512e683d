package rank

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"strconv"

	"github.com/asfound/asfound/pipeline/survey"
)

// knowledge is what surveyed records tell of those that were not.
type knowledge struct {
	local, beside *local // of a record of which nothing was surveyed, or some
	strata        [len(factors)]map[string]float64
	shifts        []float64 // sizes of the surveyed sheets' shifts
	unread        map[float64]chance
	share         float64 // of the surveyed records that are outside
	ownM          float64 // what a record says of its sheet errs by
}

// factors are what strata of the local error are told apart by. Lengths count
// since a longer line has more places to be wrong at.
var factors = [...]struct {
	name string
	of   func(rec *survey.Record, lengthM float64) string
}{
	{"installed in the", func(rec *survey.Record, _ float64) string {
		if rec.Installed <= 0 {
			return ""
		}
		return strconv.Itoa(rec.Installed/10*10) + "s"
	}},
	{"material", func(rec *survey.Record, _ float64) string { return rec.Material }},
	{"quality", func(rec *survey.Record, _ float64) string { return rec.Quality }},
	{"utility", func(rec *survey.Record, _ float64) string { return rec.Utility }},
	{"length class", func(_ *survey.Record, lengthM float64) string {
		i, _ := slices.BinarySearch(lengthClasses[:], lengthM)
		if i == len(lengthClasses) {
			return fmt.Sprintf("from %g m", lengthClasses[i-1])
		}
		return fmt.Sprintf("below %g m", lengthClasses[i])
	}},
}

// lengthClasses are their bounds, metres; practice.
var lengthClasses = [...]float64{7, 12, 20, 40, 70, 150}

// mostRatio is how many times as often as elsewhere, or as seldom, a stratum may be
// outside; practice.
const mostRatio = 4

// learn draws what some surveyed records tell.
func learn(s *survey.Survey, sh *sheets, vs []*shown, limits []float64, o *Options) *knowledge {
	k := &knowledge{unread: map[float64]chance{}}
	var es, besides []ends
	var metres, besideMetres, owns []float64
	read := make([]bool, len(sh.all))
	for _, v := range vs {
		k.share += one(v.offset.beyond(v.limitM)) / float64(len(vs))
		if v.local != nil {
			es, metres = append(es, v.localEnds), append(metres, v.local...)
			owns = append(owns, math.Abs(mean(v.local)))
		}
		if v.beside != nil {
			besides, besideMetres = append(besides, v.besideEnds), append(besideMetres, v.beside...)
		}
		if i := sh.of[v.record]; i >= 0 && !read[i] {
			read[i] = true
			k.shifts = append(k.shifts, math.Hypot(sh.all[i].east, sh.all[i].north))
		}
	}
	slices.Sort(k.shifts)
	k.shifts = thin(k.shifts, thinned)
	scale := math.Hypot(o.OwnM, o.LocalM)
	k.ownM = spread(owns, o.OwnM)
	k.local, k.beside = newLocal(es, metres, scale, o.OwnNu), newLocal(besides, besideMetres, o.OwnM/2, o.OwnNu)
	for _, limit := range limits {
		k.unread[limit] = k.local.table(limit).unread(k.shifts, o)
		k.beside.table(limit)
	}
	k.stratify(s, sh, vs)
	return k
}

func mean(x []float64) float64 {
	sum := 0.0
	for _, v := range x {
		sum += v
	}
	return sum / float64(len(x))
}

// spread is a standard deviation that the few that are far off do not count in: the
// median of the absolute values over that of a normal distribution, with
// priorRecords at the prior one.
func spread(abs []float64, prior float64) float64 {
	for range priorRecords {
		abs = append(abs, 0.6745*prior)
	}
	slices.Sort(abs)
	return abs[len(abs)/2] / 0.6745
}

// priorOutside is how many records outside the expectation counts for beside those
// that were found; practice.
const priorOutside = 10

// stratify finds how many times as often as expected the records of every stratum
// are outside, factor by factor, each beyond those before it.
func (k *knowledge) stratify(s *survey.Survey, sh *sheets, vs []*shown) {
	expected := make([]float64, len(vs)) // with the factors so far
	for i, v := range vs {
		expected[i] = k.plain(v)
	}
	names := make([]string, len(vs))
	for f := range factors {
		for i, v := range vs {
			names[i] = factors[f].of(&s.Records[v.record], v.lengthM)
		}
		k.strata[f] = ratios(sh, vs, names, expected)
		for i := range vs {
			expected[i] = times(expected[i], k.strata[f][names[i]])
		}
	}
}

// count is the records of a stratum.
type count struct{ found, expected, variance float64 }

// ratios are found over expected for every stratum, drawn to each other as far as
// chance brings them apart. names and expected are those of the records.
func ratios(sh *sheets, vs []*shown, names []string, expected []float64) map[string]float64 {
	counts, all := map[string]count{}, count{}
	for i, v := range vs {
		found, p := one(v.offset.beyond(v.limitM)), expected[i]
		c := counts[names[i]]
		counts[names[i]] = count{c.found + found, c.expected + p, c.variance + p*(1-p)}
		all = count{all.found + found, all.expected + p, all.variance + p*(1-p)}
	}
	order := slices.Sorted(maps.Keys(counts))
	ratio, variance := make([]float64, len(order)), make([]float64, len(order))
	design := together(sh, vs, names, expected, counts)
	for i, name := range order {
		c := counts[name]
		e := max(c.expected, 1e-3)
		ratio[i], variance[i] = c.found/e, design*max(c.variance, 1e-3)/(e*e)
	}
	mean, shrunk := shrink(ratio, variance, chiSquare95(len(order)-1))
	centre := (mean*all.expected + priorOutside) / (all.expected + priorOutside)
	out := map[string]float64{}
	for i, name := range order {
		out[name] = min(max(shrunk[i]-mean+centre, 1.0/mostRatio), mostRatio)
	}
	return out
}

// together is the design effect: how many times the variance of a count is what it
// would be if records were outside one by one, and not sheet by sheet.
func together(sh *sheets, vs []*shown, names []string, expected []float64, counts map[string]count) float64 {
	type cluster struct {
		stratum string
		sheet   int
	}
	index := map[cluster]int{}
	var sums []float64
	variance := 0.0
	for i, v := range vs {
		in := cluster{names[i], sh.of[v.record]}
		if in.sheet < 0 {
			in.sheet = -1 - v.record
		}
		at, ok := index[in]
		if !ok {
			at = len(sums)
			index[in] = at
			sums = append(sums, 0)
		}
		c := counts[names[i]]
		sums[at] += one(v.offset.beyond(v.limitM)) - expected[i]*c.found/max(c.expected, 1e-3)
		variance += expected[i] * (1 - expected[i])
	}
	squares := 0.0
	for _, d := range sums {
		squares += d * d
	}
	if !(variance > 0) {
		return 1
	}
	return max(squares/variance, 1)
}

// ratio is a record's strata together.
func (k *knowledge) ratio(rec *survey.Record, lengthM float64) float64 {
	r := 1.0
	for f := range factors {
		if v, ok := k.strata[f][factors[f].of(rec, lengthM)]; ok {
			r *= v
		}
	}
	return r
}

// times multiplies the odds of a probability.
func times(p, ratio float64) float64 { return p * ratio / (1 - p + p*ratio) }

// plain is the probability that a surveyed record is outside, by its sheet's shift
// without it and the local errors of all.
func (k *knowledge) plain(v *shown) float64 {
	if v.alone {
		return k.unread[v.limitM].outside
	}
	return k.local.tables[v.limitM].over(v.sheet).outside
}

// promise is the probability that a surveyed record is outside, by all others.
func (k *knowledge) promise(rec *survey.Record, v *shown) float64 {
	return k.doubted(times(k.plain(v), k.ratio(rec, v.lengthM)))
}

// promiseSheet is the same with its whole sheet left out.
func (k *knowledge) promiseSheet(rec *survey.Record, v *shown) float64 {
	return k.doubted(times(k.unread[v.limitM].outside, k.ratio(rec, v.lengthM)))
}

// chiSquare95 is what chance brings a sum of squares to in 95 cases of 100 (Wilson
// and Hilferty 1931).
func chiSquare95(df int) float64 {
	if df < 1 {
		return math.Inf(1)
	}
	v := 2 / (9 * float64(df))
	return float64(df) * math.Pow(1-v+1.6449*math.Sqrt(v), 3)
}

// doubt is the share of records of which the model is wrong as a whole: a sheet's shift
// that is its session's, readings given to the wrong lines. Nothing that the model
// left out can show in it; practice, of the order that made-up towns show.
const doubt = 0.07

// doubted allows a probability for that: such a record is like any other.
func (k *knowledge) doubted(p float64) float64 { return (1-doubt)*p + doubt*k.share }
