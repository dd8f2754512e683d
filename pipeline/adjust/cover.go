package adjust

import (
	"math"

	"github.com/asfound/asfound/internal/estimate"
	"github.com/asfound/asfound/pipeline/survey"
)

// coverObs is one depth reading as an equation:
// cover read - cover recorded = c(record) + k(sheet) + depth (a(session) + a(trace)) + w(trace, record) + e,
// where depth is the mean over the record: with each reading's own, the ups and
// downs of the true line would pass for a scale.
type coverObs struct {
	record, sheet, session, trace, reading int // trace -1: an exposure, without session and depthM
	walk                                   int // of the trace among the ids: unknowns are numbered by it
	pass                                   int // of the trace along the record
	depthM, value, sigma, weight           float64
}

// adjustCovers estimates for every record what to add to its cover to reach the
// truth, in one dimension as Network does in two; each gets every reading's own
// difference.
func adjustCovers(s *survey.Survey, matches [][]survey.Match, exposed []survey.Match, n *network, ev *evidence, o Options, each [][]float32) ([]survey.Cover, error) {
	out := make([]survey.Cover, len(s.Records))
	obs := append(coverObservations(s, matches, n, ev.setups, o), coverExposures(s, exposed, n, o)...)
	if len(obs) == 0 {
		return out, nil
	}
	records := len(s.Records)
	sheets := records
	sessions := sheets + len(n.sheets)
	traces := sessions + len(ev.sessions)
	passes := traces + len(s.Traces)
	total := passes + numberPasses(obs)

	rowOf := func(ob *coverObs) (r row) {
		r.add(n.rank[ob.record], 1)
		if ob.sheet >= 0 {
			r.add(sheets+ob.sheet, 1)
		}
		if ob.trace >= 0 {
			r.add(sessions+ob.session, ob.depthM)
			r.add(traces+ob.walk, ob.depthM)
		}
		r.add(passes+ob.pass, 1)
		return r
	}
	equations := func(sys *system, information float64) {
		prior := func(from, to int, sigma float64) {
			for i := from; i < to; i++ {
				sys.add(i, i, 1/(sigma*sigma))
			}
		}
		prior(0, records, o.CoverLocalM)
		prior(sheets, sessions, o.CoverSheetM)
		prior(sessions, passes, o.DepthScale)
		prior(passes, total, o.CoverWalkM)
		for i := range obs {
			r := rowOf(&obs[i])
			sys.observe(&r, obs[i].value, information*obs[i].weight/(obs[i].sigma*obs[i].sigma))
		}
	}
	b := estimate.NewBuilder(total)
	rhs := make([]float64, total)
	equations(&system{m: placesOf(b), rhs: rhs}, 1)
	m, err := b.Matrix()
	if err != nil {
		return nil, err
	}
	f := m.Analyse(estimate.Options{})
	factor := func(information float64) error {
		f.Clear()
		clear(rhs)
		equations(&system{m: f, rhs: rhs}, information)
		return f.Eliminate()
	}
	var x []float64
	for range 6 {
		if err := factor(1); err != nil {
			return nil, err
		}
		x = f.Solve(rhs)
		for i := range obs {
			r := rowOf(&obs[i])
			e := obs[i].value
			for j := range r.n {
				e -= r.coef[j] * x[r.idx[j]]
			}
			obs[i].weight = estimate.StudentT(e/obs[i].sigma, o.Nu)
		}
	}
	if err := factor(1 / estimate.StudentTCovariance(o.Nu)); err != nil {
		return nil, err
	}
	inv := f.SelectedInverse()
	at := covariances(inv)
	for i := range obs {
		out[obs[i].record].Readings++
		if obs[i].trace >= 0 {
			each[obs[i].trace][obs[i].reading] = float32(obs[i].value)
		}
	}
	for r := range out {
		if out[r].Readings == 0 {
			continue
		}
		i := n.rank[r]
		v, variance := x[i], at(i, i)
		if k := n.records[r].sheet; k >= 0 {
			v += x[sheets+k]
			variance += at(sheets+k, sheets+k) + 2*at(i, sheets+k)
		}
		out[r].DifferenceM, out[r].U = v, math.Sqrt(max(variance, 0))
	}
	return out, nil
}

