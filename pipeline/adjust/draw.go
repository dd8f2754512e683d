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
	c := &p.cells[p.n.rank[r]]
	if !c.read() {
		return nil
	}
	rn := &p.n.records[r]
	root := p.sharedRoot(c)
	rng := rand.New(rand.NewPCG(uint64(p.o.Seed), uint64(p.n.rank[r])))
	z, x := make([]float64, len(c.index)), make([]float64, len(c.index))
	out := make([][]float32, p.o.Draws)
	for k := range out {
		out[k] = make([]float32, len(rn.nodes))
	}
	for k := 0; k < len(out); k += 2 {
		for i := range z {
			z[i] = rng.NormFloat64()
		}
		root.times(z[c.inner:], x[c.inner:])
		c.part.Sample(z, x)
		for i := range rn.nodes {
			e, n := normalAt(rn, i)
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

// root is a lower triangular matrix R, by row: with R R' a covariance.
type root [][]float64

// sharedRoot is that of what a cell shares with others (Cholesky). What rounding
// leaves below zero is a combination that is known for sure.
func (p *problem) sharedRoot(c *cell) root {
	n := len(c.index) - c.inner
	r := make(root, n)
	for i := range r {
		r[i] = make([]float64, i+1)
		for j := range i + 1 {
			v := p.sharedCovariance(c, c.inner+i, c.inner+j)
			for k := range j {
				v -= float64(r[i][k] * r[j][k])
			}
			switch {
			case i == j:
				r[i][i] = math.Sqrt(max(v, 0))
			case r[j][j] > 0:
				r[i][j] = v / r[j][j]
			}
		}
	}
	return r
}

func (r root) times(z, out []float64) {
	for i, row := range r {
		sum := 0.0
		for k, v := range row {
			sum += float64(v * z[k])
		}
		out[i] = sum
	}
}
