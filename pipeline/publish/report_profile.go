package publish

import (
	"math"
	"strconv"

	"github.com/asfound/asfound/pipeline/survey"
)

// profile is a diagram along a record: what was measured, the adjusted line with
// its uncertainty, and the tolerance. Its parts are path data and positions in
// a drawing of profileWidth by profileHeight.
type profile struct {
	Title, YLabel     string
	Width, Height     int
	Left, Right       string // of the plot
	Top, Bottom       string
	Zero              string // y of no difference
	BandTop, BandSize string // tolerance; empty without one
	Tolerance         string
	Ribbon, Line      string
	Used, Unused      string
	XTicks, YTicks    []tick
	Stretches         []stretchBar
	Dots              int
}

type tick struct{ At, Text string }

// stretchBar is a verdict along the foot of a profile.
type stretchBar struct{ X, Width, Middle, Class, Text string }

const (
	profileWidth, profileHeight = 760, 300
	plotLeft, plotRight         = 64, 744
	plotTop, plotBottom         = 16, 226
)

// sample is one point of a profile: a station and a value with its uncertainty.
type sample struct {
	part    int
	station float64
	value   float64
	u       float64
	used    bool
}

// scale is a linear axis.
type scale struct{ from, to, pixelFrom, pixelTo float64 }

func (s scale) at(v float64) float64 {
	if s.to == s.from {
		return (s.pixelFrom + s.pixelTo) / 2
	}
	return s.pixelFrom + (v-s.from)/(s.to-s.from)*(s.pixelTo-s.pixelFrom)
}

// ticks are round numbers on an axis, about n of them.
func (s scale) ticks(n int) (values []float64, decimals int) {
	span := s.to - s.from
	if !(span > 0) {
		return nil, 0
	}
	step := math.Pow(10, math.Floor(math.Log10(span/float64(n))))
	for _, f := range []float64{1, 2, 5, 10} {
		if span/(step*f) <= float64(n) {
			step *= f
			break
		}
	}
	decimals = max(0, int(math.Ceil(-math.Log10(step)-1e-9)))
	for k := math.Ceil(s.from/step - 1e-9); k*step <= s.to+step*1e-9; k++ {
		values = append(values, k*step)
	}
	return values, decimals
}

// drawProfile draws values along a record. Readings come as measured; adjusted is
// the model's line. Values are + to the right of the record's direction.
func drawProfile(lengthM, toleranceM float64, readings, adjusted []sample, stretches []survey.Stretch) profile {
	x := scale{0, max(lengthM, 1), plotLeft, plotRight}
	y := valueScale(toleranceM, readings, adjusted)
	p := profile{
		Width: profileWidth, Height: profileHeight,
		Left: strconv.Itoa(plotLeft), Right: strconv.Itoa(plotRight), Top: strconv.Itoa(plotTop), Bottom: strconv.Itoa(plotBottom),
		Zero: fixed(y.at(0), 1), Dots: len(readings),
	}
	if toleranceM > 0 {
		p.Tolerance = "tolerance ± " + fixed(toleranceM, 2) + " m"
		top := max(y.at(toleranceM), plotTop)
		p.BandTop, p.BandSize = fixed(top, 1), fixed(min(y.at(-toleranceM), plotBottom)-top, 1)
	}
	p.Ribbon, p.Line = ribbon(x, y, adjusted)
	var used, unused []byte
	for _, r := range readings {
		dot := &unused
		if r.used {
			dot = &used
		}
		*dot = appendXY(*dot, 'M', x.at(r.station), y.at(r.value))
		*dot = append(*dot, "h0"...)
	}
	p.Used, p.Unused = string(used), string(unused)
	values, decimals := x.ticks(8)
	for _, v := range values {
		p.XTicks = append(p.XTicks, tick{fixed(x.at(v), 1), fixed(v, decimals)})
	}
	values, decimals = y.ticks(6)
	for _, v := range values {
		p.YTicks = append(p.YTicks, tick{fixed(y.at(v), 1), signed(v, decimals)})
	}
	for _, s := range stretches {
		from, to := x.at(s.FromM), x.at(s.ToM)
		text := ""
		if to-from > 62 {
			text = symbols[s.Verdict] + " " + string(s.Verdict)
		} else if to-from > 12 {
			text = symbols[s.Verdict]
		}
		p.Stretches = append(p.Stretches, stretchBar{fixed(from, 1), fixed(max(to-from, 1), 1), fixed((from+to)/2, 1), "v-" + string(s.Verdict), text})
	}
	return p
}

