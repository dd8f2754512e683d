package judge

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"github.com/paulmach/orb"

	"github.com/asfound/asfound/internal/lineref"
	"github.com/asfound/asfound/pipeline/survey"
)

// ZoneRule is a law's tolerance zone around a mark and the records it is for.
type ZoneRule struct {
	Where
	EachSideM          float64
	HalfWidth          bool   // half the line's width is added: the marks show it
	Law, Source, Words string // as in CoverRule
}

// localLaw goes with every statement on a mark.
const localLaw = "The local law decides what zone holds. This compares positions and assigns no liability."

// Marks holds what crews marked against the places where lines were exposed: one
// check a row of marks beside an exposure, in the order of exposures and rows, and
// a finding where the marked line lies beyond the tolerance zone or may do so.
//
// The marked line is the straight one between the two marks around the exposed
// place, or the parallel to the record through a mark that is next to it. Marks
// and exposure are held against each other only where both are sure to be of one
// record; what is near an exposure and is not gets a check with the reason.
func Marks(s *survey.Survey, matches [][]survey.Match, marks, exposed []survey.Match, m *survey.Model, o Options) ([]survey.MarkCheck, []survey.Finding) {
	if len(o.Zones) == 0 || len(marks) == 0 {
		return nil, nil
	}
	zones, rows, read := o.ZoneCaught(s), markRows(s, marks), o.samples(s, matches, exposed, m)
	bounds := rowBounds(s, rows, o.Positions.NearM)
	var checks []survey.MarkCheck
	var findings []survey.Finding
	for i := range s.Exposures {
		x := &exposed[i]
		zone := -1
		if x.Record >= 0 {
			zone = zones[x.Record]
		}
		for n, row := range rows {
			if !bounds[n].Contains(s.Exposures[i].Point) || zone < 0 && x.Record >= 0 {
				continue
			}
			near := o.nearby(s, row, &s.Exposures[i])
			if len(near) == 0 {
				continue
			}
			c := survey.MarkCheck{Exposure: i, Marks: near, Record: x.Record, OffsetM: math.NaN(), OffsetU: math.NaN(), Probability: math.NaN(), ZoneM: math.NaN(), MapM: math.NaN()}
			c.Reason = apart(s, &marks[near[0]], x, &s.Marks[near[0]], &s.Exposures[i])
			if c.Reason == "" {
				c.Reason = o.unmapped(s, read[x.Record], &c)
			}
			if c.Reason == "" {
				o.hold(s, marks, x, m, row, &o.Zones[zone], &c)
			}
			if checks = append(checks, c); c.Verdict == survey.VerdictOutside || c.Verdict == survey.VerdictUndecided {
				findings = append(findings, markFinding(s, &c, o))
			}
		}
	}
	return checks, findings
}

// markRows parts marks by who made them when and for what, and by the record that
// they were matched to; each row in the order of its stations.
func markRows(s *survey.Survey, marks []survey.Match) [][]int {
	order := make([]int, len(s.Marks))
	for i := range order {
		order[i] = i
	}
	row := func(a, b int) int {
		x, y := &s.Marks[a], &s.Marks[b]
		return cmp.Or(cmp.Compare(x.Ticket, y.Ticket), cmp.Compare(x.Utility, y.Utility), cmp.Compare(x.Crew, y.Crew),
			cmp.Compare(x.Session, y.Session), cmp.Compare(marks[a].Record, marks[b].Record), cmp.Compare(marks[a].Part, marks[b].Part))
	}
	slices.SortStableFunc(order, func(a, b int) int {
		x, y := &s.Marks[a], &s.Marks[b]
		return cmp.Or(row(a, b), cmp.Compare(marks[a].StationM, marks[b].StationM), cmp.Compare(x.File, y.File), cmp.Compare(x.Row, y.Row))
	})
	var rows [][]int
	for k, i := range order {
		if k > 0 && row(order[k-1], i) == 0 {
			rows[len(rows)-1] = append(rows[len(rows)-1], i)
			continue
		}
		rows = append(rows, []int{i})
	}
	return rows
}

// rowBounds are the boxes in which an exposure may be near a row.
func rowBounds(s *survey.Survey, rows [][]int, nearM float64) []orb.Bound {
	out := make([]orb.Bound, len(rows))
	for n, row := range rows {
		box := s.Marks[row[0]].Point.Bound()
		for _, k := range row {
			box = box.Extend(s.Marks[k].Point)
		}
		out[n] = box.Pad(nearM)
	}
	return out
}

