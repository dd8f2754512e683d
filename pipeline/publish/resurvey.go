package publish

import "github.com/asfound/asfound/pipeline/survey"

// orderCaution stands wherever the order to survey in does.
const orderCaution = "Tickets are no random sample of the ground: the promises hold for stretches like those that were surveyed. A control sample (resurvey.control) is drawn at random, in proportion to length and without replacement, from what is left of the areas that packages go to. It comes without inclusion probabilities, so that no estimate from it is unbiased as it stands, and it tells nothing of areas that no package goes to."

// bought is what a sum of money buys, in the order to survey in.
type bought struct {
	Money     float64 `json:"money"`
	Packages  int     `json:"packages"`
	Stretches int     `json:"stretches"`
	LengthM   float64 `json:"length_m"`
	Cost      float64 `json:"cost"`
	Benefit   float64 `json:"benefit"`
}

// buys adds up the order as far as the money goes.
func (e *edition) buys(money float64) bought {
	b := bought{Money: money}
	for i := range e.Resurvey {
		v := &e.Resurvey[i]
		if v.CumulativeCost > money {
			break
		}
		b.Packages, b.Stretches, b.Cost = v.Package, b.Stretches+1, v.CumulativeCost
		b.LengthM, b.Benefit = b.LengthM+v.LengthM, b.Benefit+v.Benefit
	}
	b.LengthM, b.Cost, b.Benefit = rounded(b.LengthM, 3), rounded(b.Cost, 2), rounded(b.Benefit, 3)
	return b
}

// benefit is what all of the order is expected to resolve, weighted metres.
func (e *edition) benefit() (sum float64) {
	for i := range e.Resurvey {
		sum += e.Resurvey[i].Benefit
	}
	return sum
}

// resurveyCount is the re-survey in the summary.
type resurveyCount struct {
	Stretches int     `json:"stretches"`
	InBudget  int     `json:"in_budget"`
	LengthM   float64 `json:"in_budget_length_m"`
	Cost      float64 `json:"in_budget_cost"`
	Benefit   float64 `json:"benefit"` // of all, weighted metres
	// What the budget buys and what twice the budget would; none without a budget.
	Budget      *bought             `json:"budget"`
	Twice       *bought             `json:"twice_the_budget"`
	Sample      string              `json:"sample"`
	Calibration []calibrationCounts `json:"calibration"`
}

// calibrationCounts is promised against found on surveyed records.
type calibrationCounts struct {
	LeftOut     survey.LeftOut   `json:"left_out"`
	Records     int              `json:"records"`
	Outside     float64          `json:"outside"`
	Brier       float64          `json:"brier"`
	Reliability float64          `json:"reliability"`
	Resolution  float64          `json:"resolution"`
	Uncertainty float64          `json:"uncertainty"`
	Within      float64          `json:"within_tenths"`
	Tenths      []promisedTenths `json:"tenths"`
}

// promisedTenths is the records that were promised one tenth of probability.
type promisedTenths struct {
	From     float64 `json:"from"`
	Records  int     `json:"records"`
	Promised float64 `json:"promised"`
	Found    float64 `json:"found"`
}

// countResurvey adds up the order and says how well promises like its own held.
func (e *edition) countResurvey() resurveyCount {
	c := resurveyCount{Stretches: len(e.Resurvey), Benefit: rounded(e.benefit(), 3), Sample: orderCaution, Calibration: []calibrationCounts{}}
	for i := range e.Resurvey {
		if v := &e.Resurvey[i]; v.InBudget {
			c.InBudget++
			c.LengthM += v.LengthM
			c.Cost = max(c.Cost, v.CumulativeCost)
		}
	}
	c.LengthM, c.Cost = rounded(c.LengthM, 3), rounded(c.Cost, 2)
	if e.ResurveyBudget > 0 {
		once, twice := e.buys(e.ResurveyBudget), e.buys(2*e.ResurveyBudget)
		c.Budget, c.Twice = &once, &twice
	}
	for i := range e.Calibration {
		v := &e.Calibration[i]
		counts := calibrationCounts{
			LeftOut: v.LeftOut, Records: v.Cases, Outside: rounded(v.Outside, 4), Brier: rounded(v.Brier, 4), Reliability: rounded(v.Reliability, 4),
			Resolution: rounded(v.Resolution, 4), Uncertainty: rounded(v.Uncertainty, 4), Within: rounded(v.Within, 4), Tenths: []promisedTenths{},
		}
		for k := range v.Tenths {
			t := &v.Tenths[k]
			counts.Tenths = append(counts.Tenths, promisedTenths{float64(k) / 10, t.Cases, rounded(t.Promised, 4), rounded(t.Found, 4)})
		}
		c.Calibration = append(c.Calibration, counts)
	}
	return c
}