// valueScale holds the tolerance, all readings and as much of the ribbon as
// leaves those readable, with the same room on both sides of no difference.
func valueScale(toleranceM float64, readings, adjusted []sample) scale {
	most := 0.0
	if toleranceM > 0 {
		most = 1.25 * toleranceM
	}
	for _, s := range readings {
		most = max(most, math.Abs(s.value))
	}
	for _, s := range adjusted {
		most = max(most, math.Abs(s.value))
	}
	for _, s := range adjusted {
		if edge := math.Abs(s.value) + 1.96*s.u; edge < 2*most {
			most = max(most, edge)
		}
	}
	if !(most > 0) {
		most = 1
	}
	return scale{-1.08 * most, 1.08 * most, plotBottom, plotTop}
}

// ribbon is the adjusted line and the area within 1.96 standard deviations of
// it, 95 % of a quantity in one dimension. Each part of a record has its own.
func ribbon(x, y scale, adjusted []sample) (area, line string) {
	var a, l []byte
	for from := 0; from < len(adjusted); {
		to := from
		for to < len(adjusted) && adjusted[to].part == adjusted[from].part {
			to++
		}
		part := adjusted[from:to]
		command := byte('M')
		for _, s := range part {
			l = appendXY(l, command, x.at(s.station), y.at(s.value))
			a = appendXY(a, command, x.at(s.station), clamp(y.at(s.value+1.96*s.u)))
			command = 'L'
		}
		for i := len(part) - 1; i >= 0; i-- {
			a = appendXY(a, 'L', x.at(part[i].station), clamp(y.at(part[i].value-1.96*part[i].u)))
		}
		a = append(a, 'Z')
		from = to
	}
	return string(a), string(l)
}

func clamp(y float64) float64 { return min(max(y, plotTop), plotBottom) }

func appendXY(b []byte, command byte, x, y float64) []byte {
	b = append(appendFixed(append(b, command), x, 1), ' ')
	return appendFixed(b, y, 1)
}

// offsetProfile is the profile of a record's offsets; nil without evidence.
func (e *edition) offsetProfile(rec int, readings []sample) *profile {
	var adjusted []sample
	if m := e.profile(rec); m != nil {
		for _, n := range m.Nodes {
			adjusted = append(adjusted, sample{n.Part, n.StationM, n.OffsetM, n.OffsetU, true})
		}
	}
	if len(readings)+len(adjusted) == 0 {
		return nil
	}
	length, tolerance := groundLength(&e.Survey.Records[rec]), 0.0
	var stretches []survey.Stretch
	if j := e.judgement(rec); j != nil {
		tolerance, stretches = j.Tolerance.HorizontalM, j.Stretches
	}
	p := drawProfile(length, tolerance, readings, adjusted, stretches)
	p.Title = "Offsets along " + e.labels[rec]
	p.YLabel = "offset, m (+ right)"
	return &p
}

// coverProfile is the profile of a record's cover differences; nil without any.
func (e *edition) coverProfile(rec int, readings []sample) *profile {
	m := e.profile(rec)
	if m == nil || m.Cover.Readings == 0 || math.IsNaN(e.Survey.Records[rec].CoverM) {
		return nil
	}
	length, tolerance := groundLength(&e.Survey.Records[rec]), 0.0
	if j := e.judgement(rec); j != nil {
		tolerance = j.Tolerance.DepthM
	}
	var adjusted []sample
	for _, n := range m.Cover.Nodes {
		adjusted = append(adjusted, sample{0, n.StationM, n.DifferenceM, n.U, true})
	}
	if adjusted == nil { // read at one place
		adjusted = []sample{{0, 0, m.Cover.DifferenceM, m.Cover.U, true}, {0, length, m.Cover.DifferenceM, m.Cover.U, true}}
	}
	p := drawProfile(length, tolerance, readings, adjusted, nil)
	p.Title = "Cover along " + e.labels[rec] + ", field minus record"
	p.YLabel = "cover difference, m"
	return &p
}
