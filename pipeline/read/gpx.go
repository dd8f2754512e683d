package read

import (
	"bufio"
	"bytes"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"github.com/asfound/asfound/pipeline/survey"
	"github.com/paulmach/orb"
	"golang.org/x/text/encoding/htmlindex"
)

func init() { layerFormats[".gpx"] = readGPX }

// Limits on a document that no receiver writes beyond.
const (
	gpxDepth = 64      // elements inside each other
	gpxText  = 1 << 20 // bytes of one element's text
)

func readGPX(path, layer string, most int) (*layerFile, error) {
	if layer != "" {
		return nil, fmt.Errorf("GPX has no layers: leave out %q", layer)
	}
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	l, err := parseGPX(bufio.NewReaderSize(f, bufferBytes), most)
	if err != nil {
		return nil, err
	}
	l.name = strings.TrimSuffix(filepath.Base(path), filepath.Ext(path))
	l.siblings = []string{path}
	return l, nil
}

// gpxPoints are the elements that hold a point, in the GPX 1.1 schema.
var gpxPoints = map[string]bool{"wpt": true, "trkpt": true, "rtept": true}

// gpxGroups are the elements that hold points, and no text of their own.
var gpxGroups = map[string]bool{"gpx": true, "trk": true, "trkseg": true, "rte": true}

// gpxOptional are the texts that the schema lets a point have. A file where none
// has one says nothing by it.
var gpxOptional = []string{
	"magvar", "geoidheight", "name", "cmt", "desc", "src", "sym", "type",
	"fix", "sat", "hdop", "vdop", "pdop", "ageofdgpsdata", "dgpsid",
}

// gpx gathers the points of a document: a row each, in the order in which they
// stand. Their children are columns by name (ele, time, name, fix, hdop ... and
// whatever stands in extensions); so are point (wpt, trkpt or rtept), track (the
// name of the track or route) and segment (its number in the file).
type gpx struct {
	in       *xml.Decoder
	file     *layerFile
	columns  []string
	index    map[string]int
	rows     [][]string
	path     []string
	track    string
	segments int
	text     strings.Builder
}

// parseGPX reads GPX 1.1 (and 1.0, which differs in nothing read here).
// Positions are WGS 84 by the schema. encoding/xml expands no entities but the
// five of XML, so that a document cannot grow in reading.
func parseGPX(in io.Reader, most int) (*layerFile, error) {
	g := &gpx{in: xml.NewDecoder(in), file: &layerFile{crs: "EPSG:4326", shape: shapePoints, timeColumn: "time", optional: gpxOptional}, index: map[string]int{}}
	g.in.CharsetReader = func(label string, in io.Reader) (io.Reader, error) {
		enc, err := htmlindex.Get(label)
		if err != nil {
			return nil, fmt.Errorf("encoding %q is not known", label)
		}
		return enc.NewDecoder().Reader(in), nil
	}
	for _, name := range []string{"point", "track", "segment", "ele", "time"} {
		g.column(name)
	}
	for len(g.rows) <= most {
		token, err := g.in.Token()
		if err == io.EOF {
			break
		}
		if err == nil {
			err = g.take(token)
		}
		if err != nil {
			line, _ := g.in.InputPos()
			return nil, fmt.Errorf("line %d: %w", line, err)
		}
	}
	if g.file.name == "" {
		return nil, errors.New("it holds no gpx element: is it another kind of XML?")
	}
	g.finish()
	return g.file, nil
}

func (g *gpx) column(name string) int {
	at, known := g.index[name]
	if !known {
		at = len(g.columns)
		g.index[name] = at
		g.columns = append(g.columns, name)
	}
	return at
}

