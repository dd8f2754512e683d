package pipeline_test

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"
)

// looksLike works out again, from records.csv and the map's diameters, what the
// covers of a sheet look like: by the odds of each mistake against none, with a
// normal error of 0.12 m in nine covers of ten and of 0.6 m in the others.
func (p *published) looksLike(t *testing.T, records []string) string {
	type cover struct{ recorded, differs, u, diameter float64 }
	var cs []cover
	mean := 0.0
	for _, r := range records {
		row := p.records[r]
		c := cover{float(t, row["cover_m"]), float(t, row["cover_difference_m"]), float(t, row["cover_difference_u_m"]), 0}
		for i := range p.result.Survey.Records {
			if rec := &p.result.Survey.Records[i]; rec.ID == r {
				c.diameter = rec.DiameterM
			}
		}
		cs = append(cs, c)
		mean += c.differs / float64(len(records))
	}
	density := func(d, sigma float64) float64 { return math.Exp(-d*d/(2*sigma*sigma)) / (sigma * math.Sqrt(2*math.Pi)) }
	likely := func(mu func(c cover) float64) float64 {
		product := 1.0
		for _, c := range cs {
			d := c.differs - mu(c)
			product *= 0.9*density(d, math.Hypot(0.12, c.u)) + 0.1*density(d, math.Hypot(0.6, c.u))
		}
		return product
	}
	names := []string{fmt.Sprintf("those of a surface %.2f m %s than now, or otherwise measured", math.Abs(mean), map[bool]string{true: "lower", false: "higher"}[mean > 0])}
	common, commonM := 0.0, 0.5
	for z := -3.0; z <= 3; z += 0.01 {
		common += 0.01 * density(z, 1) * likely(func(cover) float64 { return commonM * z })
	}
	odds := []float64{0.03 * common}
	for _, m := range []struct {
		name string
		mu   func(c cover) float64
	}{
		{"feet where the map has metres", func(c cover) float64 { return (0.3048 - 1) * c.recorded }},
		{"metres where the map has feet", func(c cover) float64 { return (1/0.3048 - 1) * c.recorded }},
		{"inches where the map has centimetres", func(c cover) float64 { return 1.54 * c.recorded }},
		{"centimetres where the map has inches", func(c cover) float64 { return (1/2.54 - 1) * c.recorded }},
		{"depths to the invert, a diameter more than the cover", func(c cover) float64 { return -c.diameter }},
		{"depths to the centre, half a diameter more than the cover", func(c cover) float64 { return -c.diameter / 2 }},
		{"covers where the map has depths to the invert, a diameter less than those", func(c cover) float64 { return c.diameter }},
		{"covers where the map has depths to the centre, half a diameter less than those", func(c cover) float64 { return c.diameter / 2 }},
	} {
		names, odds = append(names, m.name), append(odds, 0.02*likely(m.mu))
	}
	all := (1 - 8*0.02 - 0.03) * likely(func(cover) float64 { return 0 })
	for _, o := range odds {
		all += o
	}
	order := make([]int, len(odds))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(odds[b], odds[a]) })
	var said []string
	for _, i := range order {
		if len(said) == 0 || odds[i]/all >= 0.1 {
			said = append(said, fmt.Sprintf("%s (probability %.2f)", names[i], odds[i]/all))
		}
	}
	return strings.Join(said, ", or ")
}

// backed sees that what findings say of a stretch is what profiles.csv and
// readings.csv have there: the worst node, and no more readings than there are.
func (p *published) backed(t *testing.T, seed uint64) {
	for _, f := range p.findings {
		if f["kind"] != "position" || f["attribution"] == nil || strings.Contains(text(f, "sentence"), "nothing else was read there") || strings.Contains(text(f, "sentence"), "not for sure") {
			continue
		}
		from, to, worst, nodes, all, readings := value(f, "from_m")-2e-3, value(f, "to_m")+2e-3, 0.0, 0.0, 0.0, 0.0
		for _, n := range p.profiles {
			if n["record"] != f["record"] {
				continue
			}
			all += float(t, n["readings"])
			if at := float(t, n["station_m"]); at >= from && at <= to {
				nodes += float(t, n["readings"])
				if o := float(t, n["offset_m"]); math.Abs(o) > math.Abs(worst) {
					worst = o
				}
			}
		}
		for _, r := range p.readings {
			if r["record"] == f["record"] && r["status"] == "used" {
				readings++
			}
		}
		for i := range p.result.ExposureMatches { // test holes count too
			if m := &p.result.ExposureMatches[i]; m.Record >= 0 && p.result.Survey.Records[m.Record].ID == f["record"] {
				readings++
			}
		}
		if math.Abs(worst-value(f, "offset_m")) > 2e-4 || nodes != value(f, "readings") || all > readings {
			t.Errorf("town %d, %s: worst %.4f of %v readings; profiles.csv has %.4f of %v there and %v on the record, readings.csv %v", seed, f["finding"], value(f, "offset_m"), f["readings"], worst, nodes, all, readings)
		}
	}
}
