package adjust

import (
	"math"

	"github.com/asfound/asfound/pipeline/survey"
)

// position is the standard deviation per axis of a position that states
// sigmaM: what is reported, times what reports are too good by.
func (o *Options) position(sigmaM float64) float64 {
	if math.IsNaN(sigmaM) || sigmaM <= 0 {
		return o.DefaultSigmaM
	}
	return o.AccuracyFactor * sigmaM
}

// locating is the standard deviation across the line of the indication that a
// reading was taken on: it grows with depth, since the field's peak over the
// line is d/(x^2+d^2) and so as wide as the line is deep.
func (o *Options) locating(rd *survey.Reading) float64 {
	depth := rd.DepthM
	if math.IsNaN(depth) || depth <= 0 {
		depth = o.DefaultDepthM
	}
	l := math.Hypot(o.LocateMinM, o.LocateShare*depth)
	if rd.Mode == survey.ModePassive {
		l *= o.PassiveFactor
	}
	return l
}

// budget is what the error of one reading is made of, one standard deviation each:
// the position, of whose variance a share wanders, and what else there is. Signal
// trust inflates what is new at every reading. There are as many as readings: hence
// the single precision.
type budget struct{ positionM, otherM, share, inflate float32 }

func (o *Options) budget(rd *survey.Reading, m *survey.Match) budget {
	b := budget{
		positionM: float32(o.position(rd.SigmaM)), otherM: float32(math.Hypot(o.locating(rd), o.PoleM)),
		share: float32(o.WanderShare), inflate: float32(max(m.Inflate, 1)),
	}
	if rd.Time.IsZero() || o.WanderS <= 0 {
		b.share = 0
	}
	return b
}

// sigma is the part of the budget that is new at every reading, across its line,
// and the part that wanders, where positions err by factor times what is stated of
// them.
func (b *budget) sigma(factor float64) (fresh, wander float64) {
	p, other, share := factor*float64(b.positionM), float64(b.otherM), float64(b.share)
	return float64(b.inflate) * math.Sqrt((1-share)*p*p+other*other), math.Sqrt(share) * p
}

// fresh is the share of the position in the variance that is new at every reading.
func (b *budget) fresh(factor float64) float64 {
	p, other := factor*float64(b.positionM), float64(b.otherM)
	own := (1 - float64(b.share)) * p * p
	return own / (own + other*other)
}

// terms are the error budget as the report shows it.
func (o *Options) terms() []survey.Term {
	m := func(name string, v float64, source string) survey.Term {
		return survey.Term{Name: name, Unit: "m", Value: v, Source: source}
	}
	of := func(k class) survey.Term {
		size, name, _ := o.sizeOf(k)
		return m(name, *size, "practice")
	}
	return []survey.Term{
		m("a record's local error", o.LocalM, "practice"),
		{Name: "residuals that it counts for beside a record's own", Value: o.LocalNu, Source: "practice"},
		m("correlation length of it along the network", o.LambdaM, "practice"),
		of(ownShift),
		of(sheetShift),
		m("a shift of the whole map, per axis", o.MapM, "practice"),
		m("two drawings of one place, per axis", o.JoinM, "practice"),
		of(sessionError),
		of(sourceError),
		of(walkBias),
		m("position where no accuracy is reported, per axis", o.DefaultSigmaM, "practice"),
		{Name: "factor on reported accuracy", Value: o.AccuracyFactor, Source: "practice: satellite receivers report themselves too good"},
		m("holding the pole over the signal", o.PoleM, "practice"),
		{Name: "locating across the line, of depth", Value: o.LocateShare, Source: "width of the field over a line current, d/(x^2+d^2)"},
		m("locating across the line, at least", o.LocateMinM, "practice"),
		{Name: "factor on locating without an own signal", Value: o.PassiveFactor, Source: "practice"},
		{Name: "share of a position's variance that wanders slowly", Value: o.WanderShare, Source: "practice"},
		{Name: "correlation time of the wandering", Unit: "s", Value: o.WanderS, Source: "practice"},
		m("height between a receiver's two coils, s: a depth d errs by d (d + s)/s times the error of their signals' ratio", o.DepthCoilsM, "practice; d = s B2/(B1 - B2)"),
		{Name: "ratio of the coils' signals, at every reading", Value: o.DepthNoise, Source: "practice"},
		m("depth, at least", o.DepthMinM, "practice"),
		{Name: "ratio of the coils' signals, of a receiver", Value: o.DepthGain, Source: "practice"},
		{Name: "ratio of the coils' signals, of a walk along a record", Value: o.DepthWalk, Source: "practice"},
		m("a sheet's common cover error (scale of a Student-t)", o.CoverSheetM, "practice"),
		m("a record's own cover error (scale of a Student-t)", o.CoverLocalM, "practice"),
		m("ups and downs of a line about its mean cover", o.CoverVariesM, "practice"),
		m("their correlation length", o.CoverLengthM, "practice"),
	}
}
