package scorer

import (
	"math"
	"slices"
)

// Share is how many of a number of cases.
type Share struct{ Hits, Of float64 }

// Value is the share itself; 0 of nothing is 0.
func (s Share) Value() float64 {
	if s.Of == 0 {
		return 0
	}
	return s.Hits / s.Of
}

// Interval is the 95 % interval of the share behind the count (Wilson 1927,
// Journal of the American Statistical Association 22, 209-212).
func (s Share) Interval() (low, high float64) {
	if s.Of == 0 {
		return 0, 1
	}
	const z = 1.959963985
	n, p := s.Of, s.Value()
	centre := p + z*z/(2*n)
	half := z * math.Sqrt(p*(1-p)/n+z*z/(4*n*n))
	return max(0, (centre-half)/(1+z*z/n)), min(1, (centre+half)/(1+z*z/n))
}

// cases are those of one figure in one town.
type cases struct {
	Share
	promised float64 // sum of the probabilities promised for them
	values   []float64
}

// Tally holds the cases of every figure, town by town.
type Tally struct{ towns [][numFigures]cases }

// NewTally is a tally of no town.
func NewTally() *Tally { return &Tally{} }

// Add adds the towns of another tally.
func (t *Tally) Add(o *Tally) { t.towns = append(t.towns, o.towns...) }

func (t *Tally) last() *[numFigures]cases { return &t.towns[len(t.towns)-1] }

func (t *Tally) count(f Figure, hit bool) {
	c := &t.last()[f]
	c.Of++
	if hit {
		c.Hits++
	}
}

// measure counts a part of something that is measured, not counted.
func (t *Tally) measure(f Figure, hits, of float64) {
	c := &t.last()[f]
	c.Hits += hits
	c.Of += of
}

// promise counts a case for which a probability was promised.
func (t *Tally) promise(f Figure, p float64, hit bool) {
	t.count(f, hit)
	t.last()[f].promised += p
}

func (t *Tally) value(f Figure, v float64) {
	c := &t.last()[f]
	c.values = append(c.values, v)
}

// Share is a figure's share over all towns.
func (t *Tally) Share(f Figure) Share {
	var s Share
	for i := range t.towns {
		s.Hits += t.towns[i][f].Hits
		s.Of += t.towns[i][f].Of
	}
	return s
}

// Promised is the mean of the probabilities promised for a figure's cases.
func (t *Tally) Promised(f Figure) float64 {
	sum := 0.0
	for i := range t.towns {
		sum += t.towns[i][f].promised
	}
	return sum / t.Share(f).Of
}

// Interval is the 95 % interval of a figure's share. Cases of one town stand or
// fall together: the count goes into Wilson's interval divided by the design
// effect, the variance that the towns' own shares show over that of as many
// independent cases, where that is above 1 (ratio estimator over clusters:
// Cochran, Sampling Techniques, 3rd ed. 1977, section 9A; design effect: Kish,
// Survey Sampling, 1965, section 8.2; both from memory).
func (t *Tally) Interval(f Figure) (low, high float64) {
	s := t.Share(f)
	return Share{s.Value() * s.Of / t.designEffect(f), s.Of / t.designEffect(f)}.Interval()
}

func (t *Tally) designEffect(f Figure) float64 {
	s, towns, squares := t.Share(f), 0.0, 0.0
	p := s.Value()
	for i := range t.towns {
		if c := &t.towns[i][f]; c.Of > 0 {
			towns++
			d := c.Hits - p*c.Of
			squares += d * d
		}
	}
	independent := p * (1 - p) * s.Of
	if towns < 2 || independent == 0 {
		return 1
	}
	return max(1, towns/(towns-1)*squares/independent)
}

// Values are a figure's values over all towns.
func (t *Tally) Values(f Figure) []float64 {
	var v []float64
	for i := range t.towns {
		v = append(v, t.towns[i][f].values...)
	}
	return v
}

// Mean is the mean of a figure's values; NaN of none.
func (t *Tally) Mean(f Figure) float64 { return mean(t.Values(f)) }

// Cases is how many cases a figure has.
func (t *Tally) Cases(f Figure) int {
	n := 0
	for i := range t.towns {
		n += len(t.towns[i][f].values)
	}
	return n + int(math.Round(t.Share(f).Of))
}

func mean(v []float64) float64 {
	sum := 0.0
	for _, x := range v {
		sum += x
	}
	return sum / float64(len(v))
}

// rms is the root of the mean square.
func rms(v []float64) float64 {
	sum := 0.0
	for _, x := range v {
		sum += x * x
	}
	return math.Sqrt(sum / float64(len(v)))
}

// quantile is the smallest value that at least the share q lies at or below;
// NaN of none.
func quantile(v []float64, q float64) float64 {
	if len(v) == 0 {
		return math.NaN()
	}
	v = slices.Clone(v)
	slices.Sort(v)
	return v[max(int(math.Ceil(q*float64(len(v))))-1, 0)]
}
