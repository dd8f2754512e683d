package adjust

import (
	"math"
	"slices"

	"github.com/asfound/asfound/internal/parallel"
	"github.com/asfound/asfound/pipeline/survey"
)

// begin places the unknowns and weighs the priors at the start. Student-t has a
// minimum wherever one unknown carries a difference that another could, and the
// reweighting ends in the nearest: so sheets, sessions and sources may all be far
// off at first, and no reading is an outlier yet, for it may be its record that is
// off. An earlier solution that nothing speaks against is gone on from as it was.
func (p *problem) begin(before *survey.Model) {
	goOn := false
	if before == nil {
		p.startSheets()
	} else {
		if was, ok := before.State.(*problem); ok && was.learnt > 0 {
			p.learnt = was.learnt
			p.resize(was.next)
		}
		p.start(before)
		if was, ok := before.State.(*problem); ok && was.mapM == p.mapM {
			goOn, p.most = true, againIterations
			p.resume(was)
		}
	}
	for _, priors := range [][]prior{p.own, p.sheet, p.session, p.source, p.join} {
		for i := range priors {
			priors[i].reweight(p.x, 0)
		}
	}
	if goOn {
		return
	}
	for _, priors := range [][]prior{p.sheet, p.session, p.source} {
		for i := range priors {
			priors[i].weight = min(priors[i].weight, wide(priors[i].sigma))
		}
	}
}

// resume takes over what an earlier solution of the same survey knows beside the
// displacements. Where a record still has the readings that it had, their weights
// are those that it calls for; elsewhere no reading is an outlier yet.
func (p *problem) resume(was *problem) {
	same := make([]bool, len(p.readCells))
	for i, c := range p.readCells { // one after the other: records share biases and knots
		if old := was.readCell(c.record); old != nil {
			same[i] = p.resumeCell(c, was, old)
		}
	}
	p.project()
	parallel.Each(len(p.readCells), 0, func() func(int) {
		return func(i int) {
			if same[i] {
				p.residuals(p.readCells[i])
				p.weigh(p.readCells[i])
			}
		}
	})
}

// resumeCell does so for one record, and says whether its readings are the same.
func (p *problem) resumeCell(c *cell, was *problem, old *cell) (same bool) {
	own, ownWas := p.own[c.record].first, was.own[c.record].first
	p.x[own], p.x[own+1] = was.x[ownWas], was.x[ownWas+1]
	scale := was.o.LocalM / p.o.LocalM
	c.roughness = old.roughness * scale * scale
	same = slices.EqualFunc(c.obs, old.obs, func(a, b observation) bool { return a.trace == b.trace && a.reading == b.reading })
	at := map[[2]int32]int{}
	if !same {
		for i := range old.obs {
			at[[2]int32{old.obs[i].trace, old.obs[i].reading}] = i
		}
	}
	for i := range c.obs {
		ob, k := &c.obs[i], i
		if !same {
			var found bool
			if k, found = at[[2]int32{ob.trace, ob.reading}]; !found {
				continue
			}
		}
		if ob.bias >= 0 {
			p.x[p.u.bias+int(ob.bias)] = was.x[was.u.bias+int(old.obs[k].bias)]
		}
		if ob.knot >= 0 {
			to, from := p.u.wander+2*int(ob.knot), was.u.wander+2*int(old.obs[k].knot)
			p.x[to], p.x[to+1] = was.x[from], was.x[from+1]
		}
	}
	return same
}

// start takes the displacements of an earlier estimate as where to begin. What it
// does not know begins at zero.
func (p *problem) start(m *survey.Model) {
	type effect struct {
		kind survey.EffectKind
		name string
	}
	known := map[effect]survey.Vector{}
	for i := range m.Effects {
		known[effect{m.Effects[i].Kind, m.Effects[i].Name}] = m.Effects[i].V
	}
	set := func(first int, kind survey.EffectKind, name string) {
		v := known[effect{kind, name}]
		p.x[first], p.x[first+1] = v.East, v.North
	}
	for i, name := range p.n.sheets {
		set(p.u.sheets+2*i, survey.EffectSheet, name)
	}
	for i, name := range p.ev.sources {
		set(p.u.sources+2*i, survey.EffectSource, name)
	}
	for i, se := range p.ev.sessions {
		at, source := p.u.sessions+2*i, p.u.sources+2*se.source
		set(at, survey.EffectSession, se.name)
		p.x[at] += p.x[source]
		p.x[at+1] += p.x[source+1]
	}
	for r := range p.n.records {
		if r < len(m.Profiles) {
			p.startRecord(r, &m.Profiles[r])
		}
	}
}

