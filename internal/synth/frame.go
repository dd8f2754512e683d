package synth

import (
	"math"

	"github.com/paulmach/orb"
)

// Frame is the projected system that a town's map is kept in. Inside the
// generator everything is true east and north in ground metres about the
// town's middle (the site); the frame turns that into the plane and back.
type Frame struct {
	Name       string `json:"name"`
	CRS        string `json:"crs"`        // definition of the records' system
	Plane      string `json:"plane"`      // definition of the same projection with axes in metres
	Geographic string `json:"geographic"` // definition of its base geographic system
	// Projection is the text of a .prj file; "" where a config has to say it.
	Projection string    `json:"-"`
	UnitM      float64   `json:"unit_m"` // metres per unit of CRS
	Middle     orb.Point `json:"middle"` // of the town, in metres of the plane
	// Scale is grid over ground distance, Convergence the angle from true to
	// grid north (radians, + where grid north lies east of true north), both at
	// the middle and taken for the whole town: over 2 km that is right to 0.02 %
	// of a displacement.
	Scale       float64 `json:"scale"`
	Convergence float64 `json:"convergence"`

	// What becomes of coordinates in another frame of reference when their
	// numbers are converted into this one, at the middle.
	fromITRF, fromNAD27 vector
}

// surveyFootM is the US survey foot.
const surveyFootM = 1200.0 / 3937

const (
	geographicESRI = `GEOGCS["GCS_North_American_1983",DATUM["D_North_American_1983",SPHEROID["GRS_1980",6378137.0,298.257222101]],PRIMEM["Greenwich",0.0],UNIT["Degree",0.0174532925199433]]`
	footESRI       = `UNIT["Foot_US",0.3048006096012192]]`
)

// Frames are the systems that towns are made in: two State Plane zones in US
// survey feet and a UTM zone.
//
// Scale and convergence come from PROJ 9.1.1 (`proj -V`); a test holds them
// against package crs. Shifts come from PROJ too: ITRF2014 at epoch 2020 to
// NAD83(2011) by EPSG:8970, NAD27 to NAD83 by the three translations of
// EPSG:1173 (-8, 160, 176 m; good to about 10 m).
var Frames = []Frame{
	{
		Name: "State Plane, conic, US survey feet", CRS: "EPSG:3734", Plane: "EPSG:32122", Geographic: "EPSG:4269", UnitM: surveyFootM,
		Projection: `PROJCS["NAD_1983_StatePlane_Ohio_North_FIPS_3401_Feet",` + geographicESRI + `,PROJECTION["Lambert_Conformal_Conic"],PARAMETER["False_Easting",1968500.0],PARAMETER["False_Northing",0.0],PARAMETER["Central_Meridian",-82.5],PARAMETER["Standard_Parallel_1",40.43333333333333],PARAMETER["Standard_Parallel_2",41.7],PARAMETER["Latitude_Of_Origin",39.66666666666666],` + footESRI,
		Middle:     orb.Point{684400, 126400}, Scale: 0.99994995, Convergence: 0.01146837,
		fromITRF: vector{0.715, -0.954}, fromNAD27: vector{15.74, 2.16},
	},
	{
		Name: "State Plane, transverse, US survey feet", CRS: "EPSG:2236", Plane: "EPSG:26958", Geographic: "EPSG:4269", UnitM: surveyFootM,
		Projection: `PROJCS["NAD_1983_StatePlane_Florida_East_FIPS_0901_Feet",` + geographicESRI + `,PROJECTION["Transverse_Mercator"],PARAMETER["False_Easting",656166.667],PARAMETER["False_Northing",0.0],PARAMETER["Central_Meridian",-81.0],PARAMETER["Scale_Factor",0.999941177],PARAMETER["Latitude_Of_Origin",24.33333333333333],` + footESRI,
		Middle:     orb.Point{280000, 196000}, Scale: 1.00002017, Convergence: 0.00614141,
		fromITRF: vector{0.553, -0.611}, fromNAD27: vector{19.35, 40.41},
	},
	{
		Name: "UTM", CRS: "EPSG:26917", Plane: "EPSG:26917", Geographic: "EPSG:4269", UnitM: 1,
		Projection: `PROJCS["NAD_1983_UTM_Zone_17N",` + geographicESRI + `,PROJECTION["Transverse_Mercator"],PARAMETER["False_Easting",500000.0],PARAMETER["False_Northing",0.0],PARAMETER["Central_Meridian",-81.0],PARAMETER["Scale_Factor",0.9996],PARAMETER["Latitude_Of_Origin",0.0],UNIT["Meter",1.0]]`,
		Middle:     orb.Point{457300, 4427800}, Scale: 0.99962245, Convergence: -0.00561196,
		fromITRF: vector{0.708, -0.938}, fromNAD27: vector{15.74, 3.14},
	},
}

// toPlane turns a point of the site into the plane, metres.
func (f Frame) toPlane(p orb.Point) orb.Point {
	v := f.grid(vector(p))
	return orb.Point{f.Middle[0] + v[0], f.Middle[1] + v[1]}
}

// toSite is the inverse of toPlane.
func (f Frame) toSite(p orb.Point) orb.Point {
	return orb.Point(f.ground(orb.Point{p[0] - f.Middle[0], p[1] - f.Middle[1]}))
}

// grid turns true east and north in ground metres into grid metres.
func (f Frame) grid(v vector) orb.Point {
	sin, cos := math.Sincos(f.Convergence)
	return orb.Point{f.Scale * (v[0]*cos - v[1]*sin), f.Scale * (v[0]*sin + v[1]*cos)}
}

// ground is the inverse of grid.
func (f Frame) ground(v orb.Point) vector {
	sin, cos := math.Sincos(f.Convergence)
	return vector{(v[0]*cos + v[1]*sin) / f.Scale, (v[1]*cos - v[0]*sin) / f.Scale}
}

func (f Frame) lineToPlane(ls orb.LineString) orb.LineString {
	out := make(orb.LineString, len(ls))
	for i, p := range ls {
		out[i] = f.toPlane(p)
	}
	return out
}

// toUnit turns metres of the plane into the system's own unit.
func (f Frame) toUnit(ls orb.LineString) orb.LineString {
	if f.UnitM == 1 {
		return ls
	}
	out := make(orb.LineString, len(ls))
	for i, p := range ls {
		out[i] = orb.Point{p[0] / f.UnitM, p[1] / f.UnitM}
	}
	return out
}
