package crs

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/paulmach/orb"
)

// Definitions as common writers put them: GDAL, ESRI, and WKT2.
const (
	ohioESRI = `PROJCS["NAD_1983_StatePlane_Ohio_North_FIPS_3401_Feet",GEOGCS["GCS_North_American_1983",DATUM["D_North_American_1983",SPHEROID["GRS_1980",6378137.0,298.257222101]],PRIMEM["Greenwich",0.0],UNIT["Degree",0.0174532925199433]],PROJECTION["Lambert_Conformal_Conic"],PARAMETER["False_Easting",1968500.0],PARAMETER["False_Northing",0.0],PARAMETER["Central_Meridian",-82.5],PARAMETER["Standard_Parallel_1",40.43333333333333],PARAMETER["Standard_Parallel_2",41.7],PARAMETER["Latitude_Of_Origin",39.66666666666666],UNIT["Foot_US",0.3048006096012192]]`

	ohioGDAL = `PROJCS["NAD83 / Ohio North (ftUS)",
    GEOGCS["NAD83",DATUM["North_American_Datum_1983",SPHEROID["GRS 1980",6378137,298.257222101,AUTHORITY["EPSG","7019"]],TOWGS84[0,0,0,0,0,0,0],AUTHORITY["EPSG","6269"]],
        PRIMEM["Greenwich",0,AUTHORITY["EPSG","8901"]],UNIT["degree",0.0174532925199433,AUTHORITY["EPSG","9122"]],AUTHORITY["EPSG","4269"]],
    PROJECTION["Lambert_Conformal_Conic_2SP"],PARAMETER["standard_parallel_1",41.7],PARAMETER["standard_parallel_2",40.43333333333333],
    PARAMETER["latitude_of_origin",39.66666666666666],PARAMETER["central_meridian",-82.5],PARAMETER["false_easting",1968500],PARAMETER["false_northing",0],
    UNIT["US survey foot",0.3048006096012192,AUTHORITY["EPSG","9003"]],AXIS["X",EAST],AXIS["Y",NORTH],AUTHORITY["EPSG","3734"]]`

	utmWKT2 = `PROJCRS["NAD83 / UTM zone 17N",BASEGEOGCRS["NAD83",DATUM["North American Datum 1983",ELLIPSOID["GRS 1980",6378137,298.257222101,LENGTHUNIT["metre",1]]],PRIMEM["Greenwich",0,ANGLEUNIT["degree",0.0174532925199433]],ID["EPSG",4269]],CONVERSION["UTM zone 17N",METHOD["Transverse Mercator",ID["EPSG",9807]],PARAMETER["Latitude of natural origin",0,ANGLEUNIT["degree",0.0174532925199433],ID["EPSG",8801]],PARAMETER["Longitude of natural origin",-81,ANGLEUNIT["degree",0.0174532925199433],ID["EPSG",8802]],PARAMETER["Scale factor at natural origin",0.9996,SCALEUNIT["unity",1],ID["EPSG",8805]],PARAMETER["False easting",500000,LENGTHUNIT["metre",1],ID["EPSG",8806]],PARAMETER["False northing",0,LENGTHUNIT["metre",1],ID["EPSG",8807]]],CS[Cartesian,2],AXIS["(E)",east,ORDER[1],LENGTHUNIT["metre",1]],AXIS["(N)",north,ORDER[2],LENGTHUNIT["metre",1]],USAGE[SCOPE["Engineering survey."],AREA["North America"],BBOX[23.81,-84,84,-78]],ID["EPSG",26917]]`

	webGDAL = `PROJCS["WGS 84 / Pseudo-Mercator",GEOGCS["WGS 84",DATUM["WGS_1984",SPHEROID["WGS 84",6378137,298.257223563]],PRIMEM["Greenwich",0],UNIT["degree",0.0174532925199433]],PROJECTION["Mercator_1SP"],PARAMETER["central_meridian",0],PARAMETER["scale_factor",1],PARAMETER["false_easting",0],PARAMETER["false_northing",0],UNIT["metre",1],AXIS["Easting",EAST],AXIS["Northing",NORTH],EXTENSION["PROJ4","+proj=merc +a=6378137 +b=6378137 +lat_ts=0 +lon_0=0 +x_0=0 +y_0=0 +k=1 +units=m +nadgrids=@null +wktext +no_defs"]]`

	webESRI = `PROJCS["WGS_1984_Web_Mercator_Auxiliary_Sphere",GEOGCS["GCS_WGS_1984",DATUM["D_WGS_1984",SPHEROID["WGS_1984",6378137.0,298.257223563]],PRIMEM["Greenwich",0.0],UNIT["Degree",0.0174532925199433]],PROJECTION["Mercator_Auxiliary_Sphere"],PARAMETER["False_Easting",0.0],PARAMETER["False_Northing",0.0],PARAMETER["Central_Meridian",0.0],PARAMETER["Standard_Parallel_1",0.0],PARAMETER["Auxiliary_Sphere_Type",0.0],UNIT["Meter",1.0]]`

	parisGDAL = `PROJCS["NTF (Paris) / Lambert zone II",GEOGCS["NTF (Paris)",DATUM["Nouvelle_Triangulation_Francaise_Paris",SPHEROID["Clarke 1880 (IGN)",6378249.2,293.466021293627]],PRIMEM["Paris",2.33722917],UNIT["grad",0.0157079632679489]],PROJECTION["Lambert_Conformal_Conic_1SP"],PARAMETER["latitude_of_origin",52],PARAMETER["central_meridian",0],PARAMETER["scale_factor",0.99987742],PARAMETER["false_easting",600000],PARAMETER["false_northing",2200000],UNIT["metre",1],AXIS["Easting",EAST],AXIS["Northing",NORTH]]`

	navd = `VERTCS["NAVD_1988",VDATUM["North_American_Vertical_Datum_1988"],PARAMETER["Vertical_Shift",0.0],PARAMETER["Direction",1.0],UNIT["Foot_US",0.3048006096012192]]`
)

