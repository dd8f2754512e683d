package rank

import (
	"math"
	"slices"
)

// local is how far lines lie off their sheet's shift, as the surveyed ones show.
// Errors to either side count as equally likely.
type local struct {
	ends   []ends
	metres []float64 // absolute
	// Before anything was surveyed a Student-t counts for priorRecords records.
	scaleM, nu float64
	tables     map[float64]*table
}

// priorRecords is practice; thinned is how many records, and metres, are looked at:
// more tell no more.
const (
	priorRecords = 10
	thinned      = 2000
)

// A table's steps are a tenth of the limit; it reaches to tableFar times the limit.
const (
	perLimit  = 10
	tableFar  = 8
	tableSize = perLimit*tableFar + 1
)

// table is, for a limit and a shift across the line in steps of a tenth of it:
// the probability that minStretchM of a line lie beyond the limit, and the shares
// of its length that do, and that do but would not if the shift were taken off.
type table struct {
	limitM              float64
	outside, wrong, off [tableSize]float64
}

// chance is the same three for one stretch.
type chance struct{ outside, wrong, off float64 }

func (c chance) plus(w float64, o chance) chance {
	return chance{c.outside + w*o.outside, c.wrong + w*o.wrong, c.off + w*o.off}
}

func newLocal(es []ends, metres []float64, scaleM, nu float64) *local {
	l := &local{scaleM: scaleM, nu: nu, tables: map[float64]*table{}}
	l.ends, l.metres = thin(es, thinned), slices.Clone(thin(metres, thinned))
	for i := range l.metres {
		l.metres[i] = math.Abs(l.metres[i])
	}
	return l
}

// thin keeps at most n of many, evenly.
func thin[T any](in []T, n int) []T {
	if len(in) <= n {
		return in
	}
	out := make([]T, n)
	for i := range out {
		out[i] = in[i*len(in)/n]
	}
	return out
}

// prior calls do with the steps of the Student-t and their weights, priorRecords in
// all.
func (l *local) prior(do func(offM, weight float64)) {
	const steps = 40
	sum := 0.0
	density := func(k int) (float64, float64) {
		x := float64(k) * 0.2
		return x * l.scaleM, math.Pow(1+x*x/l.nu, -(l.nu+1)/2)
	}
	for k := -steps; k <= steps; k++ {
		_, w := density(k)
		sum += w
	}
	for k := -steps; k <= steps; k++ {
		x, w := density(k)
		do(x, priorRecords*w/sum)
	}
}

// table makes, or finds, that of a limit.
func (l *local) table(limitM float64) *table {
	if t, ok := l.tables[limitM]; ok {
		return t
	}
	t := &table{limitM: limitM}
	l.tables[limitM] = t
	metreWeight := 0.0
	if len(l.metres) > 0 {
		metreWeight = float64(len(l.ends)) / float64(len(l.metres))
	}
	all := float64(len(l.ends)) + priorRecords
	for k := range tableSize {
		shift := float64(k) * limitM / perLimit
		c := chance{}
		for _, e := range l.ends {
			to, away := ends{e.high + shift, e.low + shift}, ends{shift - e.low, shift - e.high}
			c.outside += (one(to.beyond(limitM)) + one(away.beyond(limitM))) / 2
		}
		add := func(e, w float64) {
			if math.Abs(e+shift) > limitM {
				c.wrong += w
				if math.Abs(e) <= limitM {
					c.off += w
				}
			}
		}
		for _, e := range l.metres {
			add(e, metreWeight/2)
			add(-e, metreWeight/2)
		}
		l.prior(func(e, w float64) {
			add(e, w)
			if math.Abs(e+shift) > limitM {
				c.outside += w
			}
		})
		t.outside[k], t.wrong[k], t.off[k] = c.outside/all, c.wrong/all, c.off/all
	}
	return t
}

// one counts a yes.
func one(yes bool) float64 {
	if yes {
		return 1
	}
	return 0
}

// at is the chance at a known shift: straight between steps.
func (t *table) at(shiftM float64) chance {
	x := min(math.Abs(shiftM)/t.limitM*perLimit, tableSize-1.000001)
	k := int(x)
	f := x - float64(k)
	mix := func(a *[tableSize]float64) float64 { return (1-f)*a[k] + f*a[k+1] }
	return chance{mix(&t.outside), mix(&t.wrong), mix(&t.off)}
}

// over is the chance where the shift is believed to be normal: the integral over
// two and a half standard deviations to either side in steps of a half.
func (t *table) over(b belief) (c chance) {
	if b.sd < t.limitM/50 {
		return t.at(b.mean)
	}
	for k := range quadrature {
		c = c.plus(quadrature[k].weight, t.at(b.mean+quadrature[k].z*b.sd))
	}
	return c
}

var quadrature = func() (q [11]struct{ z, weight float64 }) {
	sum := 0.0
	for k := range q {
		q[k].z = (float64(k) - 5) / 2
		q[k].weight = math.Exp(-q[k].z * q[k].z / 2)
		sum += q[k].weight
	}
	for k := range q {
		q[k].weight /= sum
	}
	return q
}()

// along is the chance on a line whose offset is believed to be that of the samples,
// all of them off by one error.
func (t *table) along(samples []sample, sd float64) (c chance) {
	for i := range samples {
		c.wrong += t.over(belief{samples[i].offset, sd}).wrong
	}
	c.wrong /= float64(len(samples))
	e := endsOf(samples, func(q *sample) float64 { return q.offset })
	c.outside = t.over(belief{max(e.high, -e.low), sd}).outside
	return c
}

// unread is the chance on a line of whose sheet nothing is known: those of the
// sheets that were surveyed, in any direction, and of expectedSheets as they are
// expected beforehand.
func (t *table) unread(shifts []float64, o *Options) (c chance) {
	const directions = 8
	for _, d := range shifts {
		for k := range directions {
			c = c.plus(1.0/directions, t.at(d*math.Cos((float64(k)+0.5)*math.Pi/(2*directions))))
		}
	}
	c = c.plus(expectedSheets*(1-o.FarShare), t.over(belief{0, o.SheetM}))
	c = c.plus(expectedSheets*o.FarShare, t.over(belief{0, o.FarSheetM}))
	n := float64(len(shifts)) + expectedSheets
	return chance{c.outside / n, c.wrong / n, c.off / n}
}
