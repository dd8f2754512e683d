package synth

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"github.com/paulmach/orb"
)

// sheet is one drawing that records were digitised from.
type sheet struct {
	name    string
	utility string
	lines   []int // true lines on it
	middle  orb.Point
	shift   vector // of the drawing: map minus truth
	turn    float64
	scale   float64
	blunder *blunder
	unit    bool // covers in another unit
	invert  bool // depths to the invert
}

// draw is where the sheet has a point of the site.
func (s *sheet) draw(p orb.Point) orb.Point {
	v := minus(p, s.middle).times(s.scale)
	sin, cos := math.Sincos(s.turn)
	return moved(moved(s.middle, vector{v[0]*cos - v[1]*sin, v[0]*sin + v[1]*cos}), s.shift)
}

// sheets parts the lines into drawings: lines of one utility that hang together,
// with their services.
func sheets(seed uint64, p Map, t *topology) []sheet {
	d := roll(seed, phaseSheets, 0)
	of := make([]int, len(t.lines))
	for i := range of {
		of[i] = -1
	}
	hanging := make([][]int, len(t.lines)) // lines attached to a line
	for i := range t.lines {
		for _, a := range t.attached[i] {
			if a.line >= 0 {
				hanging[a.line] = append(hanging[a.line], i)
			}
		}
	}
	neighbours := func(l int) []int {
		out := append([]int(nil), hanging[l]...)
		for w := range 2 {
			for _, e := range t.at[t.ends[l][w]] {
				if e.line != l && t.lines[e.line].Utility == t.lines[l].Utility {
					out = append(out, e.line)
				}
			}
			if a := t.attached[l][w]; a.line >= 0 {
				out = append(out, a.line)
			}
		}
		return out
	}
	var out []sheet
	for _, first := range d.Perm(len(t.lines)) {
		if of[first] >= 0 {
			continue
		}
		size := int(d.logBetween([2]float64{float64(p.SheetRecords[0]), float64(p.SheetRecords[1]) + 1}))
		lines, joins := []int{first}, -1
		of[first] = len(out)
		for k := 0; k < len(lines) && len(lines) < size; k++ {
			for _, n := range neighbours(lines[k]) {
				switch {
				case of[n] < 0 && len(lines) < size:
					of[n] = len(out)
					lines = append(lines, n)
				case of[n] >= 0 && of[n] != len(out):
					joins = of[n]
				}
			}
		}
		if len(lines) < p.SheetRecords[0] && joins >= 0 && len(out[joins].lines)+len(lines) <= p.SheetRecords[1] {
			for _, l := range lines {
				of[l] = joins
			}
			out[joins].lines = append(out[joins].lines, lines...)
			continue
		}
		out = append(out, sheet{lines: lines, utility: t.lines[first].Utility})
	}
	out = gather(out, p)
	for i := range out {
		misdraw(roll(seed, phaseSheets, i+1), p, t, &out[i], i)
	}
	return out
}

// gather puts the scraps of one utility, which no drawing would be made for
// alone, on sheets with others: together while they are too small, then on any
// that has room.
func gather(in []sheet, p Map) []sheet {
	scraps := map[string]int{} // per utility: the sheet that takes them
	var out []sheet
	for _, s := range in {
		if len(s.lines) >= p.SheetRecords[0] {
			out = append(out, s)
			continue
		}
		if to, ok := scraps[s.utility]; ok && len(out[to].lines) < p.SheetRecords[0] {
			out[to].lines = append(out[to].lines, s.lines...)
			continue
		}
		scraps[s.utility] = len(out)
		out = append(out, s)
	}
	for i := 0; i < len(out); i++ {
		if len(out[i].lines) >= p.SheetRecords[0] {
			continue
		}
		for k := range out {
			if k != i && out[k].utility == out[i].utility && len(out[k].lines)+len(out[i].lines) <= p.SheetRecords[1] {
				out[k].lines = append(out[k].lines, out[i].lines...)
				out = slices.Delete(out, i, i+1)
				i--
				break
			}
		}
	}
	return out
}

// misdraw gives a sheet its name and its errors.
func misdraw(d dice, p Map, t *topology, s *sheet, number int) {
	bound := t.lines[s.lines[0]].Points.Bound()
	for _, l := range s.lines {
		bound = bound.Union(t.lines[l].Points.Bound())
	}
	s.middle, s.scale = bound.Center(), 1
	s.name = fmt.Sprintf("%s-%d", strings.ToUpper(s.utility[:1]), 1000+7*number+d.IntN(7))
	s.shift = d.vector(p.SheetSigmaM)
	if d.chance(p.ShiftedSheets) {
		s.shift = d.arrow(d.between(p.ShiftM))
	}
	if d.chance(p.TurnedSheets) {
		s.turn = d.between([2]float64{-p.TurnDeg, p.TurnDeg}) * math.Pi / 180
	}
	if d.chance(p.ScaledSheets) {
		s.scale = 1 + d.between([2]float64{-p.ScaleShare, p.ScaleShare})
	}
	s.unit = d.chance(p.CoverUnitSheets)
	s.invert = !s.unit && d.chance(p.CoverPointSheets)
}
