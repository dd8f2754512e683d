package crs

import (
	"encoding/csv"
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"testing"

	"github.com/paulmach/orb"
)

// published reads a file of values from outside the project.
func published(t testing.TB, name string, into any) {
	t.Helper()
	text, err := os.ReadFile(filepath.Join("..", "..", "testdata", "published", name))
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(text, into); err != nil {
		t.Fatalf("%s: %v", name, err)
	}
}

func mustOperation(t testing.TB, from, to string, o Options) *Operation {
	t.Helper()
	op, err := NewOperationAt(mustParse(t, from), mustParse(t, to), o)
	if err != nil {
		t.Fatal(err)
	}
	return op
}

func TestGuidanceNoteExamples(t *testing.T) {
	var note struct {
		Source      string
		Projections []struct {
			Method, System, Origin string
			Lat, Lon, X, Y         float64
			ToleranceM             float64 `json:"tolerance_m"`
		}
	}
	published(t, "iogp-373-07-02.json", &note)
	covered := map[string]bool{}
	for _, c := range note.Projections {
		s := mustParse(t, c.System)
		covered[s.Method()] = true
		if s.Method() != c.Method {
			t.Errorf("%s is a %s, the example is for %s", c.System, s.Method(), c.Method)
		}
		op, err := NewOperation(s.Geographic(), s)
		if err != nil {
			t.Fatal(err)
		}
		got, err := op.Apply(orb.Point{c.Lon, c.Lat})
		if d := math.Hypot(got[0]-c.X, got[1]-c.Y) * s.UnitM(); err != nil || !(d <= c.ToleranceM*math.Sqrt2) {
			t.Errorf("%s (%s, %s), %s: %.4f, %.4f; published %.4f, %.4f (%.4f m off)", c.Method, note.Source, c.Origin, c.System, got[0], got[1], c.X, c.Y, d)
		}
		back, err := op.Inverse().Apply(orb.Point{c.X, c.Y})
		if err != nil || math.Abs(back[0]-c.Lon) > 1e-5*c.ToleranceM*10 || math.Abs(back[1]-c.Lat) > 1e-5*c.ToleranceM*10 {
			t.Errorf("%s (%s), back: %.9f, %.9f; published %.9f, %.9f", c.Method, note.Source, back[0], back[1], c.Lon, c.Lat)
		}
	}
	for _, m := range methods {
		if !covered[m.name] && m.code != 9812 { // variant A of Hotine shares all but its origin with B
			t.Errorf("method %s has no published example", m.name)
		}
	}
}

func TestGuidanceNoteGeocentric(t *testing.T) {
	var note struct {
		Source     string
		Geocentric struct {
			Ellipsoid  [2]float64
			Lat, Lon   float64
			H          float64
			XYZ        [3]float64
			ToleranceM float64 `json:"tolerance_m"`
		}
		Helmert struct {
			T          [3]float64 `json:"t_m"`
			R          [3]float64 `json:"r_arcsec"`
			S          float64    `json:"s_ppm"`
			From, To   [3]float64
			ToleranceM float64 `json:"tolerance_m"`
		}
	}
	published(t, "iogp-373-07-02.json", &note)
	c := note.Geocentric
	el := newEllipsoid("WGS 84", c.Ellipsoid[0], c.Ellipsoid[1])
	x, y, z := el.geocentric(geodetic{c.Lon * radPerDegree, c.Lat * radPerDegree, c.H})
	if d := math.Hypot(math.Hypot(x-c.XYZ[0], y-c.XYZ[1]), z-c.XYZ[2]); d > 2*c.ToleranceM {
		t.Errorf("geocentric (%s): %.4f %.4f %.4f, published %v", note.Source, x, y, z, c.XYZ)
	}
	g := el.geodetic(x, y, z)
	if math.Abs(g.lat/radPerDegree-c.Lat) > 1e-13 || math.Abs(g.lon/radPerDegree-c.Lon) > 1e-13 || math.Abs(g.h-c.H) > 1e-8 {
		t.Errorf("geocentric back: %v", g)
	}

	// A Helmert transformation of X, Y, Z, through the geographic coordinates of
	// one ellipsoid on both sides.
	h := note.Helmert
	shift := newHelmertShift(helmert{t: h.T, r: [3]float64{h.R[0] * 1000, h.R[1] * 1000, h.R[2] * 1000}, s: h.S * 1000}, el, el, false)
	q := shift.apply(el.geodetic(h.From[0], h.From[1], h.From[2]))
	x, y, z = el.geocentric(q)
	if d := math.Hypot(math.Hypot(x-h.To[0], y-h.To[1]), z-h.To[2]); d > 2*h.ToleranceM {
		t.Errorf("Helmert (%s): %.3f %.3f %.3f, published %v", note.Source, x, y, z, h.To)
	}
}

