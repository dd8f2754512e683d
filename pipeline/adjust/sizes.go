package adjust

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"

	"github.com/asfound/asfound/pipeline/survey"
)

// sizes are the variance components: how large each of the errors is that the
// adjustment tells apart. Those of one number stand in the options.
type sizes struct {
	o        Options
	accuracy []float64     // of each receiver: errors of its positions over what AccuracyFactor expects
	strata   []float64     // of each level: variance of records' local error over LocalM squared
	terms    []survey.Term // those estimated, for the error budget

	raw  [classes]float64 // sizes of the classes as the data alone have them
	seen [classes]float64 // how many of each the data tell apart from none
}

// sizesOf are the sizes as they are given.
func sizesOf(n *network, ev *evidence, o Options) sizes {
	z := sizes{o: o, accuracy: slices.Repeat([]float64{1}, len(ev.receivers)), strata: slices.Repeat([]float64{1}, len(n.levels))}
	for k := range z.raw {
		size, _, _ := o.sizeOf(class(k))
		z.raw[k] = *size
	}
	return z
}

// kinds of strata.
const (
	decade = iota
	material
	quality
	kinds
)

// nameLevels gives every record its levels.
func (n *network) nameLevels(s *survey.Survey) {
	index := map[string]int{}
	of := make([][kinds]string, len(s.Records))
	for i := range s.Records {
		rec := &s.Records[i]
		if rec.Installed > 0 {
			of[i][decade] = fmt.Sprintf("laid from %d to %d", rec.Installed/10*10, rec.Installed/10*10+9)
		}
		if m := strings.ToLower(strings.TrimSpace(rec.Material)); m != "" {
			of[i][material] = "material " + m
		}
		if q := strings.ToLower(strings.TrimSpace(rec.Quality)); q != "" {
			of[i][quality] = "quality " + q
		}
		for _, name := range of[i] {
			if name != "" {
				index[name] = 0
			}
		}
	}
	n.levels = slices.Sorted(maps.Keys(index))
	index = indexOf(n.levels)
	for i := range of {
		for k, name := range of[i] {
			n.records[i].level[k] = -1
			if name != "" {
				n.records[i].level[k] = int32(index[name])
			}
		}
	}
}

// stratum is what the variance of a record's local error is taken for, over LocalM
// squared, from what others of its decade, material and quality have.
func (z *sizes) stratum(rn *recordNet) float64 {
	v := 1.0
	for _, l := range rn.level {
		if l >= 0 {
			v *= z.strata[l]
		}
	}
	return min(max(v, 1.0/localRange), localRange)
}

// localRange is how far the variance of local errors may be over what is given, and
// that of a record's strata together on either side; practice.
const localRange = 16

// resize makes the sizes those. What depends on them is worked out anew.
func (p *problem) resize(z sizes) {
	scale := p.o.LocalM / z.o.LocalM
	p.o, p.sizes = z.o, z
	p.setSigma()
	for _, c := range p.readCells {
		for i := range c.obs {
			if ob := &c.obs[i]; ob.trace >= 0 {
				ob.sigma, ob.wander = ob.budget.sigma(z.accuracy[p.ev.receiver[ob.trace]])
			}
		}
		c.roughness *= scale * scale
		c.expected = z.stratum(&p.n.records[c.record])
	}
	for _, c := range p.unreadCells {
		c.expected = z.stratum(&p.n.records[c.record])
		c.roughness = c.expected
	}
	p.joint.base = nil
	p.unsettle()
}

// setSigma gives the priors their sizes.
func (p *problem) setSigma() {
	for r := range p.own {
		p.own[r].sigma = p.o.OwnM
		if p.n.records[r].sheet < 0 {
			p.own[r].sigma = math.Hypot(p.o.OwnM, p.o.SheetM)
		}
	}
	for i := range p.sheet {
		p.sheet[i].sigma = p.o.SheetM
	}
	for i := range p.session {
		p.session[i].sigma = p.o.SessionM
	}
	for i := range p.source {
		if !p.framed() {
			p.source[i].sigma = math.Hypot(p.o.PositionsM, p.ev.sourceM[i])
		}
	}
}

// framed says whether the frame is under suspicion: the sources' priors are open
// then.
func (p *problem) framed() bool { return p.mapM != p.given.MapM }
