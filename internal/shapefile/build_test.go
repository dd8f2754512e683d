package shapefile

import (
	"bytes"
	"fmt"
	"math"
	"path/filepath"
	"testing"
	"testing/fstest"

	"github.com/paulmach/orb"
)

// fileSet is a set in memory, made byte by byte from the tables of the file
// format (ESRI, Shapefile Technical Description, July 1998) without go-shp.
type fileSet struct{ shp, shx, dbf, prj, cpg []byte }

// files is the set as a file system; a nil file is not there.
func (s fileSet) files() fstest.MapFS {
	files := fstest.MapFS{}
	for ext, b := range map[string][]byte{".shp": s.shp, ".shx": s.shx, ".dbf": s.dbf, ".prj": s.prj, ".cpg": s.cpg} {
		if b != nil {
			files["mains"+ext] = &fstest.MapFile{Data: b}
		}
	}
	return files
}

func (s fileSet) read() (*Layer, error) { return ReadFS(s.files(), "mains.shp") }

// file is one of .shp, .shx and .dbf, to be damaged.
func (s *fileSet) file(ext string) *[]byte {
	return map[string]*[]byte{".shp": &s.shp, ".shx": &s.shx, ".dbf": &s.dbf}[ext]
}

// with is the set with another file in the place of one.
func (s fileSet) with(ext string, b []byte) fileSet {
	*s.file(ext) = b
	return s
}

// buildSet makes the files of a layer. Values stand in the table as they are.
func buildSet(l *Layer, withM bool) fileSet {
	s := fileSet{prj: []byte(l.Projection), cpg: []byte(l.Encoding)}
	s.shp, s.shx = make([]byte, headerBytes), make([]byte, headerBytes)
	for i := range l.Rows {
		content := buildContent(&l.Rows[i], l.Type, withM)
		s.shx = big.AppendUint32(s.shx, uint32(len(s.shp)/2))
		s.shx = big.AppendUint32(s.shx, uint32(len(content)/2))
		s.shp = big.AppendUint32(s.shp, uint32(i+1))
		s.shp = big.AppendUint32(s.shp, uint32(len(content)/2))
		s.shp = append(s.shp, content...)
	}
	for _, h := range [][]byte{s.shp, s.shx} {
		big.PutUint32(h, 9994)
		big.PutUint32(h[24:], uint32(len(h)/2))
		little.PutUint32(h[28:], 1000)
		little.PutUint32(h[32:], uint32(l.Type))
	}
	s.dbf = buildTable(l)
	return s
}

func buildContent(row *Row, kind Type, withM bool) []byte {
	if row.Null {
		return make([]byte, 4)
	}
	b := little.AppendUint32(nil, uint32(kind))
	numbers := func(vs ...float64) {
		for _, v := range vs {
			b = little.AppendUint64(b, math.Float64bits(v))
		}
	}
	parts := row.Parts
	if row.Points != nil {
		parts = []orb.LineString{row.Points}
	}
	x, y, n := extremes(parts, 0), extremes(parts, 1), 0
	for _, part := range parts {
		n += len(part)
	}
	point := kind == Point || kind == PointZ || kind == PointM
	if !point {
		numbers(x[0], y[0], x[1], y[1])
		if row.Points == nil {
			b = little.AppendUint32(b, uint32(len(parts)))
		}
		b = little.AppendUint32(b, uint32(n))
	}
	if row.Points == nil {
		at := 0
		for _, part := range parts {
			b = little.AppendUint32(b, uint32(at))
			at += len(part)
		}
	}
	for _, part := range parts {
		for _, p := range part {
			numbers(p[0], p[1])
		}
	}
	block := func(vs [][]float64) {
		lo, hi := math.Inf(1), math.Inf(-1)
		for _, part := range vs {
			for _, v := range part {
				lo, hi = min(lo, v), max(hi, v)
			}
		}
		if !point {
			numbers(lo, hi)
		}
		for _, part := range vs {
			numbers(part...)
		}
	}
	if kind.HasZ() {
		block(row.Z)
	}
	if kind.HasM() && withM {
		block(row.M)
	}
	return b
}

func extremes(parts []orb.LineString, axis int) [2]float64 {
	e := [2]float64{math.Inf(1), math.Inf(-1)}
	for _, part := range parts {
		for _, p := range part {
			e[0], e[1] = min(e[0], p[axis]), max(e[1], p[axis])
		}
	}
	return e
}

func buildTable(l *Layer) []byte {
	rowBytes := 1
	for _, f := range l.Fields {
		rowBytes += f.Length
	}
	b := make([]byte, 32, 33+32*len(l.Fields)+rowBytes*len(l.Rows))
	b[0], b[1], b[2], b[3] = 3, 100, 1, 1
	little.PutUint32(b[4:], uint32(len(l.Rows)))
	little.PutUint16(b[8:], uint16(33+32*len(l.Fields)))
	little.PutUint16(b[10:], uint16(rowBytes))
	for _, f := range l.Fields {
		d := make([]byte, 32)
		copy(d, f.Name)
		d[11], d[16], d[17] = f.Type, byte(f.Length), byte(f.Decimals)
		b = append(b, d...)
	}
	b = append(b, 0x0D)
	for i := range l.Rows {
		mark := byte(' ')
		if l.Rows[i].Deleted {
			mark = '*'
		}
		b = append(b, mark)
		for k, f := range l.Fields {
			v := l.Rows[i].Values[k]
			if f.Type == 'N' || f.Type == 'F' {
				b = fmt.Appendf(b, "%*s", f.Length, v)
			} else {
				b = append(b, v...)
				b = append(b, bytes.Repeat([]byte{' '}, f.Length-len(v))...)
			}
		}
	}
	return append(b, 0x1A)
}

