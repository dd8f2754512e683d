package crs

import (
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math"
	"strings"
)

// Grid is a datum shift grid in the NTv2 format (.gsb), of either byte order
// (National Transformation version 2, Developer's Guide, Geodetic Survey of
// Canada). It never changes after reading, but for AccuracyM.
type Grid struct {
	// AccuracyM is what an operation by this grid reports: the mean accuracy
	// that its nodes state, NaN where they state none.
	AccuracyM float64

	name     string
	from, to *datum
	roots    []*subgrid
}

// subgrid is a rectangle of shifts. Longitudes count westwards, as in the
// file, which has rows from south to north and in each the nodes from east to
// west. Angles are radians.
type subgrid struct {
	name, parent             string
	south, north, east, west float64
	dLat, dLon               float64
	rows, cols               int
	shift                    [][2]float32 // latitude, longitude; in unit
	unit                     float64      // radians
	children                 []*subgrid
}

// maxGridBytes is more than any grid in use has (the largest are 200 MB).
const maxGridBytes = 1 << 30

// Name is the grid's name as it was given to ReadNTv2.
func (g *Grid) Name() string { return g.name }

// ReadNTv2 reads a grid that leads from one system's datum to another's. The
// systems may be nil where the file's own header names the datums as EPSG
// does; name is for messages.
func ReadNTv2(r io.Reader, name string, from, to *System) (*Grid, error) {
	data, err := io.ReadAll(io.LimitReader(r, maxGridBytes+1))
	if err != nil {
		return nil, fmt.Errorf("grid %s: %w", name, err)
	}
	if len(data) > maxGridBytes {
		return nil, fmt.Errorf("grid %s: over %d bytes are no NTv2 grid", name, maxGridBytes)
	}
	f := &ntv2File{data: data}
	g, err := f.grid(name, from, to)
	if err != nil {
		return nil, fmt.Errorf("grid %s: %w", name, err)
	}
	return g, nil
}

// ntv2File is a file of records of 16 bytes: an 8-letter key with an 8-byte
// value, or four float32 of a node.
type ntv2File struct {
	data  []byte
	at    int
	order binary.ByteOrder
}

const ntv2Record = 16

var errCutOff = errors.New("ends too early: the file was cut off")

// field is the value of the next record, which must have the key.
func (f *ntv2File) field(key string) ([]byte, error) {
	if len(f.data)-f.at < ntv2Record {
		return nil, errCutOff
	}
	r := f.data[f.at : f.at+ntv2Record]
	if got := strings.TrimRight(string(r[:8]), " \x00"); got != key {
		return nil, fmt.Errorf("has %q at byte %d where an NTv2 file has %s: it is none, or damaged", got, f.at, key)
	}
	f.at += ntv2Record
	return r[8:], nil
}

func (f *ntv2File) integer(key string) (int, error) {
	b, err := f.field(key)
	if err != nil {
		return 0, err
	}
	return int(int32(f.order.Uint32(b))), nil
}

func (f *ntv2File) text(key string) (string, error) {
	b, err := f.field(key)
	return strings.Trim(string(b), " \x00"), err
}

func (f *ntv2File) number(key string) (float64, error) {
	b, err := f.field(key)
	if err != nil {
		return 0, err
	}
	v := math.Float64frombits(f.order.Uint64(b))
	if !finite(v) {
		return 0, fmt.Errorf("%s is %v: a number is needed", key, v)
	}
	return v, nil
}

func (f *ntv2File) grid(name string, from, to *System) (*Grid, error) {
	if len(f.data) < ntv2Record {
		return nil, errCutOff
	}
	switch head := f.data[8:12]; {
	case binary.LittleEndian.Uint32(head) == 11:
		f.order = binary.LittleEndian
	case binary.BigEndian.Uint32(head) == 11:
		f.order = binary.BigEndian
	default:
		return nil, errors.New("is no NTv2 file: its first record does not say 11")
	}
	g := &Grid{name: name}
	count, unit, err := f.overview(g, from, to)
	if err != nil {
		return nil, err
	}
	if most := len(f.data) / (11 * ntv2Record); count < 1 || count > most {
		return nil, fmt.Errorf("NUM_FILE says %d grids: a file of %d bytes has 1 to %d", count, len(f.data), most)
	}
	byName := map[string]*subgrid{}
	var all []*subgrid
	var accuracy mean
	for range count {
		s, err := f.subgrid(unit, &accuracy)
		if err != nil {
			return nil, err
		}
		if byName[s.name] != nil {
			return nil, fmt.Errorf("has two grids named %q", s.name)
		}
		byName[s.name] = s
		all = append(all, s)
	}
	g.AccuracyM = accuracy.value()
	return g, g.nest(all, byName)
}

