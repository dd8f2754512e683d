package scorer

import (
	"fmt"
	"io"
	"math"
	"slices"
)

// Share is how many of a number of cases.
type Share struct{ Hits, Of int }

// Interval is the 95 % interval of the share behind the count (Wilson 1927).
func (s Share) Interval() (low, high float64) {
	if s.Of == 0 {
		return 0, 1
	}
	const z = 1.959964
	n, p := float64(s.Of), s.Value()
	centre := p + z*z/(2*n)
	half := z * math.Sqrt(p*(1-p)/n+z*z/(4*n*n))
	return max(0, (centre-half)/(1+z*z/n)), min(1, (centre+half)/(1+z*z/n))
}

// Value is the share itself; 0 of nothing is 0.
func (s Share) Value() float64 {
	if s.Of == 0 {
		return 0
	}
	return float64(s.Hits) / float64(s.Of)
}

// Tally collects figures over towns: shares and samples by name, in the order in
// which they first came.
type Tally struct {
	Names   []string
	Shares  map[string]Share
	Samples map[string][]float64
}

// NewTally is an empty tally.
func NewTally() *Tally {
	return &Tally{Shares: map[string]Share{}, Samples: map[string][]float64{}}
}

func (t *Tally) name(name string) {
	if _, ok := t.Shares[name]; ok {
		return
	}
	if _, ok := t.Samples[name]; ok {
		return
	}
	t.Names = append(t.Names, name)
}

func (t *Tally) count(name string, hit bool) {
	t.name(name)
	s := t.Shares[name]
	s.Of++
	if hit {
		s.Hits++
	}
	t.Shares[name] = s
}

// add counts cases that come in numbers.
func (t *Tally) add(name string, hits, of int) {
	t.name(name)
	s := t.Shares[name]
	t.Shares[name] = Share{s.Hits + hits, s.Of + of}
}

func (t *Tally) sample(name string, v ...float64) {
	t.name(name)
	t.Samples[name] = append(t.Samples[name], v...)
}

// Merge adds another tally's cases.
func (t *Tally) Merge(o *Tally) {
	for _, name := range o.Names {
		if s, ok := o.Shares[name]; ok {
			t.add(name, s.Hits, s.Of)
		} else {
			t.sample(name, o.Samples[name]...)
		}
	}
}

// Mean, RMS and quantile of a sample; NaN of an empty one.
func (t *Tally) Mean(name string) float64 {
	sum := 0.0
	for _, v := range t.Samples[name] {
		sum += v
	}
	return sum / float64(len(t.Samples[name]))
}

// RMS is the root of the mean square of a sample.
func (t *Tally) RMS(name string) float64 {
	sum := 0.0
	for _, v := range t.Samples[name] {
		sum += v * v
	}
	return math.Sqrt(sum / float64(len(t.Samples[name])))
}

// Quantile is the value below which the share q of a sample lies.
func (t *Tally) Quantile(name string, q float64) float64 {
	v := slices.Clone(t.Samples[name])
	if len(v) == 0 {
		return math.NaN()
	}
	slices.Sort(v)
	return v[min(int(q*float64(len(v))), len(v)-1)]
}

// text is one figure as the table shows it.
func (t *Tally) text(name string) string {
	if s, ok := t.Shares[name]; ok {
		if s.Of == 0 {
			return "-"
		}
		low, high := s.Interval()
		return fmt.Sprintf("%.1f (%.1f-%.1f) %% of %d", 100*s.Value(), 100*low, 100*high, s.Of)
	}
	if v := t.Samples[name]; len(v) > 0 {
		return fmt.Sprintf("rms %.3f mean %.3f p95 %.3f of %d", t.RMS(name), t.Mean(name), t.Quantile(name, 0.95), len(v))
	}
	return "-"
}

// Print writes a table: a row a figure, a column a tally.
func Print(w io.Writer, heads []string, columns []*Tally) {
	var names []string
	seen := map[string]bool{}
	for _, c := range columns {
		for _, n := range c.Names {
			if !seen[n] {
				seen[n] = true
				names = append(names, n)
			}
		}
	}
	fmt.Fprintf(w, "%-52s", "")
	for _, h := range heads {
		fmt.Fprintf(w, " | %-42s", h)
	}
	fmt.Fprintln(w)
	for _, n := range names {
		fmt.Fprintf(w, "%-52s", n)
		for _, c := range columns {
			fmt.Fprintf(w, " | %-42s", c.text(n))
		}
		fmt.Fprintln(w)
	}
}
