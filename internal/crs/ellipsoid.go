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

	toConformal, fromConformal sineSeries // latitude to conformal latitude and back
	fromAuthalicLat            sineSeries // authalic latitude to latitude
	qPole                      float64    // authalicQ at the North Pole
}

func newEllipsoid(name string, a, invF float64) ellipsoid {
	el := ellipsoid{name: name, a: a, invF: invF}
	if invF != 0 {
		el.f = 1 / invF
	}
	el.e2 = el.f * (2 - el.f)
	el.e = math.Sqrt(el.e2)
	el.n = el.f / (2 - el.f)
	el.auxiliaryLatitudes()
	el.qPole = el.authalicQ(1)
	return el
}

// sineSeries turns one kind of latitude into another: lat + sum of c[j] sin 2j
// lat, j from 1.
type sineSeries [6]float64

func (c *sineSeries) at(lat float64) float64 {
	s, co := math.Sincos(2 * lat)
	k := 2 * co
	var y0, y1 float64 // Clenshaw's summation
	for j := len(c) - 1; j >= 0; j-- {
		y0, y1 = k*y0-y1+c[j], y0
	}
	return lat + s*y0
}

// auxiliaryLatitudes sets the series between latitudes, in the third
// flattening to n^6: C. F. F. Karney, "On auxiliary latitudes", Survey Review
// 56 (2024), appendix A. What is left out is below 1e-17 for the Earth; a test
// compares them with the closed formulas.
func (el *ellipsoid) auxiliaryLatitudes() {
	n := el.n
	n2 := n * n
	n3, n4 := n2*n, n2*n2
	n5, n6 := n4*n, n4*n2
	el.toConformal = sineSeries{
		-2*n + 2./3*n2 + 4./3*n3 - 82./45*n4 + 32./45*n5 + 4642./4725*n6,
		5./3*n2 - 16./15*n3 - 13./9*n4 + 904./315*n5 - 1522./945*n6,
		-26./15*n3 + 34./21*n4 + 8./5*n5 - 12686./2835*n6,
		1237./630*n4 - 12./5*n5 - 24832./14175*n6,
		-734./315*n5 + 109598./31185*n6,
		444337. / 155925 * n6,
	}
	el.fromConformal = sineSeries{
		2*n - 2./3*n2 - 2*n3 + 116./45*n4 + 26./45*n5 - 2854./675*n6,
		7./3*n2 - 8./5*n3 - 227./45*n4 + 2704./315*n5 + 2323./945*n6,
		56./15*n3 - 136./35*n4 - 1262./105*n5 + 73814./2835*n6,
		4279./630*n4 - 332./35*n5 - 399572./14175*n6,
		4174./315*n5 - 144838./6237*n6,
		601676. / 22275 * n6,
	}
	el.fromAuthalicLat = sineSeries{
		4./3*n + 4./45*n2 - 16./35*n3 - 2582./14175*n4 + 60136./467775*n5 + 28112932./212837625*n6,
		46./45*n2 + 152./945*n3 - 11966./14175*n4 - 21016./51975*n5 + 251310128./638512875*n6,
		3044./2835*n3 + 3802./14175*n4 - 94388./66825*n5 - 8797648./10945935*n6,
		6059./4725*n4 + 41072./93555*n5 - 1472637812./638512875*n6,
		768272./467775*n5 + 455935736./638512875*n6,
		4210684958. / 1915538625 * n6,
	}
}

// same says whether two ellipsoids are one, but for the digits that writers
// drop: GRS 1980 and WGS 84, 1.6e-11 apart in flattening, are two.
func (el *ellipsoid) same(o ellipsoid) bool {
	return math.Abs(el.a-o.a) < 1e-3 && math.Abs(el.f-o.f) < 1e-12
}

// near says whether an ellipsoid may be the other one, rounded: within some
// centimetres anywhere.
func (el *ellipsoid) near(o ellipsoid) bool {
	return math.Abs(el.a-o.a) < 0.02 && math.Abs(el.f-o.f) < 4e-9
}

// primeVertical is the radius of curvature in the prime vertical, metres.
func (el *ellipsoid) primeVertical(sinLat float64) float64 {
	return el.a / math.Sqrt(1-el.e2*sinLat*sinLat)
}

// parallelRadius is the radius of the parallel at a latitude over a: m of
// Guidance Note 373-07-02 under "Lambert Conic Conformal".
func (el *ellipsoid) parallelRadius(lat float64) float64 {
	s, c := math.Sincos(lat)
	return c / math.Sqrt(1-el.e2*s*s)
}

// isometric is the isometric latitude, atanh(sin lat) - e atanh(e sin lat), the
// first term by the tangent; infinite at the poles.
func (el *ellipsoid) isometric(lat float64) float64 {
	return math.Asinh(math.Tan(lat)) - el.e*math.Atanh(el.e*math.Sin(lat))
}

// fromIsometric undoes isometric.
func (el *ellipsoid) fromIsometric(psi float64) float64 {
	return el.fromConformal.at(math.Atan(math.Sinh(psi)))
}

// authalicQ is alpha of Guidance Note 373-07-02 under "Albers Equal Area":
// (1 - e^2) (sin/(1 - e^2 sin^2) + atanh(e sin)/e).
func (el *ellipsoid) authalicQ(sinLat float64) float64 {
	if el.e == 0 {
		return 2 * sinLat
	}
	es := el.e * sinLat
	return (1 - el.e2) * (sinLat/(1-es*es) + math.Atanh(es)/el.e)
}

// fromAuthalicQ is the latitude of a q, NaN where there is none.
func (el *ellipsoid) fromAuthalicQ(q float64) float64 {
	s := q / el.qPole
	if math.Abs(s) > 1+1e-12 {
		return math.NaN()
	}
	return el.fromAuthalic(s, math.Sqrt(max(0, (1-s)*(1+s))))
}

// authalic is sine and cosine of the authalic latitude, sin = q / q at the
// pole. It goes by 1 - sin, so that nothing is lost near the poles.
func (el *ellipsoid) authalic(lat float64) (sin, cos float64) {
	h := math.Sin((math.Pi/2 - math.Abs(lat)) / 2)
	t := 2 * h * h // 1 - sin lat
	s := 1 - t
	d := t * (1 + el.e2*s) / (1 - el.e2*s*s) // q at the pole less q
	if el.e == 0 {
		d += t
	} else {
		d += (1 - el.e2) * math.Atanh(el.e*t/(1-el.e2*s)) / el.e
	}
	t = d / el.qPole
	return math.Copysign(1-t, lat), math.Sqrt(t * (2 - t))
}

// fromAuthalic undoes authalic.
func (el *ellipsoid) fromAuthalic(sin, cos float64) float64 {
	return el.fromAuthalicLat.at(math.Atan2(sin, cos))
}
