package read

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"github.com/asfound/asfound/internal/crs"
	"github.com/asfound/asfound/internal/spatial"
	"github.com/paulmach/orb"
)

// cause is a mistake that would explain where positions lie.
type cause struct {
	name        string
	near, close float64 // as scene.share has them
}

// alike is how close two scores are that tell nothing of which is right.
const alike = 0.2

// likeliest is the mistake that explains most: by the share that comes near and,
// where that is the same to a hundredth, by how closely, to a hundredth too. On a
// tie the first is taken. Where another explains it as well and puts positions
// elsewhere, the name says both. points are what each makes of the positions.
func likeliest(causes []cause, points [][]orb.Point) cause {
	if len(causes) == 0 {
		return cause{}
	}
	hundredths := func(v float64) float64 { return math.Round(100 * v) }
	best := 0
	for i, c := range causes {
		if cmp.Or(cmp.Compare(hundredths(c.near), hundredths(causes[best].near)), cmp.Compare(hundredths(c.close), hundredths(causes[best].close))) > 0 {
			best = i
		}
	}
	c := causes[best]
	for i, other := range causes {
		if i != best && hundredths(other.near) == hundredths(c.near) && math.Abs(other.close-causes[best].close) < alike && elsewhere(points[i], points[best]) {
			c.name += " or " + other.name
			break
		}
	}
	return c
}

// elsewhere says whether positions lie more than some decimetres from others.
func elsewhere(ps, qs []orb.Point) bool {
	const m = 0.3
	n := 0
	for i := range ps {
		if math.Hypot(ps[i][0]-qs[i][0], ps[i][1]-qs[i][1]) <= m {
			n++
		}
	}
	return 2*n < len(ps)
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
	hypotheses, err := crs.Hypotheses(ps, a.to.from, s.plane.system, s.extent.Pad(marginM), s.options(a))
	if err != nil {
		return cause{} // a way that is not known is told elsewhere
	}
	var causes []cause
	var points [][]orb.Point
	for _, h := range hypotheses {
		if h.Share > 0 {
			near, close := share(h.Points)
			causes, points = append(causes, cause{h.Name, near, close}), append(points, h.Points)
		}
	}
	return likeliest(causes, points)
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
			words = append(words, fmt.Sprintf("%s off by %+.0f %s", name, -off[axis], unit))
		}
	}
	moved := make([]orb.Point, len(ps))
	for i, p := range ps {
		moved[i] = orb.Point{p[0] + off[0], p[1] + off[1]}
	}
	near, close := share(to.inPlane(moved))
	return cause{strings.Join(words, ", ") + " (a wrong or lost digit)", near, close}
}

// wrongFeet suspects files of readings in feet of being in the other foot: all
// that state the same system together, which tells more, else each by itself.
func (s *scene) wrongFeet(files []farness) (found []suspicion) {
	var inFeet []farness
	for _, f := range files {
		if from := f.account.to.from; from.Projected() && math.Abs(from.UnitM()/0.3048-1) <= likeFeet {
			inFeet = append(inFeet, f)
		}
	}
	for _, group := range grouped(inFeet, func(f farness) string { return f.account.to.from.Definition() }) {
		together := s.wrongFoot(group...)
		for _, f := range group {
			text := cmp.Or(together, s.wrongFoot(f))
			if text != "" {
				found = append(found, suspicion{account: f.account, text: text + f.account.remedy()})
			}
		}
	}
	return found
}

// The international and the US survey foot differ by 2 ppm: in systems with
// large coordinates that is a metre or more, and always the same vector.
const (
	likeFeet = 1e-5 // relative difference of two feet, at most
	footM    = 0.5  // a smaller shift is not told from errors of the map
	footGain = 0.1  // in closeness, at least
	besideM  = 0.6  // and clearly better than the places around it, so far away
	besideOf = 8
	footOf   = 30 // positions: on fewer, the errors of a few records can look like it
)

// wrongFoot says that some files, which state the same system, lie closer to the
// records in the other foot, and closer than anywhere around.
func (s *scene) wrongFoot(files ...farness) string {
	from := files[0].account.to.from
	var was, is, shiftM float64
	var beside [besideOf]float64
	name := ""
	for _, f := range files {
		h, ok := s.otherFoot(f)
		if !ok {
			return ""
		}
		name, shiftM = h.Name, math.Hypot(h.ShiftM[0], h.ShiftM[1])
		if !(shiftM >= footM) {
			return ""
		}
		close := func(ps []orb.Point) float64 {
			_, c := s.share(ps)
			return c * float64(len(ps))
		}
		was += close(f.stated)
		is += close(h.Points)
		for k := range beside {
			sin, cos := math.Sincos(2 * math.Pi * float64(k) / besideOf)
			moved := make([]orb.Point, len(h.Points))
			for i, p := range h.Points {
				moved[i] = orb.Point{p[0] + besideM*cos, p[1] + besideM*sin}
			}
			beside[k] += close(moved)
		}
	}
	n := 0
	for _, f := range files {
		n += len(f.stated)
	}
	if n < footOf {
		return ""
	}
	ahead := 0.05
	if len(files) == 1 {
		ahead = 0.08 // shifts of a few sheets can look like it
	}
	if is < was+footGain*float64(n) || is < slices.Max(beside[:])+ahead*float64(n) {
		return ""
	}
	return fmt.Sprintf("its positions lie closer to the records if taken as %s, which moves them by %.2f m from where %s puts them", name, shiftM, from.Name())
}

