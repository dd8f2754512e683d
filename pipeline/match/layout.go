package match

import (
	"math"
	"slices"

	"github.com/asfound/asfound/internal/parallel"
	"github.com/asfound/asfound/pipeline/survey"
)

// layout is how whole sheets and sessions seem to lie before readings are
// matched one by one.
type layout struct {
	sheets   []verdict // by sheet
	sessions []shift   // by session: observed minus true, less what its source is off
	common   []shift   // by session: what its source of positions is off
}

func emptyLayout(sheets, sessions int) *layout {
	return &layout{sheets: make([]verdict, sheets), sessions: make([]shift, sessions), common: make([]shift, sessions)}
}

// verdict is what the votes say of a sheet: the shifts that explain its samples,
// and whether so many walks and records speak for them that they may be expected
// of others. None where there is no sample.
type verdict struct {
	shifts    []mode
	supported bool
}

// sessionNames numbers the sessions of the traces.
func sessionNames(traces []survey.Trace) map[string]int32 {
	return numbered(len(traces), func(i int) string { return traces[i].Session })
}

// sessionOf is the number of a trace's session, -1 where it names none.
func sessionOf(sessions map[string]int32, tr *survey.Trace) int32 {
	if i, ok := sessions[tr.Session]; ok {
		return i
	}
	return -1
}

// electorate is what the voting works on: the samples, which of them concern
// which unit, and the weight of each.
type electorate struct {
	ss        []sample
	weights   []float64
	bySession [][]int32
	bySheet   [][]int32
	spreadM   float64
	o         Options

	forSheets, forSessions, forSources *search

	memory memory
}

func newElectorate(ss []sample, sheets, sessions int, m memory, o Options) *electorate {
	e := &electorate{
		ss: ss, weights: weights(ss), o: o, spreadM: math.Hypot(o.OwnM, o.LocalM),
		bySession: make([][]int32, sessions), bySheet: make([][]int32, sheets), memory: m,
	}
	e.forSheets = newSearch(o.sheetPrior(), voteM, e.spreadM)
	e.forSessions = newSearch(o.sessionPrior(), sessionM, e.spreadM)
	e.forSources = newSearch(o.sessionPrior(), sourceM, math.Hypot(e.spreadM, o.SheetM))
	for i := range ss {
		if s := ss[i].session; s >= 0 && len(ss[i].views) > 0 {
			e.bySession[s] = append(e.bySession[s], int32(i))
		}
		for k := range ss[i].views {
			if s := ss[i].views[k].sheet; s >= 0 {
				if n := len(e.bySheet[s]); n == 0 || e.bySheet[s][n-1] != int32(i) {
					e.bySheet[s] = append(e.bySheet[s], int32(i))
				}
			}
		}
	}
	return e
}

// weights are the samples' votes: those whose nearest record is the same share
// votesPer, since they share that record's own error.
func weights(ss []sample) []float64 {
	nearest := make([]int32, len(ss))
	count := map[int32]float64{}
	for i := range ss {
		if len(ss[i].views) == 0 {
			continue
		}
		nearest[i] = ss[i].nearest().rec
		count[nearest[i]]++
	}
	w := make([]float64, len(ss))
	for i := range ss {
		if len(ss[i].views) > 0 {
			w[i] = min(1, votesPer/count[nearest[i]])
		}
	}
	return w
}

// newLayout finds the sheets' shifts and the sessions' errors that explain the
// samples best.
//
// Sheets come first: most sessions are right, many sheets are not. But a session
// on a wrong base drags every sheet that it works on most, so each session that
// looks wrong on the map as it stands is tried once with its sheets voted anew,
// and kept if that explains more. Sheets are judged by what was known of the
// others in the round before, sessions one after the other in the order of their
// names: the result depends on no other order.
func newLayout(ss []sample, sessions int, m memory, o Options) *layout {
	sheets := len(m)
	l := emptyLayout(sheets, sessions)
	e := newElectorate(ss, sheets, sessions, m, o)
	all := make([]int32, sheets)
	for i := range all {
		all[i] = int32(i)
	}
	l.voteSources(e)
	flat := emptyLayout(sheets, sessions)
	flat.common = l.common
	l.voteSheets(e, all)
	l.voteSheets(e, all)
	onPaper := make([][]shift, sessions)
	parallel.Each(sessions, o.Workers, func() func(int) {
		var b ballots
		return func(i int) { onPaper[i] = flat.voteSession(e, int32(i), &b) }
	})
	var b ballots
	for i := range sessions {
		for _, f := range append(onPaper[i], l.voteSession(e, int32(i), &b)...) {
			l.try(e, int32(i), f)
		}
	}
	l.voteSheets(e, all)
	l.untangle(e)
	return l
}

// voteSheets votes on some sheets, at once.
func (l *layout) voteSheets(e *electorate, which []int32) {
	next := make([]verdict, len(which))
	parallel.Each(len(which), e.o.Workers, func() func(int) {
		var b ballots
		return func(i int) { next[i] = l.voteSheet(e, which[i], &b) }
	})
	for i, s := range which {
		l.sheets[s] = next[i]
	}
}