// overview reads the file's header and finds the datums.
func (f *ntv2File) overview(g *Grid, from, to *System) (count int, unit float64, err error) {
	for _, key := range []string{"NUM_OREC", "NUM_SREC", "NUM_FILE"} {
		if count, err = f.integer(key); err != nil {
			return 0, 0, err
		}
		if key != "NUM_FILE" && count != 11 {
			return 0, 0, fmt.Errorf("%s is %d: an NTv2 header has 11 records", key, count)
		}
	}
	kind, err := f.text("GS_TYPE")
	if err != nil {
		return 0, 0, err
	}
	switch kind {
	case "SECONDS":
		unit = radPerDegree / 3600
	case "MINUTES":
		unit = radPerDegree / 60
	case "DEGREES":
		unit = radPerDegree
	default:
		return 0, 0, fmt.Errorf("GS_TYPE is %q: SECONDS, MINUTES or DEGREES are known", kind)
	}
	if _, err = f.text("VERSION"); err != nil {
		return 0, 0, err
	}
	for _, end := range []struct {
		key    string
		given  *System
		target **datum
	}{{"SYSTEM_F", from, &g.from}, {"SYSTEM_T", to, &g.to}} {
		stated, err := f.text(end.key)
		if err != nil {
			return 0, 0, err
		}
		if *end.target = epsg().frame(stated); end.given != nil {
			*end.target = end.given.datum
		}
		if *end.target == nil || (*end.target).code == 0 {
			return 0, 0, fmt.Errorf("%s is %q, which is no datum that is known: say which systems the grid leads from and to", end.key, stated)
		}
	}
	if g.from == g.to {
		return 0, 0, fmt.Errorf("leads from %s to itself: say which systems it leads from and to", g.from.short)
	}
	for _, key := range []string{"MAJOR_F", "MINOR_F", "MAJOR_T", "MINOR_T"} {
		if _, err := f.number(key); err != nil {
			return 0, 0, err
		}
	}
	return count, unit, nil
}

func (f *ntv2File) subgrid(unit float64, accuracy *mean) (*subgrid, error) {
	s := &subgrid{unit: unit}
	var err error
	var skip string
	for _, t := range []struct {
		key   string
		value *string
	}{{"SUB_NAME", &s.name}, {"PARENT", &s.parent}, {"CREATED", &skip}, {"UPDATED", &skip}} {
		if *t.value, err = f.text(t.key); err != nil {
			return nil, err
		}
	}
	for _, t := range []struct {
		key   string
		value *float64
	}{{"S_LAT", &s.south}, {"N_LAT", &s.north}, {"E_LONG", &s.east}, {"W_LONG", &s.west}, {"LAT_INC", &s.dLat}, {"LONG_INC", &s.dLon}} {
		if *t.value, err = f.number(t.key); err != nil {
			return nil, err
		}
		*t.value *= unit
	}
	n, err := f.integer("GS_COUNT")
	if err != nil {
		return nil, err
	}
	if !(s.dLat > 0 && s.dLon > 0 && s.north > s.south && s.west > s.east && s.north <= math.Pi/2+1e-9 && s.south >= -math.Pi/2-1e-9 &&
		math.Abs(s.east) <= 4*math.Pi && math.Abs(s.west) <= 4*math.Pi) {
		return nil, fmt.Errorf("grid %q has limits or steps that make no rectangle", s.name)
	}
	rows, cols := math.Round((s.north-s.south)/s.dLat)+1, math.Round((s.west-s.east)/s.dLon)+1
	if n < 4 || rows < 2 || cols < 2 || rows*cols != float64(n) {
		return nil, fmt.Errorf("grid %q has %.0f by %.0f nodes by its limits, and GS_COUNT says %d", s.name, rows, cols, n)
	}
	if n > (len(f.data)-f.at)/ntv2Record {
		return nil, errCutOff
	}
	s.rows, s.cols = int(rows), int(cols)
	s.shift = make([][2]float32, n)
	for i := range s.shift {
		r := f.data[f.at:]
		s.shift[i] = [2]float32{math.Float32frombits(f.order.Uint32(r)), math.Float32frombits(f.order.Uint32(r[4:]))}
		accuracy.add(math.Float32frombits(f.order.Uint32(r[8:])), math.Float32frombits(f.order.Uint32(r[12:])))
		f.at += ntv2Record
	}
	return s, nil
}

