package adjust

import (
	"cmp"
	"math"
	"slices"

	"github.com/asfound/asfound/internal/estimate"
	"github.com/asfound/asfound/pipeline/survey"
)

// worstCount is how many of the worst readings are listed.
const worstCount = 10

// diagnosis is what the residuals of one cell's readings say.
type diagnosis struct {
	readings            int
	redundancy, squares float64
	worst               []survey.Influence
	receivers           []receiverFit
}

// diagnose tests a cell's readings as adjusters do (Baarda 1968, A testing
// procedure for use in geodetic networks): with the weight w of a reading, a its
// form and C the covariance of the unknowns, its redundancy number is
// r = 1 - w a'Ca, the share of an error in it that shows in its residual e;
// e/(sigma sqrt(r)) is its standardised residual. Without it the unknowns would
// be x - C a w e/r (deletion of an observation: Cook and Weisberg 1982,
// Residuals and Influence in Regression, section 3.4).
func (p *problem) diagnose(c *cell, inv *estimate.Inverse, information float64) (d diagnosis) {
	for i := range c.obs {
		ob := &c.obs[i]
		if ob.out {
			continue
		}
		r := c.row(ob)
		w := information * ob.weight / (ob.sigma * ob.sigma)
		all, own := spread(&r, c.offset(ob).n, inv)
		red := min(max(1-w*all, 0), 1)
		d.readings++
		d.redundancy += red
		d.squares += ob.weight * ob.residual * ob.residual / (ob.sigma * ob.sigma)
		if ob.trace >= 0 {
			p.addReceiver(&d.receivers, ob, red)
		}
		if red < 1e-6 {
			continue // nothing checks it
		}
		d.worst = p.rank(d.worst, survey.Influence{
			Trace: int(ob.trace), Reading: int(ob.reading), Record: c.record,
			ResidualM: ob.residual, Standardised: ob.residual / (ob.sigma * math.Sqrt(red)), Redundancy: red,
			WithoutM: -own * w * ob.residual / red,
		})
	}
	return d
}

// spread is a'Ca of a reading's form, and its part that the first so many terms
// contribute, those of the record's offset.
func spread(r *row, offset int, inv *estimate.Inverse) (all, own float64) {
	for i := range r.n {
		v := inv.Variance(r.idx[i]) * r.coef[i] * r.coef[i]
		all += v
		if i < offset {
			own += v
		}
		for j := range i {
			v, _ := inv.At(r.idx[i], r.idx[j])
			v *= r.coef[i] * r.coef[j]
			all += 2 * v
			if i < offset {
				own += v
			}
			if j < offset {
				own += v
			}
		}
	}
	return all, own
}

// rank puts a reading among those that fit worst, worst first, if it is one of the
// worstCount. Readings that fit as badly go by their trace.
func (p *problem) rank(worst []survey.Influence, v survey.Influence) []survey.Influence {
	at, _ := slices.BinarySearchFunc(worst, v, func(a, b survey.Influence) int {
		return cmp.Or(cmp.Compare(math.Abs(b.Standardised), math.Abs(a.Standardised)),
			cmp.Compare(p.traceID(a.Trace), p.traceID(b.Trace)), cmp.Compare(a.Reading, b.Reading))
	})
	if at == worstCount {
		return worst
	}
	worst = slices.Insert(worst, at, v)
	return worst[:min(len(worst), worstCount)]
}

func (p *problem) traceID(trace int) string {
	if trace < 0 {
		return ""
	}
	return p.ev.traceIDs[trace]
}

// fit adds up the diagnoses, in the order of the cells.
func (p *problem) fit(ds []diagnosis) survey.Fit {
	f := survey.Fit{Unknowns: p.u.n, Iterations: p.iterations}
	squares := 0.0
	for _, d := range ds {
		f.Readings += d.readings
		f.Redundancy += d.redundancy
		squares += d.squares
		for _, v := range d.worst {
			f.Worst = p.rank(f.Worst, v)
		}
	}
	if f.Redundancy > 0 {
		f.VarianceFactor = squares / f.Redundancy
	}
	return f
}