// nearby are the marks of a row near an exposure: those within a distance of it,
// and those that a line within it joins. What is known to be of another utility is
// no case at all.
func (o *Options) nearby(s *survey.Survey, row []int, e *survey.Exposure) (out []int) {
	if u := s.Marks[row[0]].Utility; u != "" && e.Utility != "" && !strings.EqualFold(u, e.Utility) {
		return nil
	}
	beside := func(a, b orb.Point) bool {
		line := lineref.New(orb.MultiLineString{{a, b}}, 1)
		return math.Abs(line.OnSegment(0, 0, e.Point).OffsetM) <= o.Positions.NearM
	}
	for n, k := range row {
		at := s.Marks[k].Point
		near := distance(at, e.Point) <= o.Positions.NearM
		for _, side := range []int{n - 1, n + 1} {
			if !near && side >= 0 && side < len(row) {
				next := s.Marks[row[side]].Point
				near = distance(at, next) <= o.Positions.RowM && beside(at, next)
			}
		}
		if near {
			out = append(out, k)
		}
	}
	return out
}

// apart says why marks of one record and an exposure cannot be held against each
// other; "" where they can.
func apart(s *survey.Survey, mark, x *survey.Match, k *survey.Mark, e *survey.Exposure) string {
	switch {
	case !k.Time.IsZero() && !e.Time.IsZero() && k.Time.After(e.Time):
		return "marked after the line was exposed"
	case x.Record < 0:
		return "may be of different lines: the exposed line is on no record for sure"
	case mark.Record < 0:
		return "may be of different lines: the marks are on no record for sure"
	case mark.Record != x.Record:
		return fmt.Sprintf("may be of different lines: the marks are on record %s, the exposed line is record %s", s.Records[mark.Record].ID, s.Records[x.Record].ID)
	}
	return ""
}

// unsure says that marks and an exposure are not sure enough to be of one record.
func (o *Options) unsure(marks []survey.Match, on []int, x *survey.Match, record string) string {
	least := 1.0
	for _, k := range on {
		if marks[k].Status != survey.StatusUsed {
			return "may be of different lines: the marks are on no record for sure"
		}
		least = min(least, marks[k].Probability)
	}
	if both := least * x.Probability; both < o.Confidence {
		return fmt.Sprintf("may be of different lines: that both are record %s has a probability of %.2f, under %.2f", record, both, o.Confidence)
	}
	return ""
}

// hold compares the marked with the exposed line.
func (o *Options) hold(s *survey.Survey, marks []survey.Match, x *survey.Match, m *survey.Model, row []int, zone *ZoneRule, c *survey.MarkCheck) {
	rec, e := &s.Records[c.Record], &s.Exposures[c.Exposure]
	record := lineref.New(rec.Parts, rec.Scale)
	on, offsetM, right, ok := markedLine(s, marks, &record, row, e.Point, o.Positions.RowM, o.MinStretchM)
	if !ok {
		c.Reason = "no two marks of the record around the exposed place, and none beside it away from the record's ends"
		return
	}
	c.Marks = on
	if c.Reason = o.unsure(marks, on, x, rec.ID); c.Reason != "" {
		return
	}
	c.OffsetM, c.Law = offsetM, zone.Law
	if foot, found := record.Nearest(e.Point); found {
		c.MapM = -foot.OffsetM
	}
	shift, variance := o.positionErrors(s, m, on[0], c.Exposure, right, rec.Convergence)
	c.OffsetM -= shift
	sigma := 0.0
	for _, k := range on { // those of one row wander together
		sigma = max(sigma, o.sigma(s.Marks[k].SigmaM))
	}
	hole := o.sigma(e.SigmaM)
	c.OffsetU = math.Sqrt(variance + sigma*sigma + hole*hole)
	c.ZoneM = zone.EachSideM
	if zone.HalfWidth {
		width := e.DiameterM
		if math.IsNaN(width) {
			width = rec.DiameterM
		}
		if !math.IsNaN(width) {
			c.ZoneM += width / 2
		}
	}
	c.Probability = beyond(c.OffsetM, c.OffsetU, c.ZoneM)
	c.Verdict = o.verdict(c.Probability)
}

// sigma is one standard deviation per axis of a surveyed position.
func (o *Options) sigma(statedM float64) float64 {
	p := &o.Positions
	if !(statedM > 0) {
		return math.Hypot(p.DefaultSigmaM, p.PoleM)
	}
	return math.Hypot(p.AccuracyFactor*statedM, p.PoleM)
}