func TestDefinitionsOfOneSystem(t *testing.T) {
	for _, c := range []struct{ name, def, code, note string }{
		{"ESRI", ohioESRI, "EPSG:3734", ""},
		{"GDAL", ohioGDAL, "EPSG:3734", ""},
		{"ESRI with heights after it", ohioESRI + "," + navd, "EPSG:3734", `height system "NAVD_1988" passed over`},
		{"ESRI with heights on a line of their own", ohioESRI + "\n" + navd, "EPSG:3734", `height system "NAVD_1988" passed over`},
		{"compound", `COMPD_CS["Ohio with heights",` + ohioGDAL + `,VERT_CS["NAVD88 height (ftUS)",VERT_DATUM["North American Vertical Datum 1988",2005],UNIT["US survey foot",0.3048006096012192],AXIS["Up",UP]]]`, "EPSG:3734", `height system "NAVD88 height (ftUS)" passed over`},
		{"compound WKT2", `COMPOUNDCRS["UTM with heights",` + utmWKT2 + `,VERTCRS["NAVD88 height",VDATUM["North American Vertical Datum 1988"],CS[vertical,1],AXIS["up",up],LENGTHUNIT["metre",1]]]`, "EPSG:26917", "passed over"},
		{"WKT2", utmWKT2, "EPSG:26917", ""},
		{"WKT2 by names", strings.NewReplacer(`,ID["EPSG",9807]`, "", `,ID["EPSG",8801]`, "", `,ID["EPSG",8802]`, "", `,ID["EPSG",8805]`, "", `,ID["EPSG",8806]`, "", `,ID["EPSG",8807]`, "").Replace(utmWKT2), "EPSG:26917", ""},
		{"round brackets", strings.NewReplacer("[", "(", "]", ")").Replace(ohioESRI), "EPSG:3734", ""},
		{"byte order mark and NUL", "\ufeff" + ohioESRI + "\x00\n", "EPSG:3734", ""},
		{"Web Mercator, GDAL", webGDAL, "EPSG:3857", ""},
		{"Web Mercator, ESRI", webESRI, "EPSG:3857", ""},
		{"grads and Paris", parisGDAL, "EPSG:27572", ""},
		{"URN", "urn:ogc:def:crs:EPSG::3734", "EPSG:3734", ""},
		{"URL", "http://www.opengis.net/def/crs/EPSG/0/3734", "EPSG:3734", ""},
		{"lower case", " epsg:3734 ", "EPSG:3734", ""},
		{"frame", "NAD83(2011)", "EPSG:6318", ""},
		{"name", "NAD83(2011) / Ohio North (ftUS)", "EPSG:6549", ""},
	} {
		got, err := Parse(c.def)
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		if want := mustParse(t, c.code); difference(got, want) != "" && !agree(got, want) { // ESRI swaps the parallels
			diff := difference(got, want)
			t.Errorf("%s: %s", c.name, diff)
		}
		if notes := strings.Join(got.Notes(), "; "); c.note == "" && notes != "" || !strings.Contains(notes, c.note) {
			t.Errorf("%s: notes %q, want %q", c.name, notes, c.note)
		}
	}
}

