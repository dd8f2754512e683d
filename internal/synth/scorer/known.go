package scorer

import (
	"cmp"
	"math"
	"slices"

	"github.com/paulmach/orb"

	"github.com/asfound/asfound/internal/lineref"
	"github.com/asfound/asfound/internal/synth"
	"github.com/asfound/asfound/pipeline/survey"
)

// The definitions' numbers (see the package's doc).
const (
	gapM        = 20  // readings farther apart leave a hole in the surveyed part
	stretchM    = 3   // the shortest stretch that counts, and how far beyond a record's end only the offset across it counts
	marginM     = 0.1 // either side of the tolerance
	stepM       = 0.5 // between the places that are looked at
	otherFrameM = 5   // a sheet that far off is in another frame
)

// ToleranceM is the horizontal and depth tolerance of the towns' jobs.
func ToleranceM(utility string) (horizontal, depth float64) {
	if utility == "gas" {
		return 0.3, 0.2
	}
	return 0.5, 0.3
}

// ConsequenceOf is the weight of an error in the towns' jobs.
func ConsequenceOf(utility string) float64 {
	switch utility {
	case "gas":
		return 5
	case "electric":
		return 3
	}
	return 1
}

// known is a town made ready for scoring.
type known struct {
	s        *survey.Survey
	truth    *synth.Truth
	records  []record
	index    map[string]int // of a record by its name in the published files
	byLine   [][]int        // records that show a true line
	sheets   map[string]int // in the truth
	readings []reading      // in the order of traces
}

// record is what is true of one record.
type record struct {
	*survey.Record
	name     string // in the published files
	truth    *synth.Record
	before   lineref.Line
	line     *lineref.Line // the true one, in the record's direction; nil where none is there
	surveyed []stretch     // stations of line
	touched  []stretch     // the same by readings of any kind
	good     []int         // its line's good readings, indices into readings
	limitM   float64
	limitD   float64
	sheet    *synth.Sheet // nil unknown
	frame    bool         // its sheet is in another frame
}

// stretch is a part of a line between two stations.
type stretch struct{ fromM, toM float64 }

func (s stretch) lengthM() float64 { return s.toM - s.fromM }

func holds(ss []stretch, m, slackM float64) bool {
	return slices.ContainsFunc(ss, func(s stretch) bool { return m >= s.fromM-slackM && m <= s.toM+slackM })
}

// reading is what is true of one reading.
type reading struct {
	at    At
	trace int
	class class
	band  int // of the trace's spacing
	*synth.Reading
	seen *survey.Reading
}

// class is the one thing that says most of a reading.
type class int

const (
	good class = iota
	jumped
	unmapped
	distorted
	float
	passive
	sonde
	mislabelled
)

func know(s *survey.Survey, truth *synth.Truth) *known {
	k := &known{
		s: s, truth: truth, records: make([]record, len(s.Records)), index: map[string]int{},
		byLine: make([][]int, len(truth.Lines)), sheets: map[string]int{},
	}
	for i := range truth.Sheets {
		k.sheets[truth.Sheets[i].Name] = i
	}
	names := published(s)
	for r := range k.records {
		rec := &s.Records[r]
		x := &k.records[r]
		*x = record{Record: rec, name: names[r], truth: &truth.Records[r], before: lineref.New(rec.Parts, rec.Scale)}
		x.limitM, x.limitD = ToleranceM(rec.Utility)
		if i, ok := k.sheets[x.truth.Sheet]; ok {
			x.sheet = &truth.Sheets[i]
			x.frame = math.Hypot(x.sheet.East, x.sheet.North) > otherFrameM
		}
		if pts := x.truth.Points; len(pts) > 1 && x.truth.Line >= 0 {
			l := lineref.New(orb.MultiLineString{pts}, rec.Scale)
			x.line = &l
			k.byLine[x.truth.Line] = append(k.byLine[x.truth.Line], r)
		}
		k.index[x.name] = r
	}
	k.sortReadings()
	k.findSurveyed()
	return k
}

// published are the records' names in the published files: a record's id, or
// source#id where other records have that id too.
func published(s *survey.Survey) []string {
	ids := map[string]int{}
	for i := range s.Records {
		ids[s.Records[i].ID]++
	}
	names := make([]string, len(s.Records))
	for i := range s.Records {
		if names[i] = s.Records[i].ID; ids[names[i]] > 1 {
			names[i] = s.Records[i].Key()
		}
	}
	return names
}

