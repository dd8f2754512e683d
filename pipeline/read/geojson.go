package read

import (
	"bufio"
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"strings"

	"github.com/asfound/asfound/pipeline/survey"
	"github.com/paulmach/orb"
)

func init() {
	layerFormats[".geojson"] = readGeoJSON
	layerFormats[".json"] = readGeoJSON
}

// readGeoJSON reads GeoJSON (RFC 7946): a feature collection, a feature, or
// several of them one after the other.
func readGeoJSON(path, layer string, most int) (*layerFile, error) {
	if layer != "" {
		return nil, fmt.Errorf("GeoJSON has no layers: leave out %q", layer)
	}
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	l, err := parseGeoJSON(f, most)
	if err != nil {
		return nil, err
	}
	l.name = strings.TrimSuffix(filepath.Base(path), filepath.Ext(path))
	l.siblings = []string{path}
	return l, nil
}

// geoJSON gathers the features of a file.
type geoJSON struct {
	in   *json.Decoder
	rows attributes
	file *layerFile
	most int // features that are wanted
}

// errEnough ends the reading of a file of which no more is wanted.
var errEnough = errors.New("enough")

// parseGeoJSON takes features one by one, so that the text of the whole file
// need not be held.
func parseGeoJSON(in io.Reader, most int) (*layerFile, error) {
	text := bufio.NewReaderSize(in, bufferBytes)
	if head, _ := text.Peek(3); bytes.Equal(head, []byte("\xef\xbb\xbf")) {
		text.Discard(3)
	}
	g := &geoJSON{in: json.NewDecoder(text), file: &layerFile{crs: "EPSG:4326"}, most: most}
	for {
		err := g.object()
		switch {
		case err == io.EOF && len(g.file.features) == 0 && g.in.InputOffset() == 0:
			return nil, errors.New("the file is empty")
		case err == io.EOF, err == errEnough:
			g.file.fields = g.rows.finish(g.file.features)
			g.file.settle()
			return g.file, nil
		case err != nil:
			return nil, fmt.Errorf("feature %d, near byte %d: %w", len(g.file.features)+1, g.in.InputOffset(), noEOF(err))
		}
	}
}

// noEOF tells an end in the midst of a value from the end of a file.
func noEOF(err error) error {
	if errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) {
		return errors.New("the file is cut short")
	}
	return err
}

// object reads one object at the top of the file. Its error is io.EOF where the
// file ends before it.
func (g *geoJSON) object() error {
	begin, err := g.in.Token()
	if err != nil {
		return err
	}
	if begin != json.Delim('{') {
		return fmt.Errorf("an object was expected, not %v", begin)
	}
	var whole []byte // the object without its features, for one that is a feature itself
	collection := false
	for g.in.More() {
		key, err := g.in.Token()
		if err != nil {
			return noEOF(err)
		}
		if key == "features" {
			collection = true
			if err := g.features(); err != nil {
				return noEOF(err)
			}
			continue
		}
		var value json.RawMessage
		if err := g.in.Decode(&value); err != nil {
			return noEOF(err)
		}
		switch key {
		case "crs":
			g.namedSystem(value)
		case "asfound":
			g.file.written = writtenMember(value)
		}
		name, _ := json.Marshal(key)
		whole = append(append(append(append(whole, ','), name...), ':'), value...)
	}
	if _, err := g.in.Token(); err != nil {
		return noEOF(err)
	}
	if !collection {
		if len(whole) > 0 {
			whole[0] = '{'
		}
		return g.feature(append(whole, '}'))
	}
	return nil
}

func (g *geoJSON) features() error {
	begin, err := g.in.Token()
	if err != nil {
		return err
	}
	if begin != json.Delim('[') {
		return fmt.Errorf(`"features" should be a list, not %v`, begin)
	}
	for g.in.More() {
		var raw json.RawMessage
		if err := g.in.Decode(&raw); err != nil {
			return err
		}
		if err := g.feature(raw); err != nil {
			return err
		}
		if len(g.file.features) >= g.most {
			return errEnough
		}
	}
	_, err = g.in.Token()
	return err
}

