package judge

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"github.com/paulmach/orb"

	"github.com/asfound/asfound/internal/lineref"
	"github.com/asfound/asfound/pipeline/survey"
)

// Where says which records a rule is for. An empty condition is no condition.
type Where struct {
	Utility, Quality, Material, Sheet []string // one of these, in any case of letters
	District                          string   // the record lies in it with at least half of its length
	FromM, BelowM                     float64  // recorded diameter: FromM <= diameter < BelowM; 0 no limit
}

// Limits are a tolerance.
type Limits struct {
	HorizontalM, DepthM float64
	HalfWidth           bool   // half the recorded diameter is added across the line, where there is one
	Words               string // as a report says it
	Source              string // the published class that it is; "" of one's own
}

// Rule is a tolerance and the records it is for.
type Rule struct {
	Where
	Limits
	// Shares of the recorded cover: across the line where that is more than
	// HorizontalM, in depth instead of DepthM. 0 none.
	HorizontalShare, DepthShare float64
}

// Caught is the rule that catches each record, the first that it meets: its
// index in o.Rules, -1 for the default.
func (o *Options) Caught(s *survey.Survey) []int {
	return caught(s, len(o.Rules), func(i int) *Where { return &o.Rules[i].Where })
}

// CoverCaught and ZoneCaught are the same for the rules of minimum cover and of
// tolerance zones; -1 where no rule is for a record.
func (o *Options) CoverCaught(s *survey.Survey) []int {
	return caught(s, len(o.Cover), func(i int) *Where { return &o.Cover[i].Where })
}

func (o *Options) ZoneCaught(s *survey.Survey) []int {
	return caught(s, len(o.Zones), func(i int) *Where { return &o.Zones[i].Where })
}

// Widthless counts the records whose tolerance would have half their diameter in
// it, if it were recorded.
func (o *Options) Widthless(s *survey.Survey) int {
	n := 0
	for r, rule := range o.Caught(s) {
		half := o.Default.HalfWidth
		if rule >= 0 {
			half = o.Rules[rule].HalfWidth
		}
		if half && math.IsNaN(s.Records[r].DiameterM) {
			n++
		}
	}
	return n
}

// UnknownDistricts are the districts that rules name and no file holds.
func (o *Options) UnknownDistricts(s *survey.Survey) []string {
	var wheres []*Where
	for i := range o.Rules {
		wheres = append(wheres, &o.Rules[i].Where)
	}
	for i := range o.Cover {
		wheres = append(wheres, &o.Cover[i].Where)
	}
	for i := range o.Zones {
		wheres = append(wheres, &o.Zones[i].Where)
	}
	var out []string
	for _, w := range wheres {
		known := w.District == "" || slices.ContainsFunc(s.Districts, func(d survey.Area) bool { return d.Name == w.District })
		if !known && !slices.Contains(out, w.District) {
			out = append(out, w.District)
		}
	}
	return out
}

// caught is the index of the first of n conditions that each record meets, -1
// where it meets none.
func caught(s *survey.Survey, n int, where func(int) *Where) []int {
	districts := map[string]orb.MultiPolygon{}
	for i := range s.Districts {
		d := &s.Districts[i]
		districts[d.Name] = append(districts[d.Name], d.Polygon...)
	}
	out := make([]int, len(s.Records))
	for r := range s.Records {
		out[r] = -1
		for i := 0; i < n && out[r] < 0; i++ {
			if where(i).meets(&s.Records[r], districts) {
				out[r] = i
			}
		}
	}
	return out
}

func (w *Where) meets(rec *survey.Record, districts map[string]orb.MultiPolygon) bool {
	is := func(want []string, have string) bool {
		return len(want) == 0 || slices.ContainsFunc(want, func(w string) bool { return strings.EqualFold(w, have) })
	}
	if !is(w.Utility, rec.Utility) || !is(w.Quality, rec.Quality) || !is(w.Material, rec.Material) || !is(w.Sheet, rec.Sheet) {
		return false
	}
	// An unknown diameter meets no condition on it.
	if w.FromM > 0 && !(rec.DiameterM >= w.FromM) || w.BelowM > 0 && !(rec.DiameterM < w.BelowM) {
		return false
	}
	if w.District == "" {
		return true
	}
	polygon := districts[w.District]
	if !polygon.Bound().Intersects(rec.Parts.Bound()) {
		return false
	}
	line := lineref.New(rec.Parts, rec.Scale)
	_, _, ok := inside(&line, polygon)
	return ok
}

// tolerance is that of a record which a rule catches; rule -1 is the default.
func (o *Options) tolerance(rec *survey.Record, rule int) survey.Tolerance {
	l, horizontalShare, depthShare := o.Default, 0.0, 0.0
	if rule >= 0 {
		r := &o.Rules[rule]
		l, horizontalShare, depthShare = r.Limits, r.HorizontalShare, r.DepthShare
	}
	if rec.CoverM > 0 { // not NaN
		l.HorizontalM = max(l.HorizontalM, horizontalShare*rec.CoverM)
		if depthShare > 0 {
			l.DepthM = depthShare * rec.CoverM
		}
	}
	if l.HalfWidth && !math.IsNaN(rec.DiameterM) {
		l.HorizontalM += rec.DiameterM / 2
	}
	return survey.Tolerance{HorizontalM: l.HorizontalM, DepthM: l.DepthM, Rule: l.Words, Source: l.Source}
}

// ToleranceWords say a tolerance as a report does, after the records it is for.
func ToleranceWords(who string, r Rule) string {
	across, depth := fmt.Sprintf("%g m", r.HorizontalM), fmt.Sprintf("%g m", r.DepthM)
	if r.HorizontalShare > 0 {
		across += fmt.Sprintf(" or %g %% of the recorded cover, whichever is more", 100*r.HorizontalShare)
	}
	if r.DepthShare > 0 {
		depth = fmt.Sprintf("%g %% of the recorded cover", 100*r.DepthShare)
	}
	if r.HalfWidth {
		across += " and half the recorded diameter"
	}
	return fmt.Sprintf("%s: horizontal %s, depth %s", who, across, depth)
}
