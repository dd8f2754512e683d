package synth

import (
	"math"
	"slices"

	"github.com/paulmach/orb"
)

// layLines makes the true lines of a town, in the site frame.
func layLines(seed uint64, p Network) []TrueLine {
	streets := streetPlan(seed, p)
	for i := range streets {
		layMains(roll(seed, phaseStreets, i+1), p, &streets[i])
	}
	join(streets, p.Avenues)
	var lines []TrueLine
	for i := range streets {
		d := roll(seed, phaseStreets, 1<<20+i)
		for _, m := range streets[i].mains {
			lines = append(lines, m.cutUp(d, p)...)
		}
	}
	lines = append(lines, rings(roll(seed, phaseStreets, 1<<21), p, streets)...)
	return append(lines, services(seed, p, lines)...)
}

// join puts a junction where the first mains of a utility cross: avenues with
// the cross streets that meet them. Both get the same point as a vertex.
func join(streets []street, avenues int) {
	for a := range avenues {
		for c := avenues; c < len(streets); c++ {
			for _, m := range streets[a].mains {
				for _, o := range streets[c].mains {
					if m.first && o.first && m.habit == o.habit {
						tee(m, o, c-avenues, a)
					}
				}
			}
		}
	}
}

// tee gives two mains a common vertex where they cross: at the end of the
// given blocks (block b ends at the street's crossing b).
func tee(m, o *main, blockM, blockO int) {
	fromM, toM := m.near(blockM)
	fromO, toO := o.near(blockO)
	for i := fromM; i < toM; i++ {
		for j := fromO; j < toO; j++ {
			p, ok := crossing(m.points[i], m.points[i+1], o.points[j], o.points[j+1])
			if !ok {
				continue
			}
			depth := (m.cover[i] + o.cover[j]) / 2
			m.insert(i, p, depth)
			o.insert(j, p, depth)
			return
		}
	}
}

// near gives the segments of a block and the one after it.
func (m *main) near(block int) (from, to int) {
	from, _ = slices.BinarySearch(m.block, block)
	to, _ = slices.BinarySearch(m.block, block+2)
	return from, min(to, len(m.points)-1)
}

// insert puts a junction into segment i.
func (m *main) insert(i int, p orb.Point, cover float64) {
	m.points = slices.Insert(m.points, i+1, p)
	m.cover = slices.Insert(m.cover, i+1, cover)
	block := m.block[i]
	m.block = slices.Insert(slices.Clone(m.block), i+1, block)
	m.junctions = append(m.junctions, p)
}

// cutUp cuts a main at its junctions, leaves out the blocks where it is absent,
// and cuts the rest into pieces between fittings.
func (m *main) cutUp(d dice, p Network) []TrueLine {
	var out []TrueLine
	start := 0
	for i := 1; i < len(m.points); i++ {
		last := i == len(m.points)-1
		if !last && !slices.Contains(m.junctions, m.points[i]) && m.absent[m.block[i]] == m.absent[m.block[i-1]] {
			continue
		}
		if !m.absent[m.block[start]] {
			out = append(out, m.pieces(d, p, start, i)...)
		}
		start = i
	}
	return out
}

func (m *main) pieces(d dice, p Network, from, to int) []TrueLine {
	pts, cover := m.points[from:to+1], m.cover[from:to+1]
	s := stations(pts)
	total := s[len(s)-1]
	if total < 2 {
		return nil
	}
	n := max(int(math.Round(total/d.between(p.PieceM))), 1)
	var out []TrueLine
	at := 0.0
	for k := 1; k <= n; k++ {
		next := total
		if k < n {
			next = total * (float64(k) + d.between([2]float64{-0.2, 0.2})) / float64(n)
		}
		l := m.like
		l.sideM = m.sideM
		l.Points, l.CoverM = cut(pts, s, cover, at, next)
		if k > 1 { // the very point of the last piece's end
			l.Points[0] = out[k-2].Points[len(out[k-2].Points)-1]
		}
		out = append(out, l)
		at = next
	}
	return out
}

// rings are closed lines around the turning circle at a street's end, joined to
// the end of a main there.
func rings(d dice, p Network, streets []street) []TrueLine {
	var out []TrueLine
	for k := range p.Rings {
		s := &streets[k%len(streets)]
		for n, m := range s.mains {
			end := len(m.points) - 1
			if n > 1 || m.absent[m.block[end-1]] {
				continue
			}
			ahead := unit(minus(m.points[end], m.points[end-1]))
			radius := 13 + float64(n)*1.2
			centre := moved(m.points[end], ahead.times(radius))
			l := m.like
			l.sideM = math.NaN()
			for i := 0; i <= 16; i++ {
				sin, cos := math.Sincos(2 * math.Pi * float64(i%16) / 16)
				l.Points = append(l.Points, moved(centre, ahead.times(-radius*cos).plus(ahead.right().times(radius*sin))))
				l.CoverM = append(l.CoverM, m.cover[end])
			}
			l.Points[0], l.Points[16] = m.points[end], m.points[end]
			out = append(out, l)
		}
	}
	return out
}

// services leave their mains at right angles, on either side.
func services(seed uint64, p Network, mains []TrueLine) []TrueLine {
	var out []TrueLine
	for i := range mains {
		m := &mains[i]
		if !slices.Contains(p.ServiceUtilities, m.Utility) || m.Service {
			continue
		}
		d := roll(seed, phaseServices, i)
		h := habitOf(m.Utility)
		s := stations(m.Points)
		total := s[len(s)-1]
		for range d.count(total / p.ServiceEveryM) {
			at := d.between([2]float64{0.08 * total, 0.92 * total})
			from, along := pointAt(m.Points, s, at)
			across := along.right().times(d.sign())
			l := attributes(d, p, h, true)
			l.sideM = math.NaN()
			reach := d.between(p.ServiceM)
			l.Points = orb.LineString{from, moved(from, across.times(reach))}
			if d.chance(0.3) { // around a tree
				half := moved(from, across.times(reach*d.between([2]float64{0.4, 0.7})))
				l.Points = orb.LineString{from, half, moved(half, across.times(reach/2).plus(along.times(d.normal(1.5))))}
			}
			for range l.Points {
				l.CoverM = append(l.CoverM, max(valueAt(m.CoverM, s, at)-0.1, 0.25))
			}
			out = append(out, l)
		}
	}
	return out
}

func habitOf(utility string) *habit {
	for i := range habits {
		if habits[i].utility == utility {
			return &habits[i]
		}
	}
	return &habit{utility: utility, coverM: [2]float64{0.6, 1.2}, diametersM: []float64{0.1}, serviceM: 0.03, metal: "METAL", plastic: "PLASTIC"}
}
