package judge

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"math"
	"strings"

	"github.com/asfound/asfound/internal/lineref"
	"github.com/asfound/asfound/internal/words"
	"github.com/asfound/asfound/pipeline/survey"
)

// positionFindings are the stretches of one record that are outside or, where
// the record is not decided, undecided; and the record whose raw difference is
// beyond the tolerance though it is within.
func positionFindings(s *survey.Survey, line *lineref.Line, m *survey.Model, j *survey.Judgement, o Options) []survey.Finding {
	rec, p := &s.Records[j.Record], &m.Profiles[j.Record]
	var out []survey.Finding
	add := func(st survey.Stretch) {
		f := survey.Finding{
			Kind: survey.KindPosition, Record: j.Record, Utility: rec.Utility, Sheet: rec.Sheet,
			Verdict: st.Verdict, FromM: st.FromM, ToM: st.ToM, OffsetM: st.WorstM, OffsetU: st.WorstU,
			Probability: st.Probability, Attribution: j.Attribution, AttributionProbability: j.AttributionProbability, ToleranceM: j.Tolerance.HorizontalM, Basis: j.Tolerance.Rule,
			Readings: readingsBetween(p, st.Part, st.FromM, st.ToM), Line: line.Between(st.FromM, st.ToM),
		}
		if st.Verdict == survey.VerdictUndecided {
			f.DecideAtU = wouldDecide(st.WorstM, j.Tolerance.HorizontalM, o.level())
		}
		f.Sentence = positionSentence(rec, m, j, &f)
		if f.Verdict == survey.VerdictUndecided {
			f.Sentence += o.undecided(f.OffsetM, f.OffsetU, -f.ToleranceM, f.ToleranceM, f.DecideAtU)
		}
		out = append(out, f)
	}
	for _, st := range j.Stretches {
		if st.Verdict == survey.VerdictOutside || st.Verdict == survey.VerdictUndecided && j.Position == survey.VerdictUndecided {
			add(st)
		}
	}
	if len(out) == 0 && j.Attribution != survey.AttributionNone && len(j.Stretches) > 0 {
		whole := j.Stretches[0]
		for _, st := range j.Stretches {
			if st.ToM-st.FromM > whole.ToM-whole.FromM {
				whole = st
			}
		}
		add(whole)
	}
	return out
}

func readingsBetween(p *survey.Profile, part int, fromM, toM float64) int {
	n := 0
	for i := range p.Nodes {
		if nd := &p.Nodes[i]; nd.Part == part && nd.StationM >= fromM-1e-9 && nd.StationM <= toM+1e-9 {
			n += nd.Readings
		}
	}
	return n
}

// depthFindings is the finding on a record's depth. One that rests on a sonde which
// was read in a line mode, as it looks, is not decided.
func depthFindings(s *survey.Survey, line *lineref.Line, m *survey.Model, j *survey.Judgement, sonde *sondeDepths, o Options) []survey.Finding {
	if j.Depth != survey.VerdictOutside && j.Depth != survey.VerdictUndecided {
		return nil
	}
	rec, c := &s.Records[j.Record], &m.Profiles[j.Record].Cover
	if sonde != nil && sonde.lineMode >= patternSure {
		j.Depth = survey.VerdictUndecided
	}
	f := survey.Finding{
		Kind: survey.KindDepth, Record: j.Record, Utility: rec.Utility, Sheet: rec.Sheet,
		Verdict: j.Depth, ToM: j.LengthM, OffsetM: c.DifferenceM, OffsetU: c.U,
		Probability: j.DepthProbability, ToleranceM: j.Tolerance.DepthM, Basis: j.Tolerance.Rule, Readings: c.Readings,
		Line: line.Between(0, j.LengthM),
	}
	deeper := "deeper"
	if c.DifferenceM < 0 {
		deeper = "shallower"
	}
	f.Sentence = fmt.Sprintf("%s say that the line lies %.2f m %s than the map's cover of %.2f m (u %.2f m, tolerance %.2f m).",
		words.Count(c.Readings, "depth reading"), math.Abs(c.DifferenceM), deeper, rec.CoverM, c.U, j.Tolerance.DepthM)
	if sonde != nil && !math.IsNaN(rec.DiameterM) {
		f.Sentence += sonde.words(rec)
	}
	switch {
	case sonde != nil && sonde.lineMode >= patternSure:
		f.Attribution = survey.AttributionInseparable
		f.Sentence += " Inseparable: a depth with the receiver's sonde mode, or in a test hole, would tell."
	case j.Depth == survey.VerdictOutside:
		f.Attribution = survey.AttributionRecord
		f.Sentence += " This data attributes the difference to the record, or to a surface that was regraded since."
	default:
		f.DecideAtU = wouldDecide(c.DifferenceM, j.Tolerance.DepthM, o.level())
		f.Sentence += o.undecided(c.DifferenceM, c.U, -j.Tolerance.DepthM, j.Tolerance.DepthM, f.DecideAtU)
	}
	return []survey.Finding{f}
}

