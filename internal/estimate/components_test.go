package estimate

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/mat"
	"pgregory.net/rapid"
)

// crossed is the model of a crossed study with a mean, as observations: unknown
// 0 the mean, then rows, columns and (with interaction) cells. Components: row,
// column, repeat, interaction.
func crossed(y [][][]float64, interaction bool) (n int, obs []Observation, group []int) {
	rows, cols := len(y), len(y[0])
	n = 1 + rows + cols
	if interaction {
		n += rows * cols
	}
	add := func(g int, at []int, value float64) {
		a := make([]float64, len(at))
		for q := range a {
			a[q] = 1
		}
		obs = append(obs, Observation{At: at, A: a, Value: value, Weight: 1})
		group = append(group, g)
	}
	for i := 1; i < n; i++ {
		switch {
		case i <= rows:
			add(0, []int{i}, 0)
		case i <= rows+cols:
			add(1, []int{i}, 0)
		default:
			add(3, []int{i}, 0)
		}
	}
	for i := range y {
		for j := range y[i] {
			at := []int{0, 1 + i, 1 + rows + j}
			if interaction {
				at = append(at, 1+rows+cols+i*cols+j)
			}
			for _, v := range y[i][j] {
				add(2, at, v)
			}
		}
	}
	return n, obs, group
}

func TestPenicillin(t *testing.T) {
	var p struct {
		Source   string  `json:"values_source"`
		Plate    float64 `json:"plate_variance"`
		Sample   float64 `json:"sample_variance"`
		Residual float64 `json:"residual_variance"`
		Mean     float64
		MeanSE   float64 `json:"mean_se"`
		Diameter [][]float64
	}
	published(t, "penicillin.json", &p)
	var y [][][]float64
	for _, plate := range p.Diameter {
		var row [][]float64
		for _, d := range plate {
			row = append(row, []float64{d})
		}
		y = append(y, row)
	}
	n, obs, group := crossed(y, false)
	v, fit, err := Components(n, obs, group, ComponentsOptions{})
	if err != nil {
		t.Fatal(err)
	}
	near(t, p.Source, "plate variance", v[0], p.Plate, 1e-4)
	near(t, p.Source, "sample variance", v[1], p.Sample, 1e-4)
	near(t, p.Source, "residual variance", v[2], p.Residual, 1e-4)
	near(t, p.Source, "mean", fit.X[0], p.Mean, 1e-4)
	near(t, p.Source, "standard error of the mean", math.Sqrt(fit.Factor.SelectedInverse().Variance(0)), p.MeanSE, 1e-4)
}

type gaugeValues struct {
	Source                    string
	Parts, Operators, Repeats int
	MeanSquares               map[string]float64 `json:"mean_squares"`
	Components, Reduced       map[string]float64
	Data                      [][]float64
}

func (p gaugeValues) check(t *testing.T, what string, c GaugeComponents, want map[string]float64) {
	t.Helper()
	got := map[string]float64{"part": c.Part, "operator": c.Operator, "interaction": c.Interaction, "repeat": c.Repeat}
	for name, w := range want {
		near(t, p.Source, what+" component of "+name, got[name], max(0, w), 6e-5)
	}
}

func TestGaugeMeanSquares(t *testing.T) {
	var p gaugeValues
	published(t, "gauge-10x3x2.json", &p)
	g := Gauge{
		Parts: p.Parts, Operators: p.Operators, Repeats: p.Repeats, PartMS: p.MeanSquares["part"],
		OperatorMS: p.MeanSquares["operator"], InteractionMS: p.MeanSquares["interaction"], RepeatMS: p.MeanSquares["repeat"],
	}
	p.check(t, "reduced", g.Components(true), p.Reduced)
}

func TestGaugeNegative(t *testing.T) {
	var p gaugeValues
	published(t, "montgomery-gauge-20x3x2.json", &p)
	var y [][][]float64
	for _, r := range p.Data {
		y = append(y, [][]float64{r[0:2], r[2:4], r[4:6]})
	}
	g, err := GaugeStudy(y)
	if err != nil {
		t.Fatal(err)
	}
	near(t, p.Source, "parts' mean square", g.PartMS, p.MeanSquares["part"], 6e-4)
	near(t, p.Source, "operators' mean square", g.OperatorMS, p.MeanSquares["operator"], 6e-4)
	near(t, p.Source, "interaction's mean square", g.InteractionMS, p.MeanSquares["interaction"], 6e-4)
	near(t, p.Source, "repeats' mean square", g.RepeatMS, p.MeanSquares["repeat"], 6e-4)
	p.check(t, "full", g.Components(false), p.Components)
	p.check(t, "reduced", g.Components(true), p.Reduced)

	// REML with the interaction in the model finds it zero, and then agrees with
	// the model without it.
	n, obs, group := crossed(y, true)
	v, _, err := Components(n, obs, group, ComponentsOptions{})
	if err != nil {
		t.Fatal(err)
	}
	if v[3] != 0 {
		t.Errorf("%s: the interaction's component is %g, not 0", p.Source, v[3])
	}
	p.check(t, "REML", GaugeComponents{Part: v[0], Operator: v[1], Repeat: v[2]}, p.Reduced)
}

func TestGaugeStudyRefuses(t *testing.T) {
	for name, y := range map[string][][][]float64{
		"nothing":       nil,
		"one part":      {{{1, 2}, {1, 2}}},
		"a missing one": {{{1, 2}, {1, 2}}, {{1, 2}}},
		"uneven":        {{{1, 2}, {1, 2}}, {{1, 2}, {1}}},
	} {
		if _, err := GaugeStudy(y); err == nil {
			t.Errorf("%s passes", name)
		}
	}
}

