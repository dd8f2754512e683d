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

// Traces matches every reading of every trace. The result has one slice per
// trace and one Match per reading, in the survey's order.
//
// prior is the adjusted model of an earlier round, whose sheet shifts are what
// this round expects of the map; nil in the first. The result depends on
// neither the number of workers nor the order of records and traces.
func Traces(s *survey.Survey, prior *survey.Model, o Options) [][]survey.Match {
	e := expect(s, prior, o)
	out := make([][]survey.Match, len(s.Traces))
	parallel.Each(len(s.Traces), o.Workers, func() func(int) {
		c := e.chain()
		var tru []trust
		return func(i int) {
			tr := &s.Traces[i]
			tru = judgeTrust(tr, &o, tru)
			c.observe(tr, sessionOf(e.sessions, tr), tru)
			c.solve()
			out[i] = c.matches(s, tr, tru)
		}
	})
	return out
}

// expectation is the map as the matcher walks it, and what is expected of it
// before a walk is looked at by itself.
type expectation struct {
	net      *network
	ps       *priors
	sessions map[string]int32
	humming  string
	o        Options
}

func expect(s *survey.Survey, prior *survey.Model, o Options) *expectation {
	sheets, sessions := sheetNames(s.Records), sessionNames(s.Traces)
	net := newNetwork(s, sheets, nil, o)
	ss := net.samples(s, sessions, voteM, o.Workers)
	l := newLayout(ss, len(sheets), len(sessions), o)
	if start := net.blunders(s, ss, l, len(sheets), o); start != nil {
		net = newNetwork(s, sheets, start, o)
		ss = net.samples(s, sessions, voteM, o.Workers)
		l = newLayout(ss, len(sheets), len(sessions), o)
	}
	ps := newPriors(l, net, s.Traces, sheets, sessions, prior, o)
	net.join(ps, o)
	return &expectation{net, ps, sessions, hums(s.Traces), o}
}

func (e *expectation) chain() *chain {
	return &chain{net: e.net, o: e.o, ps: e.ps, humming: e.humming}
}