// sortReadings says what class each reading is of.
func (k *known) sortReadings() {
	for t := range k.truth.Traces {
		tr := &k.truth.Traces[t]
		band := spacingBand(tr.Readings)
		for i := range tr.Readings {
			rd := reading{at: At{tr.File, tr.Readings[i].Row}, trace: t, band: band, Reading: &tr.Readings[i], seen: &k.s.Traces[t].Readings[i]}
			switch {
			case rd.seen.Mode == survey.ModeSonde:
				rd.class = sonde
			case rd.Jumped:
				rd.class = jumped
			case len(k.byLine[rd.Line]) == 0:
				rd.class = unmapped
			case rd.seen.Mode == survey.ModePassive:
				rd.class = passive
			case rd.Distorted:
				rd.class = distorted
			case rd.Float:
				rd.class = float
			case tr.Label != "" && tr.Label != tr.Utility:
				rd.class = mislabelled
			}
			k.readings = append(k.readings, rd)
		}
	}
}

// spacingBand is the band of the median distance between a trace's readings.
func spacingBand(rs []synth.Reading) int {
	var d []float64
	for i := 1; i < len(rs); i++ {
		d = append(d, math.Hypot(rs[i].Pole[0]-rs[i-1].Pole[0], rs[i].Pole[1]-rs[i-1].Pole[1]))
	}
	slices.Sort(d)
	switch {
	case len(d) == 0 || d[len(d)/2] > 5:
		return 2
	case d[len(d)/2] > 1:
		return 1
	}
	return 0
}

// findSurveyed finds the parts of every true line that readings stand on.
func (k *known) findSurveyed() {
	const onLineM = 0.06 // a point beside a bend may stand a little off its line
	goodAt, anyAt := make([][]float64, len(k.records)), make([][]float64, len(k.records))
	for i := range k.readings {
		rd := &k.readings[i]
		for _, r := range k.byLine[rd.Line] {
			f, ok := k.records[r].line.Nearest(rd.Point)
			if !ok || math.Abs(f.OffsetM) > onLineM {
				continue
			}
			anyAt[r] = append(anyAt[r], f.StationM)
			if rd.class == good {
				goodAt[r] = append(goodAt[r], f.StationM)
				k.records[r].good = append(k.records[r].good, i)
			}
		}
	}
	for r := range k.records {
		k.records[r].touched = runs(anyAt[r])
		k.records[r].surveyed = slices.DeleteFunc(runs(goodAt[r]), func(s stretch) bool { return s.lengthM() < stretchM })
	}
}

// runs are the stretches between stations that are nowhere more than gapM apart.
func runs(at []float64) []stretch {
	slices.SortFunc(at, cmp.Compare)
	var out []stretch
	for i, m := range at {
		if i > 0 && m-at[i-1] <= gapM {
			out[len(out)-1].toM = m
		} else {
			out = append(out, stretch{m, m})
		}
	}
	return out
}

// places calls do for places of the surveyed part, half a metre apart.
func (r *record) places(ss []stretch, do func(stationM float64)) {
	for _, s := range ss {
		for m := s.fromM; m <= s.toM; m += stepM {
			do(m)
		}
	}
}

// across is the distance from a point to a line, ground metres. Beyond an end of
// the line, up to stretchM, only what lies across it counts: nothing shows where
// along itself a line begins.
func across(l *lineref.Line, p orb.Point) float64 {
	f, ok := l.Nearest(p)
	if !ok {
		return math.Inf(1)
	}
	d := math.Abs(f.OffsetM)
	last := len(l.Parts[f.Part]) - 2
	ends := f.Segment == 0 && f.Point == l.Parts[f.Part][0] || f.Segment == last && f.Point == l.Parts[f.Part][last+1]
	if f.Square || !ends {
		return d
	}
	way := l.Direction(f.Part, f.Segment)
	x, y := p[0]-f.Point[0], p[1]-f.Point[1]
	if along := math.Abs(x*way[0]+y*way[1]) / l.Scale; along <= stretchM {
		return math.Abs(x*way[1]-y*way[0]) / l.Scale
	}
	return d
}

// right is the unit vector to the right of a line at a place, true east and
// north.
func (r *record) right(l *lineref.Line, stationM float64) (east, north float64) {
	part, seg := l.Locate(stationM)
	d := l.Direction(part, seg)
	sin, cos := math.Sincos(r.Convergence)
	return d[1]*cos - d[0]*sin, -d[0]*cos - d[1]*sin
}

// ground turns a vector of the plane into true east and north, ground metres.
func (r *record) ground(v orb.Point) (east, north float64) {
	sin, cos := math.Sincos(r.Convergence)
	return (v[0]*cos + v[1]*sin) / r.Scale, (v[1]*cos - v[0]*sin) / r.Scale
}
