package synth

import (
	"math"
	"strings"
	"testing"

	"github.com/paulmach/orb"

	"github.com/asfound/asfound/internal/crs"
	"github.com/asfound/asfound/internal/shapefile"
)

// grid is a layer of streets in State Plane feet, with a multipart line, a null
// shape, a deleted row and a line that crosses itself.
func grid() *shapefile.Layer {
	at := func(x, y float64) orb.Point { return orb.Point{2245346 + x/surveyFootM, 414486 + y/surveyFootM} }
	l := &shapefile.Layer{Name: "mains", Type: shapefile.PolyLine, Projection: Frames[0].Projection}
	add := func(parts ...orb.LineString) {
		l.Rows = append(l.Rows, shapefile.Row{Number: len(l.Rows) + 1, Parts: parts})
	}
	for i := range 4 {
		x := 120 * float64(i)
		for k := range 3 {
			y := 120 * float64(k)
			add(orb.LineString{at(x, y), at(x, y+120)})
			add(orb.LineString{at(x, y), at(x+60, y+1), at(x+120, y)})
		}
	}
	add(orb.LineString{at(0, 400), at(90, 400)}, orb.LineString{at(100, 400), at(200, 400)})
	add(orb.LineString{at(0, 500), at(90, 500), at(90, 540), at(45, 480)})
	add()
	l.Rows[len(l.Rows)-1].Null = true
	add(orb.LineString{at(0, 600), at(90, 600)})
	l.Rows[len(l.Rows)-1].Deleted = true
	return l
}

func TestOverLayer(t *testing.T) {
	l := grid()
	p := paramsOf(t, "hard")
	town, err := OverLayer(l, "steam", 3, p)
	if err != nil {
		t.Fatal(err)
	}
	if n := len(town.Truth.Lines); n != 24+2+1 {
		t.Fatalf("%d lines, want those of the grid, two parts and the loop", n)
	}
	f := town.Frame
	if f.UnitM != surveyFootM || math.Abs(f.Scale-Frames[0].Scale) > 2e-6 || math.Abs(f.Convergence-Frames[0].Convergence) > 2e-4 {
		t.Errorf("frame %+v", f)
	}
	k := 0
	for _, row := range l.Rows {
		for _, part := range row.Parts {
			if row.Deleted {
				continue
			}
			for i, q := range part {
				if got := town.Truth.Lines[k].Points[i]; distance(got, times(q, surveyFootM)) > 1e-6 {
					t.Fatalf("line %d: vertex %d at %v, the layer has %v feet", k, i, got, q)
				}
			}
			if town.Truth.Lines[k].Utility != "steam" {
				t.Errorf("line %d is %s", k, town.Truth.Lines[k].Utility)
			}
			k++
		}
	}
	if len(town.Survey().Traces) == 0 || len(town.Survey().Records) < 20 {
		t.Errorf("%d records, %d traces", len(town.Survey().Records), len(town.Survey().Traces))
	}
	if _, err := crs.Parse(f.Plane); err != nil {
		t.Error(err)
	}
	if _, err := town.Write(t.TempDir(), WriteOptions{Exposures: true, Marks: true, Fittings: true}); err != nil {
		t.Error(err)
	}
}

func TestOverLayerRefuses(t *testing.T) {
	p := paramsOf(t, "easy")
	for want, spoil := range map[string]func(l *shapefile.Layer){
		"no .prj":                 func(l *shapefile.Layer) { l.Projection = "" },
		"longitudes":              func(l *shapefile.Layer) { l.Projection = geographicESRI },
		".prj":                    func(l *shapefile.Layer) { l.Projection = "PROJCS[" },
		"no line in it":           func(l *shapefile.Layer) { l.Rows = l.Rows[len(l.Rows)-1:] },
		"row 2: a vertex without": func(l *shapefile.Layer) { l.Rows[1].Parts[0][1][0] = math.NaN() },
	} {
		l := grid()
		spoil(l)
		if _, err := OverLayer(l, "water", 1, p); err == nil || !strings.Contains(err.Error(), want) || !strings.Contains(err.Error(), "mains") {
			t.Errorf("%s: %v", want, err)
		}
	}
}

func TestPlain(t *testing.T) {
	if got := plain("EPSG:4269"); got != "EPSG:4269" {
		t.Error(got)
	}
	if got := plain(`GEOGCS["a"]`); got != `"GEOGCS[\"a\"]"` {
		t.Error(got)
	}
}
