package publish

import (
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/asfound/asfound/internal/shapefile"
	"github.com/asfound/asfound/pipeline/survey"
	"github.com/paulmach/orb"
)

// shapefiles publishes a result with its shapefiles, and reads them by layer.
func shapefiles(t *testing.T, r *survey.Result) (archive string, layers map[string]*shapefile.Layer) {
	t.Helper()
	folder, err := Run(r, Options{Output: t.TempDir(), Started: started, Config: config, Shapefiles: true})
	if err != nil {
		t.Fatal(err)
	}
	archive = filepath.Join(folder, shapefilesName)
	found, err := shapefile.Layers(archive)
	if err != nil {
		t.Fatal(err)
	}
	layers = map[string]*shapefile.Layer{}
	for _, f := range found {
		if layers[f.Name], err = shapefile.Read(f.Path); err != nil {
			t.Fatal(err)
		}
	}
	return archive, layers
}

// The columns, the system and the coordinates that a layer came with go out in
// shapefiles too, with short columns of what became of each feature behind them.
func TestShapefiles(t *testing.T) {
	r := handful(t)
	fields := r.Survey.Layers[0].Fields
	fields[0].Width, fields[1].Width, fields[1].Decimals, fields[3].Width, fields[4].Width = 12, 9, 2, 1, 8
	r.Corrections[1].CoverRead, r.Corrections[1].CoverM, r.Corrections[1].CoverU = true, 1.31, .05
	archive, layers := shapefiles(t, r)
	mains, valves := layers["mains"], layers["valves"]
	if len(layers) != 3 || mains == nil || valves == nil || layers["readings"] == nil {
		t.Fatalf("layers %v", layers)
	}
	var names []string
	for _, f := range mains.Fields {
		names = append(names, f.Name)
	}
	if got := strings.Join(names, " "); got != "ASSET_ID DIA_MM LEN ACTIVE LAID NOTE asfound_id Fid AF_STATUS AF_DECIDE AF_FINDING AF_MOVED AF_U AF_COVER" {
		t.Errorf("columns %s", got)
	}
	for i, want := range map[int]shapefile.Field{
		0: {Name: "ASSET_ID", Type: 'C', Length: 12}, 1: {Name: "DIA_MM", Type: 'N', Length: 9, Decimals: 2},
		3: {Name: "ACTIVE", Type: 'L', Length: 1}, 4: {Name: "LAID", Type: 'D', Length: 8},
	} {
		if mains.Fields[i] != want {
			t.Errorf("column %+v, came with %+v", mains.Fields[i], want)
		}
	}
	for i, want := range []string{
		"WM-1|150.0|100.00|T|19720401|=1+1|own|7|corrected|proposed|P-1|1.2000|0.0800|", "WM-2|150|12345678901234567890|F|19991231|" + hostil + "||8|unchanged|none||0.0000||1.3100",
	} {
		if got := strings.Join(mains.Rows[i].Values, "|"); got != want {
			t.Errorf("row %d: %s\nwant %s", i+1, got, want)
		}
	}
	source, line := r.Survey.Layers[0].Features[0].Parts[0], mains.Rows[0].Parts[0]
	if len(line) != 4 || line[0] != source[0] || line[3] != source[2] || mains.Rows[0].Z[0][0] != 10 {
		t.Errorf("line %v with heights %v of %v", line, mains.Rows[0].Z, source)
	}
	if p := r.Survey.Layers[0].Features[2].Parts; len(mains.Rows[2].Parts) != 2 || !orb.Equal(orb.MultiLineString(mains.Rows[2].Parts), orb.MultiLineString(p)) {
		t.Errorf("parts %v of %v", mains.Rows[2].Parts, p)
	}
	if z := mains.Rows[3].Z[0][0]; !math.IsNaN(z) {
		t.Errorf("a height of %v out of nothing", z)
	}
	if valves.Type != shapefile.PointZ || valves.Rows[0].Points[0] != (orb.Point{500050, 4399998.8}) || valves.Rows[1].Points[0] != r.Survey.Fittings[1].Point || valves.Rows[0].Z[0][0] != 11 {
		t.Errorf("valves %v at %v and %v", valves.Type, valves.Rows[0].Points, valves.Rows[1].Points)
	}
	if !strings.Contains(mains.Projection, "UTM zone 17N") {
		t.Errorf("system %s", mains.Projection)
	}
	if data, err := os.ReadFile(archive); err != nil || !strings.Contains(string(data), "caution.txt") {
		t.Errorf("no caution: %v", err)
	}
}

// A row of several points is no fitting, but stays in its layer, which then is one of
// multipoints; all its points and heights stay with it.
func TestShapefileOfSeveralPoints(t *testing.T) {
	for _, f := range []survey.Feature{
		{Parts: []orb.LineString{{{1, 2}, {3, 4}}}, Z: [][]float64{{5, 6}}},
		{Parts: []orb.LineString{{{1, 2}}, {{3, 4}}}, Z: [][]float64{{5}, {6}}},
	} {
		r := handful(t)
		l := &r.Survey.PointLayers[0]
		f.Row, f.Values = len(l.Features)+1, l.Features[0].Values
		l.Features = append(l.Features, f)
		_, layers := shapefiles(t, r)
		valves := layers["valves"]
		last := valves.Rows[len(valves.Rows)-1]
		if valves.Type != shapefile.MultiPointZ || len(valves.Rows[0].Points) != 1 || !orb.Equal(orb.MultiPoint(last.Points), orb.MultiPoint{{1, 2}, {3, 4}}) || len(last.Z) != 1 || last.Z[0][0] != 5 || last.Z[0][1] != 6 {
			t.Errorf("%v with %v at %v, %v", valves.Type, valves.Rows[0].Points, last.Points, last.Z)
		}
	}
}

func TestNamesInDBase(t *testing.T) {
	var fields []shapefile.Field
	for _, c := range [][2]string{{"DIAMETER_MM", "DIAMETER_M"}, {"DIAMETER_MX", "DIAMETER_2"}, {"diameter_m", "diameter_3"}, {"", "FIELD"}, {"höhenangabe", "höhenanga"}, {"\x00A", "A"}} {
		name := freeName(c[0], fields)
		if name != c[1] {
			t.Errorf("%q became %q, want %q", c[0], name, c[1])
		}
		fields = append(fields, shapefile.Field{Name: name})
	}
}

// GDAL reads the archive, and writes the GeoPackage anew without losing a feature.
func TestOGRReadsShapefiles(t *testing.T) {
	ogrinfo, ogr2ogr := tool(t, "ogrinfo"), tool(t, "ogr2ogr")
	archive, layers := shapefiles(t, handful(t))
	for name := range layers {
		out, err := exec.Command(ogrinfo, "-so", "-ro", "/vsizip/"+archive, name).CombinedOutput()
		if err != nil || strings.Contains(string(out), "Warning") || strings.Contains(string(out), "ERROR") || !strings.Contains(string(out), "AF_STATUS: String (10.0)") {
			t.Errorf("%s: %v\n%s", name, err, out)
		}
	}
	to := filepath.Join(t.TempDir(), "again.gpkg")
	out, err := exec.Command(ogr2ogr, to, filepath.Join(filepath.Dir(archive), "records-updated.gpkg")).CombinedOutput()
	if err != nil || strings.Contains(string(out), "ERROR") {
		t.Fatalf("%v\n%s", err, out)
	}
	counted, err := exec.Command(ogrinfo, "-so", "-al", "-ro", to).CombinedOutput()
	if err != nil || !strings.Contains(string(counted), "Feature Count: 8") {
		t.Errorf("%v\n%s", err, counted)
	}
}