// mean is the quadratic mean of the accuracies that nodes state (metres).
type mean struct {
	sum float64
	n   int
}

func (m *mean) add(lat, lon float32) {
	if d2 := float64(lat)*float64(lat) + float64(lon)*float64(lon); lat >= 0 && lon >= 0 && d2 > 0 && d2 < 1e4 {
		m.sum, m.n = m.sum+d2, m.n+1
	}
}

func (m *mean) value() float64 {
	if m.n == 0 {
		return nan
	}
	return math.Sqrt(m.sum / float64(m.n))
}

// nest puts every grid under its parent.
func (g *Grid) nest(all []*subgrid, byName map[string]*subgrid) error {
	for _, s := range all {
		if strings.EqualFold(s.parent, "NONE") {
			g.roots = append(g.roots, s)
			continue
		}
		p := byName[s.parent]
		if p == nil {
			return fmt.Errorf("grid %q has the parent %q, which the file does not hold", s.name, s.parent)
		}
		p.children = append(p.children, s)
		for depth := 0; p != nil; depth++ { // a ring of parents has no root
			if depth > len(all) {
				return fmt.Errorf("grid %q is among its own parents", s.name)
			}
			p = byName[p.parent]
		}
	}
	if len(g.roots) == 0 {
		return errors.New("has no grid without a parent")
	}
	return nil
}

// find is the finest grid that covers a position (longitude westwards). On a
// common edge the first of the file is taken.
func find(grids []*subgrid, west, lat float64) *subgrid {
	for _, s := range grids {
		eps := 1e-5 * (s.dLat + s.dLon)
		if lat < s.south-eps || lat > s.north+eps || west < s.east-eps || west > s.west+eps {
			continue
		}
		if child := find(s.children, west, lat); child != nil {
			return child
		}
		return s
	}
	return nil
}

// apply shifts a position, NaN outside the grid.
func (g *Grid) apply(p geodetic) geodetic {
	west := -wrap(p.lon)
	s := find(g.roots, west, p.lat)
	for _, turn := range []float64{2 * math.Pi, -2 * math.Pi} { // grids across the 180th meridian
		if s == nil {
			if s = find(g.roots, west+turn, p.lat); s != nil {
				west += turn
			}
		}
	}
	if s == nil {
		return geodetic{nan, nan, nan}
	}
	dLat, dWest := s.at(west, p.lat)
	return geodetic{p.lon - dWest, p.lat + dLat, p.h}
}

// at interpolates the shifts bilinearly; radians.
func (s *subgrid) at(west, lat float64) (dLat, dWest float64) {
	x, y := (west-s.east)/s.dLon, (lat-s.south)/s.dLat
	col := min(max(int(x), 0), s.cols-2)
	row := min(max(int(y), 0), s.rows-2)
	x, y = x-float64(col), y-float64(row)
	i := row*s.cols + col
	for _, node := range [4]struct {
		i int
		w float64
	}{{i, (1 - x) * (1 - y)}, {i + 1, x * (1 - y)}, {i + s.cols, (1 - x) * y}, {i + s.cols + 1, x * y}} {
		dLat += node.w * float64(s.shift[node.i][0])
		dWest += node.w * float64(s.shift[node.i][1])
	}
	return dLat * s.unit, dWest * s.unit
}
