package crs

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"github.com/paulmach/orb"
	"pgregory.net/rapid"
)

func TestOperationsSayWhatTheyDo(t *testing.T) {
	for _, c := range []struct {
		from, to string
		epoch    float64
		name     string
		accuracy float64
	}{
		{"EPSG:4269", "EPSG:3734", 0, "no change of datum (NAD83)", 0},
		{"EPSG:4269", "EPSG:6318", 0, "NAD83 to NAD83(2011): null operation, accurate to about 1 m", 1},
		{"EPSG:4326", "EPSG:6318", 0, "WGS 84 to NAD83(2011): null operation, accurate to about 2 m", 2},
		{"EPSG:4326", "EPSG:26917", 0, "WGS 84 to NAD83: null operation, accurate to about 2 m", 2},
		{"EPSG:4258", "EPSG:4326", 0, "ETRS89 to WGS 84: null operation, accurate to about 1 m", 1},
		{"EPSG:4277", "EPSG:4326", 0, "OSGB36 to WGS 84: 7-parameter transformation EPSG:1314, accurate to about 2 m", 2},
		{"EPSG:4326", "EPSG:27700", 0, "WGS 84 to OSGB36: 7-parameter transformation EPSG:1314 in reverse, accurate to about 2 m", 2},
		{"ITRF2014", "EPSG:6549", 2026.5, "ITRF2014 to NAD83(2011): 14-parameter transformation EPSG:8970 at epoch 2026.5, exact by definition", 0},
		{"ITRF2014", "EPSG:3734", 2026.5, "ITRF2014 to NAD83(2011): 14-parameter transformation EPSG:8970 at epoch 2026.5, then NAD83(2011) to NAD83: null operation, accurate to about 1 m", 1},
		{"WGS 84 (G2139)", "EPSG:6318", 2026.5, "WGS 84 (G2139) to ITRF2014: null operation, then ITRF2014 to NAD83(2011): 14-parameter transformation EPSG:8970 at epoch 2026.5, accurate to about 0.01 m", 0.01},
		{"ITRF2014", "EPSG:4326", 0, "ITRF2014 to WGS 84 (G2139): null operation, then WGS 84 (G2139) to WGS 84: null operation, accurate to about 2 m", 2.01},
		{"NTF", "EPSG:27572", 0, "NTF to NTF (Paris): null operation, exact by definition", 0},
	} {
		op := mustOperation(t, c.from, c.to, Options{Epoch: c.epoch})
		if op.Name() != c.name || op.AccuracyM() != c.accuracy {
			t.Errorf("%s to %s: %q, %v m; want %q, %v m", c.from, c.to, op.Name(), op.AccuracyM(), c.name, c.accuracy)
		}
		if n := strings.Count(op.Name(), "null operation"); len(op.Notes()) != n {
			t.Errorf("%s to %s: %d null operations, notes %q", c.from, c.to, n, op.Notes())
		}
		if i := op.Inverse(); i.Inverse().Name() != op.Name() || i.AccuracyM() != op.AccuracyM() {
			t.Errorf("%s to %s: the inverse of the inverse is %q", c.from, c.to, i.Inverse().Name())
		}
	}
}

