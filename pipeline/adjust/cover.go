package adjust

import (
	"math"

	"github.com/asfound/asfound/internal/estimate"
	"github.com/asfound/asfound/pipeline/survey"
)

// The covers of a job are one system in one dimension. What a depth reading at a
// station of a record says is
//
//	cover read - cover recorded = h(record) + k(sheet) + v(station) + phi (g(receiver) + w(walk)) + e.
//
// h + k is the mean over what was read of the record, and what a verdict is on.
// v are the ups and downs about that mean: a process with a correlation length as
// the cosines of its Karhunen-Loeve expansion, which have no mean (Ghanem and
// Spanos 1991, section 2.3; the cosines are those of long records, and serve for
// short ones). g and w are errors of the ratio of two coils' signals, from which
// a receiver makes a depth: g what its coils differ by, w what other currents
// beside one walk along one record put into it; phi is what the depth errs by per
// unit of it. All of them and e follow Student's t, by iterated reweighting.
type covers struct {
	o      Options
	n      *network
	obs    []coverObs
	passes []pass
	waves  []wave // per record
	priors []scalar
	bare   []bool // per record: none is recorded, so that the cover itself is estimated

	records, sheets, receivers int // numbers of their first unknowns
}

// coverObs is what the readings of one walk say at one place of a record.
type coverObs struct {
	record, pass         int // pass -1: seen, not measured from above
	stationM             float64
	value, sigma, weight float64
}

// pass is a walk along one record.
type pass struct {
	receiver int
	spread   float64 // standard deviation of the ratio of its two coils' signals
	unknown  int
}

// wave is the ups and downs of one record between its first and last reading.
type wave struct {
	fromM, lengthM float64
	first, n       int // unknowns
	phiM           float64
}

// scalar is an unknown with a Student-t about zero.
type scalar struct{ sigma, nu, weight float64 }

const (
	mostWaves  = 5  // cosines: shorter ups and downs are left to the noise; practice
	coverSteps = 6  // of reweighting; practice
	anyCoverM  = 10 // standard deviation of a cover that nothing is known of
)

// adjustCovers estimates for every record what to add to its cover to reach the
// truth; each gets every reading's own difference. The notes say how many depths
// could not be compared, by the reason.
func adjustCovers(s *survey.Survey, matches [][]survey.Match, exposed []survey.Match, n *network, o Options, each [][]float32) (covers []survey.Cover, notes []string, err error) {
	covers = make([]survey.Cover, len(s.Records))
	g := gatherCovers(s, matches, exposed, n, o, each, covers)
	if len(g.obs) == 0 {
		return covers, g.notes(), nil
	}
	c := newCovers(s, n, g, o)
	x, inv, err := c.solve()
	if err != nil {
		return nil, nil, err
	}
	for r := range covers {
		if covers[r].Readings > 0 {
			c.profile(r, s.Records[r].CoverU, x, inv, &covers[r])
		}
	}
	return covers, g.notes(), nil
}

// newCovers numbers the unknowns: records in the order of their keys, sheets,
// receivers, walks, waves.
func newCovers(s *survey.Survey, n *network, g *coverEvidence, o Options) *covers {
	c := &covers{o: o, n: n, obs: g.obs, passes: g.passes, waves: make([]wave, len(s.Records)), bare: make([]bool, len(s.Records))}
	add := func(count int, sigma, nu float64) (first int) {
		first = len(c.priors)
		for range count {
			c.priors = append(c.priors, scalar{sigma, nu, 1})
		}
		return first
	}
	c.records = add(len(s.Records), o.CoverLocalM, o.OwnNu)
	for r := range s.Records {
		if c.bare[r] = math.IsNaN(s.Records[r].CoverM); c.bare[r] {
			c.priors[c.records+n.rank[r]] = scalar{anyCoverM, normalNu, 1}
		}
	}
	c.sheets = add(len(n.sheets), o.CoverSheetM, o.SheetNu)
	c.receivers = add(g.receivers, o.DepthGain, normalNu)
	for i := range c.passes {
		c.passes[i].unknown = add(1, c.passes[i].spread, o.Nu)
	}
	for i := range c.obs {
		ob := &c.obs[i]
		w := &c.waves[ob.record]
		if w.phiM == 0 {
			w.fromM, w.phiM = ob.stationM, g.phi(ob.record, o)
		}
		w.fromM, w.lengthM = min(w.fromM, ob.stationM), max(w.lengthM, ob.stationM)
	}
	for _, r := range s.ByKey() {
		w := &c.waves[r]
		if w.lengthM -= w.fromM; w.phiM == 0 || w.lengthM < coverBinM {
			continue
		}
		w.first, w.n = len(c.priors), min(mostWaves, int(math.Ceil(w.lengthM/o.CoverLengthM))+1)
		ratio := o.CoverLengthM / w.lengthM
		for k := range w.n {
			turn := float64(k+1) * math.Pi * ratio
			add(1, o.CoverVariesM*math.Sqrt(2*ratio/(1+turn*turn)), normalNu)
		}
	}
	return c
}

