package estimate

import "math"

// Informed is what data alone say of one random effect of one or two independent
// components a: their log-likelihood is the sum of Pull a - Precision a^2/2. Both
// components have one Student-t weight.
type Informed struct{ Precision, Pull [2]float64 }

// Size is the estimated size of random effects: the scale of a Student-t, the
// standard deviation of a normal distribution.
type Size struct {
	Value float64 // 0 where the data show no effect
	U     float64 // its standard deviation, as the data alone know it
	// Count is how many components the data would tell apart from zero, were they
	// of the expected size: a component known much better than that counts as one.
	Count float64
}

// The likelihood is worked out at expected sizes times 2^(k/4), from a sixteenth
// to eightfold, and at zero. A Student-t is a mixture of normal distributions over
// its weight: the integral goes over logarithmic steps likewise, which leave out
// less than 1e-4 of the weights of a Student-t of 3 degrees of freedom.
const (
	sizeLeast, sizeMost = -16, 12 // k
	weightLeast         = -20     // of the weights' steps, which are half an octave
	weightMost          = 8
)

// SizeOf estimates the size of effects that follow a Student-t of nu degrees of
// freedom (from 1,000 on: a normal distribution) about zero, by maximum likelihood
// of what the data say of each (as in a meta-analysis: DerSimonian and Laird 1986;
// van Houwelingen, Arends and Stijnen 2002, section 3). Effects count as
// independent given their size. Without effects it is zero, with U infinite.
func SizeOf(effects []Informed, nu, expected float64) Size {
	var logs [sizeMost - sizeLeast + 1]float64
	var size Size
	mix := weights(nu)
	steps := len(logs) + len(mix) - 1 // of the variance, half an octave each
	at := make([]float64, steps)
	for i := range effects {
		e := &effects[i]
		most := 0.0
		for j := range at {
			exponent := float64(j+sizeLeast) / 2
			if len(mix) > 1 {
				exponent -= weightMost / 2.0
			}
			at[j] = e.log(expected * expected * math.Exp2(exponent))
			most = max(most, at[j])
		}
		for j := range at {
			at[j] = math.Exp(at[j] - most)
		}
		for k := range logs {
			sum := 0.0
			for m, w := range mix { // a high weight is a small variance
				sum += float64(w * at[k+len(mix)-1-m])
			}
			logs[k] += math.Log(sum) + most
		}
		for _, p := range e.Precision {
			u := expected * expected * p / (1 + expected*expected*p)
			size.Count += float64(u * u)
		}
	}
	size.Value, size.U = summary(logs[:], expected)
	return size
}

// log is the log-likelihood of a normal effect of that variance over that of none.
func (e *Informed) log(variance float64) float64 {
	sum := 0.0
	for k, p := range e.Precision {
		d := 1 + float64(variance*p)
		sum += (float64(e.Pull[k]*e.Pull[k])*variance/d - math.Log(d)) / 2
	}
	return sum
}

// weights is the distribution of a Student-t's weight, of gamma with shape and
// rate nu/2, in steps of half an octave of it; a single one for a normal
// distribution.
func weights(nu float64) []float64 {
	if nu >= 1000 {
		return []float64{1}
	}
	mix := make([]float64, weightMost-weightLeast+1)
	sum := 0.0
	for m := range mix {
		w := math.Exp2(float64(m+weightLeast) / 2)
		mix[m] = math.Exp(nu / 2 * (math.Log(w) - w))
		sum += mix[m]
	}
	for m := range mix {
		mix[m] /= sum
	}
	return mix
}

// summary is where a likelihood is largest, and the standard deviation about it
// where every size up to the largest is as likely beforehand.
func summary(logs []float64, expected float64) (value, u float64) {
	best := 0
	for k, v := range logs {
		if v > logs[best] {
			best = k
		}
	}
	top := max(logs[best], 0)
	size := func(k float64) float64 { return expected * math.Exp2((k+sizeLeast)/4) }
	if best > 0 || logs[best] > 0 {
		k := float64(best)
		if best > 0 && best+1 < len(logs) { // a parabola through three points
			if a, b := logs[best-1]-logs[best], logs[best+1]-logs[best]; a+b < 0 {
				k += (a - b) / (2 * (a + b))
			}
		}
		value = size(k)
	}
	mass, square := 0.0, 0.0
	add := func(l, s, width float64) {
		p := math.Exp(l-top) * width
		mass += p
		square += float64(p * (s - value) * (s - value))
	}
	least := size(-0.5)
	add(0, least/2, least)
	for k := range logs {
		add(logs[k], size(float64(k)), size(float64(k)+0.5)-size(float64(k)-0.5))
	}
	return value, math.Sqrt(square / mass)
}
