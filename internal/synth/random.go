package synth

import (
	"math"
	"math/rand/v2"
)

// dice are one stream of random numbers. Every phase and every item of a town
// draws from a stream of its own, so that what one of them draws changes
// nothing in another.
type dice struct{ *rand.Rand }

// phase numbers the streams of a town. Numbers are never reused.
type phase uint64

const (
	phaseStreets phase = iota + 1
	phaseServices
	phaseSheets
	phaseDrafting
	phaseExtras
	phaseCovers
	phaseAreas
	phaseTraces
	phaseSessions
	phaseCoupling
	phaseReadings
	phasePositions
	phaseChecks
	phaseHoles
	phaseMarks
	phaseTown
	phaseFittings
	phaseHoleDetails
)

func roll(seed uint64, p phase, item int) dice {
	return dice{rand.New(rand.NewPCG(seed, uint64(p)<<40^uint64(item)))}
}

func (d dice) between(r [2]float64) float64 { return r[0] + d.Float64()*(r[1]-r[0]) }

// logBetween draws from a range with the same weight for every ratio.
func (d dice) logBetween(r [2]float64) float64 {
	return r[0] * math.Pow(r[1]/r[0], d.Float64())
}

func (d dice) chance(share float64) bool { return d.Float64() < share }

func (d dice) normal(sigma float64) float64 { return sigma * d.NormFloat64() }

func (d dice) sign() float64 {
	if d.chance(0.5) {
		return -1
	}
	return 1
}

// vector is normal with a standard deviation per axis.
func (d dice) vector(sigma float64) vector { return vector{d.normal(sigma), d.normal(sigma)} }

// arrow has a length and any direction.
func (d dice) arrow(length float64) vector {
	sin, cos := math.Sincos(2 * math.Pi * d.Float64())
	return vector{length * cos, length * sin}
}

// count is how often something with an expected number happens: its whole part,
// and once more with the rest as its chance.
func (d dice) count(expected float64) int {
	n := math.Floor(expected)
	if d.chance(expected - n) {
		n++
	}
	return int(n)
}