func TestTableOfPROJ(t *testing.T) {
	f, err := os.Open(filepath.Join("..", "..", "testdata", "published", "proj-9.1.1.csv"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	r := csv.NewReader(f)
	r.Comment = '#'
	rows, err := r.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	if len(rows) != 23 {
		t.Fatalf("%d rows", len(rows))
	}
	for _, row := range rows[1:] {
		o := Options{}
		if row[5] != "" {
			o.Epoch = decimal(row[5])
		}
		op := mustOperation(t, row[0], row[1], o)
		got, h, err := op.ApplyHeight(orb.Point{decimal(row[3]), decimal(row[2])}, decimal(row[4]))
		half := 0.5001 * math.Pow(10, -decimal(row[9]))
		if err != nil || !(math.Abs(got[0]-decimal(row[6])) <= half && math.Abs(got[1]-decimal(row[7])) <= half) {
			t.Errorf("%s to %s at %s %s: %.9f, %.9f; PROJ 9.1.1 %s, %s (%v)", row[0], row[1], row[2], row[3], got[0], got[1], row[6], row[7], err)
		}
		if row[8] != "" && !(math.Abs(h-decimal(row[8])) <= 0.5001e-4) {
			t.Errorf("%s to %s: height %.5f; PROJ 9.1.1 %s", row[0], row[1], h, row[8])
		}
	}
}

func TestITRF2014ToNAD83(t *testing.T) {
	var v struct {
		Source   string
		T        [3]float64 `json:"t_m"`
		R        [3]float64 `json:"r_mas"`
		S        float64    `json:"s_ppb"`
		TRate    [3]float64 `json:"t_rate_mm"`
		RRate    [3]float64 `json:"r_rate_mas"`
		SRate    float64    `json:"s_rate_ppb"`
		Epoch    float64
		Lat, Lon float64
		Shifts   []struct {
			Epoch   float64
			EastM   *float64 `json:"east_m"`
			NorthM  *float64 `json:"north_m"`
			LengthM float64  `json:"length_m"`
		}
	}
	published(t, "epsg-8970.json", &v)
	itrf, nad83 := mustParse(t, "ITRF2014"), mustParse(t, "EPSG:6318")
	m := itrf.datum.ellipsoid
	lat := v.Lat * radPerDegree
	w2 := 1 - m.e2*math.Sin(lat)*math.Sin(lat)
	perLon := m.primeVertical(math.Sin(lat)) * math.Cos(lat)
	perLat := m.a * (1 - m.e2) / (w2 * math.Sqrt(w2))
	for _, c := range v.Shifts {
		op, err := NewOperationAt(itrf, nad83, Options{Epoch: c.Epoch})
		if err != nil {
			t.Fatal(err)
		}
		q, err := op.Apply(orb.Point{v.Lon, v.Lat})
		if err != nil {
			t.Fatal(err)
		}
		east, north := (q[0]-v.Lon)*radPerDegree*perLon, (q[1]-v.Lat)*radPerDegree*perLat
		if d := math.Hypot(east, north); math.Abs(d-c.LengthM) > 0.0006 {
			t.Errorf("%s at %v: moved by %.4f m, published %.3f", v.Source, c.Epoch, d, c.LengthM)
		}
		if c.EastM != nil && (math.Abs(east-*c.EastM) > 0.0006 || math.Abs(north-*c.NorthM) > 0.0006) {
			t.Errorf("%s at %v: moved by %.4f E, %.4f N, published %v, %v", v.Source, c.Epoch, east, north, *c.EastM, *c.NorthM)
		}
		// The published parameters have two digits more than EPSG's: 1e-4 m.
		full := helmert{t: v.T, s: v.S, sRate: v.SRate, epoch: v.Epoch}
		for i := range 3 {
			full.r[i], full.rRate[i], full.tRate[i] = -v.R[i], -v.RRate[i], v.TRate[i]/1000
		}
		want := newHelmertShift(full.at(c.Epoch), m, m, false).apply(geodetic{v.Lon * radPerDegree, lat, 0})
		if d := math.Hypot((q[0]*radPerDegree-want.lon)*perLon, (q[1]*radPerDegree-want.lat)*perLat); d > 1e-3 {
			t.Errorf("%s at %v: %.5f m from the published parameters", v.Source, c.Epoch, d)
		} else {
			t.Logf("epoch %v: %.6f m from the published parameters", c.Epoch, d)
		}
	}
	if _, err := NewOperation(itrf, nad83); err == nil {
		t.Error("without an epoch the operation must be refused")
	}
}

func TestSurveyFoot(t *testing.T) {
	var v struct {
		Source        string
		Numerator     float64 `json:"survey_foot_numerator"`
		Denominator   float64 `json:"survey_foot_denominator"`
		International float64 `json:"international_foot_m"`
		PPM           float64 `json:"difference_ppm"`
		AtFt          float64 `json:"at_ft"`
		DifferenceFt  float64 `json:"difference_ft"`
	}
	published(t, "us-survey-foot.json", &v)
	ohio := mustParse(t, "EPSG:3734") // US survey feet
	if ohio.UnitM() != v.Numerator/v.Denominator {
		t.Errorf("EPSG:3734 has %v m a unit; %s", ohio.UnitM(), v.Source)
	}
	arizona := mustParse(t, "EPSG:2222") // international feet
	if arizona.UnitM() != v.International {
		t.Errorf("EPSG:2222 has %v m a unit; %s", arizona.UnitM(), v.Source)
	}
	if got := (ohio.UnitM()/arizona.UnitM() - 1) * 1e6; math.Abs(got-v.PPM) > 5e-7 {
		t.Errorf("feet %.7f ppm apart; %s: %v", got, v.Source, v.PPM)
	}
	// The same place in the other foot, by way of metres.
	there, err := NewOperation(ohio, ohio.Metres())
	if err != nil {
		t.Fatal(err)
	}
	p, err := there.Apply(orb.Point{v.AtFt, 0})
	if got := p[0]/v.International - v.AtFt; err != nil || math.Abs(got-v.DifferenceFt) > 1e-6 {
		t.Errorf("%v survey feet are %.7f ft more; %s: %v (%v)", v.AtFt, got, v.Source, v.DifferenceFt, err)
	}
}

func TestNearThePole(t *testing.T) {
	var v struct {
		Source string
		Points []struct {
			System         string
			Lat, Lon, X, Y float64
		}
	}
	published(t, "computed-laea-pole.json", &v)
	for _, c := range v.Points {
		op := mustOperation(t, "EPSG:4326", c.System, Options{})
		got, err := op.Apply(orb.Point{c.Lon, c.Lat})
		if err != nil || math.Abs(got[0]-c.X) > 1e-8 || math.Abs(got[1]-c.Y) > 1e-8 {
			t.Errorf("%s: %.10f, %.10f; %s: %v, %v (%v)", c.System, got[0], got[1], v.Source, c.X, c.Y, err)
		}
	}
}

func TestTransverseMercatorFarOut(t *testing.T) {
	var v struct {
		Source string
		Points []struct {
			Lat, X, Y float64
			Lon       float64 `json:"lon_from_meridian"`
		}
	}
	published(t, "computed-tm.json", &v)
	op := mustOperation(t, "EPSG:4326", "EPSG:32631", Options{})
	for _, c := range v.Points {
		tolerance := 1e-8
		if c.Lon == 50 {
			tolerance = 2e-7
		}
		got, err := op.Apply(orb.Point{3 + c.Lon, c.Lat})
		if err != nil || math.Abs(got[0]-500000-c.X) > tolerance || math.Abs(got[1]-c.Y) > tolerance {
			t.Errorf("%v degrees from the meridian at %v: %.10f, %.10f; %s: %.10f, %.10f (%v)", c.Lon, c.Lat, got[0]-500000, got[1], v.Source, c.X, c.Y, err)
		}
		back, err := op.Inverse().Apply(orb.Point{c.X + 500000, c.Y})
		if err != nil || math.Abs(back[0]-3-c.Lon) > 1e-9 || math.Abs(back[1]-c.Lat) > 1e-9 {
			t.Errorf("%v degrees from the meridian at %v: back at %v (%v)", c.Lon, c.Lat, back, err)
		}
	}
}
