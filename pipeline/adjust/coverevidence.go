package adjust

import (
	"cmp"
	"fmt"
	"maps"
	"math"
	"slices"

	"github.com/asfound/asfound/internal/estimate"
	"github.com/asfound/asfound/internal/words"
	"github.com/asfound/asfound/pipeline/survey"
)

// coverEvidence is what the depth readings and exposures of a job say.
type coverEvidence struct {
	obs       []coverObs
	passes    []pass
	receivers int
	depthM    []float64      // per record: sum of the depths read
	depths    []int          // and how many
	skipped   map[string]int // depths that could not be compared, by the reason
}

// notes tell the reasons, the most frequent first.
func (g *coverEvidence) notes() []string {
	var out []string
	whys := slices.SortedFunc(maps.Keys(g.skipped), func(a, b string) int {
		return cmp.Or(cmp.Compare(g.skipped[b], g.skipped[a]), cmp.Compare(a, b))
	})
	for _, why := range whys {
		out = append(out, fmt.Sprintf("%s not compared with a recorded cover: %s.", words.Count(g.skipped[why], "depth reading"), why))
	}
	return out
}

const noCover = "the record has no cover, or a depth that could not be taken to one"

// phi is how much the depths read on a record err per unit of the ratio of two
// coils' signals: d = s B2/(B1 - B2), coils s apart, gives d (d + s)/s. It is of
// the record's mean depth: with each reading's own, the ups and downs of the true
// line would pass for an error of the receiver.
func (g *coverEvidence) phi(record int, o Options) float64 {
	if g.depths[record] == 0 {
		return o.perRatio(o.DefaultDepthM)
	}
	return o.perRatio(g.depthM[record] / float64(g.depths[record]))
}

func (o *Options) perRatio(depthM float64) float64 {
	return depthM * (depthM + o.DepthCoilsM) / o.DepthCoilsM
}

// coverBinM is how far apart readings of one walk must lie to count on their own:
// nearer ones are taken together by their median.
const coverBinM = 5

// coverReading is one depth reading on its record.
type coverReading struct {
	record, bin                              int
	stationM, depthM, valueM, sigmaM, ratioU float64
	coils                                    bool
}

// recorded is the cover that a record's differences are to: none where none is
// recorded.
func recorded(rec *survey.Record) float64 {
	if math.IsNaN(rec.CoverM) {
		return 0
	}
	return rec.CoverM
}

// gatherCovers lists the depth readings that coverOf can take to a cover. each gets
// every reading's own difference to a recorded cover, out how many there are of a
// record and what their conversion errs by.
func gatherCovers(s *survey.Survey, matches [][]survey.Match, exposed []survey.Match, n *network, o Options, each [][]float32, out []survey.Cover) *coverEvidence {
	g := &coverEvidence{depthM: make([]float64, len(s.Records)), depths: make([]int, len(s.Records)), skipped: map[string]int{}}
	receivers := map[[2]string]int{}
	var rs []coverReading
	for _, t := range s.ByID() {
		tr := &s.Traces[t]
		rs = rs[:0]
		for i := range tr.Readings {
			m, rd := &matches[t][i], &tr.Readings[i]
			if m.Status != survey.StatusUsed && m.Status != survey.StatusSonde || math.IsNaN(rd.DepthM) {
				continue
			}
			rec := &s.Records[m.Record]
			cover, u, why := coverOf(rd, rec)
			if why != "" {
				g.skipped[why]++
				continue
			}
			inflate := max(m.Inflate, 1)
			r := coverReading{
				record: m.Record, bin: int(m.StationM / coverBinM), stationM: m.StationM, depthM: rd.DepthM, valueM: cover - recorded(rec),
				sigmaM: o.DepthMinM, ratioU: m.RatioU, coils: rd.DepthTo != survey.DepthToTop || rd.Mode == survey.ModeActive,
			}
			if r.coils {
				r.sigmaM = inflate * math.Hypot(o.DepthMinM, o.DepthNoise*o.perRatio(rd.DepthM))
			}
			rs = append(rs, r)
			if math.IsNaN(rec.CoverM) {
				g.skipped[noCover]++
			} else {
				each[t][i] = float32(r.valueM)
			}
			out[m.Record].Readings++
			out[m.Record].U = max(out[m.Record].U, u)
		}
		if len(rs) == 0 {
			continue
		}
		key := [2]string{tr.Crew, tr.Receiver}
		if tr.Receiver == "" {
			key[1] = tr.Session
		}
		if _, ok := receivers[key]; !ok {
			receivers[key] = len(receivers)
		}
		g.addWalk(rs, receivers[key], n, o)
	}
	g.receivers = len(receivers)
	g.addExposures(s, exposed, o, out)
	return g
}