// A definition goes by its numbers: names and rounded digits are known to be
// wrong.
func TestUnitsGoByNumber(t *testing.T) {
	for _, c := range []struct {
		name, factor string
		want         float64
		note         string
	}{
		{"Foot_US", "0.3048006096012192", 1200. / 3937, ""},
		{"US survey foot", "0.304800609601219", 1200. / 3937, ""},
		{"Foot_US", "0.30480061", 1200. / 3937, "taken for the US survey foot"},
		{"Foot_US", "0.3048006", 1200. / 3937, "taken for the US survey foot"},
		{"Foot", "0.3048", 0.3048, "the name says US survey foot"}, // the name of the system says it
		{"Foot_US", "0.3048", 0.3048, "went by the number"},
		{"Foot", "0.30480000001", 0.3048, "taken for the foot"},
		{"International_Foot", "0.3048006096", 1200. / 3937, "the name says international foot"},
		{"Odd", "0.30481", 0.30481, ""}, // 3.3e-5 off: its own unit
		{"Meter", "1.0", 1, ""},
	} {
		def := strings.Replace(ohioESRI, `UNIT["Foot_US",0.3048006096012192]]`, `UNIT["`+c.name+`",`+c.factor+`]]`, 1)
		def = strings.Replace(def, "_FIPS_3401_Feet", " (ftUS)", 1)
		s, err := Parse(def)
		if err != nil {
			t.Errorf("%s %s: %v", c.name, c.factor, err)
			continue
		}
		if s.UnitM() != c.want {
			t.Errorf("%s %s: %v m a unit, want %v", c.name, c.factor, s.UnitM(), c.want)
		}
		if notes := strings.Join(s.Notes(), "; "); c.note == "" && notes != "" || !strings.Contains(notes, c.note) {
			t.Errorf("%s %s: notes %q, want %q", c.name, c.factor, notes, c.note)
		}
	}
}