func TestOperationsRefused(t *testing.T) {
	for _, c := range []struct {
		from, to string
		epoch    float64
		want     []string
	}{
		{"EPSG:4267", "EPSG:4269", 0, []string{"NAD27", "NAD83", "give a grid (.gsb)"}},
		{"EPSG:26717", "EPSG:6549", 2026, []string{"NAD27", "NAD83(2011)", "grid"}},
		{"EPSG:4230", "EPSG:27700", 0, []string{"ED50", "OSGB36"}},
		{"ITRF2014", "EPSG:6318", 0, []string{"ITRF2014", "NAD83(2011)", "epoch", "2026.4"}},
		{"EPSG:6318", "ITRF2020", 0, []string{"NAD83(2011)", "ITRF2020", "epoch"}},
		{"EPSG:4150", "ITRF2014", 0, []string{"CH1903+", "epoch"}},
		{"ITRF2014", "EPSG:6318", 26.4, []string{"26.4", "decimal year"}},
		{"ITRF2014", "EPSG:6318", math.NaN(), []string{"decimal year"}},
		{"EPSG:4269", "EPSG:4269", 20264, []string{"decimal year"}},
	} {
		op, err := NewOperationAt(mustParse(t, c.from), mustParse(t, c.to), Options{Epoch: c.epoch})
		if err == nil {
			t.Errorf("%s to %s at %v: %s", c.from, c.to, c.epoch, op.Name())
			continue
		}
		for _, w := range c.want {
			if !strings.Contains(err.Error(), w) {
				t.Errorf("%s to %s: error %q does not say %q", c.from, c.to, err, w)
			}
		}
	}
	if _, err := NewOperation(nil, nil); err == nil {
		t.Error("no systems")
	}
}

// Every frame of the table of null operations is an EPSG name, every pair
// stands there once, and says its size and why.
func TestNullOperations(t *testing.T) {
	seen := map[string]bool{}
	for _, n := range nullOperations {
		for _, name := range []string{n.from, n.to} {
			if epsg().frame(name) == nil {
				t.Errorf("%q is no geographic system of EPSG", name)
			}
		}
		key := min(n.from, n.to) + "|" + max(n.from, n.to)
		if seen[key] || n.why == "" || n.source == "" || n.accuracyM < 0 || n.accuracyM > 5 {
			t.Errorf("%+v", n)
		}
		seen[key] = true
	}
}

// The Helmert table reads, and its datums are known.
func TestHelmertTable(t *testing.T) {
	for _, r := range table("helmert") {
		h, source, target, err := parseHelmert(r)
		if err != nil || epsg().datums[source] == nil || epsg().datums[target] == nil || h.isNull() {
			t.Errorf("%v: %v", r, err)
		}
	}
	// A transformation that is exact by definition is only between frames that
	// one of them is defined by.
	for _, code := range []int{8970, 8880, 8405} {
		if !slices.ContainsFunc(table("helmert"), func(r []string) bool { return integer(r[0]) == code && r[4] == "0" }) {
			t.Errorf("EPSG:%d is not in the table", code)
		}
	}
}

// Points that need nothing go through bit for bit.
func TestSameSystemIsUntouched(t *testing.T) {
	for _, c := range [][2]string{{"EPSG:3734", ohioGDAL}, {"EPSG:4269", "EPSG:4269"}, {"EPSG:4326", "EPSG:4269"}, {"EPSG:3734", "EPSG:6549"}} {
		op := mustOperation(t, c[0], c[1], Options{})
		for _, p := range []orb.Point{{-81.123456789012345, 40.8}, {179.99999999999999, 12.3}, {2245346.3069123456, 414486.4065}} {
			if q, err := op.Apply(p); err != nil || q != p {
				t.Errorf("%v became %v (%v)", p, q, err)
			}
		}
	}
}

