package crs

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/paulmach/orb"
)

// madeGrid describes a sub-grid for the tests: limits and step in seconds,
// longitudes positive west.
type madeGrid struct {
	name, parent             string
	south, north, east, west float64
	step                     float64
	shift                    func(row, col int) (lat, lon float32)
}

// writeNTv2 writes a grid file as the developer's guide of NTv2 lays it out.
func writeNTv2(order binary.ByteOrder, from, to string, grids ...madeGrid) []byte {
	var b bytes.Buffer
	record := func(key string, value any) {
		fmt.Fprintf(&b, "%-8s", key)
		switch v := value.(type) {
		case int:
			var w [8]byte
			order.PutUint32(w[:], uint32(v))
			b.Write(w[:])
		case float64:
			var w [8]byte
			order.PutUint64(w[:], math.Float64bits(v))
			b.Write(w[:])
		case string:
			fmt.Fprintf(&b, "%-8s", v)
		}
	}
	record("NUM_OREC", 11)
	record("NUM_SREC", 11)
	record("NUM_FILE", len(grids))
	record("GS_TYPE", "SECONDS")
	record("VERSION", "NTv2.0")
	record("SYSTEM_F", from)
	record("SYSTEM_T", to)
	for _, k := range []string{"MAJOR_F", "MINOR_F", "MAJOR_T", "MINOR_T"} {
		record(k, 6378137.0)
	}
	for _, g := range grids {
		rows, cols := int(math.Round((g.north-g.south)/g.step))+1, int(math.Round((g.west-g.east)/g.step))+1
		record("SUB_NAME", g.name)
		record("PARENT", g.parent)
		record("CREATED", "20260101")
		record("UPDATED", "20260101")
		record("S_LAT", g.south)
		record("N_LAT", g.north)
		record("E_LONG", g.east)
		record("W_LONG", g.west)
		record("LAT_INC", g.step)
		record("LONG_INC", g.step)
		record("GS_COUNT", rows*cols)
		for row := range rows {
			for col := range cols {
				lat, lon := g.shift(row, col)
				for _, v := range []float32{lat, lon, 0.03, 0.04} {
					var w [4]byte
					order.PutUint32(w[:], math.Float32bits(v))
					b.Write(w[:])
				}
			}
		}
	}
	record("END", 0.0)
	return b.Bytes()
}

// nested is a grid over 38..42 N, 84..80 W with a finer one inside it, and one
// inside that.
func nested(order binary.ByteOrder) []byte {
	wave := func(k float64) func(row, col int) (float32, float32) {
		return func(row, col int) (float32, float32) {
			return float32(k + 0.1*math.Sin(float64(row))), float32(-2*k + 0.2*math.Cos(float64(col)))
		}
	}
	return writeNTv2(order, "NAD27", "NAD83",
		madeGrid{"WHOLE", "NONE", 38 * 3600, 42 * 3600, 80 * 3600, 84 * 3600, 1800, wave(0.5)},
		madeGrid{"FINE", "WHOLE", 39 * 3600, 41 * 3600, 81 * 3600, 83 * 3600, 600, wave(0.6)},
		madeGrid{"FINEST", "FINE", 39.5 * 3600, 40.5 * 3600, 81.5 * 3600, 82.5 * 3600, 300, wave(0.7)},
	)
}

func TestGridBothByteOrders(t *testing.T) {
	nad27, nad83 := mustParse(t, "EPSG:4267"), mustParse(t, "EPSG:4269")
	var results [2]orb.Point
	for i, order := range []binary.ByteOrder{binary.LittleEndian, binary.BigEndian} {
		g, err := ReadNTv2(bytes.NewReader(nested(order)), "nested.gsb", nil, nil)
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(g.AccuracyM-0.05) > 1e-6 {
			t.Errorf("accuracy %v, the nodes say 0.03 and 0.04", g.AccuracyM)
		}
		op, err := NewOperationAt(nad27, nad83, Options{Grids: []*Grid{g}})
		if err != nil {
			t.Fatal(err)
		}
		if want := "NAD27 to NAD83: grid nested.gsb, accurate to about 0.05 m"; op.Name() != want {
			t.Errorf("name %q, want %q", op.Name(), want)
		}
		if results[i], err = op.Apply(orb.Point{-82.1234, 40.2345}); err != nil {
			t.Fatal(err)
		}
		back, err := NewOperationAt(nad83, nad27, Options{Grids: []*Grid{g}})
		if err != nil {
			t.Fatal(err)
		}
		for _, inverse := range []*Operation{op.Inverse(), back} {
			p, err := inverse.Apply(results[i])
			if err != nil || math.Abs(p[0]+82.1234) > 1e-12 || math.Abs(p[1]-40.2345) > 1e-12 {
				t.Errorf("%s: back at %v (%v)", inverse.Name(), p, err)
			}
		}
		q, err := back.Inverse().Apply(orb.Point{-82.1234, 40.2345})
		if err != nil || math.Abs(q[0]-results[i][0]) > 1e-12 || math.Abs(q[1]-results[i][1]) > 1e-12 {
			t.Errorf("the inverse of the way back gives %v (%v), the grid %v", q, err, results[i])
		}
		if _, err := op.Apply(orb.Point{-90, 40}); err == nil || !strings.Contains(err.Error(), "outside the area of NAD27 to NAD83: grid nested.gsb") {
			t.Errorf("outside the grid: %v", err)
		}
	}
	if results[0] != results[1] {
		t.Errorf("little-endian %v, big-endian %v", results[0], results[1])
	}
}