// coverObservations lists the depth readings that can be compared: on a record
// with a recorded cover, and where the reading is to the centre of the signal,
// on one with a recorded diameter.
func coverObservations(s *survey.Survey, matches [][]survey.Match, n *network, session map[setup]int, o Options) []coverObs {
	var out []coverObs
	for w, t := range s.ByID() {
		tr := &s.Traces[t]
		for i := range tr.Readings {
			m, rd := &matches[t][i], &tr.Readings[i]
			if m.Status != survey.StatusUsed || math.IsNaN(rd.DepthM) {
				continue
			}
			rec := &s.Records[m.Record]
			cover, ok := CoverOf(rd, rec)
			if !ok || math.IsNaN(rec.CoverM) {
				continue
			}
			sigma := math.Hypot(o.DepthMinM, o.DepthShare*rd.DepthM) * max(m.Inflate, 1)
			out = append(out, coverObs{m.Record, n.records[m.Record].sheet, session[setup{tr.Session, tr.Positions}], t, i, w, 0, rd.DepthM, cover - rec.CoverM, sigma, 1})
		}
	}
	meanDepths(out, len(s.Records))
	return out
}

// coverExposures lists the exposures that tell a cover: the depth to the top of
// the line, measured in the hole, with no scale of a receiver in it.
func coverExposures(s *survey.Survey, exposed []survey.Match, n *network, o Options) []coverObs {
	var out []coverObs
	if len(exposed) == 0 {
		return nil
	}
	for k, i := range byPlace(s.Exposures) {
		m, e := &exposed[i], &s.Exposures[i]
		if m.Status != survey.StatusUsed || e.DepthTo != survey.DepthToTop || math.IsNaN(e.DepthM) || math.IsNaN(s.Records[m.Record].CoverM) {
			continue
		}
		out = append(out, coverObs{
			record: m.Record, sheet: n.records[m.Record].sheet, trace: -1, reading: i, walk: len(s.Traces) + k,
			value: e.DepthM - s.Records[m.Record].CoverM, sigma: o.DepthMinM, weight: 1,
		})
	}
	return out
}

// numberPasses numbers each trace's walk along each record, and counts them.
func numberPasses(obs []coverObs) int {
	number := map[[2]int]int{}
	for i := range obs {
		k := [2]int{obs[i].walk, obs[i].record}
		if _, ok := number[k]; !ok {
			number[k] = len(number)
		}
		obs[i].pass = number[k]
	}
	return len(number)
}

func meanDepths(obs []coverObs, records int) {
	sum, n := make([]float64, records), make([]float64, records)
	for i := range obs {
		sum[obs[i].record] += obs[i].depthM
		n[obs[i].record]++
	}
	for i := range obs {
		obs[i].depthM = sum[obs[i].record] / n[obs[i].record]
	}
}

// CoverOf turns a depth reading into cover over the top of a record's line. A
// depth to the centre of the signal needs the diameter of a pipe that carries
// the signal itself; a tracer wire is taken as lying at the pipe's top. A sonde's
// place in the pipe is not known here.
func CoverOf(rd *survey.Reading, rec *survey.Record) (coverM float64, ok bool) {
	switch rd.DepthTo {
	case survey.DepthToTop:
		return rd.DepthM, true
	case survey.DepthToCentre:
		if rec.Conductor == survey.ConductorWire {
			return rd.DepthM, true
		}
		if math.IsNaN(rec.DiameterM) {
			return math.NaN(), false
		}
		return rd.DepthM - rec.DiameterM/2, true
	}
	return math.NaN(), false
}
