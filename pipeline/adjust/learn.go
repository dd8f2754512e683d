package adjust

import (
	"fmt"
	"math"
	"slices"

	"github.com/asfound/asfound/internal/estimate"
	"github.com/asfound/asfound/internal/parallel"
	"github.com/asfound/asfound/pipeline/survey"
)

// The sizes are estimated from what the data alone say of each effect, taken from
// its estimate and covariance by removing its prior: so the data's part and the
// prior's never mix, and an effect that the data do not show has the size 0. That
// is done in the middle of the first round's iterations and at the end of every
// round, for the next: with three rounds of matching and adjusting three times at
// most, and never again (a cap; practice).
//
// Where the data would tell apart fewer than leastSeen effects of the given size,
// that stands; from enoughSeen on it has no say; in between both have. Where the
// data show no effect, the equations go on with a thirty-second of the given size,
// so that they stay regular. A record's own shift and its local error are never
// taken for less than leastOwn and leastLocal of what is given: drawings are also
// turned and stretched, and a vertex may lie off between two readings, of which the
// data on the others say nothing. At most learnFrom records are asked, evenly spread:
// beyond that the sizes get no better. All of these are practice.
const (
	learnPass  = 5
	leastSeen  = 4
	enoughSeen = 20
	noneShare  = 1.0 / 32
	leastOwn   = 2.0 / 3
	leastLocal = 2.0 / 3
	learnFrom  = 20000
)

// heard is what one record's readings tell of the sizes.
type heard struct {
	own     []estimate.Informed // its own shift beyond its sheet's
	biases  []estimate.Informed // of walks along it alone
	lengths [lengths]float64    // how likely each correlation length is: -2 log
	fit     []receiverFit
}

// receiverFit is how the readings of one receiver fit.
type receiverFit struct {
	receiver            int32
	squares, redundancy float64 // the positions' share of them
}

// learnMidway makes the sizes what the iterations so far say.
func (p *problem) learnMidway() {
	j := &p.joint
	j.inv = j.f.InvertInPlace()
	hs := make([]heard, len(p.readCells))
	step := p.learnStep()
	parallel.Each((len(hs)+step-1)/step, 0, func() func(int) {
		return func(i int) {
			c := p.readCells[i*step]
			hs[i*step].lengths = p.hearLengths(c, p.sharedRoot(c))
			p.hear(&hs[i*step], c, p.inverse(c), 1)
		}
	})
	p.resize(p.learn(hs))
	j.inv = nil // the factor is used up
	p.learnt = true
	p.reweight()
}

// learnStep is the distance between two records that are asked.
func (p *problem) learnStep() int { return max(len(p.readCells)/learnFrom, 1) }

// hear asks a record of the sizes beside those of its local error, given its
// covariances and the share of its readings' weights that they rest on.
func (p *problem) hear(h *heard, c *cell, inv *estimate.Inverse, information float64) {
	at := covariances(inv)
	if q := &p.own[c.record]; p.n.records[c.record].sheet >= 0 {
		i, j := c.own, c.parent
		v := survey.Vector{
			East: p.x[q.first] - p.x[q.parent], North: p.x[q.first+1] - p.x[q.parent+1],
			EE: at(i, i) + at(j, j) - 2*at(i, j),
			EN: at(i, i+1) + at(j, j+1) - at(i, j+1) - at(i+1, j),
			NN: at(i+1, i+1) + at(j+1, j+1) - 2*at(i+1, j+1),
		}
		h.own = append(h.own, q.informed(v))
	}
	for k, g := range c.index[:c.inner] {
		if int(g) >= p.u.bias && int(g) < p.u.wander && p.ev.compared[int(g)-p.u.bias] {
			h.biases = append(h.biases, p.bias(int(g), inv.Variance(k)))
		}
	}
	for i := range c.obs {
		ob := &c.obs[i]
		if ob.out || ob.trace < 0 {
			continue
		}
		receiver := p.ev.receiver[ob.trace]
		k := slices.IndexFunc(h.fit, func(f receiverFit) bool { return f.receiver == receiver })
		if k < 0 {
			h.fit, k = append(h.fit, receiverFit{receiver: receiver}), len(h.fit)
		}
		r := c.row(ob)
		all, _ := spread(&r, 0, inv)
		share, w := ob.budget.fresh(p.sizes.accuracy[receiver]), ob.weight/(ob.sigma*ob.sigma)
		h.fit[k].squares += share * w * ob.residual * ob.residual
		h.fit[k].redundancy += share * min(max(1-information*w*all, 0), 1)
	}
}

// bias is what the data say of one.
func (p *problem) bias(unknown int, variance float64) estimate.Informed {
	data := max(1/variance-1/(p.o.BiasM*p.o.BiasM), 0)
	return estimate.Informed{Precision: [2]float64{data}, Pull: [2]float64{p.x[unknown] / variance}}
}

// informed is what the data alone say of a pair of unknowns less its parent, whose
// estimate and covariance with the prior is v.
func (q *prior) informed(v survey.Vector) (e estimate.Informed) {
	det := v.EE*v.NN - v.EN*v.EN
	if !(det > 0) {
		return e
	}
	r := q.weight / (q.sigma * q.sigma)
	ee, en, nn := v.NN/det-r, -v.EN/det, v.EE/det-r
	ge, gn := (v.NN*v.East-v.EN*v.North)/det, (v.EE*v.North-v.EN*v.East)/det
	// Along the axes of the precision the components are independent.
	sin, cos := math.Sincos(math.Atan2(2*en, ee-nn) / 2)
	e.Precision = [2]float64{max(cos*cos*ee+2*sin*cos*en+sin*sin*nn, 0), max(sin*sin*ee-2*sin*cos*en+cos*cos*nn, 0)}
	e.Pull = [2]float64{cos*ge + sin*gn, cos*gn - sin*ge}
	return e
}

