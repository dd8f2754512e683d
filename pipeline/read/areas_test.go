package read

import (
	"context"
	"path/filepath"
	"slices"
	"testing"

	"github.com/asfound/asfound/internal/shapefile"
	"github.com/paulmach/orb"
	"pgregory.net/rapid"
)

// square is a closed ring around a centre, clockwise.
func square(x, y, half float64) orb.LineString {
	return orb.LineString{{x - half, y - half}, {x - half, y + half}, {x + half, y + half}, {x + half, y - half}, {x - half, y - half}}
}

func TestAreas(t *testing.T) {
	mains := lines(t, "EPSG:26917", shapefile.PolyLine, row1("A,W", straight(0)))
	path := filepath.Join(t.TempDir(), "swept.shp")
	const x, y = 500000, 4427700
	err := shapefile.Write(path, &shapefile.Layer{
		Name: "swept", Type: shapefile.Polygon, Projection: system(t, "EPSG:26917").Definition(),
		Fields: []shapefile.Field{{Name: "UTIL", Type: 'C', Length: 20}, {Name: "TICKET", Type: 'C', Length: 9}, {Name: "SWEPT", Type: 'C', Length: 10}, {Name: "HOW", Type: 'C', Length: 20}},
		Rows: []shapefile.Row{
			{Number: 1, Parts: []orb.LineString{square(x, y, 50), square(x, y, 10), square(x, y, 2), square(x+200, y, 9)}, Values: []string{"W; G", "T1", "2026-06-12", "induction sweep"}},
			{Number: 2, Parts: []orb.LineString{square(x, y, 50)}, Values: []string{"", "T2", "2026-06-12", ""}},
			{Number: 3, Null: true, Values: []string{"W", "T3", "", ""}},
			{Number: 4, Parts: []orb.LineString{{{x, y}, {x + 1, y}, {x + 2, y}, {x, y}}}, Values: []string{"W", "T4", "", ""}},
			{Number: 5, Parts: []orb.LineString{square(x, y, 50)}, Values: []string{"W", "T5", "", ""}},
			{Number: 6, Parts: []orb.LineString{square(x, y, 50)}, Values: []string{"W", "T5", "", ""}},
		},
	})
	if err != nil {
		t.Fatal(err)
	}
	src := AreasSource{
		File:    File{Path: path, Name: "gis/swept.shp"},
		Utility: Column{Name: "UTIL", Values: map[string]string{"W": "water", "G": "gas"}},
		Ticket:  Column{Name: "TICKET"}, Swept: Column{Name: "SWEPT"}, Method: Column{Name: "HOW"},
	}
	fixed := src
	fixed.Utility, fixed.Utilities = Column{}, []string{"Water"}
	lost := src
	lost.Name, lost.Path = "gis/lost.shp", mains.Path
	o := Options{Plane: auto, Records: []RecordsSource{mains}, MaxRejectShare: 0.05, Areas: []AreasSource{src, lost}}
	s, err := Files(context.Background(), o)
	if err != nil {
		t.Fatal(err)
	}
	golden(t, "areas", dump(s, true))
	o.Areas = []AreasSource{fixed}
	if s, err = Files(context.Background(), o); err != nil {
		t.Fatal(err)
	}
	if len(s.Areas) != 3 || !slices.Equal(s.Areas[0].Utilities, []string{"water"}) {
		t.Errorf("areas of a fixed utility: %+v", s.Areas)
	}
}

// TestRingsInAnyOrder nests squares that lie in each other, in any order and
// direction: they are polygon, hole, polygon, hole ... from the outside in.
func TestRingsInAnyOrder(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 6).Draw(t, "rings")
		order := rapid.Permutation([]int{0, 1, 2, 3, 4, 5}[:n]).Draw(t, "order")
		var rings []orb.LineString
		for _, i := range order {
			ring := square(0, 0, float64(10-i))
			if rapid.Bool().Draw(t, "reverse") {
				slices.Reverse(ring)
			}
			rings = append(rings, ring)
		}
		got := polygons(rings)
		if len(got) != (n+1)/2 {
			t.Fatalf("%d polygons of %d rings in order %v", len(got), n, order)
		}
		for i, p := range got {
			for j, ring := range p {
				if half := ring.Bound().Max[0]; half != float64(10-2*i-j) {
					t.Fatalf("polygon %d ring %d has half width %v", i, j, half)
				}
			}
		}
	})
}
