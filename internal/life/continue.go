package life

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"github.com/paulmach/orb"

	"github.com/asfound/asfound/pipeline/survey"
)

// beyond is how many standard deviations the evidence has to move from what a
// finding was rejected on before it is heard again: 95 %, as verdicts are decided
// by default; practice.
const beyond = 1.96

// patience is for how long a finding that is no longer found, though nobody changed
// the map, stays where it stands: evidence comes in night by night, and a
// probability near the limit goes to and fro; practice.
const patience = 14 * 24 * time.Hour

// Continue gives tonight's findings the ids that they had, and says where each
// stands. It changes nothing that it is given.
func Continue(s *survey.Survey, m *survey.Model, fs []survey.Finding, past *Past) []survey.Finding {
	out := slices.Clone(fs)
	taken := map[string]bool{}
	for i := range past.Findings {
		taken[past.Findings[i].ID] = true
	}
	own, whole := map[int]*Finding{}, map[int]*Finding{}
	for _, l := range identify(s, m, fs, past) {
		p := &past.Findings[l.was]
		if l.own {
			own[l.now] = p
		} else if whole[l.now] == nil {
			whole[l.now] = p
		}
	}
	for i := range out {
		f := &out[i]
		if p := own[i]; p != nil {
			f.ID = p.ID
			f.Life, f.LifeReason = next(f, onTruth(s, m, f), p, past.Started)
			continue
		}
		f.ID = freshID(f.ID, taken)
		taken[f.ID] = true
		f.Life = survey.LifeNew
		if p := whole[i]; p != nil { // split off: what was decided of the whole holds for it
			f.Life, _ = next(f, onTruth(s, m, f), p, past.Started)
			f.LifeReason = splitFrom + p.ID
		}
	}
	return out
}

const splitFrom = "was part of "

// next is where a finding stands that was there before.
func next(f *survey.Finding, truth orb.MultiLineString, p *Finding, started time.Time) (survey.Life, string) {
	d := &p.Decision
	switch {
	case p.Life == survey.LifeCorrected:
		return survey.LifeReopened, "the record was corrected on the map, and is off again"
	case d.Word == string(survey.LifeAccepted):
		return survey.LifeAccepted, ""
	case d.Word == string(survey.LifeRejected):
		if m := changed(f, truth, d); m > beyond*d.OffsetU {
			return survey.LifeReopened, fmt.Sprintf("rejected on %s at %.2f m (u %.2f m); what the evidence says has changed by %.2f m since",
				day(d.When), math.Abs(d.OffsetM), d.OffsetU, m)
		}
		return survey.LifeRejected, ""
	case d.Word == string(survey.LifeDeferred):
		if !started.Before(d.Until) {
			return survey.LifeReopened, "deferred until " + day(d.Until)
		}
		return survey.LifeDeferred, ""
	case p.Life == survey.LifeGone, p.Life == survey.LifeReopened && p.Absent:
		return survey.LifeReopened, "found again; last found on " + day(p.Last)
	case p.Life == survey.LifeReopened:
		return survey.LifeReopened, p.Reason
	}
	return survey.LifeOpen, ""
}

// changed is by how much what the evidence says has changed since a decision: of a
// position by how far the line has moved, whatever became of the map, and whichever
// way it is drawn; infinitely where it says nothing of the same place any more.
func changed(f *survey.Finding, truth orb.MultiLineString, d *Decision) float64 {
	const reachM = 5
	if f.Kind != survey.KindPosition || len(d.OnTruth) == 0 {
		return math.Abs(math.Abs(f.OffsetM) - math.Abs(d.OffsetM))
	}
	a, b := newCourse(truth), newCourse(d.OnTruth)
	if a.length > b.length {
		a, b = b, a
	}
	length, near := along(&a, &b, reachM)
	if length == 0 {
		return math.Inf(1)
	}
	return reachM * (1 - near/length)
}

func day(t time.Time) string { return t.UTC().Format(time.DateOnly) }

// Settle is every finding ever, as tonight's run leaves it, by id: those that
// were found, and what became of those that were not. fs are tonight's, as
// Continue left them.
func Settle(s *survey.Survey, js []survey.Judgement, m *survey.Model, fs []survey.Finding, past *Past) []Finding {
	was := map[string]*Finding{}
	for i := range past.Findings {
		was[past.Findings[i].ID] = &past.Findings[i]
	}
	found := map[string]bool{}
	byKey := map[string]int{}
	for i := range s.Records {
		byKey[s.Records[i].Key()] = i
	}
	var out []Finding
	for i := range fs {
		found[fs[i].ID] = true
		out = append(out, settled(s, m, &fs[i], was, past.Started))
	}
	for i := range past.Findings {
		p := past.Findings[i]
		if found[p.ID] {
			continue
		}
		p.Absent = true
		p.Life, p.Reason = notFound(s, js, &p, past, byKey)
		out = append(out, p)
	}
	slices.SortFunc(out, func(a, b Finding) int { return strings.Compare(a.ID, b.ID) })
	return out
}

