package adjust

import (
	"math"
	"slices"

	"github.com/asfound/asfound/internal/estimate"
	"github.com/asfound/asfound/pipeline/survey"
)

// No session testifies for itself. What is said of a session's error comes from
// the adjustment in which nothing is presumed of that error: control checks, other
// sessions and other sheets may tell of it, its own readings cannot. For given
// weights that is the adjustment without the session's readings, with which they
// are then compared: an error of which nothing is known leaves its readings
// nothing to say of where lines lie, but for what else fixes it.
//
// Nothing has to be adjusted again. With h the form of the session's error beyond
// its source's, C the covariance and r the precision of its prior, taking the
// prior out changes the estimate by
//
//	C h (I/r - h'C h)^-1 h'x
//
// and adds C h (I/r - h'C h)^-1 h'C to the covariance (deletion of an
// observation: Cook and Weisberg 1982, Residuals and Influence in Regression,
// section 2.2).

// freeM is how far off a session may be of which nothing is presumed, one
// standard deviation per axis: wide beside any error that readings still match
// under, so that it says nothing.
const freeM = 10.0

// freed is what taking the prior of a session's error out does.
type freed struct {
	beyond survey.Vector // the session's error beyond its source's
	// What has the covariance c with the session's positions moves by c.pull, and
	// its variance grows by c'widen c.
	pull  [2]float64
	widen [3]float64 // EE, EN, NN
}

// mat2 is a 2x2 matrix by row.
type mat2 [4]float64

func (a mat2) times(b mat2) mat2 {
	return mat2{
		a[0]*b[0] + a[1]*b[2], a[0]*b[1] + a[1]*b[3],
		a[2]*b[0] + a[3]*b[2], a[2]*b[1] + a[3]*b[3],
	}
}

func (a mat2) transposed() mat2 { return mat2{a[0], a[2], a[1], a[3]} }

func (a mat2) inverse() mat2 {
	det := a[0]*a[3] - a[1]*a[2]
	return mat2{a[3] / det, -a[1] / det, -a[2] / det, a[0] / det}
}

// free takes the prior of a session's error out.
func (p *problem) free(session int, inv *estimate.Inverse) freed {
	q := &p.session[session]
	beyond := p.difference(q, inv)
	f := freed{beyond: beyond}
	r := q.weight/(q.sigma*q.sigma) - 1/(freeM*freeM)
	if r <= 0 {
		return f
	}
	at := covariances(inv)
	i, j := int(p.joint.place[q.first]), int(p.joint.place[q.parent])
	cpp := mat2{at(i, i), at(i, i+1), at(i, i+1), at(i+1, i+1)}
	cpd := mat2{ // of the positions with the error beyond the source's
		cpp[0] - at(i, j), cpp[1] - at(i, j+1),
		cpp[2] - at(i+1, j), cpp[3] - at(i+1, j+1),
	}
	m := mat2{1/r - beyond.EE, -beyond.EN, -beyond.EN, 1/r - beyond.NN}.inverse()
	cdd := mat2{beyond.EE, beyond.EN, beyond.EN, beyond.NN}

	gain := cdd.times(m)
	f.beyond = added(beyond, gain[0]*beyond.East+gain[1]*beyond.North, gain[2]*beyond.East+gain[3]*beyond.North, gain.times(cdd))
	// What knows of the source only by its sessions has with the error beyond it
	// the covariance c cpp^-1 cpd.
	k := cpp.inverse().times(cpd)
	km := k.times(m)
	b := km.times(k.transposed())
	f.pull = [2]float64{km[0]*beyond.East + km[1]*beyond.North, km[2]*beyond.East + km[3]*beyond.North}
	f.widen = [3]float64{b[0], b[1], b[3]}
	return f
}

func added(v survey.Vector, east, north float64, c mat2) survey.Vector {
	return survey.Vector{East: v.East + east, North: v.North + north, EE: v.EE + c[0], EN: v.EN + c[1], NN: v.NN + c[3]}
}

// moves is by how much a quantity moves whose covariance with the session's
// positions is c, and what its variance grows by.
func (f *freed) moves(c [2]float64) (by, variance float64) {
	return c[0]*f.pull[0] + c[1]*f.pull[1], c[0]*c[0]*f.widen[0] + 2*c[0]*c[1]*f.widen[1] + c[1]*c[1]*f.widen[2]
}

// sheet is a sheet's shift with nothing presumed of the session.
func (f *freed) sheet(v survey.Vector, east, north [2]float64) survey.Vector {
	e, ee := f.moves(east)
	n, nn := f.moves(north)
	_, both := f.moves([2]float64{east[0] + north[0], east[1] + north[1]})
	return added(v, e, n, mat2{ee, (both - ee - nn) / 2, 0, nn})
}

// without are a record's offsets at its nodes, for each of the sessions that read
// it, with nothing presumed of that session.
func (p *problem) without(r int) (out []survey.Without) {
	c := p.recondensed(r)
	if c == nil {
		return nil
	}
	readings := map[int32]int{}
	var sessions []int32
	for i := range c.obs {
		if ob := &c.obs[i]; !ob.out {
			if readings[ob.session] == 0 {
				sessions = append(sessions, ob.session)
			}
			readings[ob.session]++
		}
	}
	rn := &p.n.records[r]
	work := make([]float64, len(c.index))
	for _, s := range sessions {
		var cov [2][]float64 // of the cell's unknowns with the session's positions
		for axis := range cov {
			x := make([]float64, len(c.index))
			at, _ := slices.BinarySearch(c.index[c.inner:], int32(p.u.sessions+2*int(s)+axis))
			for k := c.inner; k < len(x); k++ {
				x[k] = c.root.covariance(k-c.inner, at)
			}
			c.part.Follow(x, work)
			cov[axis] = x
		}
		w := survey.Without{Session: len(p.n.sheets) + int(s), Readings: readings[s], OffsetM: make([]float64, len(rn.nodes)), AddedU: make([]float64, len(rn.nodes))}
		for k := range rn.nodes {
			e, n := normalAt(rn, k)
			i := c.node[k]
			by, variance := p.freed[s].moves([2]float64{e*cov[0][i] + n*cov[0][i+1], e*cov[1][i] + n*cov[1][i+1]})
			q := 2 * rn.nodes[k].point
			w.OffsetM[k] = e*p.x[q] + n*p.x[q+1] + by
			w.AddedU[k] = math.Sqrt(max(variance, 0))
		}
		out = append(out, w)
	}
	return out
}

// whose is the session, as an effect, of every trace and of every control check.
func (p *problem) whose(s *survey.Survey) (traces, checks []int) {
	at := func(session, positions string) int {
		return len(p.n.sheets) + p.ev.setups[setup{session, positions}]
	}
	for i := range s.Traces {
		traces = append(traces, at(s.Traces[i].Session, s.Traces[i].Positions))
	}
	for i := range s.Checks {
		checks = append(checks, at(s.Checks[i].Session, s.Checks[i].Positions))
	}
	return traces, checks
}
