package adjust

import (
	"math"
	"math/rand/v2"
)

// draws are joint draws of a record's offsets at its nodes, one row a draw: of
// what it shares with others from the joint equations, of its own given that.
// They come in pairs on both sides of the estimate. Every record has its own
// random stream, so that neither its number nor theirs changes any other's.
func (p *problem) draws(r int) [][]float32 {
	c := p.recondensed(r)
	if c == nil {
		return nil
	}
	rn := &p.n.records[r]
	rng := rand.New(rand.NewPCG(uint64(p.o.Seed), uint64(p.n.rank[r])))
	z, x := make([]float64, len(c.index)), make([]float64, len(c.index))
	east, north := make([]float64, len(rn.nodes)), make([]float64, len(rn.nodes))
	for i := range rn.nodes {
		east[i], north[i] = normalAt(rn, i)
	}
	out := make([][]float32, p.o.Draws)
	all := make([]float32, len(out)*len(rn.nodes))
	for k := range out {
		out[k] = all[k*len(rn.nodes) : (k+1)*len(rn.nodes)]
	}
	for k := 0; k < len(out); k += 2 {
		for i := range z {
			z[i] = rng.NormFloat64()
		}
		c.root.times(z[c.inner:], x[c.inner:])
		c.part.Sample(z, x)
		for i := range rn.nodes {
			e, n := east[i], north[i]
			at, q := int(c.node[i]), 2*rn.nodes[i].point
			mean, off := e*p.x[q]+n*p.x[q+1], e*x[at]+n*x[at+1]
			out[k][i] = float32(mean + off)
			if k+1 < len(out) {
				out[k+1][i] = float32(mean - off)
			}
		}
	}
	return out
}

// recondensed is the cell of a record that was read, condensed as for the posterior;
// nil where nothing was read. Others may ask for it meanwhile.
func (p *problem) recondensed(r int) *cell {
	kept := p.readCell(r)
	if kept == nil {
		return nil
	}
	c := *kept
	c.part = nil
	if err := p.condense(&c, p.information()); err != nil {
		panic(err) // the same equations have been solved before
	}
	return &c
}

// root is a lower triangular matrix R, row by row: with R R' a covariance.
type root []float64

// row i of it.
func (r root) row(i int) []float64 { return r[i*(i+1)/2 : (i+1)*(i+2)/2] }

// sharedRoot is that of what a cell shares with others (Cholesky). What rounding
// leaves below zero is a combination that is known for sure.
func (p *problem) sharedRoot(c *cell) root {
	n := len(c.index) - c.inner
	r := make(root, n*(n+1)/2)
	for i := range n {
		row := r.row(i)
		for j := range row {
			v := p.sharedCovariance(c, c.inner+i, c.inner+j)
			other := r.row(j)
			for k := range j {
				v -= float64(row[k] * other[k])
			}
			switch {
			case i == j:
				row[i] = math.Sqrt(max(v, 0))
			case other[j] > 0:
				row[j] = v / other[j]
			}
		}
	}
	return r
}

// covariance is the element (i, j) of R R'.
func (r root) covariance(i, j int) float64 {
	a, b := r.row(i), r.row(j)
	sum := 0.0
	for k := range min(len(a), len(b)) {
		sum += float64(a[k] * b[k])
	}
	return sum
}

// form is the variance of a linear form of what R R' is the covariance of.
func (r root) form(coef []float64) (variance float64) {
	for j := range coef {
		sum := 0.0
		for i := j; i < len(coef); i++ {
			sum += float64(coef[i] * r.row(i)[j])
		}
		variance += float64(sum * sum)
	}
	return variance
}

func (r root) times(z, out []float64) {
	for i := range out {
		sum := 0.0
		for k, v := range r.row(i) {
			sum += float64(v * z[k])
		}
		out[i] = sum
	}
}
