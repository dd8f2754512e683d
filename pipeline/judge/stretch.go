package judge

import (
	"math"

	"github.com/asfound/asfound/pipeline/survey"
)

// span is a surveyed part of a record with the nodes around it.
type span struct {
	survey.Span
	first, last int // nodes[first].StationM <= FromM, nodes[last].StationM >= ToM, where there are any
}

// spans lists a record's surveyed parts that have a length.
func spans(p *survey.Profile, maxGapM float64) []span {
	var out []span
	for _, s := range p.Surveyed(maxGapM) {
		if s.LengthM() > 0 {
			out = append(out, around(p.Nodes, s))
		}
	}
	return out
}

// around finds the nodes around a span.
func around(nodes []survey.Node, s survey.Span) span {
	out := span{s, -1, -1}
	for k := range nodes {
		n := &nodes[k]
		if n.Part != s.Part {
			continue
		}
		if out.first < 0 || n.StationM <= s.FromM {
			out.first = k
		}
		if out.last < 0 || nodes[out.last].StationM < s.ToM {
			out.last = k
		}
	}
	return out
}

// drawn is a record's profile and its joint draws.
type drawn struct {
	*survey.Profile
	draws   [][]float32
	without func(record int) []survey.Without // nil: unknown
}

func withDraws(m *survey.Model, record int) drawn {
	p := drawn{Profile: &m.Profiles[record], without: m.Without}
	if m.Draws != nil {
		p.draws = m.Draws(record)
	}
	return p
}

// judgePosition fills the positional verdict of a record and its stretches.
func judgePosition(j *survey.Judgement, p drawn, o Options) {
	limit := j.Tolerance.HorizontalM
	all := spans(p.Profile, o.MaxGapM)
	if len(all) == 0 {
		return
	}
	for _, s := range all {
		j.CoveredM += s.LengthM()
	}
	hits := 0
	for _, d := range p.draws {
		for _, s := range all {
			if beyondThroughout(p.Nodes, d, s, limit, math.Min(o.MinStretchM, s.LengthM())) {
				hits++
				break
			}
		}
	}
	j.Probability = share(hits, len(p.draws))
	j.Position = o.verdict(j.Probability)
	for _, s := range all {
		j.Stretches = append(j.Stretches, cut(p, s, limit, o)...)
	}
	settle(j)
	for _, st := range j.Stretches {
		length := st.ToM - st.FromM
		switch st.Verdict {
		case survey.VerdictOutside:
			j.OutsideM += length
		case survey.VerdictWithin:
			j.WithinM += length
		default:
			j.UndecidedM += length
		}
		if math.Abs(st.WorstM) >= math.Abs(j.WorstM) {
			j.WorstM, j.WorstU = st.WorstM, st.WorstU
		}
	}
}

// share is the estimate of a probability from hits in n draws: with half a hit
// either way, as n draws cannot tell 0 from a half in n.
func share(hits, n int) float64 {
	if n == 0 {
		return 0.5
	}
	if hits == 0 {
		return 0.5 / float64(n+1)
	}
	if hits == n {
		return 1 - 0.5/float64(n+1)
	}
	return float64(hits) / float64(n)
}

// beyondThroughout says whether in one draw some stretch of a span, at least
// lengthM long, lies beyond the limit throughout. Offsets between nodes are
// linear.
func beyondThroughout(nodes []survey.Node, draw []float32, s span, limit, lengthM float64) bool {
	run := 0.0 // length beyond up to here
	for k := s.first; k < s.last; k++ {
		sa, sb := nodes[k].StationM, nodes[k+1].StationM
		va, vb := float64(draw[k]), float64(draw[k+1])
		if sa < s.FromM {
			va, sa = va+(vb-va)*(s.FromM-sa)/(sb-sa), s.FromM
		}
		if sb > s.ToM {
			vb, sb = va+(vb-va)*(s.ToM-sa)/(sb-sa), s.ToM
		}
		if math.Abs(va) <= limit {
			run = 0
		}
		enter, leave := crossing(va, vb, limit)
		switch {
		case enter >= leave: // nowhere beyond
			run = 0
		case enter > 0:
			run = (leave - enter) * (sb - sa)
		default:
			run += leave * (sb - sa)
		}
		if run >= lengthM-1e-9 && run > 0 {
			return true
		}
		if leave < 1 {
			run = 0
		}
	}
	return false
}

