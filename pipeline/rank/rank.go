// Package rank says where to survey next: every stretch without evidence, by
// what its survey is expected to find for the money.
package rank

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"github.com/asfound/asfound/internal/estimate"
	"github.com/asfound/asfound/internal/lineref"
	"github.com/asfound/asfound/pipeline/survey"
)

// minStretchM is the shortest stretch worth a visit.
const minStretchM = 3

// candidate is one stretch without evidence.
type candidate struct {
	record      int
	fromM, toM  float64
	probability float64
	weight      float64
	group       string // sheet, or the record where it has none
}

func (c *candidate) lengthM() float64 { return c.toM - c.fromM }

// worth is the weighted length that is expected to be outside.
func (c *candidate) worth() float64 { return c.weight * c.probability * c.lengthM() }

// Stretches ranks what has no evidence: work packages of a crew's day within one
// sheet, the package with the most expected outside length per money first.
// Traces come from tickets, which are no random sample of the network: the
// probabilities hold for stretches like those surveyed.
func Stretches(s *survey.Survey, js []survey.Judgement, m *survey.Model, o Options) []survey.Resurvey {
	packages := pack(candidates(s, js, m, o), o)
	cost := func(p []candidate) float64 { return o.Mobilisation + o.PerKm*total(p, (*candidate).lengthM)/1000 }
	value := func(p []candidate) float64 { return total(p, (*candidate).worth) / math.Max(cost(p), 1e-9) }
	slices.SortStableFunc(packages, func(a, b []candidate) int { return cmp.Compare(value(b), value(a)) })

	sheets := map[string]*survey.Effect{}
	for i := range m.Effects {
		if e := &m.Effects[i]; e.Kind == survey.EffectSheet {
			sheets[e.Name] = e
		}
	}
	var out []survey.Resurvey
	spent := 0.0
	for i, p := range packages {
		start := spent
		spent += cost(p)
		share := o.Mobilisation / float64(len(p))
		at := start
		for _, c := range p {
			rec := &s.Records[c.record]
			line := lineref.New(rec.Parts, rec.Scale)
			own := share + o.PerKm*c.lengthM()/1000
			at += own
			r := survey.Resurvey{
				Rank: len(out) + 1, Package: i + 1, Record: c.record, FromM: c.fromM, ToM: c.toM, LengthM: c.lengthM(),
				Probability: c.probability, Weight: c.weight, Cost: own, Benefit: c.worth(), CumulativeCost: at,
				InBudget: o.Budget == 0 || spent <= o.Budget, Reason: reason(rec, sheets[rec.Sheet], &c),
			}
			if ls := line.Between(c.fromM, c.toM); len(ls) > 0 {
				r.Line = ls[0]
			}
			out = append(out, r)
		}
	}
	return out
}

func total(p []candidate, f func(*candidate) float64) (sum float64) {
	for i := range p {
		sum += f(&p[i])
	}
	return sum
}

// candidates lists the stretches without evidence, by record key and station.
func candidates(s *survey.Survey, js []survey.Judgement, m *survey.Model, o Options) []candidate {
	var out []candidate
	for _, r := range s.ByKey() {
		rec := &s.Records[r]
		line := lineref.New(rec.Parts, rec.Scale)
		group := rec.Sheet
		if group == "" {
			group = rec.Key()
		}
		for part := range rec.Parts {
			st := line.Stations(part)
			for _, gap := range gaps(js[r].Stretches, part, st[0], st[len(st)-1]) {
				c := candidate{record: r, fromM: gap[0], toM: gap[1], weight: o.weight(rec.Utility), group: group}
				c.probability = outside(&m.Profiles[r], part, gap[0], gap[1], js[r].Tolerance.HorizontalM)
				out = append(out, c)
			}
		}
	}
	return out
}

// gaps lists what of a part the judged stretches leave.
func gaps(stretches []survey.Stretch, part int, fromM, toM float64) [][2]float64 {
	var out [][2]float64
	at := fromM
	add := func(to float64) {
		if to-at >= minStretchM {
			out = append(out, [2]float64{at, to})
		}
	}
	for _, st := range stretches {
		if st.Part == part {
			add(st.FromM)
			at = math.Max(at, st.ToM)
		}
	}
	add(toM)
	return out
}

// outside is the mean probability over a stretch's nodes of lying beyond the
// tolerance, by the adjusted model.
func outside(p *survey.Profile, part int, fromM, toM, toleranceM float64) float64 {
	sum, n := 0.0, 0
	for i := range p.Nodes {
		nd := &p.Nodes[i]
		if nd.Part != part || nd.StationM < fromM-1e-9 || nd.StationM > toM+1e-9 || nd.OffsetU <= 0 {
			continue
		}
		sum += 1 - estimate.Conformance(nd.OffsetM, nd.OffsetU, -toleranceM, toleranceM)
		n++
	}
	if n == 0 {
		return 0
	}
	return sum / float64(n)
}

func (o *Options) weight(utility string) float64 {
	for _, c := range o.Consequences {
		if c.Utility == "" || c.Utility == utility {
			return c.Weight
		}
	}
	return 1
}

// pack groups candidates by sheet into packages of at most a crew's day.
func pack(cs []candidate, o Options) [][]candidate {
	slices.SortStableFunc(cs, func(a, b candidate) int {
		return cmp.Or(cmp.Compare(a.group, b.group), cmp.Compare(b.worth()/b.lengthM(), a.worth()/a.lengthM()))
	})
	var out [][]candidate
	length := 0.0
	for _, c := range cs {
		n := len(out)
		if n == 0 || out[n-1][0].group != c.group || o.PackageM > 0 && length+c.lengthM() > o.PackageM {
			out = append(out, nil)
			n++
			length = 0
		}
		out[n-1] = append(out[n-1], c)
		length += c.lengthM()
	}
	return out
}

// reason says why a stretch is worth a visit; sheet is what is known of its
// record's, nil if nothing is.
func reason(rec *survey.Record, sheet *survey.Effect, c *candidate) string {
	text := fmt.Sprintf("%.0f %% to be outside", 100*c.probability)
	switch {
	case rec.Sheet == "":
		text += "; names no sheet"
	case sheet == nil:
	case sheet.Readings == 0:
		text += fmt.Sprintf("; nothing of sheet %s has been surveyed", rec.Sheet)
	case sheet.Significant:
		text += fmt.Sprintf("; sheet %s is shifted by %.2f m", rec.Sheet, math.Hypot(sheet.V.East, sheet.V.North))
	default:
		text += fmt.Sprintf("; the surveyed part of sheet %s shows no shift worth naming", rec.Sheet)
	}
	return text
}