// markedLine finds the marked line beside a place: how far right of the place it
// lies, the marks that make it, and the unit vector to the right of the record
// there, in the grid.
func markedLine(s *survey.Survey, marks []survey.Match, record *lineref.Line, row []int, place orb.Point, rowM, reachM float64) (on []int, offsetM float64, right orb.Point, ok bool) {
	best := math.Inf(1)
	for n := 1; n < len(row); n++ {
		a, b := row[n-1], row[n]
		line := lineref.New(orb.MultiLineString{{s.Marks[a].Point, s.Marks[b].Point}}, record.Scale)
		if line.LengthM() == 0 || line.LengthM() > rowM {
			continue
		}
		if foot := line.OnSegment(0, 0, place); foot.Square && math.Abs(foot.OffsetM) < best {
			best = math.Abs(foot.OffsetM)
			d := line.Direction(0, 0)
			on, offsetM, right, ok = []int{a, b}, -foot.OffsetM, orb.Point{d[1], -d[0]}, true
		}
	}
	// At its ends a record meets others, which a mark alone may be of.
	foot, found := record.Nearest(place)
	if ok || !found || foot.StationM < reachM || foot.StationM > record.LengthM()-reachM {
		return on, offsetM, right, ok
	}
	for _, k := range row {
		d := record.Direction(marks[k].Part, marks[k].Segment)
		dx, dy := (s.Marks[k].Point[0]-place[0])/record.Scale, (s.Marks[k].Point[1]-place[1])/record.Scale
		if along := math.Abs(dx*d[0] + dy*d[1]); along <= reachM && along < best {
			best = along
			on, offsetM, right, ok = []int{k}, dx*d[1]-dy*d[0], orb.Point{d[1], -d[0]}, true
		}
	}
	return on, offsetM, right, ok
}

func distance(a, b orb.Point) float64 { return math.Hypot(a[0]-b[0], a[1]-b[1]) }

func markFinding(s *survey.Survey, c *survey.MarkCheck, o Options) survey.Finding {
	rec, e := &s.Records[c.Record], &s.Exposures[c.Exposure]
	line := lineref.New(rec.Parts, rec.Scale)
	at := 0.0
	if foot, ok := line.Nearest(e.Point); ok {
		at = foot.StationM
	}
	f := survey.Finding{
		Kind: survey.KindMark, Record: c.Record, Utility: rec.Utility, Sheet: rec.Sheet, Verdict: c.Verdict, FromM: at, ToM: at,
		OffsetM: c.OffsetM, OffsetU: c.OffsetU, Probability: c.Probability, ToleranceM: c.ZoneM, Basis: c.Law, Line: orb.MultiLineString{{e.Point}},
	}
	about := string(f.Kind) + "|" + rec.Key() + "|" + placed(e.ID, e.Point)
	for _, k := range c.Marks {
		about += placed(s.Marks[k].Ticket, s.Marks[k].Point)
		f.Line = append(f.Line, orb.LineString{s.Marks[k].Point})
	}
	f.ID = idOf(f.Kind, about)
	f.Sentence = markSentence(s, c)
	if c.Verdict == survey.VerdictUndecided {
		f.DecideAtU = wouldDecide(c.OffsetM, c.ZoneM, o.level())
		f.Sentence += o.undecided(c.OffsetM, c.OffsetU, -c.ZoneM, c.ZoneM, f.DecideAtU)
	}
	f.Sentence += " " + localLaw
	return f
}

// placed names a thing by its id and where it is, for a finding's id.
func placed(id string, at orb.Point) string { return fmt.Sprintf("|%s|%.2f|%.2f", id, at[0], at[1]) }

// markSentence says a check in words; every number in it is the check's.
func markSentence(s *survey.Survey, c *survey.MarkCheck) string {
	e, k := &s.Exposures[c.Exposure], &s.Marks[c.Marks[0]]
	marks := "The mark"
	if len(c.Marks) > 1 {
		marks = "The line between two marks"
	}
	if k.Ticket != "" {
		marks += " of ticket " + k.Ticket
	}
	if !k.Time.IsZero() {
		marks += " of " + k.Time.UTC().Format("2006-01-02")
	}
	hole := "the line that was exposed"
	if e.ID != "" {
		hole = "the line exposed in " + e.ID
	}
	if !e.Time.IsZero() {
		hole += " on " + e.Time.UTC().Format("2006-01-02")
	}
	return fmt.Sprintf("%s lies %.2f m %s of %s (u %.2f m, of both positions); the tolerance zone by %s reaches %.2f m to either side. It lies beyond with a probability of %.3f. The map of this run has the line %.2f m %s of it.",
		marks, math.Abs(c.OffsetM), sideOf(c.OffsetM), hole, c.OffsetU, c.Law, c.ZoneM, c.Probability, math.Abs(c.MapM), sideOf(c.MapM))
}

func sideOf(offsetM float64) string {
	if offsetM < 0 {
		return "to the left"
	}
	return "to the right"
}

// Bases are what the rules of minimum cover and of tolerance zones rest on, each
// once.
func (o *Options) Bases() []survey.Basis {
	var out []survey.Basis
	for i := range o.Cover {
		out = append(out, survey.Basis{Name: "Minimum cover (the local code decides)", Words: o.Cover[i].Words, Source: o.Cover[i].Source})
	}
	for i := range o.Zones {
		out = append(out, survey.Basis{Name: "Tolerance zone of marks (the local law decides)", Words: o.Zones[i].Words, Source: o.Zones[i].Source})
	}
	return out
}
