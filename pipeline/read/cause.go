package read

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"github.com/asfound/asfound/internal/crs"
	"github.com/paulmach/orb"
)

// cause is a mistake that would explain where positions lie.
type cause struct {
	name        string
	near, close float64 // as scene.share has them
}

// better is the mistake of two that explains more: by the share that comes near
// and, where that is the same to a hundredth, by how closely. On a tie the first
// stays.
func better(a, b cause) cause {
	if cmp.Or(cmp.Compare(math.Round(100*b.near), math.Round(100*a.near)), cmp.Compare(b.close, a.close)) > 0 {
		return b
	}
	return a
}

// options of operations on a file's positions, of which something may tell the
// epoch.
func (s *scene) options(a *account) crs.Options {
	o := crs.Options{Epoch: a.to.epoch, Grids: s.plane.grids}
	if o.Epoch == 0 {
		o.Epoch = middleEpoch(a.First, a.Last)
	}
	return o
}

// explain is the mistake that brings most of a file's positions to where the
// records are, within a margin; share scores positions in the plane.
func (s *scene) explain(a *account, ps []orb.Point, marginM float64, share scoring) cause {
	var best cause
	hypotheses, err := crs.Hypotheses(ps, a.to.from, s.plane.system, s.extent.Pad(marginM), s.options(a))
	if err != nil {
		return best // a way that is not known is told elsewhere
	}
	for _, h := range hypotheses {
		if h.Share > 0 {
			near, close := share(h.Points)
			best = better(best, cause{h.Name, near, close})
		}
	}
	if best.near < namedShare {
		best = better(best, s.wrongDigit(a.to, ps, share))
	}
	return best
}

// wrongDigit is the mistake of a leading digit that is wrong, or lost: all
// coordinates are off by as many whole degrees, or by as many times 100,000 of
// the system's units.
func (s *scene) wrongDigit(to projection, ps []orb.Point, share scoring) cause {
	step, unit, axes := 1.0, "degree", [2]string{"longitude", "latitude"}
	if to.from.Projected() {
		step, unit, axes = 1e5, to.from.Unit(), [2]string{"easting", "northing"}
	}
	back := to.operation.Inverse()
	middle, err := back.Apply(s.extent.Center())
	corner, err2 := back.Apply(s.extent.Max)
	at, ok := middleOf(ps)
	if err != nil || err2 != nil || !ok || math.Abs(corner[0]-middle[0]) > step/4 || math.Abs(corner[1]-middle[1]) > step/4 {
		return cause{} // the records reach so far that some step always fits
	}
	var off orb.Point
	var words []string
	for axis, name := range axes {
		off[axis] = math.Round((middle[axis]-at[axis])/step) * step
		if off[axis] != 0 {
			words = append(words, fmt.Sprintf("%s less %.0f %s", name, -off[axis], unit))
		}
	}
	moved := make([]orb.Point, len(ps))
	for i, p := range ps {
		moved[i] = orb.Point{p[0] + off[0], p[1] + off[1]}
	}
	near, close := share(to.inPlane(moved))
	return cause{strings.Join(words, ", ") + " (a wrong or lost digit)", near, close}
}

