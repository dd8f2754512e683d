package synth

import (
	"math"

	"github.com/paulmach/orb"
)

// Frame is the projected system that a town's map is kept in. Inside the
// generator everything is true east and north in ground metres about the
// town's middle ("site"); the frame turns that into the plane and back.
type Frame struct {
	Name string `json:"name"`
	CRS  string `json:"crs"` // definition of the records' system
	// Geographic is the definition of its base geographic system.
	Geographic string    `json:"geographic"`
	UnitM      float64   `json:"unit_m"` // metres per unit of CRS
	Middle     orb.Point `json:"middle"` // of the town, in metres of the plane
	// Scale is grid over ground distance, Convergence the angle from true to
	// grid north (radians, + where grid north lies east of true north), both at
	// the middle.
	Scale       float64 `json:"scale"`
	Convergence float64 `json:"convergence"`
}

const surveyFootM = 1200.0 / 3937

// Frames are the systems that towns are made in: two State Plane zones in US
// survey feet and a UTM zone. Scale and convergence are PROJ 9.1.1's, at the
// middle (`proj -V`); a test holds them against package crs.
var Frames = []Frame{
	{Name: "state plane, conic", CRS: "EPSG:3734", Geographic: "EPSG:4269", UnitM: surveyFootM, Middle: orb.Point{684400, 126400}, Scale: 0.99994995, Convergence: 0.01146837},
	{Name: "state plane, transverse", CRS: "EPSG:2236", Geographic: "EPSG:4269", UnitM: surveyFootM, Middle: orb.Point{280000, 196000}, Scale: 1.00002017, Convergence: 0.00614141},
	{Name: "UTM", CRS: "EPSG:26917", Geographic: "EPSG:4269", UnitM: 1, Middle: orb.Point{457300, 4427800}, Scale: 0.99962245, Convergence: -0.00561196},
}

// Plane is the definition of the frame's plane with axes in metres.
func (f Frame) Plane() string {
	switch f.CRS {
	case "EPSG:3734":
		return "EPSG:32122"
	case "EPSG:2236":
		return "EPSG:26958"
	}
	return f.CRS
}

// toPlane turns a point of the site into the plane, metres.
func (f Frame) toPlane(p orb.Point) orb.Point {
	v := f.grid(vector(p))
	return orb.Point{f.Middle[0] + v[0], f.Middle[1] + v[1]}
}

// toSite is the inverse of toPlane.
func (f Frame) toSite(p orb.Point) orb.Point {
	v := f.ground(orb.Point{p[0] - f.Middle[0], p[1] - f.Middle[1]})
	return orb.Point(v)
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