// otherFoot is the hypothesis that a file is in the other foot.
func (s *scene) otherFoot(f farness) (crs.Hypothesis, bool) {
	from := f.account.to.from
	hypotheses, err := crs.Hypotheses(f.points, from, s.plane.system, s.extent.Pad(farM), s.options(f.account))
	if err != nil {
		return crs.Hypothesis{}, false
	}
	i := slices.IndexFunc(hypotheses, func(h crs.Hypothesis) bool {
		ratio := h.System.UnitM() / from.UnitM()
		return h.System.Name() == from.Name() && ratio != 1 && math.Abs(ratio-1) <= likeFeet
	})
	if i < 0 {
		return crs.Hypothesis{}, false
	}
	return hypotheses[i], true
}

// mostSegments is how many segments of a layer are looked at as a whole.
const mostSegments = 20000

// elsewhere suspects records, where no reading of any file lies near any, of
// being in another system than stated: all layers that state the same system
// together. The mistake is named that puts them around the readings.
func (in *inputs) elsewhere() (found []suspicion) {
	target, at := in.ofReadings()
	if len(at) == 0 {
		return nil
	}
	for _, layers := range grouped(in.records, func(l *recordsLayer) string { return l.system.Definition() }) {
		c := in.explainRecords(layers, target, at)
		if c.near < namedShare {
			continue
		}
		for _, l := range layers {
			found = append(found, suspicion{&l.account, fmt.Sprintf("no reading lies near its records; taken as %s, the records would lie around %.0f %% of the readings%s",
				c.name, 100*c.near, l.remedy())})
		}
	}
	return found
}

// grouped splits a list by a key, in the order of the first of each.
func grouped[T any](list []T, key func(T) string) (groups [][]T) {
	index := map[string]int{}
	for _, x := range list {
		i, met := index[key(x)]
		if !met {
			i = len(groups)
			index[key(x)] = i
			groups = append(groups, nil)
		}
		groups[i] = append(groups[i], x)
	}
	return groups
}

// explainRecords is the mistake that puts layers of one system around readings,
// which are positions in the target system.
func (in *inputs) explainRecords(layers []*recordsLayer, target *crs.System, at []orb.Point) cause {
	var ends []orb.Point // of segments, two by two
	for _, l := range layers {
		for i := range l.file.features {
			for _, part := range l.file.features[i].Parts {
				for j := 1; j < len(part); j++ {
					ends = append(ends, part[j-1], part[j])
				}
			}
		}
	}
	if step := 1 + len(ends)/2/mostSegments; step > 1 {
		kept := ends[:0]
		for i := 0; i < len(ends); i += 2 * step {
			kept = append(kept, ends[i], ends[i+1])
		}
		ends = kept
	}
	o := crs.Options{Epoch: unknownEpoch, Grids: in.plane.grids}
	hypotheses, err := crs.Hypotheses(ends, layers[0].system, target, orb.MultiPoint(at).Bound().Pad(farM), o)
	if err != nil {
		return cause{}
	}
	var causes []cause
	var points [][]orb.Point
	for _, h := range hypotheses {
		if box, ok := core(h.Points); ok && h.Share > 0 {
			causes = append(causes, cause{h.Name, shareIn(at, box.Pad(nearM)), closeTo(h.Points, at)})
			points = append(points, h.Points)
		}
	}
	return likeliest(causes, points)
}

// closeTo says how closely positions lie to segments, given by their ends.
func closeTo(ends, at []orb.Point) float64 {
	segments := make([]spatial.Segment, 0, len(ends)/2)
	for i := 0; i+1 < len(ends); i += 2 {
		segments = append(segments, spatial.Segment{A: ends[i], B: ends[i+1]})
	}
	_, close := nearness(spatial.New(segments, 2*nearM), at)
	return close
}

// ofReadings are positions of readings in the UTM zone around them, on the datum
// of the first file: independent of what the records say.
func (in *inputs) ofReadings() (zone *crs.System, at []orb.Point) {
	for _, f := range in.taken() {
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
