package adjust

import "github.com/asfound/asfound/internal/estimate"

// prior is what is known beforehand of a pair of unknowns, beyond that of its
// parent (a record's of its sheet's, a sheet's of the whole map's, a session's of
// its source's; -1: zero): a Student-t of a scale and degrees of freedom, as a
// normal distribution with a weight.
type prior struct {
	first, parent     int
	sigma, nu, weight float64
	fixed             bool // the weight is: nothing was read under it
}

// reweight sets the weight of a Student-t from the estimate, and what that may err
// by: the expected weight (expectation maximisation: Lange, Little and Taylor 1989,
// section 3). Without the second an unknown of which the data tell little would
// weigh as if it were known to be zero.
func (q *prior) reweight(x []float64, variance float64) {
	if q.fixed {
		return
	}
	e, n := x[q.first], x[q.first+1]
	if q.parent >= 0 {
		e, n = e-x[q.parent], n-x[q.parent+1]
	}
	q.weight = estimate.StudentTVector((e*e+n*n+variance)/(q.sigma*q.sigma), 2, q.nu)
}

// forCovariance makes the weight what a pair that follows a Student-t informs of its
// parent: (nu+2)/(nu+4) of its expected weight (as estimate.StudentTCovariance for
// two components: Lange, Little and Taylor 1989, section 4).
func (q *prior) forCovariance() { q.weight *= (q.nu + 2) / (q.nu + 4) }

// add adds the prior to the normal equations, in which the pair and its parent
// have the numbers first and parent. The zeros keep pairs in the pattern of the
// inverse.
func (q *prior) add(m entries, first, parent int) {
	w := q.weight / (q.sigma * q.sigma)
	for axis := range 2 {
		a, b := first+axis, parent+axis
		m.Add(a, a, w)
		if q.parent >= 0 {
			m.Add(b, b, w)
			m.Add(a, b, -w)
			m.Add(a, parent+1-axis, 0)
		}
	}
	m.Add(first, first+1, 0)
}

// startM is how far off anything may be at the start; practice: well beyond the
// scales of the priors, less than what lies between two lines of a street.
const startM = 0.5

// wide is the weight that opens a prior of that scale so far.
func wide(sigma float64) float64 { return min(1, sigma*sigma/(startM*startM)) }

// unread is the weight that gives a normal distribution the variance of the
// Student-t, nu/(nu-2) times its scale's: that of a shift of which nothing tells.
func unread(nu float64) float64 { return (nu - 2) / nu }

// What is expected of a sheet that nothing was read on is what those are off that
// something was read on, the Student-t's own variance standing for
// expectedSheets of them. Beyond farScales times the scale (3 m at the default) a
// sheet is in another frame, not off. Both are practice.
const (
	expectedSheets = 5
	farScales      = 20
)

// readSheets says of which sheets something was read.
func (p *problem) readSheets() []bool {
	read := make([]bool, len(p.sheet))
	for _, c := range p.readCells {
		if k := p.n.records[c.record].sheet; k >= 0 {
			read[k] = true
		}
	}
	for i := range p.ev.left {
		read[p.ev.left[i].sheet] = true
	}
	return read
}

// unreadSheets gives the sheets without readings the weight of their variance.
func (p *problem) unreadSheets() {
	read := p.readSheets()
	scale2 := p.o.SheetM * p.o.SheetM
	sum, count := expectedSheets*scale2/unread(p.o.SheetNu), float64(expectedSheets)
	for i := range p.sheet {
		q := &p.sheet[i]
		e, n := p.x[q.first]-p.x[q.parent], p.x[q.first+1]-p.x[q.parent+1]
		if read[i] && e*e+n*n < farScales*farScales*scale2 {
			sum += (e*e + n*n) / 2
			count++
		}
	}
	for i := range p.sheet {
		if !read[i] {
			p.sheet[i].weight, p.sheet[i].fixed = scale2*count/sum, true
		}
	}
}