func TestDefinitionsRefused(t *testing.T) {
	replace := func(def, old, with string) string {
		if !strings.Contains(def, old) {
			t.Fatalf("%q is not in the definition", old)
		}
		return strings.Replace(def, old, with, 1)
	}
	for _, c := range []struct {
		name, def string
		want      []string // each names the culprit or says what to do
	}{
		{"nothing", "  ", []string{"no coordinate system", "EPSG:2236"}},
		{"unknown code", "EPSG:99999", []string{"EPSG:99999", "WKT"}},
		{"word", "somewhere", []string{`"somewhere"`, "EPSG code"}},
		{"PROJ string", "+proj=utm +zone=17", []string{`"+proj=utm +zone=17"`}},
		{"unknown method", replace(ohioESRI, "Lambert_Conformal_Conic", "Winkel_Tripel"), []string{`"Winkel_Tripel"`, "Transverse Mercator"}},
		{"unknown parameter", replace(ohioESRI, "Central_Meridian", "Middle"), []string{`"Middle"`}},
		{"parameter of another method", replace(ohioESRI, `PARAMETER["False_Northing",0.0]`, `PARAMETER["Azimuth",12]`), []string{"Azimuth", "Lambert Conic Conformal (2SP)"}},
		{"missing parameter", replace(ohioESRI, `PARAMETER["Central_Meridian",-82.5],`, ""), []string{"Longitude of", "Lambert"}},
		{"parameter twice", replace(ohioESRI, `PARAMETER["False_Northing",0.0]`, `PARAMETER["False_Easting",1.0]`), []string{`"False_Easting"`, "twice"}},
		{"unknown datum", replace(ohioESRI, "D_North_American_1983", "D_Town_1950"), []string{`"D_Town_1950"`, "EPSG"}},
		{"wrong ellipsoid", replace(ohioESRI, `"GRS_1980",6378137.0,298.257222101`, `"Clarke_1866",6378206.4,294.9786982`), []string{"D_North_American_1983", "GRS 1980", "Clarke_1866"}},
		{"no unit", replace(ohioESRI, `,UNIT["Foot_US",0.3048006096012192]]`, `]`), []string{"UNIT"}},
		{"unit of nothing", replace(ohioESRI, "0.3048006096012192", "0"), []string{`"Foot_US"`, "metres"}},
		{"unit that is no number", replace(ohioESRI, "0.3048006096012192", "feet"), []string{`"Foot_US"`, `"feet"`}},
		{"angular unit of nothing", replace(ohioESRI, "0.0174532925199433", "-1"), []string{`"Degree"`, "radians"}},
		{"west axis", replace(ohioGDAL, `AXIS["X",EAST]`, `AXIS["X",WEST]`), []string{`"X"`, "west"}},
		{"latitude of 95", replace(ohioESRI, "41.7", "95"), []string{"95", "latitude"}},
		{"no cone", replace(ohioESRI, "41.7", "-40.43333333333333"), []string{"make no cone"}},
		{"scale of 0", replace(utmWKT2, "0.9996", "0"), []string{"Scale factor", "near 1"}},
		{"ellipsoid of the Moon", replace(ohioESRI, "6378137.0", "1737400"), []string{"lies on GRS 1980", "1737400"}},
		{"ellipsoid in kilometres", replace(ohioESRI, "6378137.0", "6378.137"), []string{"not the Earth", "metres"}},
		{"cut off in a name", ohioESRI[:200], []string{"never closed"}},
		{"cut off between", ohioESRI[:len(ohioESRI)-1], []string{"ends inside PROJCS["}},
		{"two systems", ohioESRI + "," + utmWKT2, []string{"followed by PROJCRS"}},
		{"heights only", navd, []string{"height system"}},
		{"local", `LOCAL_CS["site",UNIT["metre",1]]`, []string{"engineering"}},
		{"geocentric", `GEOCCS["WGS 84",DATUM["WGS_1984",SPHEROID["WGS 84",6378137,298.257223563]],PRIMEM["Greenwich",0],UNIT["metre",1]]`, []string{"geocentric"}},
		{"extension", replace(webGDAL, "+proj=merc +a=6378137 +b=6378137", "+proj=gnom"), []string{"EXTENSION", "+proj=gnom"}},
		{"WKT2 without a base", replace(utmWKT2, "BASEGEOGCRS", "BASE"), []string{"BASEGEOGCRS"}},
		{"WKT2 without a conversion", replace(utmWKT2, "CONVERSION", "CHANGE"), []string{"CONVERSION"}},
		{"WKT2 without a method", replace(utmWKT2, "METHOD", "WAY"), []string{"METHOD"}},
		{"WKT2 unknown method", replace(utmWKT2, `METHOD["Transverse Mercator",ID["EPSG",9807]]`, `METHOD["Krovak",ID["EPSG",9819]]`), []string{`"Krovak"`}},
		{"WKT2 unknown parameter", replace(utmWKT2, `"False northing",0,LENGTHUNIT["metre",1],ID["EPSG",8807]`, `"Tilt",0,ANGLEUNIT["degree",0.0174532925199433]`), []string{`"Tilt"`, "Transverse Mercator"}},
		{"WKT2 parameter twice", replace(utmWKT2, `"False northing",0,LENGTHUNIT["metre",1],ID["EPSG",8807]`, `"False easting",0,LENGTHUNIT["metre",1],ID["EPSG",8806]`), []string{"twice"}},
		{"WKT2 unit of nothing", replace(utmWKT2, `500000,LENGTHUNIT["metre",1]`, `500000,LENGTHUNIT["metre",-1]`), []string{"metres"}},
		{"WKT2 without a unit", strings.ReplaceAll(utmWKT2, `,LENGTHUNIT["metre",1]`, ""), []string{"LENGTHUNIT"}},
		{"WKT2 south axis", replace(utmWKT2, `AXIS["(N)",north`, `AXIS["(N)",south`), []string{`"(N)"`, "south"}},
		{"geocentric WKT2", `GEODCRS["WGS 84",DATUM["World Geodetic System 1984",ELLIPSOID["WGS 84",6378137,298.257223563]],CS[Cartesian,3],AXIS["(X)",geocentricX],AXIS["(Y)",geocentricY],AXIS["(Z)",geocentricZ],LENGTHUNIT["metre",1]]`, []string{"geocentric"}},
		{"compound of heights", `COMPOUNDCRS["x",VERTCRS["y",VDATUM["z"],CS[vertical,1],AXIS["up",up],LENGTHUNIT["metre",1]]]`, []string{"no horizontal part"}},
		{"compound of two", `COMPOUNDCRS["x",` + utmWKT2 + `,` + utmWKT2 + `]`, []string{"only a horizontal system with heights"}},
		{"bound to something else", bound3(t, "4269", 9606), []string{"only WGS 84"}},
		{"bound by a grid", bound3(t, "4326", 9615), []string{"only Helmert's"}},
		{"bound by nothing", `BOUNDCRS[SOURCECRS[` + utmWKT2 + `]]`, []string{"TARGETCRS"}},
		{"TOWGS84 of five", replace(ohioGDAL, "TOWGS84[0,0,0,0,0,0,0]", "TOWGS84[1,2,3,4,5]"), []string{"5 numbers"}},
		{"TOWGS84 of words", replace(ohioGDAL, "TOWGS84[0,0,0,0,0,0,0]", "TOWGS84[a,b,c]"), []string{"TOWGS84", `"a"`}},
		{"no datum", `GEOGCS["x",PRIMEM["Greenwich",0],UNIT["degree",0.0174532925199433]]`, []string{"DATUM"}},
		{"no ellipsoid", `GEOGCS["x",DATUM["WGS_1984"],PRIMEM["Greenwich",0],UNIT["degree",0.0174532925199433]]`, []string{"SPHEROID"}},
		{"no geographic system", `PROJCS["x",PROJECTION["Transverse_Mercator"],UNIT["metre",1]]`, []string{"GEOGCS"}},
		{"no projection", replace(ohioESRI, `PROJECTION["Lambert_Conformal_Conic"],`, ""), []string{"PROJECTION"}},
		{"west geographic axis", `GEOGCS["x",DATUM["WGS_1984",SPHEROID["WGS 84",6378137,298.257223563]],PRIMEM["Greenwich",0],UNIT["degree",0.0174532925199433],AXIS["Lon",WEST],AXIS["Lat",NORTH]]`, []string{"Lon", "west"}},
		{"two different parallels for one", replace(replace(ohioESRI, `PARAMETER["Standard_Parallel_2",41.7],`, ""), `PARAMETER["Central_Meridian"`, `PARAMETER["Scale_Factor",1],PARAMETER["Central_Meridian"`), []string{"2nd standard parallel"}},
		{"deep", strings.Repeat("A[", 1000), []string{"deeper"}},
		{"long", strings.Repeat("A", maxDefinition+1), []string{"no definition"}},
		{"polar A away from the pole", replace(replace(utmWKT2, `METHOD["Transverse Mercator",ID["EPSG",9807]]`, `METHOD["Polar Stereographic (variant A)",ID["EPSG",9810]]`), `"Latitude of natural origin",0`, `"Latitude of natural origin",60`), []string{"must be 90 or -90"}},
		{"meridian in doubt", replace(parisGDAL, "2.33722917", "7.7"), []string{`"Paris"`, "degrees or grads"}},
	} {
		s, err := Parse(c.def)
		if err == nil {
			t.Errorf("%s: read as %s (%s)", c.name, s.Name(), s.Method())
			continue
		}
		for _, w := range c.want {
			if !strings.Contains(err.Error(), w) {
				t.Errorf("%s: error %q does not say %q", c.name, err, w)
			}
		}
		if len(err.Error()) > 900 {
			t.Errorf("%s: error of %d bytes", c.name, len(err.Error()))
		}
	}
}