// crossing is the share of the way from va to vb between which |v| > limit; the
// longer of the two where the line runs from one side of the tolerance to the
// other.
func crossing(va, vb, limit float64) (enter, leave float64) {
	a, b := math.Abs(va) > limit, math.Abs(vb) > limit
	at := func(v float64) float64 { return (v - va) / (vb - va) }
	switch {
	case a && b && va*vb > 0:
		return 0, 1
	case a && b:
		if out := at(math.Copysign(limit, va)); out >= 0.5 {
			return 0, out
		}
		return at(math.Copysign(limit, vb)), 1
	case a:
		return 0, at(math.Copysign(limit, va))
	case b:
		return at(math.Copysign(limit, vb)), 1
	}
	return 1, 0
}

// cut splits a span into stretches of one verdict each, by the probability at
// each place, and then asks of every stretch beyond the tolerance the joint
// probability too.
func cut(p drawn, s span, limit float64, o Options) []survey.Stretch {
	var out []survey.Stretch
	for k := s.first; k < s.last; k++ {
		a, b := &p.Nodes[k], &p.Nodes[k+1]
		from, to := math.Max(a.StationM, s.FromM), math.Min(b.StationM, s.ToM)
		if to <= from {
			continue
		}
		pa, pb := beyond(a.OffsetM, a.OffsetU, limit), beyond(b.OffsetM, b.OffsetU, limit)
		v := o.verdict((pa + pb) / 2)
		if n := len(out); n > 0 && out[n-1].Verdict == v {
			out[n-1].ToM = to
		} else {
			out = append(out, survey.Stretch{Part: s.Part, FromM: from, ToM: to, Verdict: v})
		}
	}
	out = mergeShort(out, o.MinStretchM)
	for i := range out {
		weigh(&out[i], p, s, limit, o)
	}
	return out
}

// mergeShort gives stretches that are too short for a verdict of their own to
// the longer neighbour.
func mergeShort(in []survey.Stretch, minM float64) []survey.Stretch {
	for len(in) > 1 {
		short, length := -1, minM
		for i := range in {
			if l := in[i].ToM - in[i].FromM; l < length {
				short, length = i, l
			}
		}
		if short < 0 {
			return in
		}
		into := short - 1
		if into < 0 || short+1 < len(in) && in[short+1].ToM-in[short+1].FromM > in[into].ToM-in[into].FromM {
			into = short + 1
		}
		in[into].FromM = math.Min(in[into].FromM, in[short].FromM)
		in[into].ToM = math.Max(in[into].ToM, in[short].ToM)
		in = append(in[:short], in[short+1:]...)
		in = joinEqual(in)
	}
	return in
}

func joinEqual(in []survey.Stretch) []survey.Stretch {
	out := in[:0]
	for _, st := range in {
		if n := len(out); n > 0 && out[n-1].Verdict == st.Verdict {
			out[n-1].ToM = st.ToM
		} else {
			out = append(out, st)
		}
	}
	return out
}

// weigh fills a stretch's worst place and joint probability, and takes back an
// outside that the joint probability does not bear.
func weigh(st *survey.Stretch, p drawn, s span, limit float64, o Options) {
	worst := -1
	for k := s.first; k <= s.last; k++ {
		n := &p.Nodes[k]
		if n.StationM < st.FromM-1e-9 || n.StationM > st.ToM+1e-9 {
			continue
		}
		if worst < 0 || math.Abs(n.OffsetM) > math.Abs(p.Nodes[worst].OffsetM) {
			worst = k
		}
	}
	if worst < 0 { // between two nodes
		worst = s.first
	}
	st.WorstM, st.WorstU = p.Nodes[worst].OffsetM, p.Nodes[worst].OffsetU
	part := around(p.Nodes, survey.Span{Part: st.Part, FromM: st.FromM, ToM: st.ToM})
	hits := 0
	for _, d := range p.draws {
		if beyondThroughout(p.Nodes, d, part, limit, math.Min(o.MinStretchM, part.LengthM())) {
			hits++
		}
	}
	st.Probability = share(hits, len(p.draws))
	if st.Verdict == survey.VerdictOutside {
		st.Verdict = o.verdict(st.Probability)
	}
}

// settle makes a record's verdict and its stretches' agree: a record that is
// outside has a stretch that is, one that is undecided has an undecided one,
// one that is within has neither.
func settle(j *survey.Judgement) {
	best := 0
	found := false
	for i := range j.Stretches {
		st := &j.Stretches[i]
		if st.Verdict == survey.VerdictOutside && j.Position != survey.VerdictOutside {
			st.Verdict = survey.VerdictUndecided
		}
		if j.Position == survey.VerdictWithin {
			st.Verdict = survey.VerdictWithin
		}
		found = found || st.Verdict == j.Position
		if st.Probability > j.Stretches[best].Probability {
			best = i
		}
	}
	if !found && len(j.Stretches) > 0 {
		j.Stretches[best].Verdict = j.Position
	}
}
