// Package correct proposes corrected lines: the adjusted move wherever there is
// evidence, faded out to exactly nothing beyond it, with neighbours and fittings
// following at shared places.
//
//	own.go      what a record's own evidence asks of each of its places
//	places.go   what records share moves as one
//	build.go    the vertices of the corrected lines
//	keep.go     what a correction must not break holds it back (sides.go, crossings.go)
//	promises.go what could not be followed, or kept, is a finding
package correct

import (
	"slices"

	"github.com/asfound/asfound/internal/lineref"
	"github.com/asfound/asfound/pipeline/survey"
)

// Outcome is a corrected map.
type Outcome struct {
	Lines    []survey.Correction  // per record
	Fittings []survey.FittingMove // per fitting
	Findings []survey.Finding     // of what could not be followed, or kept
}

// Lines corrects the records of s, in its order, and the fittings on them.
// Vertices that do not move keep their coordinates bit for bit.
func Lines(s *survey.Survey, js []survey.Judgement, fs []survey.Finding, m *survey.Model, o Options) Outcome {
	w := plans(s, js, fs, m, o)
	w.drawn = w.segments()
	w.attach()
	w.share()
	w.settle()
	return Outcome{Lines: w.corrections(fs), Fittings: w.fittingMoves(), Findings: w.findings()}
}

// network is the map while it is corrected.
type network struct {
	o        Options
	survey   *survey.Survey
	order    []int // of the records: by key
	plans    []plan
	drawn    drawn
	places   []place
	fittings []attached
	built    [][]survey.CorrectedPart // per record; nil where it stays
	lines    []lineref.Line           // per record, as built
	breaks   [][]change               // per record, of the lines as built
	held     []change                 // what was held back for
}

// plans says of every record what its own evidence asks for.
func plans(s *survey.Survey, js []survey.Judgement, fs []survey.Finding, m *survey.Model, o Options) *network {
	w := &network{
		o: o, survey: s, order: s.ByKey(), plans: make([]plan, len(s.Records)),
		built: make([][]survey.CorrectedPart, len(s.Records)), lines: make([]lineref.Line, len(s.Records)),
		breaks: make([][]change, len(s.Records)),
	}
	shifts := map[string]move{}
	for i := range m.Effects {
		if e := &m.Effects[i]; o.Shift && e.Kind == survey.EffectSheet && e.Significant {
			shifts[e.Name] = move{e.V.East, e.V.North}
		}
	}
	said := decisions(fs, len(s.Records))
	for r := range s.Records {
		rec, d, p := &s.Records[r], &said[r], &w.plans[r]
		*p = plan{line: lineref.New(rec.Parts, rec.Scale), rec: rec, profile: &m.Profiles[r], fadeM: o.FadeOutM}
		w.lines[r] = p.line
		p.seen = p.profile.Surveyed(o.MaxGapM)
		p.answers = d.finding
		p.fix(d, o)
		if wanted(&js[r], o.When) && !d.quiet && (d.accepted || !o.Accepted) {
			p.moves, p.shift = p.evidence(), shifts[rec.SharedSheet()]
		} else if js[r].Position == survey.VerdictUnsurveyed {
			p.shift = shifts[rec.SharedSheet()]
		}
	}
	return w
}

// fix says what of a record stays whatever the evidence says.
func (p *plan) fix(d *decided, o Options) {
	for _, f := range d.rejected {
		part, _ := p.line.Locate((f.FromM + f.ToM) / 2)
		p.holds = append(p.holds, hold{span: survey.Span{Part: part, FromM: f.FromM, ToM: f.ToM}, fadeM: o.FadeOutM, decided: "the finding " + f.ID + " was rejected"})
	}
	switch {
	case slices.Contains(o.Fixed, p.rec.ID):
		p.decided = "the record is fixed"
	case p.rec.Quality != "" && slices.Contains(o.FixedQuality, p.rec.Quality):
		p.decided = "records of quality " + p.rec.Quality + " are fixed"
	case d.quiet && len(d.rejected) > 0:
		p.decided = "the finding " + d.rejected[0].ID + " was rejected"
	}
	p.pinned = p.decided != ""
}

// wanted says whether a record moves on its own account.
func wanted(j *survey.Judgement, when When) bool {
	if when == WhenSurveyed {
		return j.Position != survey.VerdictUnsurveyed
	}
	return j.Position == survey.VerdictOutside && j.Attribution == survey.AttributionRecord
}

// decided is what people said of one record's positional findings.
type decided struct {
	finding  string // the first that a correction answers; "" none
	accepted bool   // one of them was
	quiet    bool   // there are some, and nobody wants to hear of any
	rejected []*survey.Finding
}

func decisions(fs []survey.Finding, records int) []decided {
	out := make([]decided, records)
	for i := range fs {
		f := &fs[i]
		if f.Kind != survey.KindPosition || f.Verdict != survey.VerdictOutside || f.Record < 0 {
			continue
		}
		d := &out[f.Record]
		if f.Life == survey.LifeRejected {
			d.rejected = append(d.rejected, f)
		}
		if f.Life.Quiet() {
			d.quiet = d.finding == ""
			continue
		}
		accepted := f.Life == survey.LifeAccepted
		if d.finding == "" || accepted && !d.accepted {
			d.finding, d.quiet = f.ID, false
		}
		d.accepted = d.accepted || accepted
	}
	return out
}

// corrections are what became of the records.
func (w *network) corrections(fs []survey.Finding) []survey.Correction {
	out := make([]survey.Correction, len(w.plans))
	covers := coverAnswers(fs, len(w.plans))
	for r := range out {
		p, c := &w.plans[r], &out[r]
		*c = survey.Correction{Record: r, Parts: w.built[r], Finding: p.answers}
		evidence, shift := false, false
		for _, part := range c.Parts {
			for i, d := range part.MovedM {
				if d > c.MovedM {
					c.Moved, c.MovedM, c.U = true, d, part.U[i]
				}
				evidence = evidence || part.Cause[i] == survey.CauseEvidence || part.Cause[i] == survey.CauseFade
				shift = shift || part.Cause[i] == survey.CauseShift
			}
		}
		c.Shifted = c.Moved && shift && !evidence
		c.Neighbor = c.Moved && !shift && !evidence
		p.cover(c, covers[r], w.o)
	}
	return out
}