// wrongFoot suspects a file of readings in feet of being in the other foot. The
// two differ by 2 ppm: in systems with large coordinates that is a metre or
// more, and always the same vector.
func (s *scene) wrongFoot(a *account, ps, stated []orb.Point) suspicion {
	const (
		like     = 1e-5 // relative difference of two feet
		leastM   = 0.5  // a smaller shift is not told from errors of the map
		gain     = 0.1  // in closeness
		besideM  = 0.6  // and a better place than those around it
		besideOf = 8
	)
	from := a.to.from
	if !from.Projected() || math.Abs(from.UnitM()/0.3048-1) > like {
		return suspicion{}
	}
	hypotheses, err := crs.Hypotheses(ps, from, s.plane.system, s.extent.Pad(farM), s.options(a))
	if err != nil {
		return suspicion{}
	}
	_, was := s.share(stated)
	for _, h := range hypotheses {
		ratio := h.System.UnitM() / from.UnitM()
		shiftM := math.Hypot(h.ShiftM[0], h.ShiftM[1])
		if h.System.Name() != from.Name() || ratio == 1 || math.Abs(ratio-1) > like || !(shiftM >= leastM) {
			continue
		}
		_, is := s.share(h.Points)
		if is < was+gain {
			continue
		}
		best := true
		for k := range besideOf {
			sin, cos := math.Sincos(2 * math.Pi * float64(k) / besideOf)
			beside := make([]orb.Point, len(h.Points))
			for i, p := range h.Points {
				beside[i] = orb.Point{p[0] + besideM*cos, p[1] + besideM*sin}
			}
			_, there := s.share(beside)
			best = best && there < is
		}
		if best {
			return suspicion{a, fmt.Sprintf("its positions lie closer to the records if taken as %s, which moves them by %.2f m%s", h.Name, shiftM, a.remedy()), true}
		}
	}
	return suspicion{}
}

// elsewhere suspects records of which no reading of any file lies near, of being
// in another system than stated: the mistake is named that puts them around the
// readings.
func (l *recordsLayer) elsewhere(in *inputs) suspicion {
	target, at := in.ofReadings()
	if len(at) == 0 {
		return suspicion{}
	}
	var vertices sample
	for i := range l.file.features {
		for _, part := range l.file.features[i].Parts {
			for _, p := range part {
				vertices.add(p)
			}
		}
	}
	o := crs.Options{Epoch: unknownEpoch, Grids: in.plane.grids}
	hypotheses, err := crs.Hypotheses(vertices.points(), l.system, target, orb.MultiPoint(at).Bound().Pad(farM), o)
	if err != nil {
		return suspicion{}
	}
	var best cause
	for _, h := range hypotheses {
		if box, ok := core(h.Points); ok && h.Share > 0 {
			best = better(best, cause{name: h.Name, near: shareIn(at, box.Pad(nearM))})
		}
	}
	if best.near < namedShare {
		return suspicion{}
	}
	return suspicion{&l.account, fmt.Sprintf("no reading lies near its records; taken as %s, they would lie around %.0f %% of the readings%s",
		best.name, 100*best.near, l.remedy()), true}
}

// ofReadings are positions of readings in the UTM zone around them, on the datum
// of the first file: independent of what the records say.
func (in *inputs) ofReadings() (zone *crs.System, at []orb.Point) {
	for _, f := range in.field {
		ps, from := f.sample.points(), f.to.from
		if f.to.operation == nil || len(ps) == 0 {
			continue
		}
		if zone == nil {
			down, err := crs.NewOperation(from, from.Geographic())
			if err != nil {
				continue
			}
			p, err := down.Apply(ps[0])
			if err != nil {
				continue
			}
			if zone, err = crs.UTM(from, p[0], p[1]); err != nil {
				continue
			}
		}
		op, err := crs.NewOperationAt(from, zone, crs.Options{Epoch: f.to.epoch, Grids: in.plane.grids})
		if err != nil {
			continue
		}
		for _, p := range ps {
			if q, err := op.Apply(p); err == nil {
				at = append(at, q)
			}
		}
	}
	return zone, at
}

// core is the box around positions without the outermost fiftieth at each side.
func core(ps []orb.Point) (box orb.Bound, ok bool) {
	var axes [2][]float64
	for _, p := range ps {
		if finite(p) {
			axes[0], axes[1] = append(axes[0], p[0]), append(axes[1], p[1])
		}
	}
	n := len(axes[0])
	if n == 0 {
		return box, false
	}
	for axis, values := range axes {
		slices.Sort(values)
		box.Min[axis], box.Max[axis] = values[n/50], values[n-1-n/50]
	}
	return box, true
}
