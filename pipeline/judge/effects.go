package judge

import (
	"fmt"
	"math"
	"strings"

	"github.com/paulmach/orb"

	"github.com/asfound/asfound/internal/words"
	"github.com/asfound/asfound/pipeline/survey"
)

// field is who read what, and what the model makes of it.
type field struct {
	s       *survey.Survey
	m       *survey.Model
	o       *Options
	bySheet map[string][][]visit // per record of the sheet
	layerOf map[string]int       // of records, per sheet
	crews   []map[string]bool    // per record: who read it
	checks  []checkErrors        // of every effect's control checks
	source  map[string]int       // of positions: the effect
}

// checkErrors are observed minus known, true east and north in ground metres.
type checkErrors struct{ east, north []float64 }

func newField(s *survey.Survey, vs []visit, m *survey.Model, o *Options) *field {
	f := &field{
		s: s, m: m, o: o, bySheet: map[string][][]visit{}, layerOf: map[string]int{},
		crews: make([]map[string]bool, len(s.Records)), checks: make([]checkErrors, len(m.Effects)), source: map[string]int{},
	}
	for i := range s.Records {
		if name := s.Records[i].SharedSheet(); name != "" {
			f.layerOf[name] = s.Records[i].Layer
		}
	}
	byRecord(vs, func(vs []visit) {
		r := vs[0].record
		f.crews[r] = map[string]bool{}
		for i := range vs {
			f.crews[r][vs[i].crew] = true
		}
		if name := s.Records[r].SharedSheet(); name != "" {
			f.bySheet[name] = append(f.bySheet[name], vs)
		}
	})
	for i, at := range m.CheckSession {
		c := &s.Checks[i]
		east, north := survey.True(orb.Point{(c.Observed[0] - c.Known[0]) / c.Scale, (c.Observed[1] - c.Known[1]) / c.Scale}, c.Convergence)
		f.checks[at].east, f.checks[at].north = append(f.checks[at].east, east), append(f.checks[at].north, north)
	}
	for i := range m.Effects {
		if m.Effects[i].Kind == survey.EffectSource {
			f.source[m.Effects[i].Name] = i
		}
	}
	return f
}

// Effects is the model's effects with an explanation of each, in sentences, and a
// page of every session, in their order. A sheet's has what the findings say of
// its covers.
func Effects(s *survey.Survey, matches [][]survey.Match, m *survey.Model, findings []survey.Finding, o Options) ([]survey.Effect, []survey.Session) {
	vs := visits(s, matches, m)
	f := newField(s, vs, m, &o)
	pages, sources := f.sessions(vs, matches), f.sourceCases(vs)
	out, covers := append([]survey.Effect(nil), m.Effects...), coverWords(s, findings)
	for i := range out {
		if c := sources[i]; c != nil && out[i].Readings+out[i].Checks > 0 {
			out[i].Explanation = f.sourceSentence(&out[i], c)
			continue
		}
		if e := &out[i]; e.Kind == survey.EffectSheet && e.Significant && len(f.bySheet[e.Name]) > 0 && !f.worthNaming(e) {
			e.Significant = false
		}
		out[i].Explanation = f.explain(&out[i], i, pages)
		if out[i].Kind == survey.EffectSheet {
			out[i].Explanation += covers[out[i].Name]
		}
	}
	for i := range pages {
		pages[i].Sentence = out[pages[i].Effect].Explanation
	}
	return out, pages
}

// explain says in words what is known of the i-th effect.
func (f *field) explain(e *survey.Effect, i int, pages []survey.Session) string {
	if e.Readings+e.Checks == 0 {
		return "No evidence: nothing is known of it."
	}
	size, u := length(e.V)
	switch {
	case e.Kind == survey.EffectSession:
		for k := range pages {
			if pages[k].Effect == i {
				return f.sessionSentence(&pages[k])
			}
		}
	case e.Kind == survey.EffectSheet && e.Significant && len(f.bySheet[e.Name]) > 0:
		return f.sheetSentence(i)
	case e.Kind == survey.EffectSheet && e.Significant:
		return fmt.Sprintf("Its %s lie %.2f m %s of where the readings put them (u %.2f m); add %.2f m %s to them.",
			words.Count(e.Records, "record"), size, compass(-e.V.East, -e.V.North), u, size, compass(e.V.East, e.V.North))
	}
	if f.m.Effects[i].Significant {
		shift, u, along := f.shown(e)
		return fmt.Sprintf("No shift worth naming across its lines (%.2f m, u %.2f m).%s", math.Hypot(shift[0], shift[1]), u, along)
	}
	return fmt.Sprintf("No shift worth naming (%.2f m, u %.2f m).", size, u)
}

// coverWords say, per sheet, what the covers of all of it look like, and of which
// regraded surfaces its records lie under.
func coverWords(s *survey.Survey, findings []survey.Finding) map[string]string {
	out := map[string]string{}
	for i := range findings {
		p := &findings[i]
		if p.Kind != survey.KindCoverPattern {
			continue
		}
		if p.Sheet != "" {
			out[p.Sheet] += " " + p.Sentence
			continue
		}
		under := map[string]int{}
		for _, r := range p.Records {
			under[s.Records[r].Sheet]++
		}
		for name, n := range under {
			out[name] += fmt.Sprintf(" Covers of %s of it lie under finding %s: %s", words.Count(n, "record"), p.ID, p.Sentence)
		}
	}
	return out
}

var winds = strings.Fields("north north-east east south-east south south-west west north-west")

// compass is the name of the direction of a vector, to the nearest of eight.
func compass(east, north float64) string {
	deg := math.Mod(math.Atan2(east, north)*180/math.Pi+360, 360)
	return winds[int(math.Round(deg/45))%8]
}