// startSheets places every sheet by its own readings alone, as if all positions
// were right: so a sheet in another frame, tens of metres off, begins there and
// does not pull at the sessions that read it. It begins where the matching had
// it, on the segments that readings were matched to: the nearest may be others.
func (p *problem) startSheets() {
	moved := p.movedSheets()
	for k := range startRounds {
		if k > 0 {
			p.project()
		}
		forms := make([][]sheetForm, len(p.n.sheets))
		for _, c := range p.readCells {
			k := p.n.records[c.record].sheet
			if k < 0 {
				continue
			}
			for i := range c.obs {
				if ob := &c.obs[i]; !ob.out {
					forms[k] = append(forms[k], sheetForm{ob.east, ob.north, ob.value, 1 / float64(len(c.obs))})
				}
			}
		}
		for _, l := range p.ev.left {
			forms[l.sheet] = append(forms[l.sheet], l.forms...)
		}
		parallel.Each(len(forms), 0, func() func(int) {
			return func(k int) {
				at := p.u.sheets + 2*k
				p.x[at], p.x[at+1] = robustShift(forms[k], moved[k], math.Hypot(p.o.OwnM, p.o.LocalM))
			}
		})
		for r := range p.cells {
			c := &p.cells[r]
			parent := p.own[c.record].parent
			if p.n.records[c.record].sheet < 0 {
				continue
			}
			for _, i := range c.index {
				if int(i) < p.u.bias { // points and the record's own
					p.x[i] = p.x[parent+int(i)%2]
				}
			}
		}
	}
}

// movedSheets is by how much the matching moved each sheet: a foot on a moved
// line lies off its reading along the line too, not only square to it.
func (p *problem) movedSheets() [][2]float64 {
	moved, count := make([][2]float64, len(p.n.sheets)), make([]float64, len(p.n.sheets))
	for _, c := range p.readCells {
		rn := &p.n.records[c.record]
		for i := range c.obs {
			ob := &c.obs[i]
			if rn.sheet < 0 || ob.fixed {
				continue
			}
			a, b := &rn.nodes[ob.node], &rn.nodes[ob.node+1]
			foot := rn.line.AtPart(a.part, segmentBetween(a, b), a.stationM+ob.alpha*(b.stationM-a.stationM))
			e, n := rn.axes.ground(ob.point[0]-foot[0], ob.point[1]-foot[1])
			if along := n*ob.east - e*ob.north; math.Abs(along) > movedM {
				moved[rn.sheet][0] += e
				moved[rn.sheet][1] += n
				count[rn.sheet]++
			}
		}
	}
	for k, n := range count {
		if n > 0 {
			moved[k] = [2]float64{moved[k][0] / n, moved[k][1] / n}
		}
	}
	return moved
}

// startRounds of foot points on the sheets where they were placed; startShiftM is
// how far off a sheet may be at the start where its lines run one way and nothing
// is seen along them; movedM is more than a foot that is square to its line lies
// off along it; shiftRounds of reweighting place a sheet. All are practice.
const (
	startRounds = 3
	startShiftM = 1
	movedM      = 0.1
	shiftRounds = 20
)

// sheetForm is a reading's offset as a form of its sheet's shift. All readings of
// a record together weigh 1: they share its error.
type sheetForm struct{ east, north, value, weight float64 }

// robustShift is the shift that most of the records agree on, each within scaleM
// of it: reweighted least squares with a Cauchy weight, from where the sheet was
// moved to, or else from the plain ones.
func robustShift(fs []sheetForm, moved [2]float64, scaleM float64) (east, north float64) {
	east, north = moved[0], moved[1]
	for k := range shiftRounds {
		var ee, en, nn, ge, gn, sum, all float64
		for _, f := range fs {
			w := f.weight
			if r := (f.value - f.east*east - f.north*north) / scaleM; k > 0 || moved != [2]float64{} {
				w /= 1 + r*r
			}
			ee += w * f.east * f.east
			en += w * f.east * f.north
			nn += w * f.north * f.north
			ge += w * f.east * f.value
			gn += w * f.north * f.value
			sum, all = sum+w, all+f.weight
		}
		if sum == 0 {
			return east, north
		}
		// Readings far from the shift weigh little all together, and the ridge with
		// them: it is for what no reading sees.
		ridge := scaleM * scaleM / (startShiftM * startShiftM) * sum / all
		ee, nn, ge, gn = ee+ridge, nn+ridge, ge+ridge*moved[0], gn+ridge*moved[1]
		det := ee*nn - en*en
		east, north = (nn*ge-en*gn)/det, (ee*gn-en*ge)/det
	}
	return east, north
}

// startRecord places a record's nodes where it lay, and its own shift where it lay
// on average.
func (p *problem) startRecord(r int, was *survey.Profile) {
	if len(was.Nodes) == 0 {
		return
	}
	nodes := p.n.records[r].nodes
	east, north := 0.0, 0.0
	for k := range nodes {
		nd := &nodes[k]
		d := was.At(nd.part, nd.stationM)
		p.x[2*nd.point], p.x[2*nd.point+1] = d.East, d.North
		east, north = east+d.East/float64(len(nodes)), north+d.North/float64(len(nodes))
	}
	own := p.own[r].first
	p.x[own], p.x[own+1] = east, north
}