func (g *gpx) take(token xml.Token) error {
	switch t := token.(type) {
	case xml.StartElement:
		if len(g.path) == 0 && g.file.name != "" {
			return errors.New("it goes on after its end")
		}
		if len(g.path) == 0 && t.Name.Local != "gpx" {
			return fmt.Errorf("its first element is %q, not gpx", excerpt(t.Name.Local))
		}
		if len(g.path) == gpxDepth {
			return fmt.Errorf("its elements lie in each other more than %d deep: it is no GPX", gpxDepth)
		}
		g.file.name = "gpx"
		g.path = append(g.path, t.Name.Local)
		g.text.Reset()
		switch {
		case gpxPoints[t.Name.Local]:
			g.begin(t, "")
		case g.misnamed(t):
			g.begin(t, fmt.Sprintf("it has lat and lon, but is called %q, which is no point of GPX", excerpt(t.Name.Local)))
		case t.Name.Local == "trk", t.Name.Local == "rte":
			g.track = ""
		}
		if t.Name.Local == "trkseg" || t.Name.Local == "rte" {
			g.segments++
		}
	case xml.CharData:
		if len(g.path) == 0 && g.file.name != "" && len(bytes.TrimSpace(t)) > 0 {
			return errors.New("it goes on after its end")
		}
		if n := len(g.path); n > 0 && gpxGroups[g.path[n-1]] && len(bytes.TrimSpace(t)) > 0 {
			return fmt.Errorf("text stands in %s, where only elements may: is it damaged?", g.path[n-1])
		}
		if g.text.Len()+len(t) > gpxText {
			return fmt.Errorf("element %s holds more than %d bytes of text", g.path[len(g.path)-1], gpxText)
		}
		g.text.Write(t)
	case xml.EndElement:
		g.end(t.Name.Local)
		g.path = g.path[:len(g.path)-1]
		g.text.Reset()
	}
	return nil
}

// misnamed says whether an element stands where a point may and has what a point
// has, under another name: a damaged point must not be passed over.
func (g *gpx) misnamed(t xml.StartElement) bool {
	n := len(g.path)
	return n > 1 && gpxGroups[g.path[n-2]] && slices.ContainsFunc(t.Attr, func(a xml.Attr) bool { return a.Name.Local == "lat" || a.Name.Local == "lon" })
}

// begin starts the row of a point, or of what is damaged.
func (g *gpx) begin(t xml.StartElement, damage string) {
	f := survey.Feature{Row: len(g.rows) + 1}
	lat, lon := math.NaN(), math.NaN()
	why := damage
	for _, a := range t.Attr {
		v, bad := parseNumber(strings.TrimSpace(a.Value), ',')
		switch a.Name.Local {
		case "lat":
			lat = v
		case "lon":
			lon = v
		default:
			continue
		}
		if bad != "" && why == "" {
			why = fmt.Sprintf("its %s %q %s", a.Name.Local, excerpt(a.Value), bad)
		}
	}
	if why == "" && (math.IsNaN(lat) || math.IsNaN(lon)) {
		why = "it has no lat and lon"
	}
	f.Parts = []orb.LineString{{{lon, lat}}}
	f.Z = [][]float64{{math.NaN()}}
	g.file.add(f, shapePoints, why)
	g.rows = append(g.rows, nil)
	g.set("point", t.Name.Local)
	g.set("track", g.track)
	if t.Name.Local != "wpt" {
		g.set("segment", strconv.Itoa(g.segments))
	}
}

func (g *gpx) set(column, value string) {
	at := g.column(column)
	row := &g.rows[len(g.rows)-1]
	for len(*row) <= at {
		*row = append(*row, "")
	}
	(*row)[at] = value
}

// end takes the text of an element that ends: of a point, or the name of a
// track.
func (g *gpx) end(name string) {
	text := strings.TrimSpace(g.text.String())
	parent := ""
	if len(g.path) > 1 {
		parent = g.path[len(g.path)-2]
	}
	switch {
	case name == "name" && (parent == "trk" || parent == "rte"):
		g.track = text
	case text != "" && slices.ContainsFunc(g.path[:len(g.path)-1], func(p string) bool { return gpxPoints[p] }):
		g.set(name, text)
		if z, bad := parseNumber(text, ','); name == "ele" && bad == "" {
			f := &g.file.features[len(g.file.features)-1]
			f.Z[0][0] = z
		}
	}
}

func (g *gpx) finish() {
	g.file.shapes = nil
	for _, name := range g.columns {
		g.file.fields = append(g.file.fields, survey.Field{Name: name})
	}
	for i := range g.file.features {
		values := make([]survey.Value, len(g.columns))
		for j := range values {
			if j < len(g.rows[i]) {
				values[j].Text = g.rows[i][j]
			}
			values[j].Null = values[j].Text == ""
		}
		g.file.features[i].Values = values
	}
}
