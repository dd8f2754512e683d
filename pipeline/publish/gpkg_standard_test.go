package publish

import (
	"database/sql"
	"encoding/binary"
	"encoding/xml"
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"
	"testing"

	"github.com/paulmach/orb"
)

// checkBlobs reads every geometry as OGC 12-128r18 has it in 2.1.3.1.1: magic,
// version 0, the system of its layer, an envelope that is its own, a type that its
// layer may hold.
func checkBlobs(t *testing.T, db *sql.DB) {
	t.Helper()
	for _, l := range ask(t, db, "SELECT table_name, geometry_type_name, g.srs_id, z, min_x, min_y, max_x, max_y FROM gpkg_geometry_columns g JOIN gpkg_contents USING (table_name)") {
		f := strings.Split(l, "|")
		rows, err := db.Query(`SELECT geom FROM "` + f[0] + `" WHERE geom IS NOT NULL`)
		if err != nil {
			t.Fatal(err)
		}
		all, any := orb.Bound{}, false
		for rows.Next() {
			var b []byte
			if err := rows.Scan(&b); err != nil {
				t.Fatal(err)
			}
			if len(b) < 45 || string(b[:2]) != "GP" || b[2] != 0 || b[3]>>1&7 != 1 || b[3]&1 != 1 {
				t.Fatalf("%s: a geometry begins with % x", f[0], b[:min(len(b), 8)])
			}
			if srs := int32(binary.LittleEndian.Uint32(b[4:])); strconv.Itoa(int(srs)) != f[2] {
				t.Errorf("%s: a geometry of system %d in a layer of %s", f[0], srs, f[2])
			}
			name, z, bound := body(t, b[40:])
			if f[1] != "GEOMETRY" && name != f[1] || z && f[3] == "0" || !z && f[3] == "1" {
				t.Errorf("%s: a %s, heights %v, in a layer of %s, z %s", f[0], name, z, f[1], f[3])
			}
			at := func(k int) float64 { return math.Float64frombits(binary.LittleEndian.Uint64(b[8+8*k:])) }
			if e := (orb.Bound{Min: orb.Point{at(0), at(2)}, Max: orb.Point{at(1), at(3)}}); e != bound {
				t.Errorf("%s: an envelope %v about %v", f[0], e, bound)
			}
			if all = all.Union(bound); !any {
				all, any = bound, true
			}
		}
		if err := errors.Join(rows.Err(), rows.Close()); err != nil {
			t.Fatal(err)
		}
		if want := fmt.Sprintf("%v|%v|%v|%v", all.Min[0], all.Min[1], all.Max[0], all.Max[1]); any && parsed(t, f[4:]) != all {
			t.Errorf("%s: its extent is said to be %v, and is %s", f[0], f[4:], want)
		}
	}
}

func parsed(t *testing.T, f []string) (b orb.Bound) {
	t.Helper()
	for i, to := range []*float64{&b.Min[0], &b.Min[1], &b.Max[0], &b.Max[1]} {
		v, err := strconv.ParseFloat(f[i], 64)
		if err != nil {
			t.Fatal(err)
		}
		*to = v
	}
	return b
}

// body reads well-known binary to its end (OGC 06-103r4, 8.2).
func body(t *testing.T, b []byte) (name string, z bool, bound orb.Bound) {
	t.Helper()
	names := map[uint32]string{1: "POINT", 2: "LINESTRING", 4: "MULTIPOINT", 5: "MULTILINESTRING"}
	empty := true
	var one func(b []byte) (uint32, []byte)
	points := func(b []byte, n int, size int) []byte {
		for range n {
			x, y := math.Float64frombits(binary.LittleEndian.Uint64(b)), math.Float64frombits(binary.LittleEndian.Uint64(b[8:]))
			p := orb.Point{x, y}.Bound()
			if bound = bound.Union(p); empty {
				bound, empty = p, false
			}
			b = b[8*size:]
		}
		return b
	}
	one = func(b []byte) (uint32, []byte) {
		code, size := binary.LittleEndian.Uint32(b[1:]), 2
		if code > 1000 {
			code, size, z = code-1000, 3, true
		}
		if b = b[5:]; code == 1 {
			return code, points(b, 1, size)
		}
		n := int(binary.LittleEndian.Uint32(b))
		if b = b[4:]; code == 2 {
			return code, points(b, n, size)
		}
		for range n {
			_, b = one(b)
		}
		return code, b
	}
	code, rest := one(b)
	if len(rest) > 0 || names[code] == "" {
		t.Errorf("type %d, and %d bytes behind its end", code, len(rest))
	}
	return names[code], z, bound
}

// Every layer that can have a style has one that is XML, draws values that are
// there, and is the one that QGIS takes by itself.
func TestStyles(t *testing.T) {
	db := openGeoPackage(t, run(t, handful(t)))
	rows := ask(t, db, "SELECT f_table_name, f_table_schema, f_geometry_column, useAsDefault, styleQML FROM layer_styles ORDER BY 1")
	var names []string
	for _, r := range rows {
		f := strings.SplitN(r, "|", 5)
		names = append(names, f[0])
		if f[1] != "" || f[2] != "geom" || f[3] != "1" {
			t.Errorf("the style of %s is for %q, default %s", f[0], f[1:3], f[3])
		}
		var style struct {
			Renderer struct {
				Type       string `xml:"type,attr"`
				Attribute  string `xml:"attr,attr"`
				Categories []struct {
					Symbol string `xml:"symbol,attr"`
					Value  string `xml:"value,attr"`
				} `xml:"categories>category"`
				Symbols []struct {
					Name string `xml:"name,attr"`
					Type string `xml:"type,attr"`
				} `xml:"symbols>symbol"`
			} `xml:"renderer-v2"`
		}
		if err := xml.Unmarshal([]byte(f[4]), &style); err != nil {
			t.Fatalf("%s: %v", f[0], err)
		}
		r := &style.Renderer
		known := map[string]bool{}
		for i, c := range r.Categories {
			known[c.Value] = true
			if r.Symbols[i].Name != c.Symbol {
				t.Errorf("%s: %q is drawn with %s, which is not there", f[0], c.Value, c.Symbol)
			}
		}
		if r.Type != "categorizedSymbol" || !known[""] || len(known) != len(r.Categories) {
			t.Errorf("%s: a %s of %v", f[0], r.Type, known)
		}
		found := 0
		for _, v := range ask(t, db, `SELECT DISTINCT "`+r.Attribute+`" FROM "`+f[0]+`"`) {
			if known[v] {
				found++
			}
		}
		if found == 0 && f[0] != "readings_2" {
			t.Errorf("%s: no value of %s has a class of its own", f[0], r.Attribute)
		}
	}
	if got := strings.Join(names, " "); got != "mains readings readings_2 valves" {
		t.Errorf("styles of %s", got)
	}
}