// try gives a session an error and its sheets a new vote, and takes both back
// unless they explain the samples better.
func (l *layout) try(e *electorate, session int32, f shift) {
	touched := e.sheetsOf(e.bySession[session])
	concerned := append(e.samplesOf(touched), e.bySession[session]...)
	slices.Sort(concerned)
	concerned = slices.Compact(concerned)

	before := l.explains(e, concerned, touched, session)
	old := l.saved(touched)
	oldSession := l.sessions[session]
	l.sessions[session] = f
	l.voteSheets(e, touched)
	l.voteSheets(e, touched)
	need := sessionNats
	if oldSession != (shift{}) {
		need = 0 // wrong it is; the question is by how much
	}
	if l.explains(e, concerned, touched, session) > before+need {
		return
	}
	l.sessions[session] = oldSession
	l.restore(touched, old)
}

// sheetsOf are the sheets that some samples may belong to, in order.
func (e *electorate) sheetsOf(samples []int32) []int32 {
	var out []int32
	for _, at := range samples {
		for k := range e.ss[at].views {
			if s := e.ss[at].views[k].sheet; s >= 0 {
				out = append(out, s)
			}
		}
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// samplesOf are the samples that may belong to some sheets, in order.
func (e *electorate) samplesOf(sheets []int32) []int32 {
	var out []int32
	for _, s := range sheets {
		out = append(out, e.bySheet[s]...)
	}
	slices.Sort(out)
	return slices.Compact(out)
}

func (l *layout) saved(sheets []int32) []verdict {
	out := make([]verdict, len(sheets))
	for i, s := range sheets {
		out[i] = l.sheets[s]
	}
	return out
}

func (l *layout) restore(sheets []int32, old []verdict) {
	for i, s := range sheets {
		l.sheets[s] = old[i]
	}
}

// explains is the log weight of some samples under the layout, with the priors
// of the sheets and the session, if any, that are in question.
func (l *layout) explains(e *electorate, samples, sheets []int32, session int32) float64 {
	sum := 0.0
	if session >= 0 {
		sum = e.o.sessionPrior().log(l.sessions[session].east, l.sessions[session].north)
	}
	for _, s := range sheets {
		if ms := l.sheets[s].shifts; len(ms) > 0 {
			m := &ms[0]
			sum += e.o.sheetPrior().log(m.east, m.north)
		}
	}
	for _, at := range samples {
		s := &e.ss[at]
		best := unexplained
		for k := range s.views {
			v := &s.views[k]
			best = max(best, closeness(v.offset-l.sheetPart(v)-l.sessionPart(s.session, v), e.spreadM))
		}
		sum += e.weights[at] * logFit(best)
	}
	return sum
}

// sheetPart is what a view's offset should be by its sheet's likeliest shift,
// sessionPart by its session's error.
func (l *layout) sheetPart(v *view) float64 {
	if v.sheet < 0 || len(l.sheets[v.sheet].shifts) == 0 {
		return 0
	}
	m := &l.sheets[v.sheet].shifts[0]
	return v.east*m.east + v.north*m.north
}

func (l *layout) sessionPart(session int32, v *view) float64 {
	if session < 0 {
		return 0
	}
	f, g := &l.sessions[session], &l.common[session]
	return v.east*(f.east+g.east) + v.north*(f.north+g.north)
}

// session is what all positions of a session are off, with its source's part;
// known says whether the samples told it.
func (l *layout) session(i int) (total shift, known bool) {
	f, g := l.sessions[i], l.common[i]
	return f.plus(g), f.ee > 0 || g.ee > 0
}

// voteSession lists the errors of a session that its samples ask for on the map
// as it seems to lie: those that are more than noise and that several sheets
// speak for.
func (l *layout) voteSession(e *electorate, session int32, b *ballots) []shift {
	b.reset()
	for _, at := range e.bySession[session] {
		b.cast(e.ss[at].trace, e.weights[at])
		for _, v := range e.ss[at].views {
			v.offset -= l.sheetPart(&v) + v.east*l.common[session].east + v.north*l.common[session].north
			b.add(v)
		}
	}
	if len(b.list) < minRecords {
		return nil
	}
	var out []shift
	for _, m := range b.modes(e.forSessions) {
		if math.Hypot(m.east, m.north) > e.spreadM/2 && b.supports(&m, e.spreadM, func(v *view) int32 { return v.sheet }) {
			out = append(out, m.shift)
		}
	}
	return out
}

func (o *Options) sheetPrior() shiftPrior {
	return shiftPrior{o.SheetM, o.FarSheetM, o.FarShare}
}

func (o *Options) sessionPrior() shiftPrior {
	return shiftPrior{o.SessionM, o.WrongBaseM, o.WrongBaseShare}
}

// voteSheet is what the samples say of a sheet, by what is known of the rest.
func (l *layout) voteSheet(e *electorate, sheet int32, b *ballots) verdict {
	b.reset()
	for _, at := range e.bySheet[sheet] {
		s := &e.ss[at]
		b.cast(s.trace, e.weights[at])
		for _, v := range s.views {
			v.offset -= l.sessionPart(s.session, &v)
			if v.sheet == sheet {
				b.add(v)
			} else {
				b.explainedBy(closeness(v.offset-l.sheetPart(&v), e.spreadM))
			}
		}
	}
	if len(b.list) == 0 {
		return verdict{}
	}
	b.bridge()
	return e.memory.verdict(sheet, b, func() verdict {
		ms := b.modes(e.forSheets)
		return verdict{ms, b.supports(&ms[0], e.spreadM, func(v *view) int32 { return v.rec })}
	})
}