// namedSystem takes the coordinate system that files from before RFC 7946 name.
func (g *geoJSON) namedSystem(raw []byte) {
	var c struct{ Properties struct{ Name string } }
	if json.Unmarshal(raw, &c) != nil || c.Properties.Name == "" {
		return
	}
	name := c.Properties.Name
	parts := strings.Split(name, ":")
	switch code := parts[len(parts)-1]; {
	case strings.EqualFold(code, "CRS84"):
	case strings.Contains(strings.ToUpper(name), "EPSG"):
		g.file.crs = "EPSG:" + code
		g.file.notes = append(g.file.notes, "the file names its coordinate system in a member that RFC 7946 dropped; it is taken at its word: "+name)
	}
}

// feature takes one feature. Members beside its properties, as its id, become
// attributes too, unless a property has the name.
func (g *geoJSON) feature(raw []byte) error {
	f := survey.Feature{Row: len(g.file.features) + 1}
	var geometry []byte
	kind := ""
	g.rows.next()
	for key, value := range members(raw) {
		switch key {
		case "type":
			kind = jsonText(value)
		case "geometry":
			geometry = value
		case "properties":
			for name, v := range members(value) {
				g.rows.set(name, v)
			}
		}
	}
	if kind != "Feature" {
		return fmt.Errorf("a Feature was expected, not %q", kind)
	}
	for key, value := range members(raw) {
		switch key {
		case "type", "geometry", "properties", "bbox":
		default:
			g.rows.setIfNew(key, value)
		}
	}
	geometryKind, why := jsonGeometry(geometry, &f)
	f.Deleted = geometryKind == ""
	g.file.add(f, geometryKind, why)
	return nil
}

// jsonGeometry reads a geometry into a feature's parts. why says what is wrong
// with one that is not null.
func jsonGeometry(raw []byte, f *survey.Feature) (kind shape, why string) {
	if len(raw) == 0 || string(raw) == "null" {
		return "", ""
	}
	var in struct {
		Type        string
		Coordinates json.RawMessage
	}
	if err := json.Unmarshal(raw, &in); err != nil {
		return "", "its geometry cannot be read: " + err.Error()
	}
	var lines [][][]float64
	var err error
	switch in.Type {
	case "LineString", "MultiPoint":
		lines = make([][][]float64, 1)
		err = json.Unmarshal(in.Coordinates, &lines[0])
	case "MultiLineString", "Polygon":
		err = json.Unmarshal(in.Coordinates, &lines)
	case "Point":
		lines = [][][]float64{make([][]float64, 1)}
		err = json.Unmarshal(in.Coordinates, &lines[0][0])
	case "MultiPolygon":
		var polygons [][][][]float64
		err = json.Unmarshal(in.Coordinates, &polygons)
		for _, rings := range polygons {
			lines = append(lines, rings...)
		}
	default:
		return "", fmt.Sprintf("its geometry is a %q", excerpt(in.Type))
	}
	if err != nil {
		return "", "its coordinates cannot be read: " + err.Error()
	}
	kind = map[string]shape{"LineString": shapeLines, "MultiLineString": shapeLines, "Point": shapePoints, "MultiPoint": shapePoints}[in.Type]
	if kind == "" {
		kind = shapePolygons
	}
	for i, line := range lines {
		if why := addPart(f, line); why != "" {
			return "", fmt.Sprintf("part %d: %s", i+1, why)
		}
	}
	return kind, ""
}

// addPart adds a list of positions. Z is kept where one of them has it.
func addPart(f *survey.Feature, positions [][]float64) (why string) {
	line := make(orb.LineString, len(positions))
	z := make([]float64, len(positions))
	hasZ := f.Z != nil
	for i, p := range positions {
		if len(p) < 2 {
			return fmt.Sprintf("position %d has fewer than two numbers", i+1)
		}
		line[i] = orb.Point{p[0], p[1]}
		z[i] = math.NaN()
		if len(p) > 2 {
			z[i], hasZ = p[2], true
		}
	}
	if hasZ {
		for len(f.Z) < len(f.Parts) { // earlier parts had none
			none := make([]float64, len(f.Parts[len(f.Z)]))
			for i := range none {
				none[i] = math.NaN()
			}
			f.Z = append(f.Z, none)
		}
		f.Z = append(f.Z, z)
	}
	f.Parts = append(f.Parts, line)
	return ""
}
