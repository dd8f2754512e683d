package life

import (
	"cmp"
	"crypto/sha256"
	"encoding/hex"
	"math"
	"slices"
	"strings"

	"github.com/paulmach/orb"

	"github.com/asfound/asfound/internal/lineref"
	"github.com/asfound/asfound/pipeline/survey"
)

// sameM is how near two findings lie that are one, over half the length of
// either; practice.
const sameM = 1.0

// link ties one of tonight's findings to one of the past.
type link struct {
	now, was int
	score    float64 // how much of the two lies in one place, metres
	own      bool    // was is now; else it is only of the same place, as a part that was split off
}

// identify says which of tonight's findings are of the past: those of one kind
// and utility that lie in one place, on the map or where the data puts the line.
// A record may have got vertices, another direction, another id; it may have been
// split, merged or drawn anew. Of several that fit, those of one record and those
// that share most belong together; ties go by id.
func identify(s *survey.Survey, m *survey.Model, fs []survey.Finding, past *Past) []link {
	var out []link
	now, was := placesOf(s, m, fs), make([][2]course, len(past.Findings))
	for i := range past.Findings {
		was[i] = [2]course{newCourse(past.Findings[i].OnMap), newCourse(past.Findings[i].OnTruth)}
	}
	keys := map[string]bool{}
	for i := range s.Records {
		keys[s.Records[i].Key()] = true
	}
	for i := range fs {
		for j := range past.Findings {
			score, same := fit(&fs[i], &past.Findings[j], &now[i], &was[j])
			if same && mayBeOne(keyOf(s, &fs[i]), past.Findings[j].Record, keys, past.Records) {
				out = append(out, link{now: i, was: j, score: score})
			}
		}
	}
	sameRecord := func(l link) int {
		if keyOf(s, &fs[l.now]) == past.Findings[l.was].Record {
			return 1
		}
		return 0
	}
	slices.SortStableFunc(out, func(a, b link) int {
		return cmp.Or(
			cmp.Compare(sameRecord(b), sameRecord(a)), cmp.Compare(b.score, a.score),
			strings.Compare(past.Findings[a.was].ID, past.Findings[b.was].ID), strings.Compare(fs[a.now].ID, fs[b.now].ID))
	})
	tookNow, tookWas := map[int]bool{}, map[int]bool{}
	for i := range out {
		if l := &out[i]; !tookNow[l.now] && !tookWas[l.was] {
			tookNow[l.now], tookWas[l.was], l.own = true, true, true
		}
	}
	return out
}

// fit says whether two findings are of one kind and place. Those without a place
// of their own, of a sheet, say, are told by what they are about.
func fit(f *survey.Finding, p *Finding, now, was *[2]course) (score float64, same bool) {
	if f.Kind != p.Kind || f.Utility != p.Utility {
		return 0, false
	}
	if f.Kind == survey.KindCoverPattern && f.Sheet != p.Sheet {
		return 0, false
	}
	for k := range now {
		v, ok := samePlace(&now[k], &was[k], sameM)
		score, same = max(score, v), same || ok
	}
	return score, same || f.ID == p.ID && now[0].bound.IsEmpty()
}

// mayBeOne says whether a finding of one record may be that of another: not if
// both records were on the map last night and still are.
func mayBeOne(now, was string, keys map[string]bool, before map[string]Record) bool {
	_, known := before[now]
	return now == was || !keys[was] || !known
}

func keyOf(s *survey.Survey, f *survey.Finding) string {
	if f.Record < 0 {
		return ""
	}
	return s.Records[f.Record].Key()
}

// placesOf are where the findings lie: on the map, and where the data puts them.
func placesOf(s *survey.Survey, m *survey.Model, fs []survey.Finding) [][2]course {
	out := make([][2]course, len(fs))
	for i := range fs {
		out[i] = [2]course{newCourse(fs[i].Line), newCourse(onTruth(s, m, &fs[i]))}
	}
	return out
}

// onTruth is where the data puts the line of a finding: what is wrong with the
// map may be mended, but there the finding was.
func onTruth(s *survey.Survey, m *survey.Model, f *survey.Finding) orb.MultiLineString {
	if f.Kind != survey.KindPosition || f.Record < 0 || m == nil {
		return f.Line
	}
	rec, p := &s.Records[f.Record], &m.Profiles[f.Record]
	line := lineref.New(rec.Parts, rec.Scale)
	out := make(orb.MultiLineString, len(f.Line))
	for k, part := range f.Line {
		out[k] = make(orb.LineString, len(part))
		for i, at := range part {
			foot, _ := line.Nearest(at)
			out[k][i] = moved(at, p.At(foot.Part, foot.StationM), rec)
		}
	}
	return out
}

// moved is a point of the plane moved by true east and north, ground metres.
func moved(at orb.Point, d survey.Vector, rec *survey.Record) orb.Point {
	sin, cos := math.Sincos(rec.Convergence)
	k := rec.Scale
	if k == 0 {
		k = 1
	}
	return orb.Point{at[0] + k*(d.East*cos-d.North*sin), at[1] + k*(d.North*cos+d.East*sin)}
}

// freshID is a finding's own id, or one made from it that no finding ever had.
func freshID(id string, taken map[string]bool) string {
	letter, _, _ := strings.Cut(id, "-")
	for fresh := id; ; {
		if !taken[fresh] {
			return fresh
		}
		sum := sha256.Sum256([]byte(fresh))
		fresh = letter + "-" + hex.EncodeToString(sum[:5])
	}
}
