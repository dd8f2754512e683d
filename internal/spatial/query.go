package spatial

import (
	"math"
	"slices"

	"github.com/paulmach/orb"
)

// Within appends to buf[:0] the ids of all segments at a distance of r or less
// from p, in ascending order, and returns it. It allocates only where buf is
// too small.
func (ix *Index) Within(p orb.Point, r float64, buf []int32) []int32 {
	buf = buf[:0]
	if len(ix.ids) == 0 || !(r >= 0) || math.IsNaN(p[0]+p[1]) || ix.outside(p, r) {
		return buf
	}
	c0, c1 := ix.col(p[0]-r), ix.col(p[0]+r)
	r0, r1 := ix.row(p[1]-r), ix.row(p[1]+r)
	for row := r0; row <= r1; row++ {
		from, to := ix.starts[row*ix.cols+c0], ix.starts[row*ix.cols+c1+1]
		for _, id := range ix.ids[from:to] {
			if distance2(&ix.segs[id], p) <= r*r {
				buf = append(buf, id)
			}
		}
	}
	if c0 == c1 && r0 == r1 {
		return buf // one cell holds no id twice and is in order
	}
	sortShort(buf)
	return slices.Compact(buf)
}

// Among appends to buf[:0] those of some ids whose segments are at a distance of r
// or less from p: of what is near one point, what is near another beside it.
func (ix *Index) Among(ids []int32, p orb.Point, r float64, buf []int32) []int32 {
	buf = buf[:0]
	for _, id := range ids {
		if distance2(&ix.segs[id], p) <= r*r {
			buf = append(buf, id)
		}
	}
	return buf
}

// Nearest is the segment nearest to p within r (which may be infinite) and its
// distance; ties go to the smaller id.
func (ix *Index) Nearest(p orb.Point, r float64) (id int32, dist float64, ok bool) {
	if len(ix.ids) == 0 || !(r >= 0) || math.IsNaN(p[0]+p[1]) || ix.outside(p, r) {
		return 0, 0, false
	}
	best, id := math.Inf(1), int32(-1)
	look := func(row, c0, c1 int) {
		for _, s := range ix.ids[ix.starts[row*ix.cols+c0]:ix.starts[row*ix.cols+c1+1]] {
			if d := distance2(&ix.segs[s], p); d < best || (d == best && s < id) {
				best, id = d, s
			}
		}
	}
	// Rings of cells around p's own, until a ring cannot hold anything nearer.
	pc, pr := ix.col(p[0]), ix.row(p[1])
	for ring := 0; ring < ix.cols+ix.rows; ring++ {
		reach := ix.reach(p, pc, pr, ring)
		if reach > r || reach*reach > best {
			break
		}
		c0, c1 := pc-ring, pc+ring
		for row := max(pr-ring, 0); row <= min(pr+ring, ix.rows-1); row++ {
			if row == pr-ring || row == pr+ring {
				look(row, max(c0, 0), min(c1, ix.cols-1))
				continue
			}
			if c0 >= 0 {
				look(row, c0, c0)
			}
			if c1 < ix.cols && ring > 0 {
				look(row, c1, c1)
			}
		}
	}
	if id < 0 || best > r*r {
		return 0, 0, false
	}
	return id, math.Sqrt(best), true
}

// reach is a lower bound of the distance from p to any cell of a ring around
// cell (pc, pr), which is p's own or, for a p outside the grid, the nearest.
func (ix *Index) reach(p orb.Point, pc, pr, ring int) float64 {
	if ring == 0 {
		return 0
	}
	west := p[0] - (ix.west + float64(pc-ring+1)*ix.cell)
	east := ix.west + float64(pc+ring)*ix.cell - p[0]
	south := p[1] - (ix.sout + float64(pr-ring+1)*ix.cell)
	north := ix.sout + float64(pr+ring)*ix.cell - p[1]
	// A side that lies off the grid holds nothing and bounds nothing.
	if pc-ring < 0 {
		west = math.Inf(1)
	}
	if pc+ring >= ix.cols {
		east = math.Inf(1)
	}
	if pr-ring < 0 {
		south = math.Inf(1)
	}
	if pr+ring >= ix.rows {
		north = math.Inf(1)
	}
	return max(min(west, east, south, north)*(1-1e-12)-1e-6*ix.cell, 0)
}

// outside says that nothing can be within r of p, since the grid is not.
func (ix *Index) outside(p orb.Point, r float64) bool {
	east := ix.west + float64(ix.cols)*ix.cell
	north := ix.sout + float64(ix.rows)*ix.cell
	return p[0]+r < ix.west-ix.cell || p[0]-r > east+ix.cell ||
		p[1]+r < ix.sout-ix.cell || p[1]-r > north+ix.cell
}

// Distance is the distance from p to segment id.
func (ix *Index) Distance(id int32, p orb.Point) float64 {
	return math.Sqrt(distance2(&ix.segs[id], p))
}

func distance2(s *Segment, p orb.Point) float64 {
	dx, dy := s.B[0]-s.A[0], s.B[1]-s.A[1]
	px, py := p[0]-s.A[0], p[1]-s.A[1]
	if dot, l2 := px*dx+py*dy, dx*dx+dy*dy; dot > 0 {
		if dot >= l2 {
			px, py = p[0]-s.B[0], p[1]-s.B[1]
		} else {
			t := dot / l2
			px, py = px-t*dx, py-t*dy
		}
	}
	return px*px + py*py
}

// sortShort sorts by insertion while the slice is as short as answers usually
// are.
func sortShort(v []int32) {
	if len(v) > 48 {
		slices.Sort(v)
		return
	}
	for i := 1; i < len(v); i++ {
		x, j := v[i], i
		for j > 0 && v[j-1] > x {
			v[j], j = v[j-1], j-1
		}
		v[j] = x
	}
}
