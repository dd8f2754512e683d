package crs

import "math"

// ellipsoid is an ellipsoid of revolution, with what the formulas need of it.
type ellipsoid struct {
	name string
	a    float64 // semi-major axis, m
	invF float64 // inverse flattening; 0 is a sphere
	f    float64 // flattening
	e2   float64 // first eccentricity squared
	e    float64
	n    float64 // third flattening (a - b) / (a + b)
}

func newEllipsoid(name string, a, invF float64) ellipsoid {
	el := ellipsoid{name: name, a: a, invF: invF}
	if invF != 0 {
		el.f = 1 / invF
	}
	el.e2 = el.f * (2 - el.f)
	el.e = math.Sqrt(el.e2)
	el.n = el.f / (2 - el.f)
	return el
}

// same says whether two ellipsoids are one, but for the digits that writers
// drop: GRS 1980 and WGS 84, 1.6e-11 apart in flattening, are two.
func (el ellipsoid) same(o ellipsoid) bool {
	return math.Abs(el.a-o.a) < 1e-3 && math.Abs(el.f-o.f) < 1e-12
}

// near says whether an ellipsoid may be the other one, rounded: within some
// centimetres anywhere.
func (el ellipsoid) near(o ellipsoid) bool {
	return math.Abs(el.a-o.a) < 0.02 && math.Abs(el.f-o.f) < 4e-9
}

// primeVertical is the radius of curvature in the prime vertical, metres.
func (el ellipsoid) primeVertical(sinLat float64) float64 {
	return el.a / math.Sqrt(1-el.e2*sinLat*sinLat)
}

// parallelRadius is the radius of the parallel at a latitude over a: m of
// Guidance Note 373-07-02, section 3.1.1.
func (el ellipsoid) parallelRadius(lat float64) float64 {
	s := math.Sin(lat)
	return math.Cos(lat) / math.Sqrt(1-el.e2*s*s)
}

// isometric is the isometric latitude, asinh(tan lat) - e atanh(e sin lat);
// infinite at the poles.
func (el ellipsoid) isometric(lat float64) float64 {
	return math.Asinh(math.Tan(lat)) - el.e*math.Atanh(el.e*math.Sin(lat))
}

// fromIsometric is the latitude of an isometric latitude. Newton's method on
// the tangent of the latitude as in Karney 2011, equations 19 to 21, keeps all
// digits at any flattening; two or three turns do.
func (el ellipsoid) fromIsometric(psi float64) float64 {
	return math.Atan(el.geodeticTan(math.Sinh(psi)))
}

// conformalTan is the tangent of the conformal latitude from that of the
// latitude (Karney 2011, equations 7 to 9).
func (el ellipsoid) conformalTan(tau float64) float64 {
	h := math.Sqrt(1 + tau*tau)
	sigma := math.Sinh(el.e * math.Atanh(el.e*tau/h))
	return tau*math.Sqrt(1+sigma*sigma) - sigma*h
}

// geodeticTan undoes conformalTan.
func (el ellipsoid) geodeticTan(conformal float64) float64 {
	if math.IsInf(conformal, 0) || el.e2 == 0 {
		return conformal
	}
	e2m := 1 - el.e2
	tau := conformal / e2m
	if math.Abs(tau) > 70 { // near a pole: the limit for large tau
		tau = conformal * math.Exp(el.e*math.Atanh(el.e))
	}
	for range 6 {
		t := el.conformalTan(tau)
		d := (conformal - t) * (1 + e2m*tau*tau) / (e2m * math.Sqrt(1+t*t) * math.Sqrt(1+tau*tau))
		tau += d
		if math.Abs(d) <= 1e-16*max(1, math.Abs(tau)) {
			break
		}
	}
	return tau
}

// authalicQ is q of Guidance Note 373-07-02, section 3.3 (Albers) and 3.4
// (LAEA): (1 - e^2) (sin/(1 - e^2 sin^2) + atanh(e sin)/e).
func (el ellipsoid) authalicQ(sinLat float64) float64 {
	if el.e == 0 {
		return 2 * sinLat
	}
	es := el.e * sinLat
	return (1 - el.e2) * (sinLat/(1-es*es) + math.Atanh(es)/el.e)
}

// authalicDeficit is q at the North Pole less q at a colatitude, without the
// cancellation that the difference has near the pole.
func (el ellipsoid) authalicDeficit(colat float64) float64 {
	h := math.Sin(colat / 2)
	t := 2 * h * h // 1 - sin lat
	s := 1 - t
	d := t * (1 + el.e2*s) / (1 - el.e2*s*s)
	if el.e == 0 {
		return d + t
	}
	return d + (1-el.e2)*math.Atanh(el.e*t/(1-el.e2*s))/el.e
}

// fromAuthalicDeficit undoes authalicDeficit by Newton's method. The guidance
// note gives a series for it; this is exact to rounding (Snyder 1987, 3-16).
func (el ellipsoid) fromAuthalicDeficit(d float64) float64 {
	pole := el.authalicQ(1)
	if !(d >= 0 && d <= 2*pole*(1+1e-12)) {
		return math.NaN()
	}
	colat := 2 * math.Asin(math.Sqrt(min(d/(2*pole), 1)))
	for range 15 {
		s, c := math.Sincos(colat)
		w := 1 - el.e2*c*c
		slope := 2 * (1 - el.e2) * s / (w * w)
		if slope == 0 {
			break
		}
		step := (d - el.authalicDeficit(colat)) / slope
		colat += step
		if math.Abs(step) <= 2e-16*colat {
			break
		}
	}
	return colat
}

// fromAuthalicQ is the latitude of a q.
func (el ellipsoid) fromAuthalicQ(q float64) float64 {
	return math.Copysign(math.Pi/2-el.fromAuthalicDeficit(max(el.authalicQ(1)-math.Abs(q), 0)), q)
}

// authalic is sine and cosine of the authalic latitude, sin = q / q at the pole.
func (el ellipsoid) authalic(lat float64) (sin, cos float64) {
	t := el.authalicDeficit(math.Pi/2-math.Abs(lat)) / el.authalicQ(1)
	return math.Copysign(1-t, lat), math.Sqrt(t * (2 - t))
}

// fromAuthalic undoes authalic.
func (el ellipsoid) fromAuthalic(sin, cos float64) float64 {
	t := cos * cos / (1 + math.Abs(sin)) // 1 - |sin|
	return math.Copysign(math.Pi/2-el.fromAuthalicDeficit(t*el.authalicQ(1)), sin)
}
