package scorer

import (
	"math"

	"github.com/asfound/asfound/internal/synth"
	"github.com/asfound/asfound/pipeline/survey"
)

// positions is what is known of where the readings' positions came from.
type positions struct {
	session map[string]*synth.Session
	source  map[string]*synth.Source
	checks  map[string]int             // per session
	sheets  map[string]map[string]bool // per session: sheets that its good readings stand on
	crews   map[string]map[string]bool // per sheet: crews whose good readings stand on it
	common  *synth.Source              // of everybody, if it is off and nobody checked
	off     bool                       // some source is off
}

func (x *scoring) positions() *positions {
	p := &positions{session: map[string]*synth.Session{}, source: map[string]*synth.Source{}, checks: map[string]int{}, sheets: map[string]map[string]bool{}, crews: map[string]map[string]bool{}}
	for i := range x.truth.Sessions {
		p.session[x.truth.Sessions[i].Name] = &x.truth.Sessions[i]
	}
	for i := range x.truth.Sources {
		p.source[x.truth.Sources[i].Name] = &x.truth.Sources[i]
	}
	for i := range x.s.Checks {
		p.checks[x.s.Checks[i].Session]++
	}
	used := map[string]bool{}
	for t := range x.s.Traces {
		name := x.s.Traces[t].Positions
		used[name] = true
		if s := p.source[name]; s != nil && math.Hypot(s.East, s.North) > marginM {
			p.off, p.common = true, s
		}
	}
	if len(used) != 1 || len(x.s.Checks) > 0 {
		p.common = nil
	}
	for i := range x.readings {
		rd := &x.readings[i]
		if rd.class != good {
			continue
		}
		tr := &x.s.Traces[rd.trace]
		for _, r := range x.byLine[rd.Line] {
			if sheet := x.records[r].Sheet; sheet != "" {
				enter(p.sheets, tr.Session, sheet)
				enter(p.crews, sheet, tr.Crew)
			}
		}
	}
	return p
}

func enter(m map[string]map[string]bool, key, value string) {
	if m[key] == nil {
		m[key] = map[string]bool{}
	}
	m[key][value] = true
}

// cause is what the difference of a record's readings really comes from.
type cause struct {
	attribution survey.Attribution // none: there is no difference beyond tolerance
	separable   bool
}

// cause of what a record's good readings show. The parts are means over them,
// across the record.
func (x *scoring) cause(r int, p *positions) cause {
	rec := &x.records[r]
	var raw, session, source float64
	checked, sheets := false, map[string]bool{}
	crews := map[string]bool{}
	for _, i := range rec.good {
		rd := &x.readings[i]
		tr := &x.s.Traces[rd.trace]
		f, ok := rec.before.Nearest(rd.seen.Point)
		if !ok {
			continue
		}
		e, n := rec.right(&rec.before, f.StationM)
		raw += f.OffsetM
		if s := p.session[tr.Session]; s != nil {
			session += e*s.East + n*s.North
		}
		if s := p.source[tr.Positions]; s != nil {
			source += e*s.East + n*s.North
		}
		checked = checked || p.checks[tr.Session] > 0
		crews[tr.Crew] = true
		for sheet := range p.sheets[tr.Session] {
			sheets[sheet] = true
		}
	}
	if len(rec.good) == 0 {
		return cause{}
	}
	n := float64(len(rec.good))
	raw, session, source = raw/n, session/n, source/n
	field := session + source
	c := cause{separable: checked || !p.off && (len(sheets) >= 3 || len(crews) >= 2 || len(p.crews[rec.Sheet]) >= 2)}
	switch {
	case x.truly[r] == trulyOutside:
		c.attribution = survey.AttributionRecord
	case x.truly[r] == trulyWithin && math.Abs(raw) > rec.limitM+marginM && math.Abs(field) > math.Abs(raw-field):
		c.attribution = survey.AttributionField
		if math.Abs(source) > math.Abs(session) {
			c.attribution = survey.AttributionFrame
		}
	}
	return c
}

// attributions scores to what differences were put down.
func (x *scoring) attributions() {
	p := x.positions()
	blamed := map[string]bool{} // records with a finding put down to the record
	for i := range x.o.Findings {
		f := &x.o.Findings[i]
		if f.Kind == string(survey.KindPosition) && f.Attribution == string(survey.AttributionRecord) {
			blamed[f.Record] = true
		}
	}
	for r := range x.records {
		c := x.cause(r, p)
		if c.attribution == survey.AttributionNone || x.spared[r] {
			continue
		}
		said := survey.Attribution(x.o.Records[x.records[r].name].Attribution)
		if x.common != nil && c.attribution == survey.AttributionFrame {
			x.count(CommonFrameToMap, said == survey.AttributionRecord || blamed[x.records[r].name])
		}
		if c.separable {
			x.count(AttributedRight, said == c.attribution)
			x.count(AttributedInseparable, said == survey.AttributionInseparable)
			x.count(AttributedWrong, said != c.attribution && said != survey.AttributionInseparable && said != survey.AttributionNone)
		}
	}
}