// What one operation wrote, its inverse reads back, to 1e-9 degrees; with the
// inverse of the inverse it is the same place again.
func TestInverseProperty(t *testing.T) {
	type pair struct {
		from, to string
		epoch    float64
		at       orb.Point
	}
	var ops []*Operation
	pairs := []pair{
		{"EPSG:3734", "EPSG:4326", 0, orb.Point{-81.5, 40.8}},
		{"EPSG:27700", "EPSG:4326", 0, orb.Point{-1.5, 53}},
		{"EPSG:28992", "EPSG:4326", 0, orb.Point{5.4, 52.2}},
		{"EPSG:2056", "EPSG:3857", 0, orb.Point{8, 47}},
		{"EPSG:27572", "EPSG:4326", 0, orb.Point{2.3, 47}},
		{"ITRF2014", "EPSG:6549", 2026.5, orb.Point{-81.5, 40.8}},
		{"EPSG:6549", "WGS 84 (G2139)", 2026.5, orb.Point{-81.5, 40.8}},
		{"EPSG:28992", "ITRF2014", 2026.5, orb.Point{5.4, 52.2}},
		{"EPSG:27700", "EPSG:31370", 0, orb.Point{1, 51.2}},
	}
	for _, p := range pairs {
		ops = append(ops, mustOperation(t, p.from, p.to, Options{Epoch: p.epoch}))
	}
	rapid.Check(t, func(t *rapid.T) {
		i := rapid.IntRange(0, len(pairs)-1).Draw(t, "pair")
		op := ops[i]
		g := op.from.Geographic()
		to, err := NewOperation(g, op.from)
		if err != nil {
			t.Fatal(err)
		}
		lonlat := orb.Point{pairs[i].at[0] + rapid.Float64Range(-0.4, 0.4).Draw(t, "lon") - g.meridian.deg, pairs[i].at[1] + rapid.Float64Range(-0.4, 0.4).Draw(t, "lat")}
		p, err := to.Apply(lonlat)
		if err != nil {
			t.Fatal(err)
		}
		q, err := op.Apply(p)
		if err != nil {
			t.Fatal(err)
		}
		back, err := op.Inverse().Apply(q)
		if err != nil {
			t.Fatal(err)
		}
		r, err := to.Inverse().Apply(back)
		if err != nil || math.Abs(r[0]-lonlat[0]) > 1e-9 || math.Abs(r[1]-lonlat[1]) > 1e-9 {
			t.Fatalf("%s: %v back at %v (%v)", op.Name(), lonlat, r, err)
		}
		again, err := op.Inverse().Inverse().Apply(p)
		if err != nil || again != q {
			t.Fatalf("%s: %v, and undone twice %v (%v)", op.Name(), q, again, err)
		}
		// With a height the inverse brings that back, too.
		q, h, err := op.ApplyHeight(p, 250)
		if err != nil {
			t.Fatal(err)
		}
		back, h, err = op.Inverse().ApplyHeight(q, h)
		if err != nil || math.Abs(h-250) > 1e-6 || math.Hypot(back[0]-p[0], back[1]-p[1]) > 1e-5 {
			t.Fatalf("%s with height: %v %v back at %v %v (%v)", op.Name(), p, 250, back, h, err)
		}
	})
}

// ApplyAll gives what Apply gives, without a byte of garbage.
func TestApplyAll(t *testing.T) {
	for _, c := range []struct {
		from, to string
		epoch    float64
	}{{"EPSG:4269", "EPSG:3734", 0}, {"EPSG:4326", "EPSG:26917", 0}, {"ITRF2014", "EPSG:6549", 2026.5}, {"EPSG:4326", "EPSG:2056", 0}} {
		op := mustOperation(t, c.from, c.to, Options{Epoch: c.epoch})
		ps := make([]orb.Point, 100)
		start := orb.Point{-81.5, 40.8}
		if c.to == "EPSG:2056" {
			start = orb.Point{8, 47}
		}
		fill := func() {
			for i := range ps {
				ps[i] = orb.Point{start[0] + float64(i)*1e-4, start[1] - float64(i)*1e-4}
			}
		}
		fill()
		want := make([]orb.Point, len(ps))
		for i, p := range ps {
			var err error
			if want[i], err = op.Apply(p); err != nil {
				t.Fatal(err)
			}
		}
		if err := op.ApplyAll(ps); err != nil || !slices.Equal(ps, want) {
			t.Errorf("%s: ApplyAll differs from Apply (%v)", op.Name(), err)
		}
		inverse := op.Inverse()
		if n := testing.AllocsPerRun(10, func() {
			fill()
			if op.ApplyAll(ps) != nil || inverse.ApplyAll(ps) != nil {
				t.Fatal("failed")
			}
		}); n != 0 {
			t.Errorf("%s: %v allocations for %d points", op.Name(), n, len(ps))
		}
	}
	op := mustOperation(t, "EPSG:4269", "EPSG:3734", Options{})
	err := op.ApplyAll([]orb.Point{{-81, 40}, {-81, 400}})
	if err == nil || !strings.Contains(err.Error(), "point 1:") || !strings.Contains(err.Error(), "400") {
		t.Errorf("a point that is none: %v", err)
	}
}

