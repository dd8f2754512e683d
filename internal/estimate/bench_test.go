package estimate

import (
	"fmt"
	"math/rand/v2"
	"testing"
	"time"
)

// city is the normal equations of a made-up town: streets on a grid, on each a
// record, a chain of nodes with two unknowns, tied along the street and at
// junctions, to the record's own shift and to its sheet's; every third node is
// read by one of the sessions. Sheets and sessions, two unknowns each, are the
// border.
func city(unknowns int) (*Builder, Options) {
	const perStreet, sheets, sessions = 12, 10, 10
	const globals = 2 * (sheets + sessions)
	rng := rand.New(rand.NewPCG(1, 2))
	nodes := func(side int) int { return side*side + 2*side*(side-1)*perStreet }
	streets := func(side int) int { return 2 * side * (side - 1) }
	side := 2
	for 2*(nodes(side+1)+streets(side+1))+globals <= unknowns {
		side++
	}
	own := 2 * nodes(side)
	border := own + 2*streets(side)
	b := NewBuilder(border + globals)
	o := Options{}
	for g := border; g < b.N(); g++ {
		o.Last = append(o.Last, g)
		b.Add(g, g, 1)
		for h := border; h < g; h++ {
			b.Add(g, h, 0)
		}
	}
	next, street := side*side, 0
	tie := func(p, q, sheet int) {
		for c := range 2 {
			b.AddNormal([]int{2*p + c, 2*q + c}, []float64{1, -1}, 30)
			b.AddNormal([]int{2*p + c, own + 2*street + c, border + 2*sheet + c}, []float64{1, -1, -1}, 0.5)
		}
	}
	read := func(p int) {
		f := border + 2*(sheets+rng.IntN(sessions))
		a, c := rng.Float64(), rng.Float64()
		b.AddNormal([]int{2 * p, 2*p + 1, f, f + 1}, []float64{a, c, a, c}, 400)
	}
	lay := func(p, q, sheet int) {
		b.Add(own+2*street, own+2*street, 4)
		b.Add(own+2*street+1, own+2*street+1, 4)
		for k := range perStreet {
			tie(p, next, sheet)
			if k%3 == 0 {
				read(next)
			}
			p = next
			next++
		}
		tie(p, q, sheet)
		street++
	}
	for i := range side {
		for j := range side {
			sheet := (i / 4) % sheets
			if i+1 < side {
				lay(i*side+j, (i+1)*side+j, sheet)
			}
			if j+1 < side {
				lay(i*side+j, i*side+j+1, sheet)
			}
		}
	}
	return b, o
}

// BenchmarkCity times every step on towns of growing size: factor is the order,
// the analysis and the numbers, refactor the numbers alone; fill is the entries
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
				fillReducing(m, o.Last, nil)
				lap("order")
				f, err := m.Factor(o)
				if err != nil {
					b.Fatal(err)
				}
				lap("factor")
				if err := f.Eliminate(); err != nil {
					b.Fatal(err)
				}
				lap("refactor")
				rhs := make([]float64, f.N())
				for i := range rhs {
					rhs[i] = 1
				}
				x := f.Solve(rhs)
				lap("solve")
				f.Sample(rhs, x)
				lap("sample")
				f.SelectedInverse()
				lap("inverse")
				b.ReportMetric(float64(f.NNZ())/float64(f.N()), "fill")
			}
		})
	}
}