// TestREMLBalanced: on balanced data REML is the analysis of variance, where
// that has no negative component.
func TestREMLBalanced(t *testing.T) {
	compared := 0
	rapid.Check(t, func(t *rapid.T) {
		rng := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 3))
		rows, cols := rapid.IntRange(3, 8).Draw(t, "rows"), rapid.IntRange(3, 6).Draw(t, "cols")
		y := make([][][]float64, rows)
		col := make([]float64, cols)
		for j := range col {
			col[j] = 2 * rng.NormFloat64()
		}
		for i := range y {
			row := 3 * rng.NormFloat64()
			for j := range cols {
				cell := row + col[j] + 1.5*rng.NormFloat64()
				y[i] = append(y[i], []float64{cell + rng.NormFloat64(), cell + rng.NormFloat64()})
			}
		}
		g, err := GaugeStudy(y)
		if err != nil {
			t.Fatal(err)
		}
		n, obs, group := crossed(y, true)
		v, _, err := Components(n, obs, group, ComponentsOptions{})
		if err != nil {
			t.Fatal(err)
		}
		for k, s := range v {
			if math.IsNaN(s) || s < 0 {
				t.Fatalf("component %d is %v", k, s)
			}
		}
		c := g.Components(false)
		if c.Part == 0 || c.Operator == 0 || c.Interaction == 0 {
			return
		}
		compared++
		for k, want := range []float64{c.Part, c.Operator, c.Repeat, c.Interaction} {
			if math.Abs(v[k]-want) > 1e-6*(1+want) {
				t.Fatalf("component %d is %v by REML, %v by analysis of variance", k, v[k], want)
			}
		}
	})
	if compared < 5 {
		t.Errorf("only %d studies compared", compared)
	}
}

// TestREMLStationary: on unbalanced data the estimate maximises the restricted
// likelihood, worked out densely: log |V| + log |X'V^-1 X| + y'Py.
func TestREMLStationary(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		rng := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 4))
		const groups, n = 8, 40
		effect := make([]float64, groups)
		for g := range effect {
			effect[g] = 2 * rng.NormFloat64()
		}
		in, y := make([]int, n), make([]float64, n)
		var obs []Observation
		var component []int
		for g := range groups {
			obs = append(obs, Observation{At: []int{1 + g}, A: []float64{1}, Weight: 1})
			component = append(component, 0)
		}
		for k := range n {
			in[k] = rng.IntN(groups)
			y[k] = 5 + effect[in[k]] + rng.NormFloat64()
			obs = append(obs, Observation{At: []int{0, 1 + in[k]}, A: []float64{1, 1}, Value: y[k], Weight: 1})
			component = append(component, 1)
		}
		v, _, err := Components(1+groups, obs, component, ComponentsOptions{Start: []float64{1, 3}})
		if err != nil {
			t.Fatal(err)
		}
		best := minusTwoREML(in, y, v[0], v[1])
		for _, d := range []float64{0.97, 1.03} {
			if worse := minusTwoREML(in, y, v[0]*d, v[1]); worse < best-1e-9 {
				t.Fatalf("%v: group variance times %v is better", v, d)
			}
			if worse := minusTwoREML(in, y, v[0], v[1]*d); worse < best-1e-9 {
				t.Fatalf("%v: residual variance times %v is better", v, d)
			}
		}
	})
}

func minusTwoREML(in []int, y []float64, group, residual float64) float64 {
	n := len(y)
	v := mat.NewSymDense(n, nil)
	for i := range n {
		for j := range i + 1 {
			s := 0.0
			if in[i] == in[j] {
				s = group
			}
			if i == j {
				s += residual
			}
			v.SetSym(i, j, s)
		}
	}
	var chol mat.Cholesky
	chol.Factorize(v)
	ones := mat.NewVecDense(n, nil)
	for i := range n {
		ones.SetVec(i, 1)
	}
	var vx, vy mat.VecDense
	_ = chol.SolveVecTo(&vx, ones)
	_ = chol.SolveVecTo(&vy, mat.NewVecDense(n, y))
	xvx := mat.Dot(ones, &vx)
	xvy := mat.Dot(ones, &vy)
	return chol.LogDet() + math.Log(xvx) + mat.Dot(mat.NewVecDense(n, y), &vy) - xvy*xvy/xvx
}

// TestUpdatesAgree: at the estimate, the EM and Foerstner updates stand still.
func TestUpdatesAgree(t *testing.T) {
	var p struct {
		Source   string `json:"values_source"`
		Diameter [][]float64
	}
	published(t, "penicillin.json", &p)
	var y [][][]float64
	for _, plate := range p.Diameter {
		var row [][]float64
		for _, d := range plate {
			row = append(row, []float64{d})
		}
		y = append(y, row)
	}
	n, obs, group := crossed(y, false)
	v, _, err := Components(n, obs, group, ComponentsOptions{})
	if err != nil {
		t.Fatal(err)
	}
	fit, cs, err := components(n, obs, group, v)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "lme4 1.1-31", "REML criterion", Deviance(fit.Factor, cs)+float64(len(y)*len(y[0])-1)*math.Log(2*math.Pi), 330.9, 0.05)
	redundancy := 0.0
	for k, c := range cs {
		near(t, "REML fixed point", "EM update", c.EM(), v[k], 1e-7)
		near(t, "REML fixed point", "Foerstner update", c.Foerstner(), v[k], 1e-7)
		redundancy += c.Redundancy()
	}
	near(t, "Helmert", "sum of redundancies", redundancy, float64(fit.Freedom), 1e-9)
}
