package lineref

import (
	"fmt"
	"math"
	"slices"
	"testing"

	"github.com/paulmach/orb"
	"pgregory.net/rapid"
)

func near(a, b, tol float64) bool { return math.Abs(a-b) <= tol }

// drawParts is one to three parts of two to five distinct points each.
func drawParts(t *rapid.T) orb.MultiLineString {
	var parts orb.MultiLineString
	for range rapid.IntRange(1, 3).Draw(t, "parts") {
		var part orb.LineString
		for range rapid.IntRange(2, 5).Draw(t, "points") {
			p := drawPoint(t)
			if n := len(part); n > 0 && part[n-1] == p {
				p[0]++
			}
			part = append(part, p)
		}
		parts = append(parts, part)
	}
	return parts
}

func drawPoint(t *rapid.T) orb.Point {
	return orb.Point{rapid.Float64Range(-100, 100).Draw(t, "x"), rapid.Float64Range(-100, 100).Draw(t, "y")}
}

// reverse turns a line round: the parts in the other order, each the other way.
func reverse(parts orb.MultiLineString) orb.MultiLineString {
	out := make(orb.MultiLineString, len(parts))
	for i, part := range parts {
		r := slices.Clone(part)
		slices.Reverse(r)
		out[len(parts)-1-i] = r
	}
	return out
}

func TestReversing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		scale := rapid.SampledFrom([]float64{1, 0.9996, 1.0003}).Draw(t, "scale")
		parts := drawParts(t)
		l, r := New(parts, scale), New(reverse(parts), scale)
		part := rapid.IntRange(0, len(parts)-1).Draw(t, "part")
		seg := rapid.IntRange(0, len(parts[part])-2).Draw(t, "segment")
		p := drawPoint(t)
		f := l.OnSegment(part, seg, p)
		g := r.OnSegment(len(parts)-1-part, len(parts[part])-2-seg, p)
		if !near(f.OffsetM, -g.OffsetM, 1e-9) {
			t.Errorf("offset %v, reversed %v: want the sign turned", f.OffsetM, g.OffsetM)
		}
		if !near(f.StationM, l.LengthM()-g.StationM, 1e-9*(1+l.LengthM())) {
			t.Errorf("station %v, reversed %v of %v: want what is left", f.StationM, g.StationM, l.LengthM())
		}
	})
}

func TestNearestEqualsSampling(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		parts := drawParts(t)
		l := New(parts, 1)
		p := drawPoint(t)
		f, ok := l.Nearest(p)
		if !ok {
			t.Fatal("a line without a foot")
		}
		got := math.Abs(f.OffsetM)
		if d := math.Hypot(p[0]-f.Point[0], p[1]-f.Point[1]); !near(d, got, 1e-9) {
			t.Errorf("offset %v, but the foot is %v away", got, d)
		}
		for _, part := range parts {
			for i := 0; i+1 < len(part); i++ {
				for k := 0.0; k <= 1; k += 1.0 / 64 {
					q := orb.Point{part[i][0] + k*(part[i+1][0]-part[i][0]), part[i][1] + k*(part[i+1][1]-part[i][1])}
					if d := math.Hypot(p[0]-q[0], p[1]-q[1]); d < got-1e-9 {
						t.Fatalf("%v is nearer (%v) than the foot (%v)", q, d, got)
					}
				}
			}
		}
		if at := l.AtPart(f.Part, f.Segment, f.StationM); !near(at[0], f.Point[0], 1e-8) || !near(at[1], f.Point[1], 1e-8) {
			t.Errorf("station %v is at %v, the foot at %v", f.StationM, at, f.Point)
		}
	})
}

func TestScale(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		parts := drawParts(t)
		scale := rapid.Float64Range(0.9, 1.1).Draw(t, "scale")
		p := drawPoint(t)
		grid, ground := New(parts, 1), New(parts, scale)
		f, _ := grid.Nearest(p)
		g := ground.OnSegment(f.Part, f.Segment, p)
		if !near(g.OffsetM*scale, f.OffsetM, 1e-9) || !near(g.StationM*scale, f.StationM, 1e-6) || g.Point != f.Point {
			t.Errorf("scale %v: %+v, grid %+v: want ground = grid / scale", scale, g, f)
		}
	})
}

