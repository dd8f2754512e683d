package adjust

import (
	"github.com/asfound/asfound/internal/estimate"
	"github.com/asfound/asfound/pipeline/survey"
)

// left is a record that was corrected on the map and is of its sheet no more. What
// the data said of the drawing while it still stood as drawn tells of the sheet's
// shift as it did then: across its lines, beside an error of its own that follows
// a Student-t, as every record's does.
type left struct {
	sheet  int
	forms  []sheetForm // of the sheet's shift; their weights sum to 1
	weight float64
}

// gatherLeft takes in those whose sheet still has records.
func gatherLeft(s *survey.Survey, n *network) (out []left) {
	index := indexOf(n.sheets)
	for _, r := range s.ByKey() {
		l := &s.Records[r].Left
		sheet, there := index[l.Sheet]
		if !there || len(l.Forms) == 0 {
			continue
		}
		at := left{sheet: sheet, weight: 1}
		for _, f := range l.Forms {
			at.forms = append(at.forms, sheetForm{f.East, f.North, f.OffsetM, 1 / float64(len(l.Forms))})
		}
		out = append(out, at)
	}
	return out
}

// addLeft adds what is remembered of the sheets to the joint equations.
func (p *problem) addLeft(s *system) {
	for i := range p.ev.left {
		l := &p.ev.left[i]
		at := int(p.joint.place[p.u.sheets+2*l.sheet])
		for _, f := range l.forms {
			var r row
			r.add(at, f.east)
			r.add(at+1, f.north)
			s.observe(&r, f.value, l.weight*f.weight/(p.o.OwnM*p.o.OwnM))
		}
	}
}

// reweightLeft sets their Student-t weights from the estimate.
func (p *problem) reweightLeft() {
	for i := range p.ev.left {
		l := &p.ev.left[i]
		at, q := p.u.sheets+2*l.sheet, 0.0
		for _, f := range l.forms {
			d := (f.value - f.east*p.x[at] - f.north*p.x[at+1]) / p.o.OwnM
			q += f.weight * d * d
		}
		l.weight = estimate.StudentTVector(q, 2, p.o.OwnNu)
	}
}
