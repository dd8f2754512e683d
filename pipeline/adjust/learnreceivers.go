package adjust

import (
	"fmt"
	"math"
	"slices"
)

// receiverFit is how the readings of one receiver fit.
type receiverFit struct {
	receiver            int32
	squares, redundancy float64 // the positions' share of them
}

// addReceiver adds a reading and its redundancy number to its receiver's.
func (p *problem) addReceiver(fits *[]receiverFit, ob *observation, redundancy float64) {
	receiver := p.ev.receiver[ob.trace]
	k := slices.IndexFunc(*fits, func(f receiverFit) bool { return f.receiver == receiver })
	if k < 0 {
		*fits, k = append(*fits, receiverFit{receiver: receiver}), len(*fits)
	}
	f, share := &(*fits)[k], ob.budget.fresh(p.sizes.accuracy[receiver])
	f.squares += share * ob.weight * ob.residual * ob.residual / (ob.sigma * ob.sigma)
	f.redundancy += share * redundancy
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
func (p *problem) learnAccuracy(z *sizes, ds []diagnosis) {
	z.accuracy = slices.Clone(z.accuracy)
	squares, redundancy := make([]float64, len(z.accuracy)), make([]float64, len(z.accuracy))
	for i := range ds {
		for _, f := range ds[i].receivers {
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
