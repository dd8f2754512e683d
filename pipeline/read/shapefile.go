package read

import (
	"fmt"
	"strings"

	"github.com/asfound/asfound/internal/shapefile"
	"github.com/asfound/asfound/pipeline/survey"
	"github.com/paulmach/orb"
)

func init() {
	layerFormats[".shp"] = readShapefile
	layerFormats[".zip"] = readShapefile // a set in an archive
}

// readShapefile reads a set of .shp, .shx, .dbf, .prj and .cpg.
func readShapefile(path, layer string, most int) (*layerFile, error) {
	if layer != "" {
		var err error
		if path, err = layerPath(path, layer); err != nil {
			return nil, err
		}
	}
	in, err := shapefile.ReadFirst(path, most)
	if err != nil {
		return nil, err
	}
	l := &layerFile{
		name: in.Name, crs: in.Projection, siblings: in.Files, notes: in.Notes,
		shape:    shapeOf(in.Type),
		features: make([]survey.Feature, len(in.Rows)),
	}
	for _, f := range in.Fields {
		l.fields = append(l.fields, survey.Field{Name: f.Name, Kind: fieldKind(f.Type), Width: f.Length, Decimals: f.Decimals})
	}
	for i := range in.Rows {
		l.features[i] = shapefileFeature(&in.Rows[i])
	}
	return l, nil
}

// layerPath is the path of the named layer of an archive.
func layerPath(path, layer string) (string, error) {
	layers, err := shapefile.Layers(path)
	if err != nil {
		return "", err
	}
	var names []string
	for _, l := range layers {
		if strings.EqualFold(l.Name, layer) {
			return l.Path, nil
		}
		names = append(names, l.Name)
	}
	return "", fmt.Errorf("it has no layer %q: there are %s", layer, strings.Join(names, ", "))
}

func shapeOf(t shapefile.Type) shape {
	switch t.Flat() {
	case shapefile.PolyLine:
		return shapeLines
	case shapefile.Polygon:
		return shapePolygons
	}
	return shapePoints
}

func fieldKind(t byte) survey.FieldKind {
	switch t {
	case 'N', 'F':
		return survey.FieldNumber
	case 'D':
		return survey.FieldDate
	case 'L':
		return survey.FieldBool
	}
	return survey.FieldText
}

func shapefileFeature(r *shapefile.Row) survey.Feature {
	f := survey.Feature{Row: r.Number, Parts: r.Parts, Deleted: r.Deleted || r.Null, Values: make([]survey.Value, len(r.Values))}
	if len(r.Points) > 0 {
		f.Parts = []orb.LineString{r.Points}
	}
	if f.Parts != nil {
		f.Z = r.Z
	}
	for i, v := range r.Values {
		f.Values[i] = survey.Value{Null: v == "", Text: v}
	}
	return f
}
