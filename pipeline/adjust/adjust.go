// Package adjust is the least-squares adjustment of the map to the evidence,
// with everything that can be wrong in it as an unknown.
//
// A used reading i on a record of sheet s, taken in session c with positions
// from source k on trace t, observes across the record (normal n to the right)
//
//	offset = n . (d + f(c) + g(k) + w(c)) +- b(t) + e
//
// where d is what to add to the record there to reach the truth, f and g are
// errors of the positions, w is how they wander in time, and b is a bias to the
// right of walking. An exposed line has neither w nor b. d itself is
//
//	d = m(s) + h(r) + x
//
// the sheet's shift, the record's own shift and an Ornstein-Uhlenbeck process
// along the network (Uhlenbeck and Ornstein 1930). All of them are estimated at
// once from one sparse system, put together record by record; verdicts,
// attributions, corrections and the re-survey order read the same estimate.
// Readings, the shifts of records and sheets, the errors of sessions and sources
// and the joins between drawings follow Student's t, by iterated reweighting
// (Lange, Little and Taylor 1989).
//
// Axes are true east and north in ground metres.
package adjust

import (
	"errors"
	"math"
	"slices"

	"github.com/asfound/asfound/internal/junction"
	"github.com/asfound/asfound/internal/parallel"
	"github.com/asfound/asfound/pipeline/survey"
)

// Network adjusts the records to the used readings, the control checks and the
// exposures that were matched (exposed, one an exposure of s; may be nil). The
// model has one profile per record of s, in its order; the order of records
// and traces changes no number in it. before is what the last round of matching
// and adjusting found, from where it goes on; nil in the first.
func Network(s *survey.Survey, matches [][]survey.Match, exposed []survey.Match, before *survey.Model, o Options) (*survey.Model, error) {
	return inParts(s, matches, exposed, before, cellsAtOnce, o)
}

// inParts is Network with so many records condensed at once.
func inParts(s *survey.Survey, matches [][]survey.Match, exposed []survey.Match, before *survey.Model, atOnce int, o Options) (*survey.Model, error) {
	n := buildNetwork(s, usedFeet(s, matches, exposed), knownJunctions(before), o)
	differences := blank(s)
	var p *problem
	var covers []survey.Cover
	var notes []string
	var errs [2]error
	// Neither knows of the other.
	parallel.Each(len(errs), len(errs), func() func(int) {
		return func(i int) {
			switch i {
			case 0:
				was := before
				before = nil // it is large: let go of it as soon as it is known
				p, errs[i] = adjusted(gather(s, matches, exposed, n, o), n, was, atOnce, o)
			case 1:
				covers, notes, errs[i] = adjustCovers(s, matches, exposed, n, o, differences)
			}
		}
	})
	if err := errors.Join(errs[:]...); err != nil {
		return nil, err
	}
	model, err := p.posterior(s)
	if err != nil {
		return nil, err
	}
	model.CoverDifferenceM, model.Notes = differences, notes
	for r := range model.Profiles {
		model.Profiles[r].Cover = covers[r]
	}
	return model, nil
}

// knownJunctions are those that the last round has found.
func knownJunctions(before *survey.Model) [][]junction.Member {
	if before == nil {
		return nil
	}
	if was, ok := before.State.(*problem); ok {
		return was.n.junctions
	}
	return nil
}

// adjusted is the solution of the positions' equations.
func adjusted(ev *evidence, n *network, before *survey.Model, atOnce int, o Options) (*problem, error) {
	p := newProblem(n, ev, atOnce, o)
	p.begin(before)
	if err := p.run(); err != nil {
		return nil, err
	}
	if p.suspectFrame() {
		return p, p.run()
	}
	return p, nil
}

// nodeSpacingM is how far apart nodes may lie between two readings of a record,
// so that what the readings do not see there shows as uncertainty; practice: a few
// to a correlation length.
const nodeSpacingM = 5

// usedFeet lists the foot points of the used readings on each record, and
// places between those that are far apart.
func usedFeet(s *survey.Survey, matches [][]survey.Match, exposed []survey.Match) [][]foot {
	feet := make([][]foot, len(s.Records))
	for _, ms := range append(slices.Clone(matches), exposed) {
		for i := range ms {
			if m := &ms[i]; m.Status == survey.StatusUsed {
				feet[m.Record] = append(feet[m.Record], foot{part: m.Part, stationM: m.StationM})
			}
		}
	}
	for r := range feet {
		slices.SortFunc(feet[r], compareFeet)
		for i, n := 1, len(feet[r]); i < n; i++ {
			a, b := feet[r][i-1], feet[r][i]
			if a.part != b.part {
				continue
			}
			steps := math.Ceil((b.stationM - a.stationM) / nodeSpacingM)
			for k := 1.0; k < steps; k++ {
				feet[r] = append(feet[r], foot{part: a.part, stationM: a.stationM + k/steps*(b.stationM-a.stationM)})
			}
		}
	}
	return feet
}

// sourceSeenM is how far off a source of positions has to be to be worth naming, and
// to put the frame under suspicion; practice.
const sourceSeenM = 0.1

// suspectFrame looks for a source of positions that seems to be off without a
// control check behind it. A map drawn in a wrong frame looks just so, and no
// reading can tell the two apart: the prior of a shift of the whole map is then
// opened as far, so that the estimate shares the difference between them with
// the uncertainty that it deserves. Another source, or a control check, settles it.
func (p *problem) suspectFrame() bool {
	checked := make([]bool, len(p.source))
	for _, c := range p.ev.checks {
		checked[p.ev.sessions[c.session].source] = true
	}
	off := 0.0
	for i := range p.source {
		q := &p.source[i]
		size := math.Hypot(p.x[q.first], p.x[q.first+1])
		if checked[i] || size < sourceSeenM {
			continue
		}
		off = max(off, size)
		// As wide as the map's, and as steady: a Student-t would give the
		// difference up to the map step by step, and be sure of it.
		q.sigma, q.nu, q.weight = size, 1e12, 1
	}
	if off == 0 {
		return false
	}
	p.mapM = off
	return true
}
