package publish

import (
	"encoding/xml"
	"fmt"
	"strconv"
	"strings"
)

// stylesTable is where QGIS looks for the styles of a GeoPackage's layers: the
// columns that its own "save style in database" makes, recalled.
const stylesTable = `
CREATE TABLE layer_styles (
  id INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL, f_table_catalog TEXT, f_table_schema TEXT, f_table_name TEXT,
  f_geometry_column TEXT, styleName TEXT, styleQML TEXT, styleSLD TEXT, useAsDefault BOOLEAN,
  description TEXT, owner TEXT, ui TEXT, update_time DATETIME DEFAULT (strftime('%Y-%m-%dT%H:%M:%fZ','now')))`

// class is one value of an attribute and how it is drawn.
type class struct {
	value, label string
	colour       [3]int
	width        float64 // millimetres
}

// Colours that people tell apart whatever colours they see (Okabe and Ito 2008,
// Color Universal Design).
var (
	grey       = [3]int{150, 150, 150}
	orange     = [3]int{230, 159, 0}
	blue       = [3]int{0, 114, 178}
	vermillion = [3]int{213, 94, 0}
	purple     = [3]int{204, 121, 167}
)

// styleOf is by which attribute a layer is drawn; nothing for one whose parts are
// of several kinds, which a symbol cannot be for.
func styleOf(l *layer) (attribute string, classes []class) {
	switch {
	case l.table == "readings":
		return "status", []class{
			{"used", "used", blue, 1.6},
			{"ambiguous", "ambiguous", orange, 1.6},
			{"unmapped", "unmapped", vermillion, 1.6},
			{"", "not used", grey, 1.2},
		}
	case l.geometry == "GEOMETRY":
		return "", nil
	}
	return "asfound_status", []class{
		{statusCorrected, "corrected", vermillion, 0.7},
		{statusShifted, "shifted with its sheet", purple, 0.7},
		{"", "unchanged", grey, 0.3},
	}
}

// writeStyles gives every layer that can have one a style, which QGIS takes when
// it opens the file.
func (g *geopackage) writeStyles() error {
	if err := g.exec(stylesTable); err != nil {
		return err
	}
	for i := range g.layers {
		l := &g.layers[i]
		attribute, classes := styleOf(l)
		if attribute == "" {
			continue
		}
		err := g.exec("INSERT INTO layer_styles VALUES (NULL, '', '', ?, 'geom', 'asfound', ?, NULL, 1, 'What became of each feature', '', NULL, ?)",
			l.table, qml(l.geometry, attribute, classes), g.time)
		if err != nil {
			return err
		}
	}
	return g.exec("INSERT INTO gpkg_contents (table_name, data_type, identifier, description, last_change) VALUES ('layer_styles', 'attributes', 'layer_styles', 'Styles of the layers, for QGIS', ?)", g.time)
}

// qml is a style that draws classes of an attribute, in the words of QGIS: a value
// "" is for all others.
func qml(geometry, attribute string, classes []class) string {
	var b strings.Builder
	fmt.Fprintf(&b, `<!DOCTYPE qgis PUBLIC 'http://mrcc.com/qgis.dtd' 'SYSTEM'>
<qgis version="3.22.0" styleCategories="Symbology"><renderer-v2 type="categorizedSymbol" attr="%s" symbollevels="0" enableorderby="0" forceraster="0"><categories>`, attribute)
	for i, c := range classes {
		fmt.Fprintf(&b, `<category symbol="%d" value="%s" label="%s" render="true"/>`, i, escaped(c.value), escaped(c.label))
	}
	b.WriteString("</categories><symbols>")
	for i, c := range classes {
		colour := fmt.Sprintf("%d,%d,%d,255", c.colour[0], c.colour[1], c.colour[2])
		kind, of := "line", "SimpleLine"
		options := [][2]string{{"line_color", colour}, {"line_width", decimal(c.width)}, {"line_width_unit", "MM"}, {"capstyle", "round"}, {"joinstyle", "round"}}
		if geometry == "POINT" {
			kind, of = "marker", "SimpleMarker"
			options = [][2]string{{"name", "circle"}, {"color", colour}, {"outline_style", "no"}, {"size", decimal(c.width)}, {"size_unit", "MM"}}
		}
		fmt.Fprintf(&b, `<symbol type="%s" name="%d" alpha="1" clip_to_extent="1" force_rhr="0"><layer class="%s" enabled="1" locked="0" pass="0"><Option type="Map">`, kind, i, of)
		for _, o := range options {
			fmt.Fprintf(&b, `<Option type="QString" name="%s" value="%s"/>`, o[0], o[1])
		}
		b.WriteString("</Option>")
		for _, o := range options { // as versions before 3.22 read it
			fmt.Fprintf(&b, `<prop k="%s" v="%s"/>`, o[0], o[1])
		}
		b.WriteString("</layer></symbol>")
	}
	b.WriteString("</symbols></renderer-v2></qgis>")
	return b.String()
}

func decimal(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }

func escaped(s string) string {
	var b strings.Builder
	_ = xml.EscapeText(&b, []byte(s)) // a builder never fails
	return b.String()
}
