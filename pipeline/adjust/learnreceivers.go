package adjust

import (
	"fmt"
	"math"
	"slices"

	"github.com/asfound/asfound/internal/estimate"
)

// receiverFit is how the readings of one receiver fit.
type receiverFit struct {
	receiver            int32
	squares, redundancy float64 // the positions' share of them
}

// hearReceivers asks a record how its readings fit.
func (p *problem) hearReceivers(h *heard, c *cell, inv *estimate.Inverse, information float64) {
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
	z.accuracy = slices.Clone(z.accuracy)
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