// everyType is a small layer of each type, with more than one part, a null
// shape and a deleted row.
func everyType() []*Layer {
	var layers []*Layer
	for kind := range typeNames {
		if kind.known() && kind != Null {
			layers = append(layers, sample(kind))
		}
	}
	return layers
}

func sample(kind Type) *Layer {
	l := &Layer{
		Name: "mains", Type: kind, Encoding: "UTF-8", Projection: `LOCAL_CS["plane"]`,
		Fields: []Field{{"ID", 'N', 4, 0}, {"NAME", 'C', 6, 0}, {"ON", 'L', 1, 0}},
		Rows: []Row{
			{Number: 1, Values: []string{"17", "größ", "T"}},
			{Number: 2, Null: true, Values: []string{"", "", ""}},
			{Number: 3, Deleted: true, Values: []string{"-1", "x", "F"}},
			{Number: 4, Values: []string{"1003", "", ""}},
		},
	}
	// 4 points with M take as many bytes as 6 without: the awkward counts.
	shapes := [][]orb.LineString{
		{{{500000.5, 5400000.25}, {500010, 5400003}, {500011, 5400004}, {500012, 5400002}}},
		nil,
		{{{-3, 1}, {4, 1}}, {{5, 9}, {2, 6}, {5, 3}, {5, 8}}},
		{{{1, 2}, {3, 4}}},
	}
	if kind.Flat() == Polygon {
		shapes[0] = []orb.LineString{{{0, 0}, {0, 9}, {9, 9}, {0, 0}}}
		shapes[2] = []orb.LineString{{{0, 0}, {0, 9}, {9, 9}, {9, 0}, {0, 0}}, {{1, 1}, {2, 1}, {2, 2}, {1, 1}}}
		shapes[3] = []orb.LineString{{{1, 2}, {3, 4}, {5, 2}, {6, 1}, {4, 1}, {1, 2}}}
	}
	for i := range l.Rows {
		setShape(&l.Rows[i], kind, shapes[i])
	}
	return l
}

// setShape gives a row a shape, with Z and M made up from its points.
func setShape(row *Row, kind Type, parts []orb.LineString) {
	if row.Null {
		return
	}
	switch kind.Flat() {
	case Point:
		row.Points = []orb.Point{parts[0][0]}
		parts = []orb.LineString{row.Points}
	case MultiPoint:
		for _, part := range parts {
			row.Points = append(row.Points, part...)
		}
		parts = []orb.LineString{row.Points}
	default:
		row.Parts = parts
	}
	for _, part := range parts {
		var z, m []float64
		for _, p := range part {
			z, m = append(z, 100+p[0]/8), append(m, p[1]*2)
		}
		if kind.HasZ() {
			row.Z = append(row.Z, z)
		}
		if kind.HasM() {
			row.M = append(row.M, m)
		}
	}
}

// generate makes a set of n PolyLineZ of 2 to 5 points with 12 attributes, as a
// utility's map might have them.
func generate(n int) fileSet {
	l := &Layer{Type: PolyLineZ, Encoding: "UTF-8", Fields: []Field{
		{"ID", 'N', 10, 0},
		{"UTILITY", 'C', 12, 0},
		{"MATERIAL", 'C', 10, 0},
		{"DIAMETER", 'N', 8, 1},
		{"INSTALLED", 'D', 8, 0},
		{"SHEET", 'C', 20, 0},
		{"LENGTH", 'F', 13, 3},
		{"OWNER", 'C', 30, 0},
		{"STATUS", 'C', 10, 0},
		{"FROMNODE", 'N', 10, 0},
		{"TONODE", 'N', 10, 0},
		{"REMARK", 'C', 40, 0},
	}}
	l.Rows = make([]Row, n)
	for i := range l.Rows {
		line := make(orb.LineString, 2+i%4)
		for k := range line {
			line[k] = orb.Point{500000 + float64(i%700)*20 + float64(k)*4.25, 5400000 + float64(i/700)*15 + float64(k)*1.5}
		}
		l.Rows[i].Values = []string{
			fmt.Sprint(i), "water", []string{"CI", "DI", "PVC", "HDPE"}[i%4], fmt.Sprintf("%d.0", 50+50*(i%5)), "19870512", fmt.Sprintf("S-%04d", i/300),
			fmt.Sprintf("%.3f", 4.5*float64(len(line))), "municipality", "in use", fmt.Sprint(i), fmt.Sprint(i + 1), "",
		}
		setShape(&l.Rows[i], PolyLineZ, []orb.LineString{line})
	}
	return buildSet(l, true)
}

func BenchmarkRows(b *testing.B) {
	const n = 50_000
	files := generate(n).files()
	b.ReportAllocs()
	for b.Loop() {
		r, err := OpenFS(files, "mains.shp")
		if err != nil {
			b.Fatal(err)
		}
		for _, err := range r.Rows() {
			if err != nil {
				b.Fatal(err)
			}
		}
	}
	b.ReportMetric(float64(n)*float64(b.N)/b.Elapsed().Seconds(), "rows/s")
}

func BenchmarkWrite(b *testing.B) {
	const n = 20_000
	l, err := generate(n).read()
	if err != nil {
		b.Fatal(err)
	}
	path := filepath.Join(b.TempDir(), "mains.shp")
	for b.Loop() {
		if err := Write(path, l); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(n)*float64(b.N)/b.Elapsed().Seconds(), "rows/s")
}
