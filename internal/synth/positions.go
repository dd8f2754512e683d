package synth

import (
	"math"
	"time"

	"github.com/asfound/asfound/pipeline/survey"
)

// positioner says where a session's receiver believes it is.
type positioner struct {
	session vector // observed minus true, all day
	source  vector // of the source of positions
	noiseM  float64
	waves   [2][3]wave
	floats  []floatEpisode
	sigmaM  float64 // what it states when fixed, per axis
}

// wave is one slow swing of the positions, as satellites move over a place with
// reflections.
type wave struct{ amplitudeM, periodS, phase float64 }

// floatEpisode is a time without a fixed solution.
type floatEpisode struct {
	from, to time.Time
	off      vector
	turnS    float64 // the error swings round with this period
	fix      survey.Fix
	sigmaM   float64 // what is stated
}

func newPositioner(d dice, p Crews, begin time.Time, hours float64, source vector) *positioner {
	s := &positioner{session: d.vector(p.SessionSigmaM), source: source, noiseM: p.NoiseM, sigmaM: d.between([2]float64{0.006, 0.014})}
	for axis := range s.waves {
		for k := range s.waves[axis] {
			// three swings of equal size have together the variance wander_m^2
			s.waves[axis][k] = wave{p.WanderM * math.Sqrt(2.0/3) * d.between([2]float64{0.7, 1.3}), d.logBetween(p.WanderS), 2 * math.Pi * d.Float64()}
		}
	}
	for range d.count(p.FloatHours * hours) {
		from := begin.Add(time.Duration(d.Float64() * hours * float64(time.Hour)))
		size := d.between(p.FloatM)
		e := floatEpisode{from: from, to: from.Add(time.Duration(d.between(p.FloatS) * float64(time.Second))), off: d.arrow(size), turnS: d.between([2]float64{600, 3600})}
		switch {
		case d.chance(p.FloatHonest):
			e.fix, e.sigmaM = survey.FixFloat, size/math.Sqrt2*d.between([2]float64{0.7, 1.6})
		case d.chance(0.3):
			e.fix, e.sigmaM = survey.FixFloat, s.sigmaM
		default:
			e.fix, e.sigmaM = survey.FixFixed, s.sigmaM
		}
		s.floats = append(s.floats, e)
	}
	return s
}

// seen is the error of one position, and what the receiver says of it.
type seen struct {
	off    vector // observed minus true
	fix    survey.Fix
	sigmaM float64 // stated, per axis
	float  bool
}

func (s *positioner) at(d dice, t time.Time) seen {
	seconds := float64(t.UnixMilli()) / 1000
	off := s.session.plus(s.source).plus(d.vector(s.noiseM))
	for axis := range s.waves {
		for _, w := range s.waves[axis] {
			off[axis] += w.amplitudeM * math.Sin(2*math.Pi*math.Mod(seconds, w.periodS)/w.periodS+w.phase)
		}
	}
	out := seen{off: off, fix: survey.FixFixed, sigmaM: s.sigmaM * (0.8 + 0.5*d.Float64())}
	for _, e := range s.floats {
		if t.Before(e.from) || t.After(e.to) {
			continue
		}
		sin, cos := math.Sincos(2 * math.Pi * t.Sub(e.from).Seconds() / e.turnS)
		out.off = off.plus(vector{e.off[0]*cos - e.off[1]*sin, e.off[0]*sin + e.off[1]*cos}).plus(d.vector(0.03))
		out.fix, out.sigmaM, out.float = e.fix, e.sigmaM, true
	}
	return out
}