// mean is the linear form of a record's mean over what was read of it.
func (c *covers) mean(record int) (r row) {
	r.add(c.records+c.n.rank[record], 1)
	if k := c.n.records[record].sheet; k >= 0 && !c.bare[record] {
		r.add(c.sheets+k, 1)
	}
	return r
}

// row is the linear form of what lies at a station of a record.
func (c *covers) row(record int, stationM float64) row {
	r, w := c.mean(record), &c.waves[record]
	for k := range w.n {
		r.add(w.first+k, math.Sqrt2*math.Cos(float64(k+1)*math.Pi*(stationM-w.fromM)/w.lengthM))
	}
	return r
}

func (c *covers) observed(ob *coverObs) row {
	r := c.row(ob.record, ob.stationM)
	if ob.pass >= 0 {
		p, phi := &c.passes[ob.pass], c.waves[ob.record].phiM
		r.add(c.receivers+p.receiver, phi)
		r.add(p.unknown, phi)
	}
	return r
}

// equations puts the normal equations together, readings counting by information.
func (c *covers) equations(sys *system, information float64) {
	for i := range c.priors {
		p := &c.priors[i]
		sys.m.Add(i, i, p.weight/(p.sigma*p.sigma))
	}
	for i := range c.obs {
		ob := &c.obs[i]
		r := c.observed(ob)
		sys.observe(&r, ob.value, information*ob.weight/(ob.sigma*ob.sigma))
	}
}

// solve iterates the weights, and returns the estimate and its covariances.
func (c *covers) solve() (x []float64, inv *estimate.Inverse, err error) {
	rhs := make([]float64, len(c.priors))
	m := estimate.Pattern(len(c.priors), func(place func(i, j int)) {
		for i := range c.priors {
			place(i, i)
		}
		for i := range c.obs {
			r := c.observed(&c.obs[i])
			r.link(place)
		}
	})
	f := m.Analyse(estimate.Options{})
	factor := func(information float64) error {
		f.Clear()
		clear(rhs)
		c.equations(&system{m: f, rhs: rhs}, information)
		return f.Eliminate()
	}
	for range coverSteps {
		if err := factor(1); err != nil {
			return nil, nil, err
		}
		x = f.Solve(rhs)
		c.reweight(x)
	}
	if err := factor(1 / estimate.StudentTCovariance(c.o.Nu)); err != nil {
		return nil, nil, err
	}
	return x, f.SelectedInverse(), nil
}

func (c *covers) reweight(x []float64) {
	for i := range c.priors {
		p := &c.priors[i]
		p.weight = estimate.StudentT(x[i]/p.sigma, p.nu)
	}
	for i := range c.obs {
		ob := &c.obs[i]
		r := c.observed(ob)
		ob.weight = estimate.StudentT((ob.value-r.times(x))/ob.sigma, c.o.Nu)
	}
}

// profile reads a record's cover off the estimate, along it and on average. The
// conversion of depths to covers errs the same way everywhere along it.
func (c *covers) profile(record int, recordedU float64, x []float64, inv *estimate.Inverse, out *survey.Cover) {
	w := &c.waves[record]
	convertedU := math.Hypot(out.U, recordedU)
	at := func(r row) (float64, float64) {
		return r.times(x), math.Sqrt(max(inv.Form(r.idx[:r.n], r.coef[:r.n]), 0) + convertedU*convertedU)
	}
	for k := 0; w.n > 0 && k <= 2*w.n; k++ {
		station := w.fromM + w.lengthM*float64(k)/float64(2*w.n)
		v, u := at(c.row(record, station))
		out.Nodes = append(out.Nodes, survey.CoverNode{StationM: station, DifferenceM: v, U: u})
	}
	out.DifferenceM, out.U = at(c.mean(record))
}