// A datum that only the definition ties to WGS 84 is known by that.
func TestOwnTransformation(t *testing.T) {
	town := `PROJCS["Town",GEOGCS["Town",DATUM["Town_1950",SPHEROID["International 1924",6378388,297],TOWGS84[-87,-98,-121,0.1,0.2,-0.3,1.5]],PRIMEM["Greenwich",0],UNIT["degree",0.0174532925199433]],PROJECTION["Transverse_Mercator"],PARAMETER["latitude_of_origin",0],PARAMETER["central_meridian",9],PARAMETER["scale_factor",0.9996],PARAMETER["false_easting",500000],PARAMETER["false_northing",0],UNIT["metre",1]]`
	s := mustParse(t, town)
	if !strings.Contains(strings.Join(s.Notes(), ";"), "transformation to WGS 84 taken from the definition") {
		t.Errorf("notes %q", s.Notes())
	}
	op, err := NewOperation(s, mustParse(t, "EPSG:4326"))
	if err != nil {
		t.Fatal(err)
	}
	if want := "Town to WGS 84: TOWGS84 of the definition, accuracy not stated"; op.Name() != want || !math.IsNaN(op.AccuracyM()) {
		t.Errorf("name %q, want %q; accuracy %v", op.Name(), want, op.AccuracyM())
	}
	p := orb.Point{512345.678, 5312345.678}
	q, err := op.Apply(p)
	if err != nil {
		t.Fatal(err)
	}
	// The same numbers by way of WKT2, which write uses.
	again := mustParse(t, s.Metres().write())
	op2, err := NewOperation(again, mustParse(t, "EPSG:4326"))
	if err != nil {
		t.Fatal(err)
	}
	q2, err := op2.Apply(p)
	if err != nil || math.Abs(q[0]-q2[0]) > 1e-13 || math.Abs(q[1]-q2[1]) > 1e-13 {
		t.Errorf("%v by WKT1, %v by WKT2 (%v)", q, q2, err)
	}
	back, err := NewOperation(mustParse(t, "EPSG:3857"), s)
	if err != nil || !strings.Contains(back.Name(), "in reverse") {
		t.Errorf("back: %v %v", back, err)
	}
	// Two such datums are one only if they say the same.
	other := mustParse(t, strings.Replace(town, "-87,-98", "-88,-98", 1))
	if s.sameDatum(other) || !s.sameDatum(mustParse(t, town)) {
		t.Error("datums are told apart by their transformations")
	}
}

