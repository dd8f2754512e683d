package estimate

import (
	"fmt"
	"math/rand/v2"
	"testing"
	"time"
)

// city is the normal equations of a made-up town: streets on a grid, on each a
// chain of nodes with two unknowns, tied along the street and at junctions, every
// third node read by one of the sessions and every record tied to one of the
// sheets. The sheets and sessions, two unknowns each, are the border.
func city(unknowns int) (*Builder, Options) {
	const perStreet, sheets, sessions = 12, 10, 10
	rng := rand.New(rand.NewPCG(1, 2))
	globals := 2 * (sheets + sessions)
	side := 2
	for nodes := func(s int) int { return s*s + 2*s*(s-1)*perStreet }; 2*nodes(side+1)+globals <= unknowns; {
		side++
	}
	nodes := side*side + 2*side*(side-1)*perStreet
	b := NewBuilder(2*nodes + globals)
	o := Options{}
	for g := 2 * nodes; g < b.N(); g++ {
		o.Last = append(o.Last, g)
		b.Add(g, g, 1)
		for h := 2 * nodes; h < g; h++ {
			b.Add(g, h, 0)
		}
	}
	tie := func(p, q, sheet int) {
		for c := range 2 {
			m := 2*nodes + 2*sheet + c
			b.AddNormal([]int{2*p + c, 2*q + c}, []float64{1, -1}, 30)
			b.AddNormal([]int{2*p + c, m}, []float64{1, -1}, 0.5)
		}
	}
	read := func(p int) {
		f := 2*nodes + 2*(sheets+rng.IntN(sessions))
		a, c := rng.Float64(), rng.Float64()
		b.AddNormal([]int{2 * p, 2*p + 1, f, f + 1}, []float64{a, c, a, c}, 400)
	}
	next := side * side
	street := func(p, q, sheet int) {
		for k := range perStreet {
			tie(p, next, sheet)
			if k%3 == 0 {
				read(next)
			}
			p = next
			next++
		}
		tie(p, q, sheet)
	}
	for i := range side {
		for j := range side {
			sheet := (i / 4) % sheets
			if i+1 < side {
				street(i*side+j, (i+1)*side+j, sheet)
			}
			if j+1 < side {
				street(i*side+j, i*side+j+1, sheet)
			}
		}
	}
	return b, o
}

// BenchmarkCity times every step on towns of growing size; fill is the entries
// of L an unknown.
func BenchmarkCity(b *testing.B) {
	for _, n := range []int{1e3, 1e4, 1e5, 1e6} {
		b.Run(fmt.Sprintf("n=%.0e", float64(n)), func(b *testing.B) {
			for b.Loop() {
				builder, o := city(n)
				clock := time.Now()
				lap := func(name string) {
					b.ReportMetric(time.Since(clock).Seconds(), name+"-s")
					clock = time.Now()
				}
				m, err := builder.Matrix()
				if err != nil {
					b.Fatal(err)
				}
				lap("sum")
				order, _ := fillReducing(m, o.Last)
				_ = order
				lap("order")
				f, err := m.Factor(o)
				if err != nil {
					b.Fatal(err)
				}
				lap("order+factor")
				if err := f.RefactorMatrix(m); err != nil {
					b.Fatal(err)
				}
				lap("refactor")
				x := f.Solve(make([]float64, f.N()))
				lap("solve")
				f.Sample(make([]float64, f.N()), x)
				lap("sample")
				f.SelectedInverse()
				lap("inverse")
				b.ReportMetric(float64(f.NNZ())/float64(f.N()), "fill")
			}
		})
	}
}
