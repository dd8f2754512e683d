package synth

import (
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"

	"github.com/paulmach/orb"

	"github.com/asfound/asfound/internal/crs"
	"github.com/asfound/asfound/internal/shapefile"
	"github.com/asfound/asfound/pipeline/survey"
)

// WriteOptions say what a written town's config names beside records, readings,
// control checks and swept areas. The files are there in any case.
type WriteOptions struct {
	Job       string // the job's name; "" the town's
	Marks     bool
	Exposures bool
	Fittings  bool
	Limits    bool // minimum covers and a tolerance zone of marks
}

// Write writes the town into a folder as a user would hand it in: a shapefile a
// utility and one of valves, a field file a crew, control checks, swept areas,
// marks, test holes and the config that names them. It returns the path of the
// config. Nothing in the folder says what is true: WriteTruth does, elsewhere.
func (t *Town) Write(dir string, o WriteOptions) (config string, err error) {
	for _, sub := range []string{"gis", "field"} {
		if err := os.MkdirAll(filepath.Join(dir, sub), 0o755); err != nil {
			return "", fmt.Errorf("write town: %w", err)
		}
	}
	for i := range t.survey.Layers {
		if err := t.writeLayer(dir, &t.survey.Layers[i], shapefile.PolyLine); err != nil {
			return "", err
		}
	}
	for i := range t.survey.PointLayers {
		if err := t.writeLayer(dir, &t.survey.PointLayers[i], shapefile.Point); err != nil {
			return "", err
		}
	}
	if err := t.writeAreas(dir); err != nil {
		return "", err
	}
	if err := t.writeTables(dir); err != nil {
		return "", err
	}
	config = filepath.Join(dir, "asfound.yaml")
	if err := os.WriteFile(config, []byte(t.config(o)), 0o644); err != nil {
		return "", fmt.Errorf("write town: %w", err)
	}
	return config, nil
}

// WriteTruth writes what is really so, as JSON.
func (t *Town) WriteTruth(path string) error {
	data, err := json.Marshal(t.Truth)
	if err != nil {
		return fmt.Errorf("write truth: %w", err)
	}
	if err := os.WriteFile(path, append(data, '\n'), 0o644); err != nil {
		return fmt.Errorf("write truth: %w", err)
	}
	return nil
}

// ReadTruth reads what WriteTruth wrote.
func ReadTruth(path string) (*Truth, error) {
	data, err := os.ReadFile(path)
	if err != nil {
		return nil, fmt.Errorf("read truth: %w", err)
	}
	t := &Truth{}
	if err := json.Unmarshal(data, t); err != nil {
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	return t, nil
}

// columns are the columns of records and fittings as a shapefile has them.
var columns = map[string]shapefile.Field{
	"ASSET_ID": {Type: 'C', Length: 12},
	"DRAWING":  {Type: 'C', Length: 24},
	"YR":       {Type: 'N', Length: 4},
	"MATL":     {Type: 'C', Length: 12},
	"COND":     {Type: 'C', Length: 4},
	"DIA_MM":   {Type: 'N', Length: 6},
	"COVER_FT": {Type: 'N', Length: 8, Decimals: 2},
	"VALVE_ID": {Type: 'C', Length: 12},
	"KIND":     {Type: 'C', Length: 12},
	"SIZE_MM":  {Type: 'N', Length: 6},
}

func (t *Town) writeLayer(dir string, l *survey.Layer, kind shapefile.Type) error {
	out := &shapefile.Layer{Name: l.Name, Type: kind, Projection: t.Frame.Projection, Encoding: "UTF-8"}
	for _, f := range l.Fields {
		c := columns[f.Name]
		c.Name = f.Name
		out.Fields = append(out.Fields, c)
	}
	for i := range l.Features {
		f := &l.Features[i]
		row := shapefile.Row{Number: f.Row, Parts: f.Parts}
		if kind == shapefile.Point {
			row = shapefile.Row{Number: f.Row, Points: f.Parts[0]}
		}
		for _, v := range f.Values {
			row.Values = append(row.Values, v.Text)
		}
		out.Rows = append(out.Rows, row)
	}
	return shapefile.Write(filepath.Join(dir, filepath.FromSlash(l.Source)), out)
}

// writeAreas writes the swept areas; an area without any is left out, since a
// shapefile without shapes says nothing.
func (t *Town) writeAreas(dir string) error {
	if len(t.survey.Areas) == 0 {
		return nil
	}
	out := &shapefile.Layer{Name: "swept", Type: shapefile.Polygon, Projection: t.Frame.Projection, Encoding: "UTF-8", Fields: []shapefile.Field{
		{Name: "TICKET", Type: 'C', Length: 12},
		{Name: "SWEPT", Type: 'C', Length: 10},
		{Name: "METHOD", Type: 'C', Length: 8},
		{Name: "SWEPT_FOR", Type: 'C', Length: 60},
	}}
	for i := range t.survey.Areas {
		a := &t.survey.Areas[i]
		row := shapefile.Row{Number: i + 1, Values: []string{a.Ticket, a.Date, a.Method, strings.Join(a.Utilities, ", ")}}
		for _, polygon := range a.Polygon {
			for _, ring := range polygon {
				row.Parts = append(row.Parts, clockwise(t.Frame.toUnit(orb.LineString(ring))))
			}
		}
		out.Rows = append(out.Rows, row)
	}
	return shapefile.Write(filepath.Join(dir, filepath.FromSlash(areasFile)), out)
}

// clockwise is how a shapefile has outer rings.
func clockwise(ring orb.LineString) orb.LineString {
	if orb.Ring(ring).Orientation() == orb.CCW {
		return reversed(ring)
	}
	return ring
}

// degrees turns points of the plane into longitudes and latitudes.
type degrees struct{ op *crs.Operation }

func (t *Town) degrees() (degrees, error) {
	plane, err := crs.Parse(t.Frame.Plane)
	if err != nil {
		return degrees{}, fmt.Errorf("frame %s: %w", t.Frame.Name, err)
	}
	op, err := crs.NewOperation(plane, plane.Geographic())
	if err != nil {
		return degrees{}, fmt.Errorf("frame %s: %w", t.Frame.Name, err)
	}
	return degrees{op}, nil
}

// texts are the latitude and longitude of a point, to 0.1 mm.
func (d degrees) texts(p orb.Point) (lat, lon string, err error) {
	q, err := d.op.Apply(p)
	if err != nil {
		return "", "", err
	}
	return strconv.FormatFloat(q[1], 'f', 9, 64), strconv.FormatFloat(q[0], 'f', 9, 64), nil
}