// bound3 is UTM bound by three translations, by one of EPSG's methods.
func bound3(t testing.TB, target string, method int) string {
	return fmt.Sprintf(`BOUNDCRS[SOURCECRS[%s],TARGETCRS[%s],ABRIDGEDTRANSFORMATION["x",METHOD["some method",ID["EPSG",%d]],`+
		`PARAMETER["X-axis translation",1,ID["EPSG",8605]],PARAMETER["Y-axis translation",2,ID["EPSG",8606]],PARAMETER["Z-axis translation",3,ID["EPSG",8607]],`+
		`PARAMETER["Z-axis rotation",4,ID["EPSG",8610]],PARAMETER["Scale difference",1.000005,SCALEUNIT["unity",1],ID["EPSG",8611]]]]`,
		utmWKT2, mustParse(t, "EPSG:"+target).write(), method)
}

func TestBoundSystem(t *testing.T) {
	for method, sign := range map[int]float64{9606: 1, 9607: -1} {
		s := mustParse(t, bound3(t, "4326", method))
		got := s.datum.toWGS84.fixed()
		want := [7]float64{1, 2, 3, 0, 0, sign * 4000, 5000} // m, mas, ppb
		for i := range want {
			if math.Abs(got[i]-want[i]) > 1e-6 {
				t.Errorf("method %d: %v, want %v", method, got, want)
				break
			}
		}
	}
}