// addWalk adds what one walk's readings say, record by record and place by place.
func (g *coverEvidence) addWalk(rs []coverReading, receiver int, n *network, o Options) {
	slices.SortFunc(rs, func(a, b coverReading) int {
		return cmp.Or(cmp.Compare(n.rank[a.record], n.rank[b.record]), cmp.Compare(a.bin, b.bin), cmp.Compare(a.stationM, b.stationM), cmp.Compare(a.valueM, b.valueM))
	})
	for from := 0; from < len(rs); {
		record, to, square := rs[from].record, from, 0.0
		for ; to < len(rs) && rs[to].record == record; to++ {
			square += rs[to].ratioU * rs[to].ratioU
			g.depthM[record] += rs[to].depthM
			g.depths[record]++
		}
		beside := square / float64(to-from)
		g.passes = append(g.passes, pass{receiver: receiver, spread: math.Sqrt(o.DepthWalk*o.DepthWalk + beside)})
		for ; from < to; from++ {
			last := from
			for last+1 < to && rs[last+1].bin == rs[from].bin {
				last++
			}
			g.obs = append(g.obs, together(rs[from:last+1], len(g.passes)-1))
			from = last
		}
	}
}

// together is several readings at one place as one: their median, whose standard
// deviation is sqrt(pi/2) times the mean's (Kenney and Keeping 1962, section 14.9, recalled).
func together(rs []coverReading, pass int) coverObs {
	values, sigmas, station := make([]float64, len(rs)), make([]float64, len(rs)), 0.0
	for i := range rs {
		values[i], sigmas[i] = rs[i].valueM, rs[i].sigmaM
		station += rs[i].stationM / float64(len(rs))
	}
	sigma := estimate.Median(sigmas)
	if len(rs) > 1 {
		sigma *= math.Sqrt(math.Pi / 2 / float64(len(rs)))
	}
	if !rs[0].coils {
		pass = -1
	}
	return coverObs{record: rs[0].record, pass: pass, stationM: station, value: estimate.Median(values), sigma: sigma, weight: 1}
}

// addExposures adds the exposures that tell a cover: the depth to the top of the
// line, measured in the hole, with no receiver in it.
func (g *coverEvidence) addExposures(s *survey.Survey, exposed []survey.Match, o Options, out []survey.Cover) {
	if len(exposed) == 0 {
		return
	}
	for _, i := range byPlace(s.Exposures) {
		m, e := &exposed[i], &s.Exposures[i]
		if m.Status != survey.StatusUsed || e.DepthTo != survey.DepthToTop || math.IsNaN(e.DepthM) {
			continue
		}
		out[m.Record].Readings++
		g.obs = append(g.obs, coverObs{
			record: m.Record, pass: -1, stationM: m.StationM, value: e.DepthM - recorded(&s.Records[m.Record]), sigma: o.DepthMinM, weight: 1,
		})
	}
}

// The outside diameter is the recorded one but for this share of it, one standard
// deviation: whether it is the nominal, the inside or the outside one is seldom
// said. Common practice, no source.
const diameterShare = 0.05

// coverOf turns a depth reading into cover over the outside top of a record's
// line, with what the conversion errs by (one standard deviation), or says why it
// cannot:
//
//	exposed top           as it is
//	centre of the signal  of a pipe less half its diameter; a tracer wire lies on
//	                      the pipe, or slipped down beside it, at most to its middle
//	sonde                 anywhere in the bore: less half the diameter
//
// What may lie anywhere within a length has its standard deviation over sqrt 12.
func coverOf(rd *survey.Reading, rec *survey.Record) (coverM, u float64, why string) {
	d := rec.DiameterM
	if rd.DepthTo == survey.DepthToTop {
		return rd.DepthM, 0, ""
	}
	if rec.Conductor == survey.ConductorWire && rd.DepthTo == survey.DepthToCentre {
		if math.IsNaN(d) {
			d = 0
		}
		return rd.DepthM, d / 2 / math.Sqrt(12), ""
	}
	if math.IsNaN(d) {
		return math.NaN(), math.NaN(), "no diameter is recorded that would take the depth to the top of the line"
	}
	u = diameterShare * d / 2
	if rd.DepthTo == survey.DepthToSonde {
		u = math.Hypot(u, d/math.Sqrt(12))
	}
	return rd.DepthM - d/2, u, ""
}