// A node's own shift comes out at the node, of the finest grid there.
func TestGridNodes(t *testing.T) {
	g, err := ReadNTv2(bytes.NewReader(nested(binary.LittleEndian)), "nested.gsb", nil, nil)
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		lon, lat float64
		row, col int
		k        float64
	}{
		{-80.5, 38.5, 1, 1, 0.5},  // whole
		{-81.5, 39.25, 0, 0, 0.6}, // fine, below
		{-82, 40, 6, 6, 0.7},      // finest
	} {
		if c.k == 0.6 {
			c.row, c.col = int(math.Round(0.25*6)), int(math.Round(0.5*6))
			c.lat = 39 + float64(c.row)/6
		}
		got := g.apply(geodetic{c.lon * radPerDegree, c.lat * radPerDegree, 0})
		lat := (got.lat/radPerDegree - c.lat) * 3600
		lon := (got.lon/radPerDegree - c.lon) * 3600
		wantLat, wantLon := c.k+0.1*math.Sin(float64(c.row)), -(-2*c.k + 0.2*math.Cos(float64(c.col)))
		if math.Abs(lat-wantLat) > 1e-6 || math.Abs(lon-wantLon) > 1e-6 {
			t.Errorf("node at %v, %v: %.7f, %.7f seconds, want %.7f, %.7f", c.lat, c.lon, lat, lon, wantLat, wantLon)
		}
	}
}

func TestGridsAgainstPROJ(t *testing.T) {
	need(t, "cct")
	dir := t.TempDir()
	made := filepath.Join(dir, "nested.gsb")
	if err := os.WriteFile(made, nested(binary.BigEndian), 0o644); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		path                     string
		from, to                 string
		west, south, east, north float64
	}{
		{made, "EPSG:4267", "EPSG:4269", -83.99, 38.01, -80.01, 41.99},
		{"/usr/share/proj/ntf_r93.gsb", "EPSG:4275", "EPSG:4171", -4, 42.5, 8, 51},
		{"/usr/share/proj/BETA2007.gsb", "EPSG:4314", "EPSG:4258", 6, 47.5, 15, 55},
		{"/usr/share/proj/nzgd2kgrid0005.gsb", "EPSG:4272", "EPSG:4167", 167, -47, 178, -35},
		{"/usr/share/proj/CHENYX06_etrs.gsb", "EPSG:4149", "EPSG:4258", 6.2, 46, 10, 47.6},
	} {
		data, err := os.ReadFile(c.path)
		if err != nil {
			t.Logf("%v: not compared", err)
			continue
		}
		g, err := ReadNTv2(bytes.NewReader(data), filepath.Base(c.path), mustParse(t, c.from), mustParse(t, c.to))
		if err != nil {
			t.Error(err)
			continue
		}
		op, err := NewOperationAt(mustParse(t, c.from), mustParse(t, c.to), Options{Grids: []*Grid{g}})
		if err != nil {
			t.Fatal(err)
		}
		rng := rand.New(rand.NewPCG(3, 4))
		var in strings.Builder
		var ps []orb.Point
		for range 200 {
			p := orb.Point{c.west + rng.Float64()*(c.east-c.west), c.south + rng.Float64()*(c.north-c.south)}
			ps = append(ps, p)
			fmt.Fprintf(&in, "%.14f %.14f 0 0\n", p[0], p[1])
		}
		want, err := ask(in.String(), "cct", "-d", "14", "+proj=hgridshift", "+grids="+c.path)
		if err != nil || len(want) != len(ps) {
			t.Errorf("%d lines, %v", len(want), err)
			continue
		}
		for i, p := range ps {
			q, err := op.Apply(p)
			// PROJ interpolates in single precision, which leaves 1e-11 degrees or two.
			if err != nil || !(math.Abs(q[0]-want[i][0]) < 1e-10 && math.Abs(q[1]-want[i][1]) < 1e-10) {
				t.Errorf("%s at %v: %.13f, PROJ %.13f (%v)", c.path, p, q, want[i][:2], err)
				break
			}
		}
	}
}

