package scorer

import (
	"math"

	"github.com/paulmach/orb"

	"github.com/asfound/asfound/internal/lineref"
	"github.com/asfound/asfound/internal/synth"
	"github.com/asfound/asfound/pipeline/survey"
)

// scoring is one outcome held against one town.
type scoring struct {
	*known
	*Tally
	o *Outcome
	// truly is what each record really is; spared says that one is not held
	// against the outcome, moot that nobody can tell what it is.
	truly        []truly
	spared, moot []bool
	common       *synth.Source // of a common frame error; nil none
}

// Score holds an outcome against the truth: s is the town as it was handed in,
// truth what is really so, in the same order.
func Score(s *survey.Survey, truth *synth.Truth, o *Outcome) *Tally {
	x := scoring{known: know(s, truth), Tally: &Tally{towns: make([][numFigures]cases, 1)}, o: o}
	x.weigh()
	x.matching()
	x.verdicts()
	x.depths()
	x.coverSheets()
	x.geometry()
	x.vertices()
	x.topology()
	x.unmapped()
	x.sheetEffects()
	if !o.Plain {
		x.attributions()
		x.positionEffects()
		x.profiles()
		x.resurvey()
	}
	return x.Tally
}

// weigh says what each record really is, and what of that counts.
func (x *scoring) weigh() {
	n := len(x.records)
	x.truly, x.spared, x.moot = make([]truly, n), make([]bool, n), make([]bool, n)
	x.common = x.positions().common
	for r := range x.records {
		rec := &x.records[r]
		x.truly[r] = rec.truly()
		x.spared[r] = x.spare(r)
		x.moot[r] = x.common != nil && rec.line != nil && rec.seenBy(x.common).truly() != x.truly[r]
	}
}

// seenBy is the record beside its line where a source of positions sees it.
func (r *record) seenBy(s *synth.Source) *record {
	seen := *r
	sin, cos := math.Sincos(r.Convergence)
	by := orb.Point{(s.East*cos - s.North*sin) * r.Scale, (s.North*cos + s.East*sin) * r.Scale}
	line := lineref.New(translated(r.line.Parts, by), r.Scale)
	seen.line = &line
	return &seen
}

// spare says that a record shows a line that another record shows too, and that
// the outcome gave the readings to that other one.
func (x *scoring) spare(r int) bool {
	if x.records[r].line == nil || x.judged(r) {
		return false
	}
	for _, other := range x.byLine[x.records[r].truth.Line] {
		if x.judged(other) {
			return true
		}
	}
	return false
}

// judged says whether the outcome says anything of a record.
func (x *scoring) judged(r int) bool {
	v := x.o.Records[x.records[r].name].Position
	return v == string(survey.VerdictWithin) || v == string(survey.VerdictOutside) || v == string(survey.VerdictUndecided)
}

// matching scores which record each reading was given, and which were distrusted.
func (x *scoring) matching() {
	for i := range x.readings {
		rd := &x.readings[i]
		got, told := x.o.Readings[rd.at]
		used := got.Status == string(survey.StatusUsed)
		distrusted := got.Status == string(survey.StatusUntrusted)
		r, known := x.index[got.Record]
		right := known && x.records[r].line != nil && x.records[r].truth.Line == rd.Line
		if used {
			x.count(RightAmongUsed, right)
		}
		x.probability(rd, got, right)
		switch rd.class {
		case good:
			x.count(GoodUsed, used && right)
			x.count(GoodDistrusted, distrusted)
		case jumped:
			x.count(JumpsWrong, used && !right)
		case unmapped:
			x.count(UnmappedApart, told && !used)
		case distorted:
			x.count(DistortedDistrusted, distrusted)
		case float:
			if rd.seen.Fix == survey.FixFixed {
				x.count(FloatDistrusted, distrusted)
			}
		case passive:
			x.count(PassiveWrong, used && !right)
		case mislabelled:
			x.count(LabelWrong, used && !right)
		case sonde:
			x.count(SondeUsed, used)
		}
	}
}

// probability scores what was promised of a reading's record, or of its having
// none. One that names a record, or none, without a probability promises 0.
func (x *scoring) probability(rd *reading, got Reading, right bool) {
	if x.o.Plain || rd.class == sonde {
		return
	}
	if got.Record == "" {
		if got.Status != string(survey.StatusUnmapped) {
			return
		}
		right = len(x.byLine[rd.Line]) == 0
	}
	p, hit := got.Probability, 0.0
	if math.IsNaN(p) {
		p = 0
	}
	if right {
		hit = 1
	}
	band := Figure(rd.band)
	x.promise(PromiseBySpacing+band, p, right)
	x.value(BrierBySpacing+band, (p-hit)*(p-hit))
	if p >= 0.99 && got.Status == string(survey.StatusUsed) {
		x.count(RightAt99+band, right)
	}
}