func settled(s *survey.Survey, m *survey.Model, f *survey.Finding, was map[string]*Finding, started time.Time) Finding {
	p := Finding{
		ID: f.ID, Kind: f.Kind, Record: keyOf(s, f), Utility: f.Utility, Sheet: f.Sheet, Life: f.Life, Reason: f.LifeReason,
		Verdict: f.Verdict, Attribution: f.Attribution, FromM: f.FromM, ToM: f.ToM, OffsetM: f.OffsetM, OffsetU: f.OffsetU,
		Probability: f.Probability, Sentence: f.Sentence, OnMap: f.Line, OnTruth: onTruth(s, m, f), First: started, Last: started,
	}
	if f.Record >= 0 {
		p.Label = s.Records[f.Record].ID
	}
	old, known := was[f.ID]
	if !known {
		if id, split := strings.CutPrefix(f.LifeReason, splitFrom); split {
			old, known = was[id]
		}
	}
	if known {
		p.First = old.First
		if f.Life != survey.LifeReopened {
			p.Decision = old.Decision
		}
		if old.ID == f.ID {
			p.Typed = old.Typed
		}
	}
	return p
}

// notFound says what became of a finding that is not there tonight.
func notFound(s *survey.Survey, js []survey.Judgement, p *Finding, past *Past, byKey map[string]int) (survey.Life, string) {
	if p.Life == survey.LifeCorrected || p.Life == survey.LifeGone {
		return p.Life, p.Reason
	}
	r, changed := lies(s, p, past, byKey)
	waits := past.Started.Sub(p.Last) < patience
	switch {
	case r < 0 && p.Record != "":
		return survey.LifeGone, "its record is no longer on the map"
	case r >= 0 && p.Kind == survey.KindUnmapped:
		return survey.LifeCorrected, "the line is on the map"
	case r >= 0 && changed && verdict(&js[r], p.Kind) == survey.VerdictWithin:
		return survey.LifeCorrected, "the record came back and is within"
	case waits && !changed:
		return p.Life, "not found since " + day(p.Last)
	case r >= 0 && verdict(&js[r], p.Kind) == survey.VerdictWithin:
		return survey.LifeGone, "the data now puts the record within"
	}
	return survey.LifeGone, "no longer found"
}

func verdict(j *survey.Judgement, k survey.Kind) survey.Verdict {
	switch k {
	case survey.KindPosition:
		return j.Position
	case survey.KindDepth, survey.KindCover:
		return j.Depth
	}
	return survey.VerdictNone
}

// lies finds the record that a finding is of by now, -1 none: the one of its key
// or, where that is gone or it had none, one of its utility that lies along the
// place. changed says that the map is not as it was there at the last run.
func lies(s *survey.Survey, p *Finding, past *Past, byKey map[string]int) (record int, changed bool) {
	if r, there := byKey[p.Record]; there {
		return r, past.changedAt(&s.Records[r], p.OnMap)
	}
	best, at := 0.0, -1
	place := newCourse(p.OnTruth)
	for i := range s.Records {
		rec := &s.Records[i]
		if rec.Utility != p.Utility || !place.bound.Pad(sameM).Intersects(rec.Parts.Bound()) {
			continue
		}
		line := newCourse(rec.Parts)
		if length, near := along(&place, &line, sameM); length > place.length/2 && near > best {
			best, at = near, i
		}
	}
	if at < 0 || p.Record == "" && past.unchanged(&s.Records[at]) { // it was there all along
		return -1, false
	}
	return at, true
}

// unchanged says whether a record is as it was at the last run.
func (p *Past) unchanged(rec *survey.Record) bool {
	was, known := p.Records[rec.Key()]
	return known && was.sameCover(rec) && sameLine(was.Line, rec.Parts)
}

// changedAt says whether a record has another cover than at the last run, or another
// line at a place. One whose end followed a neighbour is as it was elsewhere.
func (p *Past) changedAt(rec *survey.Record, place orb.MultiLineString) bool {
	if p.unchanged(rec) {
		return false
	}
	was, known := p.Records[rec.Key()]
	at, line := newCourse(place), newCourse(rec.Parts)
	length, _ := along(&at, &line, leastM)
	return !known || !was.sameCover(rec) || length <= at.length/2
}

func (r *Record) sameCover(rec *survey.Record) bool {
	return r.CoverM == rec.CoverM || math.IsNaN(r.CoverM) && math.IsNaN(rec.CoverM)
}