func TestGridRefusesWhatIsNone(t *testing.T) {
	whole := nested(binary.LittleEndian)
	at := func(key string, nth int) int { // of the value of the nth record with the key
		i := -1
		for range nth {
			i += 1 + bytes.Index(whole[i+1:], []byte(key))
		}
		return i + 8
	}
	change := func(key string, nth int, value any) []byte {
		b := bytes.Clone(whole)
		switch v := value.(type) {
		case uint32:
			binary.LittleEndian.PutUint32(b[at(key, nth):], v)
		case float64:
			binary.LittleEndian.PutUint64(b[at(key, nth):], math.Float64bits(v))
		case string:
			copy(b[at(key, nth):], fmt.Sprintf("%-8s", v))
		}
		return b
	}
	for _, c := range []struct {
		name, want string
		data       []byte
	}{
		{"empty", "cut off", nil},
		{"text", "is no NTv2 file", []byte("id,lat,lon\n1,2,3\n4,5,6\n")},
		{"half", "cut off", whole[:len(whole)/2]},
		{"header only", "NUM_FILE says 3", whole[:11*16]},
		{"billions of grids", "NUM_FILE says", change("NUM_FILE", 1, uint32(0x7fffffff))},
		{"no grids", "NUM_FILE says 0", change("NUM_FILE", 1, uint32(0))},
		{"billions of nodes", "GS_COUNT says", change("GS_COUNT", 1, uint32(0x7fffffff))},
		{"negative nodes", "GS_COUNT says", change("GS_COUNT", 1, uint32(0xffffffff))},
		{"no step", "no rectangle", change("LAT_INC", 1, 0.)},
		{"tiny step", "GS_COUNT says", change("LAT_INC", 1, 1e-300)},
		{"a step that is none", "LAT_INC is NaN", change("LAT_INC", 1, math.NaN())},
		{"turned over", "no rectangle", change("N_LAT", 1, -3600.)},
		{"unknown unit", "GS_TYPE is \"PACES\"", change("GS_TYPE", 1, "PACES")},
		{"unknown datum", "SYSTEM_F is \"SOMEWHR\"", change("SYSTEM_F", 1, "SOMEWHR")},
		{"one datum", "to itself", change("SYSTEM_T", 1, "NAD27")},
		{"own parent", "among its own parents", change("PARENT", 2, "FINEST")},
		{"no such parent", "does not hold", change("PARENT", 2, "NOBODY")},
		{"no root", "among its own parents", change("PARENT", 1, "FINEST")},
		{"same name", "two grids named", change("SUB_NAME", 2, "WHOLE")},
	} {
		_, err := ReadNTv2(bytes.NewReader(c.data), "bad.gsb", nil, nil)
		if err == nil || !strings.Contains(err.Error(), c.want) || !strings.Contains(err.Error(), "grid bad.gsb") {
			t.Errorf("%s: error %v, want one with %q and the file", c.name, err, c.want)
		}
	}
}

func FuzzNTv2(f *testing.F) {
	small := writeNTv2(binary.LittleEndian, "NAD27", "NAD83", madeGrid{"A", "NONE", 0, 3600, 0, 3600, 1800, func(int, int) (float32, float32) { return 1, 2 }})
	f.Add(small)
	f.Add(writeNTv2(binary.BigEndian, "NAD27", "NAD83", madeGrid{"A", "NONE", 0, 3600, 0, 3600, 1800, func(int, int) (float32, float32) { return 1, 2 }}))
	f.Add(nested(binary.LittleEndian)[:3000])
	f.Fuzz(func(t *testing.T, data []byte) {
		g, err := ReadNTv2(bytes.NewReader(data), "fuzz.gsb", nil, nil)
		if err != nil {
			return
		}
		for _, p := range []geodetic{{0, 0, 0}, {-0.001, 0.001, 0}, {nan, nan, 0}, {math.Pi, math.Pi / 2, 0}} {
			q := g.apply(p)
			undone{shifts: []shift{g}}.apply(p)
			if q.h != 0 && !math.IsNaN(q.h) {
				t.Errorf("height %v", q.h)
			}
		}
	})
}
