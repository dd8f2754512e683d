// Package match finds the record that each reading belongs to.
//
// It is a hidden Markov model over each trace, after Newson and Krumm, "Hidden
// Markov Map Matching Through Noise and Sparseness" (2009), changed for buried
// lines, whose map is wrong in ways that hold for a whole sheet: see chain.
package match

import (
	"github.com/asfound/asfound/internal/parallel"
	"github.com/asfound/asfound/pipeline/survey"
)

// Ground is what is known of a survey before its walks are looked at one by one:
// the map as the matcher walks it, and how whole sheets and sessions seem to lie.
// It depends on no adjusted model, so one serves every round. It is read-only.
type Ground struct {
	survey           *survey.Survey
	o                Options
	net              *network
	layout           *layout
	sheets, sessions map[string]int32
	humming          string
}

// Prepare finds the ground of a survey.
func Prepare(s *survey.Survey, o Options) *Ground {
	g := &Ground{survey: s, o: o, sheets: sheetNames(s.Records), sessions: sessionNames(s.Traces), humming: hums(s.Traces)}
	votes := make(memory, len(g.sheets))
	g.net = newNetwork(s, g.sheets, o)
	samples := g.vote(votes)
	if start := g.net.blunders(s, samples, g.layout, len(g.sheets), o); start != nil {
		g.net = g.net.moved(start, o)
		g.vote(votes)
	}
	g.net.meet(o)
	return g
}

// vote has the walks vote on the map as it is laid out.
func (g *Ground) vote(votes memory) []sample {
	ss := g.net.samples(g.survey, g.sessions, voteM, g.o.Workers)
	g.layout = newLayout(ss, len(g.sessions), votes, g.o)
	return ss
}

// Traces matches every reading of every trace. The result has one slice per
// trace and one Match per reading, in the survey's order.
//
// prior is the adjusted model of an earlier round, whose sheet shifts are what
// this round expects of the map; nil in the first. The result depends on
// neither the number of workers nor the order of records and traces.
func (g *Ground) Traces(prior *survey.Model) [][]survey.Match {
	e := g.expect(prior)
	out := make([][]survey.Match, len(g.survey.Traces))
	parallel.Each(len(out), g.o.Workers, func() func(int) {
		w := e.worker()
		return func(i int) { out[i] = w.match(&g.survey.Traces[i]) }
	})
	return out
}

// Traces prepares a survey and matches it once.
func Traces(s *survey.Survey, prior *survey.Model, o Options) [][]survey.Match {
	return Prepare(s, o).Traces(prior)
}

// expectation is the ground as a round expects it.
type expectation struct {
	*Ground
	web *web
	ps  *priors
}

func (g *Ground) expect(prior *survey.Model) *expectation {
	ps := newPriors(g.layout, g.net, g.survey.Traces, g.sheets, g.sessions, prior, g.o)
	return &expectation{g, g.net.join(ps, g.o), ps}
}

// worker matches one walk after the other, in the same memory.
type worker struct {
	*expectation
	chain chain
	trust []trust
}

func (e *expectation) worker() *worker {
	return &worker{expectation: e, chain: chain{net: e.web, o: e.o, ps: e.ps, humming: e.humming}}
}

func (w *worker) match(tr *survey.Trace) []survey.Match {
	w.trust = judgeTrust(tr, &w.o, w.trust)
	w.chain.observe(tr, sessionOf(w.sessions, tr), w.trust)
	w.chain.solve()
	return w.chain.matches(w.survey, tr, w.trust)
}