// learn is the sizes that the records heard, in the order of the cells, and the
// joint unknowns speak for.
func (p *problem) learn(hs []heard) sizes {
	z := sizes{o: p.o, accuracy: slices.Clone(p.sizes.accuracy), strata: slices.Clone(p.sizes.strata)}
	var own, sheets, sessions, sources, biases []estimate.Informed
	for i := range hs {
		own, biases = append(own, hs[i].own...), append(biases, hs[i].biases...)
	}
	read := p.readSheets()
	for i := range p.sheet {
		if read[i] {
			sheets = append(sheets, p.sheet[i].informed(p.difference(&p.sheet[i], p.joint.inv)))
		}
	}
	for i := range p.session {
		sessions = append(sessions, p.session[i].informed(p.difference(&p.session[i], p.joint.inv)))
	}
	for i := range p.source {
		if p.ev.sourceM[i] == 0 && !p.framed() {
			sources = append(sources, p.source[i].informed(p.jointVector(p.source[i].first, p.joint.inv)))
		}
	}
	for i, shared := range p.sharedBias {
		if k := p.u.bias + i; shared && p.ev.compared[i] {
			biases = append(biases, p.bias(k, p.joint.inv.Variance(int(p.joint.place[k]))))
		}
	}
	g := &p.given
	z.size("a record's own shift, per axis", own, g.OwnNu, leastOwn, g.OwnM, &z.o.OwnM)
	z.size("an ordinary sheet's shift, per axis (scale of a Student-t)", sheets, g.SheetNu, 0, g.SheetM, &z.o.SheetM)
	z.size("a session's error, per axis", sessions, g.OwnNu, 0, g.SessionM, &z.o.SessionM)
	z.size("a source of positions' error, per axis, beside its operation's", sources, g.OwnNu, 0, g.PositionsM, &z.o.PositionsM)
	z.size("a trace's bias across the line, where lines were walked again", biases, g.OwnNu, 0, g.BiasM, &z.o.BiasM)
	p.learnAccuracy(&z, hs)
	if g.LocalNu > 0 {
		p.learnLength(&z, hs)
		p.learnStrata(&z)
	}
	return z
}

// size sets one size to what the effects say, and tells of it.
func (z *sizes) size(name string, effects []estimate.Informed, nu, least, given float64, to *float64) {
	s := estimate.SizeOf(effects, nu, given)
	share := seen(s.Count)
	if share == 0 {
		*to = given
		return
	}
	value := math.Sqrt(share*s.Value*s.Value + (1-share)*given*given)
	*to = max(value, max(least, noneShare)*given)
	source := fmt.Sprintf("this job's data, worth %.0f such errors seen as they are; %g m were given", s.Count, given)
	if value < least*given {
		source += fmt.Sprintf(", and no less than %.3f m is worked with", *to)
	}
	z.tell(name, "m", value, s.U, source)
}

// seen is the say of the data that show so many effects.
func seen(count float64) float64 {
	return min(max((count-leastSeen)/(enoughSeen-leastSeen), 0), 1)
}

func (z *sizes) tell(name, unit string, value, u float64, source string) {
	z.terms = append(z.terms, survey.Term{Name: name + ", as estimated", Unit: unit, Value: rounded(value), U: rounded(u), Source: source})
}

// rounded to three digits.
func rounded(v float64) float64 {
	if !(v > 0) {
		return 0
	}
	unit := math.Pow(10, math.Floor(math.Log10(v))-2)
	return math.Round(v/unit) * unit
}

// accuracyRange is how far a receiver's errors may be from what is expected of its
// statements, accuracyReadings how many readings that counts for; practice.
const (
	accuracyRange    = 4
	accuracyReadings = 20
)

// learnAccuracy compares the residuals of each receiver with what its statements
// let expect (Foerstner 1979: squares over redundancy), as far as they are the
// positions'.
func (p *problem) learnAccuracy(z *sizes, hs []heard) {
	squares, redundancy := make([]float64, len(z.accuracy)), make([]float64, len(z.accuracy))
	for i := range hs {
		for _, f := range hs[i].fit {
			squares[f.receiver] += f.squares
			redundancy[f.receiver] += f.redundancy
		}
	}
	for k, name := range p.ev.receivers {
		if redundancy[k] < leastSeen {
			continue
		}
		f := z.accuracy[k] * math.Sqrt((accuracyReadings+squares[k])/(accuracyReadings+redundancy[k]))
		z.accuracy[k] = min(max(f, 1.0/accuracyRange), accuracyRange)
		if name == "" {
			name = "of no name"
		}
		factor := p.given.AccuracyFactor * z.accuracy[k]
		z.tell("factor on the accuracy that receiver "+name+" reports", "", factor, factor/math.Sqrt(2*redundancy[k]),
			fmt.Sprintf("this job's data: residuals worth %.0f readings' redundancy; %g was given", redundancy[k], p.given.AccuracyFactor))
	}
}
