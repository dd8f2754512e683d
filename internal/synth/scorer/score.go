package scorer

import (
	"math"

	"github.com/asfound/asfound/internal/synth"
	"github.com/asfound/asfound/pipeline/survey"
)

// scoring is one outcome held against one town.
type scoring struct {
	*known
	*Tally
	o *Outcome
	// truly is what each record really is; spared says that one is not held
	// against the outcome.
	truly  []truly
	spared []bool
}

// Score holds an outcome against the truth: s is the town as it was handed in,
// truth what is really so, in the same order.
func Score(s *survey.Survey, truth *synth.Truth, o *Outcome) *Tally {
	x := scoring{known: know(s, truth), Tally: &Tally{towns: make([][numFigures]cases, 1)}, o: o}
	x.truly, x.spared = make([]truly, len(x.records)), make([]bool, len(x.records))
	for r := range x.records {
		x.truly[r] = x.records[r].truly()
		x.spared[r] = x.spare(r)
	}
	x.matching()
	x.verdicts()
	x.depths()
	x.geometry()
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