// positionSentence says a finding in words; every number in it is the model's.
func positionSentence(rec *survey.Record, m *survey.Model, j *survey.Judgement, f *survey.Finding) string {
	sh := &m.Profiles[j.Record].Shares
	var b strings.Builder
	fmt.Fprintf(&b, "Between stations %.1f m and %.1f m %s put the line %.2f m %s of the map (u %.2f m, tolerance %.2f m).",
		f.FromM, f.ToM, words.Count(f.Readings, "reading"), math.Abs(f.OffsetM), sideOf(f.OffsetM), f.OffsetU, f.ToleranceM)
	switch f.Attribution {
	case survey.AttributionRecord:
		fmt.Fprintf(&b, " Of a mean raw difference of %+.2f m the model puts %+.2f m down to the record", sh.RawM, sh.SheetM+sh.OwnM+sh.LocalM)
		if sheet := rec.SharedSheet(); sheet != "" {
			fmt.Fprintf(&b, " (%+.2f m of it common to sheet %s)", sh.SheetM, sheet)
		}
		fmt.Fprintf(&b, " and %+.2f m to the positions and the crew.", sh.SessionM+sh.SourceM+sh.BiasM+sh.NoiseM)
		fmt.Fprintf(&b, " This data attributes the difference to the record (probability %s, no session's own word counted for it).", probable(j.AttributionProbability))
	case survey.AttributionField, survey.AttributionFrame:
		what := "the field"
		if f.Attribution == survey.AttributionFrame {
			what = "the frame of the positions"
		}
		fmt.Fprintf(&b, " The readings as taken lie %.2f m off, %+.2f m of it from session and bias and %+.2f m from the source of positions; with these taken out the record is within. This data attributes the difference to %s (probability %s, no session's own word counted for it).",
			math.Abs(sh.RawM), sh.SessionM+sh.BiasM+sh.NoiseM, sh.SourceM, what, probable(j.AttributionProbability))
	case survey.AttributionInseparable:
		b.WriteString(inseparableWords(m, j, f))
	}
	return b.String()
}

// probable is a probability in words: draws cannot tell certainty.
func probable(p float64) string {
	if p > 0.99 {
		return "over 0.99"
	}
	return fmt.Sprintf("%.2f", p)
}

// inseparableWords say why a record's difference is inseparable, and what would
// separate it.
func inseparableWords(m *survey.Model, j *survey.Judgement, f *survey.Finding) string {
	sh := &m.Profiles[j.Record].Shares
	place := fmt.Sprintf("the record between %.1f m and %.1f m", f.FromM, f.ToM)
	if len(j.RestsOn) == 0 {
		return fmt.Sprintf(" Of a mean raw difference of %+.2f m the record's part and the positions' (u %.2f m) cannot be told apart: a test hole on %s, readings of another session there, or control checks of those that read it would.",
			sh.RawM, sh.FieldU, place)
	}
	return fmt.Sprintf(" Inseparable: the model puts %+.2f m of a mean raw difference of %+.2f m down to the record, but without the word of %s that would not be sure (probability %.2f). %s.",
		sh.SheetM+sh.OwnM+sh.LocalM, sh.RawM, namesOf(m, j.RestsOn), j.AttributionProbability, wouldSeparate(m, j.RestsOn, place))
}

// nameFindings gives every finding its id: what it is about, hashed. Two
// findings of one kind on one record are told apart by their order along it.
func nameFindings(s *survey.Survey, fs []survey.Finding) {
	nth := map[string]int{}
	for i := range fs {
		f := &fs[i]
		about := string(f.Kind) + "|"
		switch {
		case f.Record >= 0:
			about += s.Records[f.Record].Key()
		case f.Sheet != "":
			about += f.Sheet
		default:
			c := f.Line.Bound().Center()
			about += fmt.Sprintf("%s|%.0f|%.0f", f.Utility, c[0]/5, c[1]/5)
		}
		nth[about]++
		if nth[about] > 1 {
			about += fmt.Sprintf("|%d", nth[about])
		}
		f.ID = idOf(f.Kind, about)
	}
}

func idOf(kind survey.Kind, about string) string {
	sum := sha256.Sum256([]byte(about))
	return letters[kind] + "-" + hex.EncodeToString(sum[:5])
}

var letters = map[survey.Kind]string{
	survey.KindPosition: "P", survey.KindDepth: "D", survey.KindCover: "C",
	survey.KindCoverPattern: "S", survey.KindUnmapped: "U", survey.KindNotDetected: "N", survey.KindNotTraceable: "T", survey.KindMark: "M",
}
