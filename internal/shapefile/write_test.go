package shapefile

import (
	"math"
	"path/filepath"
	"reflect"
	"testing"

	"github.com/paulmach/orb"
)

// bits is a layer without NaN, which would not equal itself.
func bits(l *Layer) *Layer {
	c := *l
	c.Rows = append([]Row(nil), l.Rows...)
	for i := range c.Rows {
		for _, vs := range [][][]float64{c.Rows[i].Z, c.Rows[i].M} {
			for _, v := range vs {
				for k := range v {
					if math.IsNaN(v[k]) {
						v[k] = noData
					}
				}
			}
		}
	}
	return &c
}

func TestWriteReadsBack(t *testing.T) {
	nan := math.NaN()
	want := &Layer{
		Name: "mains", Type: PolyLineZ, Projection: `LOCAL_CS["plane"]`, Encoding: "UTF-8",
		Fields: []Field{{"ID", 'N', 10, 0}, {"MATERIAL", 'C', 12, 0}, {"LAID", 'D', 8, 0}, {"LIVE", 'L', 1, 0}, {"LENGTH", 'F', 12, 3}},
		Rows: []Row{
			{Number: 1, Parts: []orb.LineString{{{1, 2}, {3, 4}}, {{5, 6}, {7, 8}, {9, 10}}}, Z: [][]float64{{1, nan}, {2, 3, 4}}, M: [][]float64{{nan, nan}, {nan, nan, 7}}, Values: []string{"17", "größe", "20010203", "T", "12.340"}},
			{Number: 2, Null: true, Values: []string{"", "", "", "", ""}},
			{Number: 3, Deleted: true, Parts: []orb.LineString{{{-1, -2}, {-3, -4}}}, Z: [][]float64{{0, 0}}, M: [][]float64{{nan, nan}}, Values: []string{"-5", "x", "", "F", "1e3"}},
		},
	}
	path := filepath.Join(t.TempDir(), "mains.shp")
	if err := Write(path, want); err != nil {
		t.Fatal(err)
	}
	got, err := Read(path)
	if err != nil {
		t.Fatal(err)
	}
	got.Files = nil
	if got, want := bits(got), bits(want); !reflect.DeepEqual(got, want) {
		t.Errorf("got  %+v\nwant %+v", got, want)
	}
}