// A file may round its ellipsoid; its numbers are used and the datum is still
// the datum.
func TestRoundedEllipsoid(t *testing.T) {
	s := mustParse(t, strings.Replace(ohioESRI, "298.257222101", "298.2572", 1))
	if !strings.Contains(strings.Join(s.Notes(), ";"), "last digits") {
		t.Errorf("notes %q", s.Notes())
	}
	op, err := NewOperation(mustParse(t, "EPSG:6318"), s)
	if err != nil || !strings.HasPrefix(op.Name(), "NAD83(2011) to NAD83: null operation") {
		t.Fatalf("%v %v", op, err)
	}
	got, err := op.Apply(orb.Point{-81.5, 40.8})
	want := orb.Point{2245346.3069, 414486.4065} // PROJ 9.1.1, with all digits
	if d := math.Hypot(got[0]-want[0], got[1]-want[1]); err != nil || d > 0.01 || d < 1e-6 {
		t.Errorf("%v is %.6f ft from the unrounded place (%v)", got, d, err)
	}
}

func FuzzParse(f *testing.F) {
	for _, s := range []string{
		ohioESRI, ohioGDAL, utmWKT2, webGDAL, webESRI, parisGDAL, ohioESRI + "," + navd, "EPSG:3734", "urn:ogc:def:crs:EPSG::4326", "NAD83(2011)",
		mustParse(f, "EPSG:2056").write(), mustParse(f, "EPSG:3031").write(), "GEOGCS[\"x\"", "PROJCS[,]", "A(B]", "EPSG:", "\"",
		`BOUNDCRS[SOURCECRS[` + utmWKT2 + `],TARGETCRS[` + mustParse(f, "EPSG:4326").write() + `],ABRIDGEDTRANSFORMATION["x",METHOD["y",ID["EPSG",9607]],PARAMETER["X-axis translation",1,ID["EPSG",8605]],PARAMETER["Scale difference",2,ID["EPSG",8611]]]]`,
	} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, def string) {
		s, err := Parse(def)
		if err != nil {
			if len(err.Error()) > 2000 {
				t.Errorf("error of %d bytes", len(err.Error()))
			}
			return
		}
		again, err := Parse(s.Definition())
		if err != nil || !s.sameGrid(again) {
			t.Fatalf("definition of %q reads as another system: %v", def, err)
		}
		written, err := Parse(s.write())
		if err != nil {
			t.Fatalf("what is written of %q cannot be read: %v\n%s", def, err, s.write())
		}
		if written.method != s.method || written.unit.factor != s.unit.factor {
			t.Fatalf("what is written of %q reads as another system\n%s", def, s.write())
		}
		if op, err := NewOperation(s.Geographic(), s); err == nil {
			if q, err := op.Apply(orb.Point{1, 2}); err == nil && (!finite(q[0]) || !finite(q[1])) {
				t.Fatalf("%q projects to %v", def, q)
			}
			op.Inverse().Apply(orb.Point{1, 2})
		}
		s.Factors(orb.Point{1000, 2000})
	})
}

func FuzzCode(f *testing.F) {
	for _, code := range []uint{0, 4326, 3734, 99999, 1 << 31} {
		f.Add(code)
	}
	f.Fuzz(func(t *testing.T, code uint) {
		s, err := Parse(fmt.Sprint("EPSG:", code))
		if err != nil {
			return
		}
		if uint(s.Code()) != code || !mustParse(t, s.Definition()).same(s) || !mustParse(t, s.write()).sameGrid(s) {
			t.Errorf("EPSG:%d reads as another system", code)
		}
	})
}
