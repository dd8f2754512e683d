package match

import (
	"cmp"
	"math"
	"slices"

	"github.com/asfound/asfound/internal/parallel"
)

// joint is a place where a record goes on along another one: its end, or the
// other's, lies within the snap distance of the other. Where two drawings were
// never joined, a gap takes the place of a joint, at a price.
type joint struct {
	spot
	gap    float64 // ground metres; 0 where they are joined
	weight float64 // 1 where they are joined
}

// spot is where a record meets another one.
type spot struct {
	here, there float64 // stations
	other       int32
	atEnd       bool // here is an end of this record
	straight    bool // and the other record goes on straight ahead
}

// meeting is a spot where two records may be joined, wherever their sheets lie.
type meeting struct {
	spot
	gap       float64 // on the map as it is laid out
	seg, onto int32   // the segment that ends there, and the one that it ends on
	end       bool    // seg ends there with its end, not with its start
	ends      bool    // both records end there: it may be a gap
}

// web is the network with its joints as a round expects them.
type web struct {
	*network
	joints  []joint    // by record, then station
	of      [][2]int32 // by record: from where to where its joints stand
	only    []int32    // by record: the one record that it leads to, at one place; -1 where there are more
	widestM float64    // widest gap of a joint
}

// meet finds the meetings: for every open end of a part the records of the same
// utility, or of none, that are near it on the map, or might be.
func (n *network) meet(o Options) {
	const chunk = 1024
	type found struct {
		rec int32
		meeting
	}
	all := make([][]found, (len(n.segs)+chunk-1)/chunk)
	parallel.Each(len(all), o.Workers, func() func(int) {
		var buf []int32
		return func(i int) {
			for id := i * chunk; id < min((i+1)*chunk, len(n.segs)); id++ {
				buf = n.meetEnds(int32(id), &o, buf, func(rec int32, m meeting) { all[i] = append(all[i], found{rec, m}) })
			}
		}
	})
	n.meetsFrom = make([]int32, len(n.records)+1)
	for _, list := range all {
		for i := range list {
			n.meetsFrom[list[i].rec+1]++
		}
	}
	for r := range n.records {
		n.meetsFrom[r+1] += n.meetsFrom[r]
	}
	n.meetings = make([]meeting, n.meetsFrom[len(n.records)])
	next := slices.Clone(n.meetsFrom)
	for _, list := range all {
		for i := range list {
			r := list[i].rec
			n.meetings[next[r]] = list[i].meeting
			next[r]++
		}
	}
	n.eachRecord(o.Workers, func(r int) {
		slices.SortFunc(n.meetings[n.meetsFrom[r]:n.meetsFrom[r+1]], func(a, b meeting) int { return a.place(&b.spot) })
	})
	n.number()
}

// eachRecord does something for every record, over the cores.
func (n *network) eachRecord(workers int, do func(r int)) {
	const chunk = 1024
	parallel.Each((len(n.records)+chunk-1)/chunk, workers, func() func(int) {
		return func(i int) {
			for r := i * chunk; r < min((i+1)*chunk, len(n.records)); r++ {
				do(r)
			}
		}
	})
}

// meetEnds tells of the meetings at the open ends of a segment, of both records.
func (n *network) meetEnds(id int32, o *Options, buf []int32, tell func(rec int32, m meeting)) []int32 {
	s := &n.segs[id]
	r := &n.records[s.record]
	for _, end := range [2]bool{false, true} {
		if (end && s.next >= 0) || (!end && s.prev >= 0) {
			continue
		}
		p, station := s.a, s.station
		if end {
			p, station = s.end(), s.station+s.length/r.scale
		}
		buf = n.index.Within(p, o.GapM*r.scale, buf)
		for _, at := range buf {
			t := &n.segs[at]
			q := &n.records[t.record]
			if t.record == s.record || r.utility.foreign(q.utility) {
				continue
			}
			there := t.station + min(max(t.along(p), 0), t.length)/q.scale
			toEnd := math.Inf(1)
			if p := &n.parts[t.of]; !p.closed {
				toEnd = min(there-p.from, p.to-there)
			}
			m := meeting{
				spot: spot{other: t.record, here: station, there: there, atEnd: true},
				gap:  t.distance(p) / q.scale, seg: id, onto: at, end: end, ends: toEnd <= o.GapM,
			}
			if m.gap > o.SnapM && !m.ends && r.sheet == q.sheet {
				continue // an end beside a line of its own sheet
			}
			m.straight = n.straight(s, end, t, there)
			tell(s.record, m)
			m.other, m.here, m.there, m.atEnd = s.record, there, station, toEnd < o.GapM
			m.straight = m.straight && m.atEnd
			tell(t.record, m)
		}
	}
	return buf
}

