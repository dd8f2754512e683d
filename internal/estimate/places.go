package estimate

import "math/bits"

// Places are the places of a matrix's entries, without their values: one bit an
// element of the upper triangle's square, for the many small matrices that a
// Builder's sums are too much for. It may be used again after Reset.
type Places struct {
	n, words int // words of a column
	bits     []uint64
}

// Reset makes room for a matrix of n unknowns, none of whose elements is in.
func (p *Places) Reset(n int) {
	p.n, p.words = n, (n+63)/64
	if need := n * p.words; cap(p.bits) < need {
		p.bits = make([]uint64, need)
	} else {
		p.bits = p.bits[:need]
		clear(p.bits)
	}
}

// Add puts the elements (i, j) and (j, i) in.
func (p *Places) Add(i, j int) {
	if i > j {
		i, j = j, i
	}
	p.bits[j*p.words+i/64] |= 1 << (i % 64)
}

// Matrix is a matrix of zeros with the entries in their places.
func (p *Places) Matrix() *Matrix {
	count := 0
	for _, w := range p.bits {
		count += bits.OnesCount64(w)
	}
	m := &Matrix{n: p.n, ptr: make([]int, p.n+1), row: make([]int32, 0, count), val: make([]float64, count)}
	for j := range p.n {
		for k, w := range p.bits[j*p.words : (j+1)*p.words] {
			for ; w != 0; w &= w - 1 {
				m.row = append(m.row, int32(64*k+bits.TrailingZeros64(w)))
			}
		}
		m.ptr[j+1] = len(m.row)
	}
	return m
}
