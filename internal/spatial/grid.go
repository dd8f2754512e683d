// Package spatial finds the line segments near a point.
//
// An Index is a uniform grid over the segments' extent in compressed-row form:
// one slice of segment ids, cell after cell, and one slice that says where each
// cell begins. Answers are exact: the grid only proposes, the distance decides.
package spatial

import (
	"math"

	"github.com/paulmach/orb"
)

// Segment is a straight piece of line; A and B may coincide.
type Segment struct{ A, B orb.Point }

// Limits of the grid's memory, in relation to the number of segments.
const (
	maxCellsPerSegment   = 4  // cells of the grid
	maxEntriesPerSegment = 16 // cells that the average segment stands in
)

// Index answers what lies near a point. It is read-only after New, so any
// number of goroutines may ask it.
type Index struct {
	segs       []Segment
	west, sout float64
	cell       float64
	cols, rows int
	starts     []int32 // cols*rows+1: where each cell begins in ids
	ids        []int32
}

// New indexes segments; a segment's id is its place in the slice. cellM is the
// wished side of a cell, about the usual search radius; it grows where the
// extent or long segments would make the grid large out of proportion, so that
// memory stays linear in the number of segments. Segments with a coordinate
// that is not finite are never found.
func New(segs []Segment, cellM float64) *Index {
	ix := &Index{segs: segs}
	box, n := extent(segs)
	if n == 0 {
		ix.cell, ix.starts = 1, []int32{0}
		return ix
	}
	ix.west, ix.sout = box.Min[0], box.Min[1]
	ix.cell = cellSide(segs, box, n, cellM)
	ix.cols = int((box.Max[0]-box.Min[0])/ix.cell) + 1
	ix.rows = int((box.Max[1]-box.Min[1])/ix.cell) + 1
	ix.fill()
	return ix
}

func finite(s Segment) bool {
	sum := s.A[0] + s.A[1] + s.B[0] + s.B[1]
	return !math.IsNaN(sum) && !math.IsInf(sum, 0)
}

func extent(segs []Segment) (orb.Bound, int) {
	box := orb.Bound{
		Min: orb.Point{math.Inf(1), math.Inf(1)},
		Max: orb.Point{math.Inf(-1), math.Inf(-1)},
	}
	n := 0
	for _, s := range segs {
		if !finite(s) {
			continue
		}
		n++
		box.Min[0] = min(box.Min[0], s.A[0], s.B[0])
		box.Min[1] = min(box.Min[1], s.A[1], s.B[1])
		box.Max[0] = max(box.Max[0], s.A[0], s.B[0])
		box.Max[1] = max(box.Max[1], s.A[1], s.B[1])
	}
	return box, n
}

// cellSide is the wished side, or the smallest larger one that keeps the grid
// within its limits.
func cellSide(segs []Segment, box orb.Bound, n int, wishM float64) float64 {
	cell := wishM
	if !(cell > 0) || math.IsInf(cell, 0) {
		cell = 1
	}
	w, h := box.Max[0]-box.Min[0], box.Max[1]-box.Min[1]
	cells := maxCellsPerSegment*float64(n) + 64
	cell = max(cell, math.Sqrt(w*h/cells), w/cells, h/cells)

	length := 0.0 // an upper bound of the cells touched is 2 + (|dx| + |dy|) / cell
	for _, s := range segs {
		if finite(s) {
			length += math.Abs(s.B[0]-s.A[0]) + math.Abs(s.B[1]-s.A[1])
		}
	}
	return max(cell, length/(maxEntriesPerSegment*float64(n)+64))
}

// fill counts the entries of each cell, turns counts into starts and places the
// ids, in ascending order within a cell.
func (ix *Index) fill() {
	counts := make([]int32, ix.cols*ix.rows+1)
	ix.each(func(_ int32, row, c0, c1 int) {
		for c := row*ix.cols + c0; c <= row*ix.cols+c1; c++ {
			counts[c+1]++
		}
	})
	for c := 1; c < len(counts); c++ {
		counts[c] += counts[c-1]
	}
	ix.starts = counts
	ix.ids = make([]int32, counts[len(counts)-1])
	next := make([]int32, ix.cols*ix.rows)
	copy(next, counts)
	ix.each(func(id int32, row, c0, c1 int) {
		for c := row*ix.cols + c0; c <= row*ix.cols+c1; c++ {
			ix.ids[next[c]] = id
			next[c]++
		}
	})
}

// each calls f for every segment and row of cells it touches, with the columns
// that it touches there. The range is widened by a hair (a billionth of a cell
// and of the extent) against rounding: a cell too many does no harm.
func (ix *Index) each(f func(id int32, row, c0, c1 int)) {
	hair := 1e-9 * (ix.cell + float64(max(ix.cols, ix.rows))*ix.cell*1e-3)
	for id, s := range ix.segs {
		if !finite(s) {
			continue
		}
		a, b := s.A, s.B
		if a[1] > b[1] {
			a, b = b, a
		}
		r0, r1 := ix.row(a[1]-hair), ix.row(b[1]+hair)
		slope := 0.0
		if dy := b[1] - a[1]; dy > 0 {
			slope = (b[0] - a[0]) / dy
		}
		lo, hi := min(a[0], b[0]), max(a[0], b[0])
		for r := r0; r <= r1; r++ {
			x0, x1 := lo, hi
			if r0 != r1 && slope != 0 {
				below := ix.sout + float64(r)*ix.cell - hair
				xa := a[0] + slope*(below-a[1])
				xb := a[0] + slope*(below+ix.cell+2*hair-a[1])
				x0, x1 = max(lo, min(xa, xb)), min(hi, max(xa, xb))
			}
			f(int32(id), r, ix.col(x0-hair), ix.col(x1+hair))
		}
	}
}

func (ix *Index) col(x float64) int { return clamp((x-ix.west)/ix.cell, ix.cols) }
func (ix *Index) row(y float64) int { return clamp((y-ix.sout)/ix.cell, ix.rows) }

func clamp(v float64, n int) int {
	if !(v > 0) {
		return 0
	}
	if v >= float64(n) {
		return n - 1
	}
	return int(v)
}