// join says where records are joined and where gaps are, on the map or if the
// sheets lay where they seem to; of those that are one place the best.
func (n *network) join(ps *priors, o Options) *web {
	w := &web{network: n, joints: make([]joint, len(n.meetings)), of: make([][2]int32, len(n.records)), only: make([]int32, len(n.records))}
	n.eachRecord(o.Workers, func(r int) {
		from, to := n.meetsFrom[r], n.meetsFrom[r+1]
		last := from - 1
		for i := from; i < to; i++ {
			j, ok := n.meetings[i].expected(n, ps, &o)
			switch {
			case !ok:
			case last >= from && w.joints[last].place(&j.spot) == 0:
				if j.better(&w.joints[last]) {
					w.joints[last] = j
				}
			default:
				last++
				w.joints[last] = j
			}
		}
		w.of[r] = [2]int32{from, last + 1}
		w.only[r] = onlyOne(w.joints[from : last+1])
	})
	for r := range w.of {
		for i := w.of[r][0]; i < w.of[r][1]; i++ {
			w.widestM = max(w.widestM, w.joints[i].gap)
		}
	}
	return w
}

// onlyOne is the record to which all joints of a record lead, where they are at one
// place; -1 if there is none.
func onlyOne(js []joint) int32 {
	if len(js) == 0 || js[len(js)-1].here-js[0].here > samePlaceM {
		return -1
	}
	for i := range js {
		if js[i].other != js[0].other {
			return -1
		}
	}
	return js[0].other
}

// expected is the joint that a meeting is, or the gap.
func (m *meeting) expected(n *network, ps *priors, o *Options) (joint, bool) {
	j := joint{spot: m.spot, gap: m.gapM(n, ps), weight: 1}
	if j.gap <= o.SnapM {
		j.gap = 0
		return j, true
	}
	j.weight = o.GapShare * closeness(j.gap, o.OwnM+o.LocalM)
	return j, m.ends // an end beside a line is no gap
}

// gapM is how far the one record's end lies from the other on the map, or would
// lie if both sheets were where they seem to be, whichever is less; ground metres.
func (m *meeting) gapM(n *network, ps *priors) float64 {
	s, t := &n.segs[m.seg], &n.segs[m.onto]
	q := &n.records[t.record]
	a, b := &ps.sheets[n.records[s.record].sheet+1], &ps.sheets[q.sheet+1]
	if a == b {
		return m.gap
	}
	p := s.a
	if m.end {
		p = s.end()
	}
	dx, dy := q.toGrid(a.east-b.east, a.north-b.north)
	p[0], p[1] = p[0]+dx, p[1]+dy
	return min(m.gap, t.distance(p)/q.scale)
}

// straight says whether t goes on, from a station of it, in the direction in
// which s ends there.
func (n *network) straight(s *segment, end bool, t *segment, there float64) bool {
	cos := s.ux*t.ux + s.uy*t.uy
	if !end {
		cos = -cos
	}
	along := there - t.station
	rest := t.length/n.records[t.record].scale - along
	return cos > goesOnCos && rest > samePlaceM || cos < -goesOnCos && along > samePlaceM
}

// goesOnCos is the cosine of the sharpest bend at which a line still goes on
// straight ahead: 45 degrees. Common practice, no source.
const goesOnCos = 0.7

// number gives records that may hang together one number.
func (n *network) number() {
	for i := range n.records {
		n.records[i].network = int32(i)
	}
	root := func(i int32) int32 {
		for n.records[i].network != i {
			n.records[i].network = n.records[n.records[i].network].network
			i = n.records[i].network
		}
		return i
	}
	for i := range n.records {
		for k := n.meetsFrom[i]; k < n.meetsFrom[i+1]; k++ {
			a, b := root(int32(i)), root(n.meetings[k].other)
			n.records[max(a, b)].network = min(a, b)
		}
	}
	for i := range n.records {
		n.records[i].network = root(int32(i))
	}
}

// place orders a record's spots by station; 0 for those that are one place.
func (j *spot) place(k *spot) int {
	switch {
	case j.here != k.here:
		return cmp.Compare(j.here, k.here)
	case j.other != k.other:
		return cmp.Compare(j.other, k.other)
	}
	return cmp.Compare(j.there, k.there)
}

// better says which of two joints at one place counts: the narrower, then one at
// an end, then one that goes on straight.
func (j *joint) better(k *joint) bool {
	switch {
	case j.gap != k.gap:
		return j.gap < k.gap
	case j.atEnd != k.atEnd:
		return j.atEnd
	}
	return j.straight && !k.straight
}