func ExampleNewOperationAt() {
	receiver, _ := Parse("ITRF2014")
	records, _ := Parse("EPSG:6549")
	if _, err := NewOperation(receiver, records); err != nil {
		fmt.Println(err)
	}
	op, _ := NewOperationAt(receiver, records, Options{Epoch: 2026.5})
	fmt.Println(op.Name())
	// Output:
	// ITRF2014 to NAD83(2011) moves with time (14-parameter transformation EPSG:8970, from ITRF2014 to NAD83(2011)): give the epoch of the positions as a decimal year such as 2026.4
	// ITRF2014 to NAD83(2011): 14-parameter transformation EPSG:8970 at epoch 2026.5, exact by definition
}

func BenchmarkOperation(b *testing.B) {
	for _, c := range []struct {
		name, from, to string
		epoch          float64
		start          orb.Point
	}{
		{"transverse Mercator", "EPSG:4269", "EPSG:26917", 0, orb.Point{-81.5, 40.8}},
		{"Lambert", "EPSG:4269", "EPSG:3734", 0, orb.Point{-81.5, 40.8}},
		{"Albers", "EPSG:4269", "EPSG:5070", 0, orb.Point{-98, 39}},
		{"Hotine", "EPSG:4269", "EPSG:26931", 0, orb.Point{-134.4, 58.3}},
		{"oblique stereographic", "EPSG:4289", "EPSG:28992", 0, orb.Point{5, 52}},
		{"azimuthal", "EPSG:4258", "EPSG:3035", 0, orb.Point{16, 48}},
		{"Web Mercator", "EPSG:4326", "EPSG:3857", 0, orb.Point{16, 48}},
		{"Helmert", "EPSG:4326", "EPSG:4277", 0, orb.Point{-1, 52}},
		{"ITRF2014 to State Plane", "ITRF2014", "EPSG:6549", 2026.5, orb.Point{-81.5, 40.8}},
	} {
		op := mustOperation(b, c.from, c.to, Options{Epoch: c.epoch})
		run := func(name string, op *Operation, ps []orb.Point) {
			b.Run(name, func(b *testing.B) {
				work := make([]orb.Point, len(ps))
				b.ReportAllocs()
				for b.Loop() {
					copy(work, ps)
					if err := op.ApplyAll(work); err != nil {
						b.Fatal(err)
					}
				}
				b.ReportMetric(float64(len(ps))*float64(b.N)/b.Elapsed().Seconds()/1e6, "Mpoints/s")
			})
		}
		ps := make([]orb.Point, 1000)
		for i := range ps {
			ps[i] = orb.Point{c.start[0] + float64(i)*1e-4, c.start[1] + float64(i%37)*1e-3}
		}
		run(c.name, op, ps)
		if err := op.ApplyAll(ps); err != nil {
			b.Fatal(err)
		}
		run(c.name+" inverse", op.Inverse(), ps)
	}
}

func BenchmarkNewOperation(b *testing.B) {
	from, to := mustParse(b, "WGS 84 (G2139)"), mustParse(b, "EPSG:3734")
	for b.Loop() {
		if _, err := NewOperationAt(from, to, Options{Epoch: 2026.5}); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkParse(b *testing.B) {
	epsg()
	for name, def := range map[string]string{"code": "EPSG:3734", "WKT": ohioESRI} {
		b.Run(name, func(b *testing.B) {
			for b.Loop() {
				if _, err := Parse(def); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