func TestBetweenHasTheLengthAsked(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		l := New(drawParts(t), rapid.SampledFrom([]float64{1, 1.0004}).Draw(t, "scale"))
		from := rapid.Float64Range(0, l.LengthM()).Draw(t, "from")
		to := rapid.Float64Range(from, l.LengthM()).Draw(t, "to")
		got := l.Between(from, to)
		cut := New(got, l.Scale)
		if !near(cut.LengthM(), to-from, 1e-8*(1+l.LengthM())) {
			t.Errorf("%v to %v: %v m", from, to, cut.LengthM())
		}
		back := l.Between(to, from)
		if fmt.Sprint(got) != fmt.Sprint(back) {
			t.Errorf("the order of the stations matters: %v, %v", got, back)
		}
	})
}

func TestMultipart(t *testing.T) {
	// Two parts of 10 m with a gap of 5 m: stations run on without it.
	l := New(orb.MultiLineString{{{0, 0}, {10, 0}}, {{15, 0}, {15, 10}}}, 1)
	for _, c := range []struct {
		p                orb.Point
		part             int
		station, offset  float64
		square           bool
		at               orb.Point
		nearestIsOnFirst bool
	}{
		{orb.Point{4, 3}, 0, 4, -3, true, orb.Point{4, 0}, true},
		{orb.Point{4, -3}, 0, 4, 3, true, orb.Point{4, 0}, true},
		{orb.Point{11, 0}, 0, 10, 1, false, orb.Point{10, 0}, true},
		{orb.Point{17, 4}, 1, 14, 2, true, orb.Point{15, 4}, false},
		{orb.Point{13, 4}, 1, 14, -2, true, orb.Point{15, 4}, false},
	} {
		f, _ := l.Nearest(c.p)
		if f.Part != c.part || !near(f.StationM, c.station, 1e-12) || !near(f.OffsetM, c.offset, 1e-12) || f.Square != c.square || f.Point != c.at {
			t.Errorf("%v: %+v, want part %d station %v offset %v square %v", c.p, f, c.part, c.station, c.offset, c.square)
		}
	}
	if l.LengthM() != 20 {
		t.Errorf("length %v, want 20", l.LengthM())
	}
	if part, seg := l.Locate(10); part != 1 || seg != 0 {
		t.Errorf("the seam is on part %d segment %d, want the later part", part, seg)
	}
	if part, seg := l.Locate(-3); part != 0 || seg != 0 {
		t.Errorf("before the start: part %d segment %d", part, seg)
	}
	if part, _ := l.Locate(99); part != 1 {
		t.Errorf("after the end: part %d", part)
	}
	if got := l.Between(8, 13); len(got) != 2 || got[0][0] != (orb.Point{8, 0}) || got[1][1] != (orb.Point{15, 3}) {
		t.Errorf("between 8 and 13: %v", got)
	}
}

func TestDegenerate(t *testing.T) {
	empty := New(nil, 0)
	if _, ok := empty.Nearest(orb.Point{1, 1}); ok || empty.LengthM() != 0 {
		t.Error("an empty line has a foot or a length")
	}
	// A repeated vertex: the segment between has no length and no direction.
	l := New(orb.MultiLineString{{{0, 0}, {5, 0}, {5, 0}, {10, 0}}}, 1)
	f := l.OnSegment(0, 1, orb.Point{5, 2})
	if f.Square || f.StationM != 5 || math.Abs(f.OffsetM) != 2 {
		t.Errorf("on a segment without length: %+v", f)
	}
	if l.Direction(0, 1) != [2]float64{} || l.Direction(0, 2) != [2]float64{1, 0} {
		t.Errorf("directions %v, %v", l.Direction(0, 1), l.Direction(0, 2))
	}
	if at := l.At(5); at != (orb.Point{5, 0}) {
		t.Errorf("station 5 is at %v", at)
	}
}

func ExampleLine_Nearest() {
	l := New(orb.MultiLineString{{{0, 0}, {100, 0}, {100, 50}}}, 1)
	f, _ := l.Nearest(orb.Point{40, -1.5})
	fmt.Printf("station %.1f m, offset %+.1f m\n", f.StationM, f.OffsetM)
	// Output: station 40.0 m, offset +1.5 m
}
