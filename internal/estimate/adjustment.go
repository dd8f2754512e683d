package estimate

import "fmt"

// Observation is one linear observation equation: the unknowns At with the
// coefficients A add up to Value and an error of variance (variance
// factor)/Weight.
type Observation struct {
	At     []int
	A      []float64
	Value  float64
	Weight float64
}

// Adjustment is the least-squares solution of observation equations.
type Adjustment struct {
	X         []float64 // the unknowns
	Residuals []float64 // A x - value, one an observation
	Freedom   int       // observations of some weight less unknowns
	// VarianceFactor is the sum of the weighted squares over Freedom: the
	// square of the standard deviation of unit weight; 0 without freedom.
	VarianceFactor float64
	Factor         *Factor // of the normal equations
}

// Adjust solves observation equations in n unknowns by least squares. It fails
// with a *NotPositiveError where they leave an unknown undetermined.
func Adjust(n int, observations []Observation, o Options) (*Adjustment, error) {
	b := NewBuilder(n)
	rhs := make([]float64, n)
	for k, obs := range observations {
		if len(obs.At) != len(obs.A) || obs.Weight < 0 {
			return nil, fmt.Errorf("estimate: observation %d has %d unknowns, %d coefficients, weight %g", k, len(obs.At), len(obs.A), obs.Weight)
		}
		b.AddNormal(obs.At, obs.A, obs.Weight)
		for q, i := range obs.At {
			rhs[i] += float64(obs.Weight * obs.A[q] * obs.Value)
		}
	}
	f, err := b.Factor(o)
	if err != nil {
		return nil, err
	}
	a := &Adjustment{X: f.Solve(rhs), Residuals: make([]float64, len(observations)), Freedom: -n, Factor: f}
	sum := 0.0
	for k, obs := range observations {
		v := obs.predict(a.X) - obs.Value
		a.Residuals[k] = v
		sum += float64(obs.Weight * v * v)
		if obs.Weight > 0 {
			a.Freedom++
		}
	}
	if a.Freedom > 0 {
		a.VarianceFactor = sum / float64(a.Freedom)
	}
	return a, nil
}

func (obs Observation) predict(x []float64) float64 {
	sum := 0.0
	for q, i := range obs.At {
		sum += float64(obs.A[q] * x[i])
	}
	return sum
}
