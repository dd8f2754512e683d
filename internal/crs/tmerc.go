package crs

import "math"

func init() {
	register(method{
		code: 9807, name: "Transverse Mercator", conformal: true,
		wkt1: []string{"Transverse_Mercator", "Gauss_Kruger", "Transverse_Mercator_Complex"},
		uses: []param{
			{originLat, 8801, 0},
			required(originLon, 8802),
			{scaleFactor, 8805, 1},
			{falseEasting, 8806, 0},
			{falseNorthing, 8807, 0},
		},
		build: newTransverseMercator,
	})
}

// transverseMercator is the method by Krueger's series in the third flattening,
// taken to n^6: C. F. F. Karney, "Transverse Mercator with an accuracy of a few
// nanometers", Journal of Geodesy 85 (2011), equations 7 to 36. Guidance Note
// 373-07-02 has the same series to n^4.
type transverseMercator struct {
	e           ellipsoid
	lon0        float64
	k0a1        float64    // scale factor times rectifying radius
	b1          float64    // rectifying radius over a
	alpha, beta [6]float64 // equations 35 and 36
	x0, y0      float64    // false origin, less the northing of the origin
}

func newTransverseMercator(e ellipsoid, v *values) (projection, error) {
	n := e.n
	n2 := n * n
	n3, n4 := n2*n, n2*n2
	n5, n6 := n4*n, n4*n2
	t := &transverseMercator{e: e, lon0: v.rad(originLon), x0: v[falseEasting]}
	t.b1 = (1 + n2/4 + n4/64 + n6/256) / (1 + n)
	t.k0a1 = v[scaleFactor] * e.a * t.b1
	t.alpha = [6]float64{
		n/2 - 2./3*n2 + 5./16*n3 + 41./180*n4 - 127./288*n5 + 7891./37800*n6,
		13./48*n2 - 3./5*n3 + 557./1440*n4 + 281./630*n5 - 1983433./1935360*n6,
		61./240*n3 - 103./140*n4 + 15061./26880*n5 + 167603./181440*n6,
		49561./161280*n4 - 179./168*n5 + 6601661./7257600*n6,
		34729./80640*n5 - 3418889./1995840*n6,
		212378941. / 319334400 * n6,
	}
	t.beta = [6]float64{
		n/2 - 2./3*n2 + 37./96*n3 - 1./360*n4 - 81./512*n5 + 96199./604800*n6,
		1./48*n2 + 1./15*n3 - 437./1440*n4 + 46./105*n5 - 1118711./3870720*n6,
		17./480*n3 - 37./840*n4 - 209./4480*n5 + 5569./90720*n6,
		4397./161280*n4 - 11./504*n5 - 830251./7257600*n6,
		4583./161280*n5 - 108847./3991680*n6,
		20648693. / 638668800 * n6,
	}
	_, y := t.forward(t.lon0, v.rad(originLat))
	t.y0 = v[falseNorthing] - y
	return t, nil
}

// tmercReach is how far from the central meridian the series is used, radians.
// Near the equator, where it is worst, it is good to 1e-9 m within 40 degrees,
// 1e-7 m at 50 and 1e-5 m at 60 (computed: testdata/published/computed-tm.json).
const tmercReach = 60 * radPerDegree

// spherical are the coordinates xi', eta' of transverse Mercator on the
// conformal sphere (equations 10 and 11), with sines and cosines of the
// conformal latitude and the longitude.
func (t *transverseMercator) spherical(lon, lat float64) (xi, eta, sinX, cosX, sinL, cosL float64) {
	lon = wrap(lon - t.lon0)
	if math.Abs(lon) > tmercReach {
		return nan, nan, nan, nan, nan, nan
	}
	sinL, cosL = math.Sincos(lon)
	sinX, cosX = math.Sincos(t.e.toConformal.at(lat))
	c := cosX * cosL
	return math.Atan2(sinX, c), math.Asinh(cosX * sinL / math.Sqrt(sinX*sinX+c*c)), sinX, cosX, sinL, cosL
}

func (t *transverseMercator) forward(lon, lat float64) (x, y float64) {
	xi, eta, _, _, _, _ := t.spherical(lon, lat)
	dxi, deta := clenshaw(&t.alpha, xi, eta)
	return t.x0 + t.k0a1*(eta+deta), t.y0 + t.k0a1*(xi+dxi)
}

func (t *transverseMercator) inverse(x, y float64) (lon, lat float64) {
	xi, eta := (y-t.y0)/t.k0a1, (x-t.x0)/t.k0a1
	if math.Abs(eta) > 3 || math.Abs(xi) > math.Pi {
		return math.NaN(), math.NaN()
	}
	dxi, deta := clenshaw(&t.beta, xi, eta)
	xi, eta = xi-dxi, eta-deta
	s, c := math.Sinh(eta), math.Cos(xi)
	lon = math.Atan2(s, c)
	if math.Abs(lon) > tmercReach*1.001 {
		return math.NaN(), math.NaN()
	}
	conformal := math.Atan(math.Sin(xi) / math.Sqrt(s*s+c*c))
	return wrap(t.lon0 + lon), t.e.fromConformal.at(conformal)
}

// factors follow equations 23 to 26, with the conformal latitude's sine and
// cosine for its tangent, which is infinite at the poles.
func (t *transverseMercator) factors(lon, lat float64) (scale, convergence float64) {
	xi, eta, sinX, cosX, sinL, cosL := t.spherical(lon, lat)
	p, q := 1.0, 0.0 // derivative of the series
	for j := range t.alpha {
		f := float64(2 * (j + 1))
		s, c := math.Sincos(f * xi)
		p += f * t.alpha[j] * c * math.Cosh(f*eta)
		q += f * t.alpha[j] * s * math.Sinh(f*eta)
	}
	convergence = math.Atan2(sinX*sinL, cosL) + math.Atan2(q, p)
	s, c := math.Sincos(lat)
	ratio := cosX / c // of the cosines of conformal and geodetic latitude
	if math.Abs(c) < 1e-9 {
		ratio = math.Exp(t.e.e * math.Atanh(t.e.e))
	}
	onSphere := ratio * math.Sqrt(1-t.e.e2*s*s) / math.Hypot(sinX, cosX*cosL)
	return t.k0a1 / t.e.a * math.Hypot(p, q) * onSphere, convergence
}

// clenshaw sums c[j] sin(2j (xi + i eta)) for j from 1, as a complex number.
func clenshaw(c *[6]float64, xi, eta float64) (re, im float64) {
	s, co := math.Sincos(2 * xi)
	e := math.Exp(2 * eta)
	sh, ch := (e-1/e)/2, (e+1/e)/2
	if math.Abs(eta) < 0.1 {
		sh = math.Sinh(2 * eta)
	}
	ar, ai := 2*co*ch, -2*s*sh // 2 cos(2 zeta)
	var y0r, y0i, y1r, y1i float64
	for j := len(c) - 1; j >= 0; j-- {
		y0r, y0i, y1r, y1i = ar*y0r-ai*y0i-y1r+c[j], ar*y0i+ai*y0r-y1i, y0r, y0i
	}
	sr, si := s*ch, co*sh // sin(2 zeta)
	return sr*y0r - si*y0i, sr*y0i + si*y0r
}
