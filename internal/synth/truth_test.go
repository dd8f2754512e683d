package synth

import (
	"math"
	"testing"

	"github.com/paulmach/orb"
)

// A sheet's error at a point is what its drawing does to that point, the other
// way.
func TestSheetAt(t *testing.T) {
	f := Frames[1]
	drawing := sheet{middle: orb.Point{40, -30}, shift: vector{0.7, -0.4}, turn: 0.003, scale: 1.0005}
	truth := Sheet{East: -0.7, North: 0.4, Turn: 0.003, Scale: 1.0005, Middle: f.toPlane(drawing.middle)}
	for _, p := range []orb.Point{{40, -30}, {140, -30}, {-60, 75}} {
		want := minus(p, drawing.draw(p))
		east, north := truth.At(f, f.toPlane(p))
		if math.Abs(east-want[0]) > 1e-9 || math.Abs(north-want[1]) > 1e-9 {
			t.Errorf("at %v: %.6f east and %.6f north, drawn so that it takes %v", p, east, north, want)
		}
	}
}
