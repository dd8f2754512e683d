package estimate

import "errors"

// Gauge is the analysis of variance of a crossed gauge study: parts measured by
// operators (or lines by crews), each pair as often.
type Gauge struct {
	Parts, Operators, Repeats int
	PartMS, OperatorMS        float64 // mean squares
	InteractionMS, RepeatMS   float64
}

// GaugeComponents are variances; one that the mean squares put below zero is 0.
type GaugeComponents struct {
	Part, Operator, Interaction, Repeat float64
}

// GaugeStudy is the two-way analysis of variance of y[part][operator][repeat]
// (Montgomery, Design and Analysis of Experiments, section 13.3).
func GaugeStudy(y [][][]float64) (Gauge, error) {
	g := Gauge{Parts: len(y)}
	if g.Parts > 0 {
		g.Operators = len(y[0])
	}
	if g.Operators > 0 {
		g.Repeats = len(y[0][0])
	}
	if g.Parts < 2 || g.Operators < 2 || g.Repeats < 2 {
		return Gauge{}, errors.New("estimate: a gauge study needs two or more parts, operators and repeats")
	}
	p, o, r := float64(g.Parts), float64(g.Operators), float64(g.Repeats)
	grand, part, operator := 0.0, make([]float64, g.Parts), make([]float64, g.Operators)
	cell := make([][]float64, g.Parts)
	for i := range y {
		cell[i] = make([]float64, g.Operators)
		if len(y[i]) != g.Operators {
			return Gauge{}, errors.New("estimate: a gauge study needs every part measured by every operator")
		}
		for j := range y[i] {
			if len(y[i][j]) != g.Repeats {
				return Gauge{}, errors.New("estimate: a gauge study needs as many repeats of every pair")
			}
			for _, v := range y[i][j] {
				cell[i][j] += v / r
			}
			part[i] += cell[i][j] / o
			operator[j] += cell[i][j] / p
		}
		grand += part[i] / p
	}
	var ssPart, ssOperator, ssInteraction, ssRepeat float64
	for i := range y {
		ssPart += o * r * square(part[i]-grand)
		for j := range y[i] {
			ssInteraction += r * square(cell[i][j]-part[i]-operator[j]+grand)
			for _, v := range y[i][j] {
				ssRepeat += square(v - cell[i][j])
			}
		}
	}
	for j := range operator {
		ssOperator += p * r * square(operator[j]-grand)
	}
	g.PartMS = ssPart / (p - 1)
	g.OperatorMS = ssOperator / (o - 1)
	g.InteractionMS = ssInteraction / ((p - 1) * (o - 1))
	g.RepeatMS = ssRepeat / (p * o * (r - 1))
	return g, nil
}

// Components of the study. Reduced leaves the interaction out: its mean square
// is pooled with the repeats'.
func (g Gauge) Components(reduced bool) GaugeComponents {
	p, o, r := float64(g.Parts), float64(g.Operators), float64(g.Repeats)
	c, rest := GaugeComponents{Repeat: g.RepeatMS}, g.InteractionMS
	if reduced {
		between, within := (p-1)*(o-1), p*o*(r-1)
		rest = (between*g.InteractionMS + within*g.RepeatMS) / (between + within)
		c.Repeat = rest
	} else {
		c.Interaction = max(0, (g.InteractionMS-g.RepeatMS)/r)
	}
	c.Part = max(0, (g.PartMS-rest)/(o*r))
	c.Operator = max(0, (g.OperatorMS-rest)/(p*r))
	return c
}

func square(x float64) float64 { return x * x }
